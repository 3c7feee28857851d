package cli

import (
	"context"
	"errors"
	"sync"
)

// reorderWindow is how many finished results per worker may wait for an
// earlier one: enough that one slow lot does not idle the other workers, small
// enough that memory stays flat.
const reorderWindow = 16

// errStop, returned by emit, ends a run early without being a fault.
var errStop = errors.New("stop")

// ordered calls work(i) for i = 0 … n-1 on a number of goroutines and emit(i,
// result) for each result, in order of i, on the calling goroutine. When ctx
// ends no further i is taken up, but the results of those in work are emitted,
// so that emit is called for 0 … k-1 without a gap; it returns k. The first
// error of emit ends the run the same way, without further emits.
func ordered[T any](ctx context.Context, n, workers int, work func(i int) T, emit func(i int, result T) error) (int, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	jobs := make(chan job[T])
	queue := make(chan job[T], reorderWindow*workers)
	var running sync.WaitGroup
	for range workers {
		running.Go(func() {
			for j := range jobs {
				j.done <- work(j.index)
			}
		})
	}
	running.Go(func() { hand(ctx, n, jobs, queue) })

	emitted, err := 0, error(nil)
	for j := range queue {
		result := <-j.done
		if err != nil {
			continue
		}
		if err = emit(j.index, result); err != nil {
			cancel()
		}
		if err == nil || errors.Is(err, errStop) {
			emitted++
		}
	}
	running.Wait()
	if errors.Is(err, errStop) {
		err = nil
	}
	return emitted, err
}

// job is one index and where its result will lie.
type job[T any] struct {
	index int
	done  chan T
}

// hand gives the indexes to the workers, and to the queue in the same order.
// A job is in the queue only after a worker has it, so the queue never waits
// for one that nobody will do; the queue's size bounds what is held back.
func hand[T any](ctx context.Context, n int, jobs, queue chan<- job[T]) {
	defer close(queue)
	defer close(jobs)
	for i := range n {
		if ctx.Err() != nil {
			return
		}
		j := job[T]{index: i, done: make(chan T, 1)}
		select {
		case jobs <- j:
		case <-ctx.Done():
			return
		}
		queue <- j
	}
}
