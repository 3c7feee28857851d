// Package storetest is what every store must do. A back-end's own tests call
// [Run] with the real thing.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/store"
)

// Fixture is a store to be tested, and what stands in for its queue.
type Fixture[Tx any] struct {
	store.Engine[Tx]
	// Jobs records chunks that are handed over.
	Jobs *Jobs
}

// Jobs are the chunks a queue was given.
type Jobs struct {
	mu     sync.Mutex
	chunks []store.Chunk
	fail   error
}

func (j *Jobs) add(chunks []store.Chunk) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.fail != nil {
		return j.fail
	}
	j.chunks = append(j.chunks, chunks...)
	return nil
}

const (
	ours   = store.Tenant("ours")
	theirs = store.Tenant("theirs")

	chunkLots = 4
)

// suite runs each test on a store of its own.
type suite[Tx any] struct {
	*testing.T
	Fixture[Tx]
}

// Run tests stores that open makes: empty ones, closed when the test ends.
func Run[Tx any](t *testing.T, open func(t *testing.T) store.Engine[Tx]) {
	for name, test := range map[string]func(suite[Tx]){
		"batches":                     suite[Tx].batches,
		"requests":                    suite[Tx].requests,
		"import":                      suite[Tx].imports,
		"import again":                suite[Tx].importAgain,
		"lots do not change":          suite[Tx].lotsDoNotChange,
		"operation":                   suite[Tx].operation,
		"comparison":                  suite[Tx].comparison,
		"records":                     suite[Tx].records,
		"designs":                     suite[Tx].designs,
		"backlog":                     suite[Tx].backlog,
		"revisions":                   suite[Tx].revisions,
		"once":                        suite[Tx].once,
		"cancel":                      suite[Tx].cancel,
		"complete":                    suite[Tx].complete,
		"delete":                      suite[Tx].deletes,
		"turns":                       suite[Tx].turns,
		"quota":                       suite[Tx].quota,
		"quota, all at once":          suite[Tx].quotaAtOnce,
		"queue refuses":               suite[Tx].queueRefuses,
		"nothing of another tenant":   suite[Tx].tenants,
		"a call that is given up":     suite[Tx].givenUp,
		"lots saved at the same time": suite[Tx].together,
	} {
		t.Run(name, func(t *testing.T) {
			f := Fixture[Tx]{open(t), &Jobs{}}
			f.OnStart(chunkLots, func(_ context.Context, _ Tx, chunks []store.Chunk) error { return f.Jobs.add(chunks) })
			test(suite[Tx]{t, f})
		})
	}
}

func request(id, hash string) store.Request { return store.Request{ID: id, Hash: []byte(hash)} }

// batch makes a batch with lots L1 to Ln.
func (s suite[Tx]) batch(t store.Tenant, id string, lots int) {
	s.Helper()
	_, err := s.CreateBatch(s.Context(), t, id, "", store.Request{})
	require.NoError(s, err)
	_, refusals, err := s.AddLots(s.Context(), t, id, piece("first", 0, 1, lots))
	require.NoError(s, err)
	require.Empty(s, refusals)
}

// piece holds lots L<first> to L<last>.
func piece(id string, from, first, last int) store.Piece {
	p := store.Piece{Import: id, From: from}
	for n := first; n <= last; n++ {
		p.Messages = append(p.Messages, store.ImportMessage{Lot: store.Lot{ID: lotID(n), Content: content(n)}})
	}
	return p
}

func lotID(n int) string   { return fmt.Sprintf("L%d", n) }
func content(n int) []byte { return fmt.Appendf(nil, "content of %d", n) }

// start starts an operation and returns its chunks.
func (s suite[Tx]) start(batch, id string) []store.Chunk {
	s.Helper()
	s.Jobs.chunks = nil
	_, err := s.StartOperation(s.Context(), ours, batch, id, []byte("settings"), store.Request{})
	require.NoError(s, err)
	return s.Jobs.chunks
}

func (s suite[Tx]) save(c store.Chunk, number int, status store.Status) {
	s.Helper()
	require.NoError(s, s.SaveDesign(s.Context(), c, design(number, status)))
}

func design(number int, status store.Status) store.Design {
	return store.Design{Number: number, Lot: lotID(number), Status: status, Reason: "because", Content: fmt.Appendf(nil, "design of %d", number)}
}

func (s suite[Tx]) batches() {
	for _, id := range []string{"b", "a", "c"} {
		made, err := s.CreateBatch(s.Context(), ours, id, "Title "+id, store.Request{})
		require.NoError(s, err)
		read, err := s.Batch(s.Context(), ours, id)
		require.NoError(s, err)
		assert.Equal(s, made, read)
		assert.Equal(s, "Title "+id, read.Title)
		assert.False(s, read.Created.IsZero())
	}
	_, err := s.CreateBatch(s.Context(), ours, "a", "", store.Request{})
	assert.ErrorIs(s, err, store.ErrExists)
	page, err := s.Batches(s.Context(), ours, "", 2)
	require.NoError(s, err)
	assert.Equal(s, []string{"a", "b"}, ids(page))
	page, err = s.Batches(s.Context(), ours, "b", 2)
	require.NoError(s, err)
	assert.Equal(s, []string{"c"}, ids(page))
	_, err = s.Batch(s.Context(), ours, "d")
	assert.ErrorIs(s, err, store.ErrNotFound)
	assert.NoError(s, s.Check(s.Context()))
}

func ids(batches []store.Batch) (out []string) {
	for _, b := range batches {
		out = append(out, b.ID)
	}
	return out
}

// requests: the same id with the same hash makes one thing, under whatever new
// name; with another hash it is refused, and makes nothing.
func (s suite[Tx]) requests() {
	first, err := s.CreateBatch(s.Context(), ours, "a", "", request("r", "hash"))
	require.NoError(s, err)
	again, err := s.CreateBatch(s.Context(), ours, "b", "", request("r", "hash"))
	require.NoError(s, err)
	assert.Equal(s, first, again)
	_, err = s.CreateBatch(s.Context(), ours, "c", "", request("r", "other"))
	assert.ErrorIs(s, err, store.ErrRequestReused)
	all, err := s.Batches(s.Context(), ours, "", 10)
	require.NoError(s, err)
	assert.Equal(s, []string{"a"}, ids(all))

	_, _, err = s.AddLots(s.Context(), ours, "a", piece("i", 0, 1, 5))
	require.NoError(s, err)
	o, err := s.StartOperation(s.Context(), ours, "a", "o1", nil, request("s", "hash"))
	require.NoError(s, err)
	repeated, err := s.StartOperation(s.Context(), ours, "a", "o2", nil, request("s", "hash"))
	require.NoError(s, err)
	assert.Equal(s, o, repeated)
	assert.Len(s, s.Jobs.chunks, 2, "enqueued once")
	_, err = s.StartOperation(s.Context(), ours, "a", "o3", nil, request("r", "hash"))
	assert.Error(s, err, "a request that made a batch is not one that starts an operation")
}

func (s suite[Tx]) imports() {
	_, err := s.CreateBatch(s.Context(), ours, "a", "", store.Request{})
	require.NoError(s, err)
	p := piece("i", 0, 1, 3)
	p.Messages[1] = store.ImportMessage{Lot: store.Lot{ID: "bad"}, Refused: "no outline"}
	got, refusals, err := s.AddLots(s.Context(), ours, "a", p)
	require.NoError(s, err)
	assert.Equal(s, store.Import{ID: "i", Messages: 3, Added: 2, Refused: 1}, got)
	assert.Equal(s, []store.Refusal{{Message: 1, Lot: "bad", Reason: "no outline"}}, refusals)
	read, err := s.Import(s.Context(), ours, "a", "i")
	require.NoError(s, err)
	assert.Equal(s, got, read)
	b, err := s.Batch(s.Context(), ours, "a")
	require.NoError(s, err)
	assert.Equal(s, 2, b.Lots)
	fresh, err := s.Import(s.Context(), ours, "a", "other")
	require.NoError(s, err)
	assert.Equal(s, store.Import{ID: "other"}, fresh)
	_, err = s.Import(s.Context(), ours, "none", "i")
	assert.ErrorIs(s, err, store.ErrNotFound)
	_, _, err = s.AddLots(s.Context(), ours, "none", piece("i", 0, 1, 1))
	assert.ErrorIs(s, err, store.ErrNotFound)
}

// importAgain: what was acknowledged is passed over, what overlaps is added once,
// a gap is refused.
func (s suite[Tx]) importAgain() {
	s.batch(ours, "a", 3)
	got, _, err := s.AddLots(s.Context(), ours, "a", piece("first", 1, 2, 5))
	require.NoError(s, err)
	assert.Equal(s, store.Import{ID: "first", Messages: 5, Added: 5}, got)
	got, _, err = s.AddLots(s.Context(), ours, "a", piece("first", 0, 1, 2))
	require.NoError(s, err)
	assert.Equal(s, 5, got.Messages)
	_, _, err = s.AddLots(s.Context(), ours, "a", piece("first", 6, 7, 7))
	assert.ErrorIs(s, err, store.ErrGap)
	got, _, err = s.AddLots(s.Context(), ours, "a", piece("second", 0, 4, 6))
	require.NoError(s, err)
	assert.Equal(s, store.Import{ID: "second", Messages: 3, Added: 1, Known: 2}, got)
	b, err := s.Batch(s.Context(), ours, "a")
	require.NoError(s, err)
	assert.Equal(s, 6, b.Lots)
	chunk := s.start("a", "o")[0]
	for n := 1; n <= 4; n++ { // numbered in order of import, without gaps
		l, err := s.Lot(s.Context(), chunk, n)
		require.NoError(s, err)
		assert.Equal(s, store.Lot{Number: n, ID: lotID(n), Content: content(n)}, l)
	}
}

func (s suite[Tx]) lotsDoNotChange() {
	s.batch(ours, "a", 1)
	p := store.Piece{Import: "other", Messages: []store.ImportMessage{{Lot: store.Lot{ID: lotID(1), Content: []byte("changed")}}}}
	got, refusals, err := s.AddLots(s.Context(), ours, "a", p)
	require.NoError(s, err)
	assert.Equal(s, 1, got.Refused)
	require.Len(s, refusals, 1)
	l, err := s.Lot(s.Context(), s.start("a", "o")[0], 1)
	require.NoError(s, err)
	assert.Equal(s, content(1), l.Content)
}

func (s suite[Tx]) operation() {
	s.batch(ours, "a", 9)
	o, err := s.StartOperation(s.Context(), ours, "a", "o", []byte("settings"), store.Request{})
	require.NoError(s, err)
	assert.Equal(s, store.Operation{ID: "o", Purpose: store.ToDesign, Batch: "a", Revision: 1, State: store.Running, Settings: []byte("settings"), Lots: 9, Created: o.Created}, o)
	assert.Equal(s, []store.Chunk{stretch(1, 4), stretch(5, 8), stretch(9, 9)}, s.Jobs.chunks)
	read, err := s.Operation(s.Context(), ours, "o")
	require.NoError(s, err)
	assert.Equal(s, o, read)
	settings, err := s.Settings(s.Context(), s.Jobs.chunks[0])
	require.NoError(s, err)
	assert.Equal(s, "settings", string(settings))

	_, err = s.StartOperation(s.Context(), ours, "a", "second", nil, store.Request{})
	assert.ErrorIs(s, err, store.ErrState, "one at a time")
	_, err = s.CreateBatch(s.Context(), ours, "empty", "", store.Request{})
	require.NoError(s, err)
	_, err = s.StartOperation(s.Context(), ours, "empty", "third", nil, store.Request{})
	assert.ErrorIs(s, err, store.ErrState)
	_, err = s.StartOperation(s.Context(), ours, "none", "fourth", nil, store.Request{})
	assert.ErrorIs(s, err, store.ErrNotFound)
	_, err = s.Operation(s.Context(), ours, "second")
	assert.ErrorIs(s, err, store.ErrNotFound)
	b, err := s.Batch(s.Context(), ours, "a")
	require.NoError(s, err)
	assert.Equal(s, 1, b.Revision)
}

// comparison: an operation that makes no revision, and is otherwise like others.
func (s suite[Tx]) comparison() {
	s.batch(ours, "a", 2)
	s.save(s.start("a", "r")[0], 1, store.Designed)
	_, err := s.CancelOperation(s.Context(), ours, "r")
	require.NoError(s, err)
	for _, id := range []string{"o", "p"} {
		s.Jobs.chunks = nil
		o, err := s.StartComparison(s.Context(), ours, "a", id, []byte("settings"), request(id, "hash"))
		require.NoError(s, err)
		assert.Equal(s, store.Operation{ID: id, Purpose: store.ToCompare, Batch: "a", State: store.Running, Settings: []byte("settings"), Lots: 2, Created: o.Created}, o)
		again, err := s.StartComparison(s.Context(), ours, "a", "q", []byte("settings"), request(id, "hash"))
		require.NoError(s, err)
		assert.Equal(s, o, again)
		_, err = s.StartOperation(s.Context(), ours, "a", "q", nil, store.Request{})
		assert.ErrorIs(s, err, store.ErrState, "one at a time, of whatever purpose")
		s.save(s.Jobs.chunks[0], 2, store.Designed)
		s.save(s.Jobs.chunks[0], 1, store.Infeasible)
		o, err = s.Operation(s.Context(), ours, id)
		require.NoError(s, err)
		assert.Equal(s, store.Done, o.State)
		assert.Equal(s, store.Tally{Designed: 1, Infeasible: 1}, o.Tally)
		results, err := s.Results(s.Context(), ours, id, 0, 9)
		require.NoError(s, err)
		require.Len(s, results, 2)
		assert.Equal(s, "design of 1", string(results[0].Content))
		assert.Equal(s, 2, results[1].Number)
		results, err = s.Results(s.Context(), ours, id, 1, 9)
		require.NoError(s, err)
		assert.Len(s, results, 1)
		results, err = s.Results(s.Context(), theirs, id, 0, 9)
		require.NoError(s, err)
		assert.Empty(s, results)
	}
	b, err := s.Batch(s.Context(), ours, "a")
	require.NoError(s, err)
	assert.Equal(s, 1, b.Revision)
	for revision := -4; revision <= 2; revision++ {
		o, err := s.OperationOf(s.Context(), ours, "a", revision)
		if revision == 1 {
			require.NoError(s, err)
			assert.Equal(s, "r", o.ID)
			continue
		}
		assert.ErrorIs(s, err, store.ErrNotFound, "%d", revision)
	}
	list, err := s.Operations(s.Context(), ours, "", 9)
	require.NoError(s, err)
	assert.Len(s, list, 3)
	o, err := s.StartOperation(s.Context(), ours, "a", "s", nil, store.Request{})
	require.NoError(s, err)
	assert.Equal(s, 2, o.Revision)
}

// records are kept by kind and tenant, and made once a request.
func (s suite[Tx]) records() {
	ctx := s.Context()
	for _, id := range []string{"b", "a", "c"} {
		made, err := s.CreateRecord(ctx, ours, store.HeadTable, id, []byte("table "+id), request("table "+id, "hash"))
		require.NoError(s, err)
		read, err := s.Record(ctx, ours, store.HeadTable, id)
		require.NoError(s, err)
		assert.Equal(s, made, read)
		assert.Equal(s, store.Record{Kind: store.HeadTable, ID: id, Content: []byte("table " + id), Created: made.Created}, read)
		assert.False(s, read.Created.IsZero())
		again, err := s.CreateRecord(ctx, ours, store.HeadTable, "d", []byte("table "+id), request("table "+id, "hash"))
		require.NoError(s, err)
		assert.Equal(s, made, again)
	}
	_, err := s.CreateRecord(ctx, ours, store.HeadTable, "a", []byte("x"), store.Request{})
	assert.ErrorIs(s, err, store.ErrExists)
	_, err = s.CreateRecord(ctx, ours, store.HeadTable, "d", []byte("x"), request("table a", "other"))
	assert.ErrorIs(s, err, store.ErrRequestReused)
	_, err = s.CreateBatch(ctx, ours, "d", "", request("table a", "other"))
	assert.ErrorIs(s, err, store.ErrRequestReused)
	for _, t := range []store.Tenant{ours, theirs} { // the same id of another kind, or another's
		_, err = s.CreateRecord(ctx, t, store.Profile, "a", nil, store.Request{})
		require.NoError(s, err)
	}
	page, err := s.Records(ctx, ours, store.HeadTable, "", 2)
	require.NoError(s, err)
	require.Len(s, page, 2)
	assert.Equal(s, []string{"a", "b"}, []string{page[0].ID, page[1].ID})
	page, err = s.Records(ctx, ours, store.HeadTable, "b", 2)
	require.NoError(s, err)
	require.Len(s, page, 1)
	assert.Equal(s, "table c", string(page[0].Content))
	page, err = s.Records(ctx, theirs, store.HeadTable, "", 2)
	require.NoError(s, err)
	assert.Empty(s, page)

	require.NoError(s, s.DeleteRecord(ctx, ours, store.HeadTable, "a"))
	assert.ErrorIs(s, s.DeleteRecord(ctx, ours, store.HeadTable, "a"), store.ErrNotFound)
	assert.ErrorIs(s, s.DeleteRecord(ctx, theirs, store.HeadTable, "b"), store.ErrNotFound)
	_, err = s.Record(ctx, ours, store.HeadTable, "a")
	assert.ErrorIs(s, err, store.ErrNotFound)
	_, err = s.Record(ctx, theirs, store.HeadTable, "b")
	assert.ErrorIs(s, err, store.ErrNotFound)
	_, err = s.Record(ctx, ours, store.Profile, "a")
	assert.NoError(s, err)
}

// stretch is a chunk of the operation o.
func stretch(first, last int) store.Chunk {
	return store.Chunk{Tenant: ours, Operation: "o", First: first, Last: last, Turn: int64(first) - 1}
}

// designs are counted, listed by number and by time, and the last one ends the
// operation.
func (s suite[Tx]) designs() {
	s.batch(ours, "a", 5)
	c := s.start("a", "o")
	s.save(c[1], 5, store.Designed)
	s.save(c[0], 3, store.Infeasible)
	s.save(c[0], 1, store.Invalid)
	s.save(c[0], 2, store.Failed)
	o, err := s.Operation(s.Context(), ours, "o")
	require.NoError(s, err)
	assert.Equal(s, store.Running, o.State)
	s.save(c[0], 4, store.Designed)
	o, err = s.Operation(s.Context(), ours, "o")
	require.NoError(s, err)
	assert.Equal(s, store.Done, o.State)
	assert.False(s, o.Ended.IsZero())
	assert.Equal(s, store.Tally{Designed: 2, Infeasible: 1, Invalid: 1, Failed: 1}, o.Tally)

	page, err := s.Designs(s.Context(), ours, "a", 1, 0, 3)
	require.NoError(s, err)
	assert.Equal(s, []int{1, 2, 3}, numbers(page))
	want := design(2, store.Failed)
	want.Place = 4
	assert.Equal(s, want, page[1])
	page, err = s.Designs(s.Context(), ours, "a", 1, 3, 3)
	require.NoError(s, err)
	assert.Equal(s, []int{4, 5}, numbers(page))
	page, err = s.Finished(s.Context(), ours, "o", 0, 2)
	require.NoError(s, err)
	assert.Equal(s, []int{5, 3}, numbers(page))
	assert.Empty(s, page[0].Content)
	page, err = s.Finished(s.Context(), ours, "o", 2, 9)
	require.NoError(s, err)
	assert.Equal(s, []int{1, 2, 4}, numbers(page))
	_, err = s.Designs(s.Context(), ours, "a", 2, 0, 3)
	assert.ErrorIs(s, err, store.ErrNotFound)
}

func numbers(designs []store.Design) (out []int) {
	for _, d := range designs {
		out = append(out, d.Number)
	}
	return out
}

// backlog is of all tenants, and of operations that run.
func (s suite[Tx]) backlog() {
	lots, since, err := s.Backlog(s.Context())
	require.NoError(s, err)
	assert.Zero(s, lots)
	assert.True(s, since.IsZero())
	s.batch(ours, "a", 3)
	s.batch(theirs, "a", 2)
	c := s.start("a", "o")[0]
	_, err = s.StartOperation(s.Context(), theirs, "a", "p", nil, store.Request{})
	require.NoError(s, err)
	s.save(c, 1, store.Designed)
	first, err := s.Operation(s.Context(), ours, "o")
	require.NoError(s, err)
	lots, since, err = s.Backlog(s.Context())
	require.NoError(s, err)
	assert.Equal(s, 4, lots)
	assert.Equal(s, first.Created, since)
	_, err = s.CancelOperation(s.Context(), ours, "o")
	require.NoError(s, err)
	lots, _, err = s.Backlog(s.Context())
	require.NoError(s, err)
	assert.Equal(s, 2, lots)
}

// revisions: a new run leaves the old designs as they were, and lots that come
// in later belong to later runs only.
func (s suite[Tx]) revisions() {
	s.batch(ours, "a", 1)
	s.save(s.start("a", "o1")[0], 1, store.Designed)
	_, _, err := s.AddLots(s.Context(), ours, "a", piece("more", 0, 2, 2))
	require.NoError(s, err)
	c := s.start("a", "o2")[0]
	s.save(c, 1, store.Infeasible)
	s.save(c, 2, store.Designed)
	first, err := s.Designs(s.Context(), ours, "a", 1, 0, 9)
	require.NoError(s, err)
	assert.Equal(s, []int{1}, numbers(first))
	assert.Equal(s, store.Designed, first[0].Status)
	second, err := s.Designs(s.Context(), ours, "a", 2, 0, 9)
	require.NoError(s, err)
	assert.Equal(s, []int{1, 2}, numbers(second))
	made, err := s.OperationOf(s.Context(), ours, "a", 2)
	require.NoError(s, err)
	assert.Equal(s, "o2", made.ID)
	list, err := s.Operations(s.Context(), ours, "", 1)
	require.NoError(s, err)
	require.Len(s, list, 1)
	assert.Equal(s, "o2", list[0].ID)
	list, err = s.Operations(s.Context(), ours, "o2", 9)
	require.NoError(s, err)
	require.Len(s, list, 1)
	assert.Equal(s, "o1", list[0].ID)
}

// once: of two designs of a lot the first stays, and is counted once.
func (s suite[Tx]) once() {
	s.batch(ours, "a", 2)
	c := s.start("a", "o")[0]
	s.save(c, 1, store.Designed)
	s.save(c, 1, store.Failed)
	got, err := s.Designs(s.Context(), ours, "a", 1, 0, 9)
	require.NoError(s, err)
	require.Len(s, got, 1)
	assert.Equal(s, store.Designed, got[0].Status)
	o, err := s.Operation(s.Context(), ours, "o")
	require.NoError(s, err)
	assert.Equal(s, store.Tally{Designed: 1}, o.Tally)
}

// cancel keeps what is finished and takes nothing more.
func (s suite[Tx]) cancel() {
	s.batch(ours, "a", 3)
	c := s.start("a", "o")[0]
	s.save(c, 2, store.Designed)
	o, err := s.CancelOperation(s.Context(), ours, "o")
	require.NoError(s, err)
	assert.Equal(s, store.Cancelled, o.State)
	s.save(c, 1, store.Designed)
	again, err := s.CancelOperation(s.Context(), ours, "o")
	require.NoError(s, err)
	assert.Equal(s, o, again)
	got, err := s.Designs(s.Context(), ours, "a", 1, 0, 9)
	require.NoError(s, err)
	assert.Equal(s, []int{2}, numbers(got))
	open, err := s.Open(s.Context(), c)
	require.NoError(s, err)
	assert.Empty(s, open)
	assert.NoError(s, s.Complete(s.Context(), c, func(context.Context, Tx) error { return nil }))
	_, err = s.CancelOperation(s.Context(), ours, "none")
	assert.ErrorIs(s, err, store.ErrNotFound)
	s.start("a", "next") // and the batch is free again
}

func (s suite[Tx]) complete() {
	s.batch(ours, "a", 2)
	c := s.start("a", "o")[0]
	s.save(c, 1, store.Designed)
	calls := 0
	last := func(context.Context, Tx) error { calls++; return nil }
	assert.ErrorIs(s, s.Complete(s.Context(), c, last), store.ErrState)
	s.save(c, 2, store.Designed)
	assert.NoError(s, s.Complete(s.Context(), c, last))
	assert.Equal(s, 1, calls)
	broken := errors.New("the queue is out")
	assert.ErrorIs(s, s.Complete(s.Context(), c, func(context.Context, Tx) error { return broken }), broken)
}

func (s suite[Tx]) deletes() {
	s.batch(ours, "a", 2)
	s.batch(ours, "b", 1)
	_, err := s.CreateBatch(s.Context(), ours, "x", "", request("r", "hash"))
	require.NoError(s, err)
	c := s.start("a", "o")[0]
	assert.ErrorIs(s, s.DeleteBatch(s.Context(), ours, "a"), store.ErrState)
	s.save(c, 1, store.Designed)
	_, err = s.CancelOperation(s.Context(), ours, "o")
	require.NoError(s, err)
	require.NoError(s, s.DeleteBatch(s.Context(), ours, "a"))
	assert.ErrorIs(s, s.DeleteBatch(s.Context(), ours, "a"), store.ErrNotFound)
	_, err = s.Operation(s.Context(), ours, "o")
	assert.ErrorIs(s, err, store.ErrNotFound)
	got, err := s.Finished(s.Context(), ours, "o", 0, 9)
	require.NoError(s, err)
	assert.Empty(s, got)
	assert.NoError(s, s.SaveDesign(s.Context(), c, design(2, store.Designed)), "a worker that comes late")
	open, err := s.Open(s.Context(), c)
	require.NoError(s, err)
	assert.Empty(s, open)
	left, err := s.Batches(s.Context(), ours, "", 9)
	require.NoError(s, err)
	assert.Equal(s, []string{"b", "x"}, ids(left))

	// A batch of the same name begins anew, and so does a request of the same id.
	s.batch(ours, "a", 1)
	require.NoError(s, s.DeleteBatch(s.Context(), ours, "x"))
	_, err = s.CreateBatch(s.Context(), ours, "y", "", request("r", "other"))
	assert.NoError(s, err)
}

// turns: who comes later stands where the others have come to, whatever they have
// before them, and behind what is his own.
func (s suite[Tx]) turns() {
	s.batch(ours, "a", 5)
	s.batch(ours, "b", 5)
	s.batch(theirs, "a", 5)
	turns := func() (out []int64) {
		for _, c := range s.Jobs.chunks {
			out = append(out, c.Turn)
		}
		return out
	}
	c := s.start("a", "o")
	assert.Equal(s, []int64{0, 4}, turns())
	s.save(c[0], 1, store.Designed)
	s.save(c[0], 2, store.Failed)
	s.start("b", "p")
	assert.Equal(s, []int64{5, 9}, turns(), "behind the tenant's own")
	s.Jobs.chunks = nil
	_, err := s.StartOperation(s.Context(), theirs, "a", "o", nil, store.Request{})
	require.NoError(s, err)
	assert.Equal(s, []int64{2, 6}, turns(), "among the others'")
}

// queueRefuses: an operation that cannot be enqueued does not exist.
func (s suite[Tx]) queueRefuses() {
	s.batch(ours, "a", 1)
	s.Jobs.fail = errors.New("the queue is out")
	_, err := s.StartOperation(s.Context(), ours, "a", "o", nil, request("r", "hash"))
	assert.ErrorIs(s, err, s.Jobs.fail)
	_, err = s.Operation(s.Context(), ours, "o")
	assert.ErrorIs(s, err, store.ErrNotFound)
	b, err := s.Batch(s.Context(), ours, "a")
	require.NoError(s, err)
	assert.Equal(s, 0, b.Revision)
	s.Jobs.fail = nil
	_, err = s.StartOperation(s.Context(), ours, "a", "o", nil, request("r", "hash"))
	assert.NoError(s, err)
}

// tenants: every method with another tenant's ids finds nothing and changes
// nothing.
func (s suite[Tx]) tenants() {
	ctx := s.Context()
	s.batch(ours, "a", 2)
	c := s.start("a", "o")[0]
	s.save(c, 1, store.Designed)
	before, err := s.Operation(ctx, ours, "o")
	require.NoError(s, err)
	foreign := c
	foreign.Tenant = theirs

	for name, call := range map[string]func() error{
		"Batch":           func() error { _, err := s.Batch(ctx, theirs, "a"); return err },
		"DeleteBatch":     func() error { return s.DeleteBatch(ctx, theirs, "a") },
		"Import":          func() error { _, err := s.Import(ctx, theirs, "a", "first"); return err },
		"AddLots":         func() error { _, _, err := s.AddLots(ctx, theirs, "a", piece("first", 2, 3, 3)); return err },
		"StartOperation":  func() error { _, err := s.StartOperation(ctx, theirs, "a", "p", nil, store.Request{}); return err },
		"StartComparison": func() error { _, err := s.StartComparison(ctx, theirs, "a", "p", nil, store.Request{}); return err },
		"Operation":       func() error { _, err := s.Operation(ctx, theirs, "o"); return err },
		"CancelOperation": func() error { _, err := s.CancelOperation(ctx, theirs, "o"); return err },
		"OperationOf":     func() error { _, err := s.OperationOf(ctx, theirs, "a", 1); return err },
		"Designs":         func() error { _, err := s.Designs(ctx, theirs, "a", 1, 0, 9); return err },
		"Settings":        func() error { _, err := s.Settings(ctx, foreign); return err },
		"Lot":             func() error { _, err := s.Lot(ctx, foreign, 1); return err },
	} {
		assert.ErrorIs(s, call(), store.ErrNotFound, name)
	}
	batches, err := s.Batches(ctx, theirs, "", 9)
	require.NoError(s, err)
	assert.Empty(s, batches)
	operations, err := s.Operations(ctx, theirs, "", 9)
	require.NoError(s, err)
	assert.Empty(s, operations)
	finished, err := s.Finished(ctx, theirs, "o", 0, 9)
	require.NoError(s, err)
	assert.Empty(s, finished)
	open, err := s.Open(ctx, foreign)
	require.NoError(s, err)
	assert.Empty(s, open)
	require.NoError(s, s.SaveDesign(ctx, foreign, design(2, store.Designed)))

	after, err := s.Operation(ctx, ours, "o")
	require.NoError(s, err)
	assert.Equal(s, before, after)

	// The same ids are theirs to use.
	s.batch(theirs, "a", 1)
	_, err = s.StartOperation(ctx, theirs, "a", "o", nil, store.Request{})
	assert.NoError(s, err)
}

// givenUp: a call whose context has ended writes nothing.
func (s suite[Tx]) givenUp() {
	ctx, cancel := context.WithCancel(s.Context())
	cancel()
	_, err := s.CreateBatch(ctx, ours, "a", "", store.Request{})
	assert.ErrorIs(s, err, context.Canceled)
	_, err = s.Batch(s.Context(), ours, "a")
	assert.ErrorIs(s, err, store.ErrNotFound)
}

// together: designs saved at the same time, each twice, are all there once and
// have places without gaps.
func (s suite[Tx]) together() {
	const lots = 40
	s.batch(ours, "a", lots)
	c := s.start("a", "o")[0]
	var wg sync.WaitGroup
	for range 2 {
		for n := 1; n <= lots; n++ {
			wg.Go(func() { assert.NoError(s, s.SaveDesign(s.Context(), c, design(n, store.Designed))) })
		}
	}
	wg.Wait()
	got, err := s.Finished(s.Context(), ours, "o", 0, 2*lots)
	require.NoError(s, err)
	seen := map[int]bool{}
	for i, d := range got {
		assert.Equal(s, i+1, d.Place)
		seen[d.Number] = true
	}
	assert.Len(s, seen, lots)
	o, err := s.Operation(s.Context(), ours, "o")
	require.NoError(s, err)
	assert.Equal(s, store.Done, o.State)
}
