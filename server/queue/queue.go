// Package queue designs the lots of operations: chunks of them are jobs of
// River, kept in the database of the store.
//
// A job is enqueued in the transaction that stores the operation, and completed
// in one that sees a design of every lot of its chunk. In between each design is
// saved as it comes, and what a lot gets first is what it keeps, so a chunk may
// be worked on more than once and its lots are designed once.
//
// One lot never costs another. A panic makes a failed design of its lot. After a
// worker ended in the middle of a chunk, whatever the cause, the lot it was at
// is designed apart, in a process of its own: if that dies of it as well, the
// lot has failed.
package queue

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"runtime"
	"sync"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/riverqueue/river/rivertype"

	"lotwright/server/store"
)

// Options are what a [Queue] is made of. Design, Apart and Failed must be there;
// the rest may be zero.
type Options struct {
	// Design designs a lot. What is wrong with the lot is a design, too; an
	// error is a fault of the machine, and the lot is tried again, five times in
	// all. It is called from several goroutines at once and should return soon after ctx
	// ends.
	Design Design
	// Apart is Design in a process of its own, whose end by itself is
	// [ErrDied].
	Apart Design
	// Admit waits until a lot may be designed, where something else shares the
	// processors, and returns what to call afterwards. The time it takes is not
	// the lot's. nil means at once.
	Admit func(ctx context.Context) (done func(), err error)
	// Failed is the design of a lot that the program is to blame for.
	Failed func(lot store.Lot, reason string) store.Design

	// Alone says that no other process works on these jobs: those that are
	// under way when the queue starts are a dead process's.
	Alone bool

	Workers   int           // chunks worked on at a time, each a lot at a time; 0 means one a processor
	ChunkLots int           // lots of a job; default 16
	LotTime   time.Duration // a lot that takes longer has failed; default 2 min
	Log       *slog.Logger  // nil means slog.Default
}

// Design makes a design of a lot. Of the result only status, reason and content
// are used.
type Design func(ctx context.Context, lot store.Lot, settings []byte) (store.Design, error)

// ErrDied is the error of a process that ended while it designed a lot.
var ErrDied = errors.New("the process ended while it designed the lot")

func (o Options) orDefaults() (Options, error) {
	if o.Design == nil || o.Apart == nil || o.Failed == nil {
		return o, errors.New("queue.Options: Design, Apart and Failed must all be set")
	}
	if o.Admit == nil {
		o.Admit = func(context.Context) (func(), error) { return func() {}, nil }
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	if o.ChunkLots <= 0 {
		o.ChunkLots = 16
	}
	if o.LotTime <= 0 {
		o.LotTime = 2 * time.Minute
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	return o, nil
}

// How often River looks for jobs. Its own defaults let a worker wait 100 ms
// between two of them.
const (
	fetchCooldown = 5 * time.Millisecond
	fetchPoll     = 100 * time.Millisecond
)

// How long jobs that are done stay in the database, for those who look at it.
const keepDone = time.Hour

// Queue works on operations. It is made by [New].
type Queue[Tx any] struct {
	options  Options
	driver   riverdriver.Driver[Tx]
	client   *river.Client[Tx]
	draining chan struct{}
	drain    func()
}

// New brings the jobs' tables up to date and makes the store hand its operations
// to the queue. Nothing is worked on before [Queue.Start].
func New[Tx any](ctx context.Context, driver riverdriver.Driver[Tx], engine store.Engine[Tx], o Options) (*Queue[Tx], error) {
	o, err := o.orDefaults()
	if err != nil {
		return nil, err
	}
	q := &Queue[Tx]{options: o, driver: driver, draining: make(chan struct{})}
	q.drain = sync.OnceFunc(func() { close(q.draining) })
	quiet := slog.New(atLeast{o.Log.Handler(), slog.LevelWarn})
	migrator, err := rivermigrate.New(driver, &rivermigrate.Config{Logger: quiet})
	if err != nil {
		return nil, err
	}
	if _, err := migrator.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		return nil, err
	}
	workers := river.NewWorkers()
	w := &worker[Tx]{engine: engine, options: o, draining: q.draining, complete: completion[Tx]}
	if err := river.AddWorkerSafely(workers, w); err != nil {
		return nil, err
	}
	if q.client, err = river.NewClient(driver, config(o, workers, quiet)); err != nil {
		return nil, err
	}
	engine.OnStart(o.ChunkLots, q.enqueue)
	return q, nil
}

func config(o Options, workers *river.Workers, log *slog.Logger) *river.Config {
	return &river.Config{
		Queues:                      map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: o.Workers}},
		Workers:                     workers,
		Logger:                      log,
		PollOnly:                    true, // of a database that cannot call
		FetchCooldown:               fetchCooldown,
		FetchPollInterval:           fetchPoll,
		JobTimeout:                  -1, // lots have their time, chunks need none
		RescueStuckJobsAfter:        time.Duration(o.ChunkLots+1) * (o.LotTime + abandonAfter),
		CompletedJobRetentionPeriod: keepDone,
		MaxAttempts:                 math.MaxInt16, // what bounds them is that no lot is at fault twice
	}
}

// enqueue makes jobs of chunks.
func (q *Queue[Tx]) enqueue(ctx context.Context, tx Tx, chunks []store.Chunk) error {
	jobs := make([]river.InsertManyParams, len(chunks))
	for i, c := range chunks {
		jobs[i].Args = jobArgs{c.Tenant, c.Operation, c.First, c.Last}
	}
	_, err := q.client.InsertManyTx(ctx, tx, jobs)
	return err
}

// Start takes up work, until [Queue.Stop]. Work that a dead process has left
// comes first.
func (q *Queue[Tx]) Start(ctx context.Context) error {
	if q.options.Alone {
		if err := q.rescue(ctx); err != nil {
			return err
		}
	}
	return q.client.Start(context.WithoutCancel(ctx))
}

// rescueAtATime is how many jobs are freed in one go.
const rescueAtATime = 1000

// rescue frees the jobs of a dead process, whatever the clock says: it may have
// been put back since.
func (q *Queue[Tx]) rescue(ctx context.Context) error {
	horizon := time.Date(9000, 1, 1, 0, 0, 0, 0, time.UTC)
	for {
		stuck, err := q.driver.GetExecutor().JobGetStuck(ctx, &riverdriver.JobGetStuckParams{Max: rescueAtATime, StuckHorizon: horizon})
		if err != nil || len(stuck) == 0 {
			return err
		}
		free := &riverdriver.JobRescueManyParams{StuckHorizon: horizon}
		for _, job := range stuck {
			free.ID = append(free.ID, job.ID)
			free.Error = append(free.Error, []byte(`{"error":"the process ended"}`))
			free.FinalizedAt = append(free.FinalizedAt, nil)
			free.ScheduledAt = append(free.ScheduledAt, time.Now())
			free.State = append(free.State, string(rivertype.JobStateAvailable))
		}
		if _, err := q.driver.GetExecutor().JobRescueMany(ctx, free); err != nil {
			return err
		}
		q.options.Log.Warn("taking up what was left in the middle", "chunks", len(stuck))
	}
}

// Stop takes up no further lot and waits for those under way until ctx ends.
// Then they are given up, to be designed after the next start.
func (q *Queue[Tx]) Stop(ctx context.Context) error {
	q.drain()
	if err := q.client.Stop(ctx); err == nil || ctx.Err() == nil {
		return err
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), abandonAfter)
	defer cancel()
	return q.client.StopAndCancel(last)
}

// atLeast passes on what is grave enough.
type atLeast struct {
	slog.Handler
	level slog.Level
}

func (h atLeast) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= h.level && h.Handler.Enabled(ctx, l)
}

func (h atLeast) WithAttrs(attrs []slog.Attr) slog.Handler {
	return atLeast{h.Handler.WithAttrs(attrs), h.level}
}

func (h atLeast) WithGroup(name string) slog.Handler {
	return atLeast{h.Handler.WithGroup(name), h.level}
}
