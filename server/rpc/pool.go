package rpc

import (
	"context"
	"errors"
	"io"
	"sync"
)

// slots bounds how many of something are under way at a time.
type slots chan struct{}

func newSlots(n int) slots { return make(slots, n) }

func (s slots) tryTake() bool {
	select {
	case s <- struct{}{}:
		return true
	default:
		return false
	}
}

// take waits for a slot. It takes none once ctx has ended.
func (s slots) take(ctx context.Context) error {
	select {
	case s <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	if err := ctx.Err(); err != nil {
		s.give()
		return err
	}
	return nil
}

func (s slots) give() { <-s }

// pipe is a piece of work in three steps. next returns the pieces one after
// another and io.EOF at the end; do works on a piece, several at a time; emit
// takes the results in the order of the pieces.
type pipe[T, R any] struct {
	next func(ctx context.Context) (T, error)
	do   func(ctx context.Context, v T) R
	emit func(r R) error
}

// done is the result of a piece, or the panic it ended in.
type done[R any] struct {
	r   R
	err error
}

// run works on the server's workers, which other pipes share, until next ends
// or a step fails. Whatever next returned before it failed is worked on and
// emitted still. No more results than workers wait to be emitted. When run
// returns, nothing of it is under way any more.
func (p pipe[T, R]) run(ctx context.Context, s *Server) error {
	ctx, stop := context.WithCancel(ctx)
	var wg sync.WaitGroup
	defer wg.Wait()
	defer stop()
	queue := make(chan chan done[R], cap(s.workers))
	var fed error
	wg.Go(func() {
		defer close(queue)
		fed = s.recovered("pipe", func() error { return p.feed(ctx, s, &wg, queue) })
	})
	for result := range queue {
		select {
		case d := <-result:
			if err := p.pass(ctx, d); err != nil {
				return err
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if errors.Is(fed, io.EOF) {
		return nil
	}
	return fed
}

// pass emits a result, unless it may be what a cancelled worker left behind.
func (p pipe[T, R]) pass(ctx context.Context, d done[R]) error {
	if err := errors.Join(d.err, ctx.Err()); err != nil {
		return err
	}
	return p.emit(d.r)
}

// feed starts a worker on each piece and puts where its result will be into
// the queue, until there are no more.
func (p pipe[T, R]) feed(ctx context.Context, s *Server, wg *sync.WaitGroup, queue chan<- chan done[R]) error {
	for {
		v, err := p.next(ctx)
		if err != nil {
			return err
		}
		if err := s.workers.take(ctx); err != nil {
			return err
		}
		result := make(chan done[R], 1)
		wg.Go(func() {
			defer s.workers.give()
			var d done[R]
			d.err = s.recovered("worker", func() error {
				d.r = p.do(ctx, v)
				return nil
			})
			result <- d
		})
		select {
		case queue <- result:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// each is a next that returns the members of a list.
func each[T any](list []T) func(context.Context) (T, error) {
	i := -1
	return func(context.Context) (v T, err error) {
		if i++; i >= len(list) {
			return v, io.EOF
		}
		return list[i], nil
	}
}
