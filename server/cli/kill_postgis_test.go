//go:build kill && postgis

package cli_test

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
	"lotwright/server/store/postgis"
	"lotwright/server/store/postgistest"
)

var sharedLots = flag.Int("shared-lots", 60, "lots of the batch that workers share")

// silence is short, so that much is taken over in the time of a test.
const silence = 2 * time.Second

// shared is a service on a database, with workers.
type shared struct {
	*victim
	database *postgistest.Server
	address  string
	hands    []*hand
	fell     map[string]int // kills by whom they hit
}

// newShared starts a service with so many workers beside it.
func newShared(t *testing.T, server *postgistest.Server, workers int, flags ...string) *shared {
	s := &shared{victim: restingVictim(t), database: server, fell: map[string]int{}}
	s.address = s.database.Database(t)
	s.kept = append([]string{"--database", s.address, "--worker-silence", silence.String()}, flags...)
	s.start()
	for i := range workers {
		s.hands = append(s.hands, s.hire(i))
	}
	return s
}

// hand is a worker.
type hand struct {
	log     string
	from    int64 // where the log of the present process begins
	process *exec.Cmd
}

func (s *shared) hire(i int) *hand {
	h := &hand{log: filepath.Join(s.TempDir(), fmt.Sprint("worker", i))}
	s.launchHand(h)
	s.Cleanup(func() {
		_ = h.process.Process.Kill()
		_ = h.process.Wait()
	})
	return h
}

// launchHand starts a worker's process.
func (s *shared) launchHand(h *hand) {
	self, err := os.Executable()
	require.NoError(s, err)
	log, err := os.OpenFile(h.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(s, err)
	defer log.Close()
	h.from, err = log.Seek(0, io.SeekEnd)
	require.NoError(s, err)
	h.process = exec.Command(self, "work", "--workers", "1", "--worker-silence", silence.String())
	h.process.Env = append(os.Environ(), asProgram+"=1", "LOTWRIGHT_DATABASE="+s.address)
	h.process.Stderr = log
	require.NoError(s, h.process.Start())
}

// killHand kills a worker as SIGKILL does, and reports whether it was at work. One
// that found no database when it started has ended by itself.
func (s *shared) killHand(h *hand) bool {
	_ = h.process.Process.Signal(syscall.SIGKILL) // unless it has ended
	err := h.process.Wait()
	status, _ := h.process.ProcessState.Sys().(syscall.WaitStatus)
	if status.Signaled() && status.Signal() == syscall.SIGKILL {
		return true
	}
	text, unread := os.ReadFile(h.log)
	require.NoError(s, unread)
	if present := string(text[h.from:]); strings.Contains(present, "msg=working") || !strings.Contains(present, "lotwright: ") {
		s.Errorf("a worker has ended by itself: %v\n%s", err, present)
	}
	return false
}

// restarts is one in so many disturbances that hit the database.
const restarts = 15

// strike kills the service or a worker, and starts it again; at times it cuts the
// database off everybody and starts that.
func (s *shared) strike() {
	if s.random.IntN(restarts) == 0 {
		s.database.Down(s.T)
		time.Sleep(time.Duration(s.random.IntN(1000)) * time.Millisecond)
		s.database.Up(s.T)
		s.fell["database"]++
		return
	}
	if i := s.random.IntN(1 + len(s.hands)); i < len(s.hands) {
		killed := s.killHand(s.hands[i])
		s.launchHand(s.hands[i])
		if !killed {
			s.fell["no database at the start"]++
			return
		}
		s.fell["worker"]++
		s.mu.Lock()
		defer s.mu.Unlock()
		s.kills++
		return
	}
	s.kill()
	s.start()
	s.fell["service"]++
}

// TestKilledPostGIS is TestKilled with a database behind, workers that are killed
// as well, and the database cut off and started again now and then. What comes out
// are the bytes of a service that keeps a file.
func TestKilledPostGIS(t *testing.T) {
	lots := manyLots(t, *killLots)
	want := undisturbed(t, lots)
	s := newShared(t, postgistest.Start(t), 2)
	s.disturb = s.strike
	s.enough.Store(int64(*kills / 3))
	s.haunt()
	c := &survivor{T: t, victim: s.victim, lots: lots, want: want, importPause: 5 * time.Second / time.Duration(len(lots))}
	c.importLots()
	c.say("imported")
	s.enough.Store(int64(*kills))
	for c.killed() < *kills || c.revision == 0 {
		c.run()
		c.say("revision done")
	}
	s.end()
	s.checkDatabase(len(lots), c.revision)
	t.Logf("%d kills in %v, %v: %d while importing %d lots, the others while designing %d lots in %d revisions; %d streams of imports and %d of watches were needed; slowest start %v; %d chunks were taken over",
		c.killed(), time.Since(c.began).Round(time.Second), s.fell, c.importKills, len(lots), len(lots)*c.revision, c.revision,
		c.imports, c.watches, s.slowest.Round(time.Millisecond), s.takenOver())
}

// takenOver counts what workers said they took over.
func (s *shared) takenOver() (n int) {
	for _, h := range s.hands {
		text, err := os.ReadFile(h.log)
		require.NoError(s, err)
		n += strings.Count(string(text), "taking up what was left")
	}
	return n
}

// checkDatabase looks at the database itself: a design of every lot in every
// revision, no work that stays open, and geometries that are valid.
func (s *shared) checkDatabase(lots, revisions int) {
	k, err := postgis.Open(s.Context(), s.address, postgis.Options{})
	require.NoError(s, err)
	defer k.Close()
	for r := 1; r <= revisions; r++ {
		designs, err := k.Designs(s.Context(), store.Local, "elm", r, 0, lots+1)
		require.NoError(s, err)
		require.Len(s, designs, lots)
	}
	count := func(query string) (n int) {
		require.NoError(s, k.Pool().QueryRow(s.Context(), query).Scan(&n))
		return n
	}
	require.Eventually(s, func() bool { return count(`SELECT count(*) FROM river_job WHERE state <> 'completed'`) == 0 }, time.Minute, 100*time.Millisecond,
		"jobs that are open")
	require.Equal(s, lots, count(`SELECT count(*) FROM lots WHERE ST_IsValid(parcel) AND status = 'designed'`))
	require.Zero(s, count(`SELECT count(*) FROM regions WHERE NOT ST_IsValid(region)`))
	require.Equal(s, count(`SELECT sum(heads) FROM lots`), count(`SELECT count(*) FROM heads`))
}

// TestSharedWork has one, two and four workers design the same lots, kills one of
// each crew in the middle, and says how long each crew took when nobody was killed.
func TestSharedWork(t *testing.T) {
	lots := manyLots(t, *sharedLots)
	want := undisturbed(t, lots)
	alone, server := time.Duration(0), postgistest.Start(t)
	for _, workers := range []int{1, 2, 4} {
		s := newShared(t, server, workers, "--workless")
		c := &survivor{T: t, victim: s.victim, lots: lots, want: want}
		c.importLots()
		took := c.designed(1)
		if workers == 1 {
			alone = took
		}
		c.compare(exported(c, 1))
		t.Logf("%d workers: %d lots in %v, %.2f times as fast as one", workers, len(lots), took.Round(10*time.Millisecond), alone.Seconds()/took.Seconds())
		if workers > 1 {
			time.AfterFunc(took/3, func() { s.killHand(s.hands[0]) })
			t.Logf("%d workers, one killed after a third of that: %v, with a silence of %v", workers, c.designed(2).Round(10*time.Millisecond), silence)
			c.compare(exported(c, 2))
			s.launchHand(s.hands[0])
		}
		s.everyoneWorked(lots)
		s.end()
	}
}

// designed has the batch designed and says how long that took.
func (c *survivor) designed(revision int) time.Duration {
	began := time.Now()
	c.again("design", func(ctx context.Context, batches pb.BatchServiceClient) error {
		operation, err := batches.DesignBatch(ctx, &pb.DesignBatchRequest{Name: victimBatch, Settings: killSettings, RequestId: fmt.Sprint("design ", revision)})
		for err == nil && !operation.Done {
			time.Sleep(20 * time.Millisecond)
			operation, err = batches.GetOperation(ctx, &longrunningpb.GetOperationRequest{Name: operation.Name})
		}
		return err
	})
	return time.Since(began)
}

// everyoneWorked looks up who took up chunks.
func (s *shared) everyoneWorked(lots []*pb.Lot) {
	k, err := postgis.Open(s.Context(), s.address, postgis.Options{})
	require.NoError(s, err)
	defer k.Close()
	rows, err := k.Pool().Query(s.Context(), `SELECT attempted_by[1], count(*) FROM river_job GROUP BY 1`)
	require.NoError(s, err)
	defer rows.Close()
	var shares []int
	for rows.Next() {
		var name string
		var n int
		require.NoError(s, rows.Scan(&name, &n))
		shares = append(shares, n)
	}
	require.NoError(s, rows.Err())
	slices.Sort(shares)
	s.Logf("chunks by worker: %v", shares)
	if chunks := (len(lots) + 15) / 16; chunks >= len(s.hands) {
		assert.Len(s, shares, len(s.hands), "somebody had nothing to do")
	}
}
