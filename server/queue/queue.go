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
	"go.opentelemetry.io/otel/trace"
	"go.opentelemetry.io/otel/trace/noop"

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

	// Roll tells the processes that work on these jobs of each other. nil means
	// that there is no other: jobs that are under way when the queue starts are a
	// dead process's.
	Roll Roll
	// Silence is after how long a process that is not heard of is taken for dead
	// and its chunks are taken over; default 20 s. A process that lives after all
	// does no harm.
	Silence time.Duration
	// Elsewhere says that the work is left to other processes.
	Elsewhere bool

	Workers   int           // chunks worked on at a time, each a lot at a time; 0 means one a processor
	ChunkLots int           // lots of a job; default 16
	LotTime   time.Duration // a lot that takes longer has failed; default 2 min
	Log       *slog.Logger  // nil means slog.Default

	// Tracer makes spans of chunks, and of what is done for them; nil means that
	// there are none.
	Tracer trace.Tracer
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
	if o.Silence <= 0 {
		o.Silence = 20 * time.Second
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.Tracer == nil {
		o.Tracer = noop.NewTracerProvider().Tracer("")
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
	inHand   *inHand
	draining chan struct{}
	drain    func()
	rolling  sync.WaitGroup
}

// New brings the jobs' tables up to date and makes the store hand its operations
// to the queue. Nothing is worked on before [Queue.Start].
func New[Tx any](ctx context.Context, driver riverdriver.Driver[Tx], engine store.Engine[Tx], o Options) (*Queue[Tx], error) {
	o, err := o.orDefaults()
	if err != nil {
		return nil, err
	}
	q := &Queue[Tx]{options: o, driver: driver, inHand: &inHand{jobs: map[int64]int{}}, draining: make(chan struct{})}
	q.drain = sync.OnceFunc(func() { close(q.draining) })
	quiet := slog.New(atLeast{o.Log.Handler(), slog.LevelWarn})
	if err := q.migrate(ctx, quiet); err != nil {
		return nil, err
	}
	workers := river.NewWorkers()
	w := &worker[Tx]{engine: engine, options: o, inHand: q.inHand, draining: q.draining, complete: completion[Tx]}
	if err := river.AddWorkerSafely(workers, w); err != nil {
		return nil, err
	}
	if q.client, err = river.NewClient(driver, config(o, workers, quiet)); err != nil {
		return nil, err
	}
	engine.OnStart(o.ChunkLots, q.enqueue)
	return q, nil
}

// migrate brings the jobs' tables up to date, in one process at a time.
func (q *Queue[Tx]) migrate(ctx context.Context, log *slog.Logger) error {
	migrator, err := rivermigrate.New(q.driver, &rivermigrate.Config{Logger: log})
	if err != nil {
		return err
	}
	up := func(ctx context.Context) error {
		_, err := migrator.Migrate(ctx, rivermigrate.DirectionUp, nil)
		return err
	}
	if q.options.Roll == nil {
		return up(ctx)
	}
	return q.options.Roll.Exclusively(ctx, up)
}

func config(o Options, workers *river.Workers, log *slog.Logger) *river.Config {
	c := &river.Config{
		Queues:                      map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: o.Workers}},
		Workers:                     workers,
		Hooks:                       []rivertype.Hook{inTurn},
		Logger:                      log,
		PollOnly:                    true, // of a database that cannot call
		FetchCooldown:               fetchCooldown,
		FetchPollInterval:           fetchPoll,
		JobTimeout:                  -1, // lots have their time, chunks need none
		RescueStuckJobsAfter:        time.Duration(o.ChunkLots+1) * (o.LotTime + abandonAfter),
		CompletedJobRetentionPeriod: keepDone,
		MaxAttempts:                 math.MaxInt16, // what bounds them is that no lot is at fault twice
	}
	if o.Elsewhere {
		c.Queues, c.Workers = nil, nil
	}
	return c
}

// enqueue makes jobs of chunks.
func (q *Queue[Tx]) enqueue(ctx context.Context, tx Tx, chunks []store.Chunk) error {
	jobs := make([]river.InsertManyParams, len(chunks))
	for i, c := range chunks {
		jobs[i].Args = jobArgs{c.Tenant, c.Operation, c.First, c.Last}
		jobs[i].InsertOpts = &river.InsertOpts{ScheduledAt: turnTime(c.Turn)}
	}
	_, err := q.client.InsertManyTx(ctx, tx, jobs)
	return err
}

// River takes up jobs in the order of the time that they are scheduled for. So a
// chunk's turn is told as a time, long past: a millisecond a turn, a lot that is.
var firstTurn = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

func turnTime(turn int64) time.Time { return firstTurn.Add(time.Duration(turn) * time.Millisecond) }

// inTurn makes jobs with such a time ready at once. River would have whoever is
// its leader at the moment find out that their time has come.
var inTurn = river.HookInsertBeginFunc(func(_ context.Context, p *rivertype.JobInsertParams) error {
	if p.State == rivertype.JobStateScheduled && p.ScheduledAt.Before(time.Now()) {
		p.State = rivertype.JobStateAvailable
	}
	return nil
})

// Start takes up work, until [Queue.Stop]. Work that a dead process has left
// comes first.
func (q *Queue[Tx]) Start(ctx context.Context) error {
	if q.options.Elsewhere {
		return nil
	}
	if q.options.Roll == nil {
		if err := q.rescue(ctx); err != nil {
			return err
		}
	} else {
		q.call(ctx)
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
		if err := q.free(ctx, stuck, horizon); err != nil {
			return err
		}
		q.options.Log.Warn("taking up what was left in the middle", "chunks", len(stuck))
	}
}

// free gives jobs back that were taken up before horizon, each in its turn.
func (q *Queue[Tx]) free(ctx context.Context, jobs []*rivertype.JobRow, horizon time.Time) error {
	free := &riverdriver.JobRescueManyParams{StuckHorizon: horizon}
	for _, job := range jobs {
		free.ID = append(free.ID, job.ID)
		free.Error = append(free.Error, []byte(`{"error":"the process ended"}`))
		free.FinalizedAt = append(free.FinalizedAt, nil)
		free.ScheduledAt = append(free.ScheduledAt, job.ScheduledAt)
		free.State = append(free.State, string(rivertype.JobStateAvailable))
	}
	_, err := q.driver.GetExecutor().JobRescueMany(ctx, free)
	return err
}

// Stop takes up no further lot and waits for those under way until ctx ends.
// Then they are given up, to be designed after the next start.
func (q *Queue[Tx]) Stop(ctx context.Context) error {
	q.drain()
	if q.options.Elsewhere {
		return nil
	}
	defer q.leave(context.WithoutCancel(ctx))
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
