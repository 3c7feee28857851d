package queue_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lotwright/server/queue"
	"lotwright/server/store"
	"lotwright/server/store/sqlite"
)

func TestMain(m *testing.M) {
	if asProcess != nil && os.Getenv(processAddress) != "" {
		asProcess()
	}
	goleak.VerifyTestMain(m)
}

// processAddress in the environment makes the test binary a process of a fleet,
// which asProcess is where there are such.
const processAddress = "LOTWRIGHT_TEST_PROCESS"

var asProcess func()

// program is a service without its doors: a store, a queue, and lots whose ids
// say what happens to them.
type program struct {
	testing.TB
	folder  string
	options queue.Options

	*sqlite.Store
	queue *queue.Queue[*sql.Tx]

	mu     sync.Mutex
	worked map[string]int
	order  []string
	apart  []string

	size    int           // bytes of a design, beside what it says
	entered chan string   // receives the id of a lot "wait…" when its design begins
	release chan struct{} // lets it end
}

func newProgram(t testing.TB, o queue.Options) *program {
	p := &program{TB: t, folder: t.TempDir(), options: o, worked: map[string]int{}, entered: make(chan string, 100), release: make(chan struct{})}
	p.options.Design = p.design
	p.options.Apart = p.designApart
	p.options.Failed = func(lot store.Lot, reason string) store.Design {
		return store.Design{Status: store.Failed, Reason: reason, Content: []byte("failed " + lot.ID)}
	}
	p.options.Log = slog.New(slog.NewTextHandler(t.Output(), nil))
	p.start()
	return p
}

func (p *program) start() {
	var err error
	p.Store, err = sqlite.Open(p.Context(), p.folder)
	require.NoError(p, err)
	p.queue, err = queue.New(p.Context(), riversqlite.New(p.Writer()), p.Store, p.options)
	require.NoError(p, err)
	require.NoError(p, p.queue.Start(p.Context()))
}

// stop ends the queue and the store, patiently or not.
func (p *program) stop(patience time.Duration) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	assert.NoError(p, p.queue.Stop(ctx))
	assert.NoError(p, p.Store.Close())
}

func (p *program) design(ctx context.Context, lot store.Lot, settings []byte) (store.Design, error) {
	p.mu.Lock()
	p.worked[lot.ID]++
	n := p.worked[lot.ID]
	p.order = append(p.order, lot.ID)
	p.mu.Unlock()
	switch kind, _, _ := strings.Cut(lot.ID, " "); {
	case kind == "panic":
		panic("planted")
	case kind == "fault" && n < 3, kind == "faulty":
		return store.Design{}, errors.New("the machine is out of sorts")
	case kind == "wait":
		p.entered <- lot.ID
		select {
		case <-p.release:
		case <-ctx.Done():
			return store.Design{}, ctx.Err()
		}
	case kind == "slow":
		<-ctx.Done()
		return store.Design{}, ctx.Err()
	}
	content := fmt.Appendf(make([]byte, 0, p.size), "%s of %s", settings, lot.ID)
	return store.Design{Status: store.Designed, Content: append(content, make([]byte, p.size)...)}, nil
}

func (p *program) designApart(ctx context.Context, lot store.Lot, settings []byte) (store.Design, error) {
	p.mu.Lock()
	p.apart = append(p.apart, lot.ID)
	p.mu.Unlock()
	if strings.HasPrefix(lot.ID, "deadly") {
		return store.Design{}, queue.ErrDied
	}
	return p.design(ctx, lot, settings)
}

// run starts an operation on lots of the given ids.
func (p *program) run(lots ...string) { startRun(p.TB, p.Store, store.Local, lots...) }

// startRun starts an operation "o" of a tenant on lots of the given ids.
func startRun(p testing.TB, s store.Store, t store.Tenant, lots ...string) {
	_, err := s.CreateBatch(p.Context(), t, "b", "", store.Request{})
	require.NoError(p, err)
	piece := store.Piece{Import: "i"}
	for _, id := range lots {
		piece.Messages = append(piece.Messages, store.ImportMessage{Lot: store.Lot{ID: id, Content: []byte(id)}})
	}
	_, _, err = s.AddLots(p.Context(), t, "b", piece)
	require.NoError(p, err)
	_, err = s.StartOperation(p.Context(), t, "b", "o", []byte("design"), store.Request{})
	require.NoError(p, err)
}

func plain(n int) (lots []string) {
	for i := range n {
		lots = append(lots, fmt.Sprintf("plain %02d", i+1))
	}
	return lots
}

func (p *program) operation() store.Operation {
	o, err := p.Operation(p.Context(), store.Local, "o")
	require.NoError(p, err)
	return o
}

// ended waits until the operation is over.
func (p *program) ended() store.Operation {
	require.Eventually(p, func() bool { return p.operation().State != store.Running }, 20*time.Second, 5*time.Millisecond)
	return p.operation()
}

// outcomes are the statuses and contents by lot.
func (p *program) outcomes() map[string]string {
	designs, err := p.Designs(p.Context(), store.Local, "b", 1, 0, 1000)
	require.NoError(p, err)
	out := map[string]string{}
	for _, d := range designs {
		out[d.Lot] = string(d.Status) + " " + d.Reason + ": " + string(d.Content)
	}
	return out
}

func (p *program) jobs(state string) (n int) {
	require.NoError(p, p.Writer().QueryRow(`SELECT count(*) FROM river_job WHERE state = ?`, state).Scan(&n))
	return n
}

func designed(lots ...string) map[string]string {
	out := map[string]string{}
	for _, id := range lots {
		out[id] = "designed : design of " + id
	}
	return out
}

func TestEveryLotIsDesigned(t *testing.T) {
	p := newProgram(t, queue.Options{ChunkLots: 3})
	defer p.stop(time.Minute)
	lots := plain(20)
	p.run(lots...)
	o := p.ended()
	assert.Equal(t, store.Done, o.State)
	assert.Equal(t, store.Tally{Designed: 20}, o.Tally)
	assert.Equal(t, designed(lots...), p.outcomes())
	for _, id := range lots {
		assert.Equal(t, 1, p.worked[id], id)
	}
	require.Eventually(t, func() bool { return p.jobs("completed") == 7 }, 20*time.Second, 5*time.Millisecond)
	assert.Empty(t, p.apart)
}

// TestOneLotCostsNoOther: a panic, a lot that is too slow and a fault of the
// machine, all in one chunk.
func TestOneLotCostsNoOther(t *testing.T) {
	p := newProgram(t, queue.Options{LotTime: 200 * time.Millisecond})
	defer p.stop(time.Minute)
	p.run("plain 1", "panic", "fault", "slow", "plain 2")
	o := p.ended()
	assert.Equal(t, store.Tally{Designed: 3, Failed: 2}, o.Tally)
	want := designed("plain 1", "fault", "plain 2")
	want["panic"] = "failed internal error; the server's log has the details: failed panic"
	want["slow"] = "failed not designed within 200ms (limit LotTime): failed slow"
	assert.Equal(t, want, p.outcomes())
	assert.Equal(t, 1, p.worked["panic"], "what is wrong with a lot is not tried again")
	assert.Equal(t, 1, p.worked["plain 1"], "what is saved is not done again")
	assert.Equal(t, 3, p.worked["fault"])
}

// TestDeadProcess: jobs of a process that is no more are taken up at the next
// start, the lot it was at apart, what it had saved not at all.
func TestDeadProcess(t *testing.T) {
	p := newProgram(t, queue.Options{Workers: 1})
	p.run("plain 1", "wait", "plain 2")
	<-p.entered
	// It dies here: whatever it does afterwards, the file stays as it is now.
	dead, copied := p.Store, t.TempDir()+"/copy"
	require.NoError(t, sqlite.Backup(t.Context(), p.folder, copied))
	close(p.release)
	p.ended()
	p.stop(time.Minute)
	require.NotNil(t, dead)

	p.folder = restore(t, copied)
	p.worked, p.apart = map[string]int{}, nil
	p.start()
	defer p.stop(time.Minute)
	assert.Equal(t, store.Tally{Designed: 3}, p.ended().Tally)
	assert.Equal(t, designed("plain 1", "wait", "plain 2"), p.outcomes())
	assert.Equal(t, map[string]int{"wait": 1, "plain 2": 1}, p.worked)
	assert.Equal(t, []string{"wait"}, p.apart)
}

// TestDeadlyLot: a lot that ends whatever process designs it has failed, and the
// rest of its chunk has not.
func TestDeadlyLot(t *testing.T) {
	p := newProgram(t, queue.Options{Workers: 1})
	p.run("wait", "deadly", "plain 1")
	<-p.entered
	copied := t.TempDir() + "/copy"
	require.NoError(t, sqlite.Backup(t.Context(), p.folder, copied))
	close(p.release)
	p.ended()
	p.stop(time.Minute)

	// In the copy the first lot has its design already: it died of the second.
	p.folder = restore(t, copied)
	s, err := sqlite.Open(t.Context(), p.folder)
	require.NoError(t, err)
	chunk := store.Chunk{Tenant: store.Local, Operation: "o", First: 1, Last: 3}
	require.NoError(t, s.SaveDesign(t.Context(), chunk, store.Design{Number: 1, Lot: "wait", Status: store.Designed, Content: []byte("design of wait")}))
	require.NoError(t, s.Close())
	p.apart = nil
	p.start()
	defer p.stop(time.Minute)
	assert.Equal(t, store.Tally{Designed: 2, Failed: 1}, p.ended().Tally)
	want := designed("wait", "plain 1")
	want["deadly"] = "failed the program ended whenever it designed this lot: failed deadly"
	assert.Equal(t, want, p.outcomes())
	assert.Equal(t, []string{"deadly", "deadly"}, p.apart)
}

// TestDrain: an orderly stop waits for the lot under way, and the next start goes
// on with the others as if nothing had been.
func TestDrain(t *testing.T) {
	p := newProgram(t, queue.Options{Workers: 1})
	p.run("wait", "plain 1", "plain 2")
	<-p.entered
	time.AfterFunc(100*time.Millisecond, func() { close(p.release) })
	p.stop(time.Minute)
	assert.Equal(t, map[string]int{"wait": 1}, p.worked)
	p.start()
	defer p.stop(time.Minute)
	assert.Equal(t, store.Tally{Designed: 3}, p.ended().Tally)
	assert.Equal(t, map[string]int{"wait": 1, "plain 1": 1, "plain 2": 1}, p.worked)
	assert.Empty(t, p.apart, "nothing died")
}

// TestImpatientStop: a lot that takes too long is given up, not failed.
func TestImpatientStop(t *testing.T) {
	p := newProgram(t, queue.Options{Workers: 1})
	p.run("plain 1", "wait")
	<-p.entered
	p.stop(50 * time.Millisecond)
	close(p.release)
	p.start()
	defer p.stop(time.Minute)
	assert.Equal(t, store.Tally{Designed: 2}, p.ended().Tally)
	assert.Equal(t, map[string]int{"plain 1": 1, "wait": 2}, p.worked)
	assert.Empty(t, p.apart)
}

func TestCancel(t *testing.T) {
	p := newProgram(t, queue.Options{Workers: 1, ChunkLots: 2})
	defer p.stop(time.Minute)
	p.run("plain 1", "wait", "plain 2", "plain 3")
	<-p.entered
	_, err := p.CancelOperation(t.Context(), store.Local, "o")
	require.NoError(t, err)
	close(p.release)
	require.Eventually(t, func() bool { return p.jobs("completed") == 2 }, 20*time.Second, 5*time.Millisecond)
	assert.Equal(t, designed("plain 1"), p.outcomes())
	assert.Equal(t, store.Tally{Designed: 1}, p.operation().Tally)
	assert.NotContains(t, p.worked, "plain 2")
}

// TestNobodyStarves: who comes with a few lots while another's many are at work
// is served among them, not after them.
func TestNobodyStarves(t *testing.T) {
	p := newProgram(t, queue.Options{Workers: 1, ChunkLots: 2})
	defer p.stop(time.Minute)
	const large, small = store.Tenant("large"), store.Tenant("small")
	startRun(t, p.Store, large, append([]string{"wait"}, plain(29)...)...)
	<-p.entered
	startRun(t, p.Store, small, "small 1", "small 2", "small 3", "small 4", "small 5", "small 6")
	close(p.release)
	done := func(tenant store.Tenant) int {
		o, err := p.Operation(t.Context(), tenant, "o")
		require.NoError(t, err)
		return o.Finished()
	}
	require.Eventually(t, func() bool { return done(large) == 30 && done(small) == 6 }, time.Minute, 5*time.Millisecond)
	assert.Equal(t, 6, amongFirst(6+6+2*2, "small", p.order), "as many of the one as of the other, give or take a chunk")
}

// amongFirst counts the lots of a kind among the first n that were worked on.
func amongFirst(n int, kind string, lots []string) (count int) {
	for _, id := range lots[:n] {
		if strings.HasPrefix(id, kind) {
			count++
		}
	}
	return count
}

// TestFullDiskIsWaitedOut: with no room for designs the work waits, and goes on by
// itself when there is.
func TestFullDiskIsWaitedOut(t *testing.T) {
	p := newProgram(t, queue.Options{Workers: 2, ChunkLots: 2})
	defer p.stop(time.Minute)
	p.size = 100_000
	p.run("wait 1", "plain 1", "wait 2", "plain 2", "plain 3")
	<-p.entered
	<-p.entered
	_, err := p.Writer().Exec(`PRAGMA max_page_count = 1`)
	require.NoError(t, err)
	close(p.release)
	time.Sleep(600 * time.Millisecond) // and more than one try fails
	assert.Equal(t, store.Running, p.operation().State)
	assert.Zero(t, p.operation().Finished())
	_, err = p.Writer().Exec(`PRAGMA max_page_count = 1000000`)
	require.NoError(t, err)
	assert.Equal(t, store.Tally{Designed: 5}, p.ended().Tally)
	assert.Empty(t, p.apart)
}

// TestFaultThatStays: a lot that cannot be designed for reasons of the machine
// does not wait for ever.
func TestFaultThatStays(t *testing.T) {
	p := newProgram(t, queue.Options{})
	defer p.stop(time.Minute)
	p.run("plain 1", "faulty", "plain 2")
	assert.Equal(t, store.Tally{Designed: 2, Failed: 1}, p.ended().Tally)
	assert.Equal(t, 5, p.worked["faulty"])
}

func TestOptionsThatAreMissing(t *testing.T) {
	_, err := queue.New(t.Context(), riversqlite.New(nil), nil, queue.Options{})
	assert.ErrorContains(t, err, "Design, Apart and Failed")
}

// restore puts a backup into a folder of its own.
func restore(t *testing.T, file string) (folder string) {
	t.Helper()
	folder = t.TempDir()
	require.NoError(t, os.Rename(file, filepath.Join(folder, "lotwright.db")))
	return folder
}

// BenchmarkLots is what store and queue cost a lot, whose design takes no time.
func BenchmarkLots(b *testing.B) {
	p := newProgram(b, queue.Options{})
	defer p.stop(time.Minute)
	p.size = 40_000 // a usual design
	b.ResetTimer()
	p.run(plain(b.N)...)
	for p.operation().State == store.Running {
		time.Sleep(time.Millisecond)
	}
}
