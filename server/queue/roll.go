package queue

import (
	"context"
	"slices"
	"sync"
	"time"

	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/rivertype"
)

// Roll is how the processes that work on the same jobs know of each other.
type Roll interface {
	// Beat notes that a worker lives.
	Beat(ctx context.Context, worker string) error
	// Leave notes that a worker works no more.
	Leave(ctx context.Context, worker string) error
	// Silent lists, of workers, those that were not heard of for so long, or left.
	Silent(ctx context.Context, workers []string, forSo time.Duration) ([]string, error)
	// Exclusively runs do in one process at a time.
	Exclusively(ctx context.Context, do func(ctx context.Context) error) error
}

// A process is heard of several times before its silence would be long enough.
const beats = 4

// call keeps the process on the roll and takes over the chunks of dead ones,
// until the queue drains.
func (q *Queue[Tx]) call(ctx context.Context) {
	r := &roll[Tx]{Queue: q, lost: map[int64]int{}}
	ctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	q.rolling.Go(func() {
		<-q.draining
		cancel()
	})
	q.rolling.Go(func() {
		for ctx.Err() == nil {
			if err := r.once(ctx); err != nil && ctx.Err() == nil {
				q.options.Log.Error("the roll of workers cannot be called", "error", err.Error())
			}
			select {
			case <-time.After(q.options.Silence / beats):
			case <-ctx.Done():
			}
		}
	})
}

// leave strikes the process off the roll: what it still has is anybody's.
func (q *Queue[Tx]) leave(ctx context.Context) {
	q.rolling.Wait()
	if q.options.Roll == nil {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, abandonAfter)
	defer cancel()
	if err := q.options.Roll.Leave(ctx, q.client.ID()); err != nil {
		q.options.Log.Warn("not struck off the roll of workers", "error", err.Error())
	}
}

// roll is what a process remembers from one call to the next.
type roll[Tx any] struct {
	*Queue[Tx]
	heard int           // calls in a row that went well
	lost  map[int64]int // jobs of our own that nobody works on, with the attempt
}

// once notes that we live and frees the jobs of those who do not. After a time
// without the store others must first have had the time to be heard.
func (r *roll[Tx]) once(ctx context.Context) error {
	if err := r.options.Roll.Beat(ctx, r.client.ID()); err != nil {
		r.heard = 0
		return err
	}
	if r.heard++; r.heard < beats {
		return nil
	}
	running, err := r.driver.GetExecutor().JobGetStuck(ctx, &riverdriver.JobGetStuckParams{Max: rescueAtATime, StuckHorizon: time.Now().AddDate(100, 0, 0)})
	if err != nil {
		return err
	}
	dead, err := r.options.Roll.Silent(ctx, workersOf(running), r.options.Silence)
	if err != nil {
		return err
	}
	return r.takeOver(ctx, running, dead)
}

// workersOf are those who have jobs in hand.
func workersOf(jobs []*rivertype.JobRow) (names []string) {
	for _, job := range jobs {
		names = append(names, workerOf(job))
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// workerOf is who took a job up last.
func workerOf(job *rivertype.JobRow) string {
	if len(job.AttemptedBy) == 0 {
		return ""
	}
	return job.AttemptedBy[len(job.AttemptedBy)-1]
}

// takeOver frees the jobs of the dead, and of our own those that never came here:
// the answer that would have brought them was lost with a connection.
func (r *roll[Tx]) takeOver(ctx context.Context, running []*rivertype.JobRow, dead []string) error {
	lost := map[int64]int{}
	for _, job := range running {
		worker, free := workerOf(job), false
		if worker == r.client.ID() {
			if !r.inHand.has(job.ID) {
				lost[job.ID] = job.Attempt
				free = r.lost[job.ID] == job.Attempt // and so it was at the last call
			}
		} else {
			free = slices.Contains(dead, worker)
		}
		if !free {
			continue
		}
		if err := r.free(ctx, []*rivertype.JobRow{job}, job.AttemptedAt.Add(time.Microsecond)); err != nil {
			return err
		}
		r.options.Log.Warn("taking up what was left in the middle", "job", job.ID, "by", worker)
	}
	r.lost = lost
	return nil
}

// inHand are the jobs that are worked on here.
type inHand struct {
	mu   sync.Mutex
	jobs map[int64]int // how often: one that was taken over may come back
}

// take notes a job until done is called.
func (h *inHand) take(id int64) (done func()) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.jobs[id]++
	return func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		if h.jobs[id]--; h.jobs[id] == 0 {
			delete(h.jobs, id)
		}
	}
}

func (h *inHand) has(id int64) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.jobs[id] > 0
}
