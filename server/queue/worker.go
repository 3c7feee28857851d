package queue

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/rivertype"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/trace"

	"lotwright/server/store"
)

// jobArgs is a chunk as a job.
type jobArgs struct {
	Tenant    store.Tenant `json:"tenant"`
	Operation string       `json:"operation"`
	First     int          `json:"first"`
	Last      int          `json:"last"`
}

// Kind names the jobs in the database.
func (jobArgs) Kind() string { return "design_chunk" }

// worker designs the lots of chunks.
type worker[Tx any] struct {
	river.WorkerDefaults[jobArgs]
	engine   store.Engine[Tx]
	options  Options
	inHand   *inHand
	draining <-chan struct{}
	complete func(context.Context, Tx, *river.Job[jobArgs]) error
}

func completion[Tx any](ctx context.Context, tx Tx, job *river.Job[jobArgs]) error {
	_, err := river.JobCompleteTx[riverdriver.Driver[Tx]](ctx, tx, job)
	return err
}

// again puts a chunk back as it was, in its turn, for who comes next.
func again(job *river.Job[jobArgs]) error {
	return &rivertype.JobSnoozeError{Duration: min(time.Until(job.ScheduledAt), 0)}
}

// How long a worker waits after a fault of the machine before it tries again:
// twice as long each time, up to a bound. It keeps its chunk meanwhile. Given back
// to River, which would have to write that down, a chunk whose disk is full would
// be lost to this process.
const (
	firstWait   = 250 * time.Millisecond
	longestWait = 10 * time.Second
)

// Work designs what is open of a chunk and completes the job. The first lot of a
// chunk that was begun before may be what ended its worker.
func (w *worker[Tx]) Work(ctx context.Context, job *river.Job[jobArgs]) error {
	defer w.inHand.take(job.ID)()
	ctx, span := w.options.Tracer.Start(ctx, "chunk", trace.WithAttributes(
		attribute.String("operation", job.Args.Operation), attribute.Int("first", job.Args.First), attribute.Int("last", job.Args.Last)))
	defer span.End()
	c := &chunk{Chunk: store.Chunk{Tenant: job.Args.Tenant, Operation: job.Args.Operation, First: job.Args.First, Last: job.Args.Last}, faults: map[int]int{}}
	first := w.options.Design
	if job.Attempt > 1 {
		first = w.options.Apart
	}
	for wait := firstWait; ; wait = min(2*wait, longestWait) {
		err := w.work(ctx, c, first)
		if err == nil {
			err = w.engine.Complete(ctx, c.Chunk, func(ctx context.Context, tx Tx) error { return w.complete(ctx, tx, job) })
		}
		switch {
		case err == nil:
			return nil
		case errors.Is(err, errStopping) || ctx.Err() != nil:
			return again(job)
		}
		w.options.Log.Error("a chunk of lots has to wait", "operation", c.Operation, "first", c.First, "last", c.Last, "wait", wait, "error", err.Error())
		select {
		case <-time.After(wait):
		case <-w.draining:
			return again(job)
		}
	}
}

// chunk is a chunk at work.
type chunk struct {
	store.Chunk
	faults map[int]int // of the machine, met so far while designing a lot
}

var errStopping = errors.New("stopping")

// work designs the open lots of a chunk, the first of them with first.
func (w *worker[Tx]) work(ctx context.Context, c *chunk, first Design) error {
	open, err := w.engine.Open(ctx, c.Chunk)
	if err != nil || len(open) == 0 {
		return err
	}
	settings, err := w.engine.Settings(ctx, c.Chunk)
	if err != nil {
		return err
	}
	design := first
	for _, number := range open {
		if goOn, err := w.goOn(ctx, c.Chunk); err != nil || !goOn {
			return err
		}
		if err := w.one(ctx, c, number, settings, design); err != nil {
			return err
		}
		design = w.options.Design
	}
	return nil
}

// goOn is false once nobody wants the operation's lots any more.
func (w *worker[Tx]) goOn(ctx context.Context, c store.Chunk) (bool, error) {
	select {
	case <-w.draining:
		return false, errStopping
	default:
	}
	o, err := w.engine.Operation(ctx, c.Tenant, c.Operation)
	if errors.Is(err, store.ErrNotFound) {
		return false, nil
	}
	return o.State == store.Running, err
}

// triesApart is how many processes a lot may end before it has failed: something
// else may have killed one.
const triesApart = 2

// mostFaults is how many faults of the machine a lot may meet.
const mostFaults = 5

// one designs a lot and saves what came of it.
func (w *worker[Tx]) one(ctx context.Context, c *chunk, number int, settings []byte, design Design) error {
	lot, err := w.engine.Lot(ctx, c.Chunk, number)
	if err != nil {
		return err
	}
	done, err := w.options.Admit(ctx)
	if err != nil {
		return err
	}
	defer done()
	log := w.options.Log.With("operation", c.Operation, "lot", lot.ID)
	d, err := w.inTime(ctx, log, lot, settings, design)
	for try := 1; try < triesApart && errors.Is(err, ErrDied) && ctx.Err() == nil; try++ {
		d, err = w.inTime(ctx, log, lot, settings, design)
	}
	switch {
	case ctx.Err() != nil:
		return ctx.Err() // what a cancelled design returns is not kept
	case errors.Is(err, errTime):
		d = w.options.Failed(lot, fmt.Sprintf("not designed within %v (limit LotTime)", w.options.LotTime))
	case errors.Is(err, ErrDied):
		d = w.options.Failed(lot, "the program ended whenever it designed this lot")
	case errors.Is(err, errPanic):
		d = w.options.Failed(lot, "internal error; the server's log has the details")
	case err != nil:
		if c.faults[number]++; c.faults[number] < mostFaults {
			return err
		}
		d = w.options.Failed(lot, "internal error; the server's log has the details")
	}
	if err != nil {
		log.Error("lot failed", "error", err.Error())
	}
	if err == nil && d.From > 0 {
		if d, err = w.earlier(ctx, c.Chunk, number, d.From); err != nil {
			return err
		}
	}
	d.Number, d.Lot = number, lot.ID
	ctx, span := w.options.Tracer.Start(ctx, "store SaveDesign")
	defer span.End()
	return w.engine.SaveDesign(ctx, c.Chunk, d)
}

// earlier is the design of a lot in another revision of the batch.
func (w *worker[Tx]) earlier(ctx context.Context, c store.Chunk, number, revision int) (store.Design, error) {
	o, err := w.engine.Operation(ctx, c.Tenant, c.Operation)
	if err != nil {
		return store.Design{}, err
	}
	found, err := w.engine.Designs(ctx, c.Tenant, o.Batch, revision, number-1, 1)
	if err == nil && (len(found) == 0 || found[0].Number != number) {
		err = fmt.Errorf("lot %d has no design in revision %d: %w", number, revision, store.ErrNotFound)
	}
	if err != nil {
		return store.Design{}, err
	}
	return store.Design{Status: found[0].Status, Reason: found[0].Reason, Content: found[0].Content}, nil
}

var (
	errPanic = errors.New("panic")
	errTime  = errors.New("out of time")
)

// abandonAfter is how long a design may take to end once it was told to.
const abandonAfter = 10 * time.Second

// inTime designs a lot within its time. A design that does not end when it is
// told to goes on by itself, and what it returns is not looked at.
func (w *worker[Tx]) inTime(ctx context.Context, log *slog.Logger, lot store.Lot, settings []byte, design Design) (store.Design, error) {
	ctx, cancel := context.WithTimeoutCause(ctx, w.options.LotTime, errTime)
	defer cancel()
	type result struct {
		d   store.Design
		err error
	}
	results := make(chan result, 1)
	go func() {
		var r result
		defer func() {
			if p := recover(); p != nil {
				log.Error("panic", "value", fmt.Sprint(p), "stack", string(debug.Stack()))
				r.err = errPanic
			}
			results <- r
		}()
		r.d, r.err = design(ctx, lot, settings)
	}()
	var r result
	select {
	case r = <-results:
	case <-ctx.Done():
		select {
		case r = <-results:
		case <-time.After(abandonAfter):
			log.Error("the design does not end and is left to itself")
		}
	}
	if ctx.Err() != nil {
		return r.d, context.Cause(ctx)
	}
	return r.d, r.err
}
