//go:build kill

package cli_test

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"math"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
	"lotwright/server/store/sqlite"
)

var (
	kills     = flag.Int("kills", 15, "how often the service is killed")
	killLots  = flag.Int("kill-lots", 200, "lots of the batch")
	killEvery = flag.Duration("kill-every", 400*time.Millisecond, "how long the service is left alone, on average")
	leftAlone = flag.String("left-alone", "", "folder for the service that is left alone, kept for the next run")
	killSeed  = flag.Uint64("kill-seed", 1, "of the times of the kills")
)

var killSettings = &pb.Settings{Supply: &pb.Supply{HeadPressureKpa: proto.Float64(380)}}

// TestKilled kills the service (SIGKILL) at random moments while a client imports
// lots and has them designed, over and over, until it was killed often enough.
// In the end every revision holds every lot once, with the bytes of a service
// that nobody has disturbed, and every lot was reported once to a client that
// watched.
//
// The page cache outlives a process, so this shows what the end of a process
// does, not what a power cut does.
func TestKilled(t *testing.T) {
	lots := manyLots(t, *killLots)
	want := undisturbed(t, lots)

	v := newVictim(t)
	v.enough.Store(int64(*kills / 3))
	c := &survivor{T: t, victim: v, lots: lots, want: want, importPause: 5 * time.Second / time.Duration(len(lots))}
	c.importLots()
	c.say("imported")
	v.enough.Store(int64(*kills))
	for c.killed() < *kills || c.revision == 0 {
		c.run()
		c.say("revision done")
	}
	v.end()
	c.checkStore()
	t.Logf("%d kills in %v: %d while importing %d lots, %d while designing %d lots in %d revisions; %d streams of imports and %d of watches were needed; slowest start %v; %d starts found work left in the middle",
		c.killed(), time.Since(c.began).Round(time.Second), c.importKills, len(lots), c.killed()-c.importKills, len(lots)*c.revision, c.revision,
		c.imports, c.watches, v.slowest.Round(time.Millisecond), strings.Count(v.logText(), "taking up what was left"))
}

// manyLots are the smallest lots of the collection, over and over under new ids.
func manyLots(t *testing.T, n int) []*pb.Lot {
	t.Helper()
	const different = 20
	small := surveyedLots(t)
	slices.SortStableFunc(small, func(a, b *pb.Lot) int { return cmp.Compare(parcelSize(a), parcelSize(b)) })
	var out []*pb.Lot
	for i := range n {
		lot := proto.CloneOf(small[i%different])
		lot.Lot = fmt.Sprintf("%s/%05d", lot.Lot, i)
		out = append(out, lot)
	}
	return out
}

// surveyedLots are the lots of the collection, by id.
func surveyedLots(t *testing.T) (lots []*pb.Lot) {
	t.Helper()
	text, err := os.ReadFile("../../testdata/reference/lots_A.geojson")
	require.NoError(t, err)
	var collection struct{ Features []json.RawMessage }
	require.NoError(t, json.Unmarshal(text, &collection))
	features := map[string][]string{}
	for _, f := range collection.Features {
		var of struct{ Properties struct{ Lot string } }
		require.NoError(t, json.Unmarshal(f, &of))
		features[of.Properties.Lot] = append(features[of.Properties.Lot], string(f))
	}
	for _, id := range slices.Sorted(maps.Keys(features)) {
		lots = append(lots, message(t, id, features[id]))
	}
	return lots
}

// parcelSize orders lots by the area of their bounding boxes.
func parcelSize(lot *pb.Lot) float64 {
	for _, f := range lot.Features {
		if f.Layer == pb.Feature_PARCEL {
			degrees := f.Geometry.GetPolygon().Rings[0].Degrees
			var lon, lat []float64
			for i := 0; i < len(degrees); i += 2 {
				lon, lat = append(lon, degrees[i]), append(lat, degrees[i+1])
			}
			return (slices.Max(lon) - slices.Min(lon)) * (slices.Max(lat) - slices.Min(lat))
		}
	}
	return math.Inf(1)
}

// victim is the service as a process, which is killed and started again.
type victim struct {
	*testing.T
	folder, log string
	grpc, http  string
	connection  *grpc.ClientConn
	random      *rand.Rand
	stopKilling chan struct{}
	stopped     chan struct{}
	enough      atomic.Int64 // kills for the time being

	kept    []string // where batches are, as flags; nil: the folder
	disturb func()   // what is done at each of the moments; nil: the service is killed

	mu      sync.Mutex
	process *exec.Cmd
	ended   chan error
	kills   int
	slowest time.Duration
}

// newVictim starts a service that is killed from now on.
func newVictim(t *testing.T) *victim {
	v := startVictim(t)
	v.haunt()
	return v
}

// haunt begins to kill it.
func (v *victim) haunt() {
	v.stopKilling, v.stopped = make(chan struct{}), make(chan struct{})
	go v.killing()
}

func startVictim(t *testing.T) *victim {
	t.Helper()
	v := restingVictim(t)
	v.start()
	return v
}

// restingVictim is one that is not started yet.
func restingVictim(t *testing.T) *victim {
	t.Helper()
	v := &victim{T: t, folder: filepath.Join(t.TempDir(), "data"), log: filepath.Join(t.TempDir(), "log"), grpc: freeAddress(t), http: freeAddress(t),
		random: rand.New(rand.NewPCG(*killSeed, 0))}
	var err error
	v.connection, err = grpc.NewClient(v.grpc, grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithConnectParams(grpc.ConnectParams{
		Backoff: backoff.Config{BaseDelay: 10 * time.Millisecond, Multiplier: 1.2, MaxDelay: 100 * time.Millisecond},
	}))
	require.NoError(t, err)
	t.Cleanup(func() { _ = v.connection.Close() })
	return v
}

// freeAddress is below the ports that systems give to outgoing connections: one
// of these might take it while the service is down.
func freeAddress(t *testing.T) string {
	t.Helper()
	for range 100 {
		if l, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", 20_000+rand.IntN(10_000))); err == nil {
			defer l.Close()
			return l.Addr().String()
		}
	}
	require.FailNow(t, "no free port")
	return ""
}

// start starts the service and waits until it is ready.
func (v *victim) start() {
	began := time.Now()
	p, ended := v.launch()
	for !v.ready() {
		require.Less(v, time.Since(began), time.Minute, "the service does not start:\n%s", v.logText())
		select {
		case <-ended:
			// A child of the dead service that had not got as far as exec may hold
			// its ports for a moment longer.
			require.True(v, strings.HasSuffix(v.logText(), "address already in use\n"), "the service ended:\n%s", v.logText())
			p, ended = v.launch()
		case <-time.After(5 * time.Millisecond):
		}
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	v.process, v.ended, v.slowest = p, ended, max(v.slowest, time.Since(began))
}

// launch starts the service; ended receives what became of it.
func (v *victim) launch() (p *exec.Cmd, ended chan error) {
	log, err := os.OpenFile(v.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(v, err)
	defer log.Close()
	p, ended = v.command(), make(chan error, 1)
	p.Stderr = log
	require.NoError(v, p.Start())
	go func() { ended <- p.Wait() }()
	return p, ended
}

// command is the service, run by other programs where there are any.
func (v *victim) command(by ...string) *exec.Cmd {
	self, err := os.Executable()
	require.NoError(v, err)
	kept := v.kept
	if kept == nil {
		kept = []string{"--data", v.folder}
	}
	words := slices.Concat(by, []string{self, "serve", "--grpc-listen", v.grpc, "--http-listen", v.http}, kept)
	p := exec.Command(words[0], words[1:]...)
	p.Env = append(os.Environ(), asProgram+"=1")
	p.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // to be killed with whatever runs it
	return p
}

func (v *victim) ready() bool {
	answer, err := http.Get("http://" + v.http + "/readyz")
	if err != nil {
		return false
	}
	defer answer.Body.Close()
	return answer.StatusCode == http.StatusNoContent
}

// killing kills the service at random moments, some of them very early.
func (v *victim) killing() {
	defer close(v.stopped)
	for {
		wait := time.Duration(v.random.ExpFloat64() * float64(*killEvery))
		select {
		case <-time.After(min(wait, 5**killEvery)):
		case <-v.stopKilling:
			return
		}
		switch {
		case int64(v.killed()) >= v.enough.Load():
		case v.disturb != nil:
			v.disturb()
		default:
			v.kill()
			v.start()
		}
	}
}

func (v *victim) kill() {
	v.mu.Lock()
	defer v.mu.Unlock()
	if err := syscall.Kill(-v.process.Process.Pid, syscall.SIGKILL); err != nil {
		v.Errorf("kill: %v", err)
	}
	<-v.ended
	v.kills++
}

func (v *victim) killed() int {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.kills
}

// end ends the service in order.
func (v *victim) end() {
	if v.stopKilling != nil {
		close(v.stopKilling)
		<-v.stopped
	}
	require.NoError(v, v.process.Process.Signal(syscall.SIGTERM))
	require.NoError(v, <-v.ended, "the service does not end in order")
}

func (v *victim) logText() string {
	text, err := os.ReadFile(v.log)
	require.NoError(v, err)
	return string(text)
}

// survivor is a client that has all its calls answered in the end, and keeps
// count.
type survivor struct {
	*testing.T
	*victim
	lots []*pb.Lot
	want map[string]string

	began       time.Time
	moved       time.Time // when the service last got something done
	revision    int
	imports     int
	importPause time.Duration // between two lots
	importKills int
	watches     int
}

func (c *survivor) say(what string) {
	c.T.Logf("%s after %v and %d kills", what, time.Since(c.began).Round(time.Second), c.killed())
}

// again makes a call until it is answered, as long as anything moves.
func (c *survivor) again(what string, call func(ctx context.Context, batches pb.BatchServiceClient) error) {
	c.T.Helper()
	const patience = 2 * time.Minute
	var err error
	for c.moved = time.Now(); time.Since(c.moved) < patience; time.Sleep(10 * time.Millisecond) {
		if err = call(c.T.Context(), pb.NewBatchServiceClient(c.connection)); err == nil {
			return
		}
	}
	require.NoError(c.T, err, what)
}

const victimBatch = "batches/elm"

// importLots imports the lots, from what was acknowledged whenever it breaks off.
// It is slow enough to be killed.
func (c *survivor) importLots() {
	c.began = time.Now()
	c.again("create", func(ctx context.Context, batches pb.BatchServiceClient) error {
		_, err := batches.CreateBatch(ctx, &pb.CreateBatchRequest{BatchId: "elm", RequestId: "create"})
		return err
	})
	acknowledged := 0
	c.again("import", func(ctx context.Context, batches pb.BatchServiceClient) error {
		c.imports++
		progress, err := c.send(ctx, batches, 0, nil)
		if err != nil {
			return err
		}
		from := int(progress.Acknowledged)
		if from > acknowledged {
			acknowledged, c.moved = from, time.Now()
		}
		resp, err := c.send(ctx, batches, from, c.lots[from:])
		if err == nil {
			require.Equal(c.T, []int32{int32(len(c.lots)), int32(len(c.lots)), 0, 0}, []int32{resp.Acknowledged, resp.Added, resp.Known, resp.Refused})
		}
		return err
	})
	c.importKills = c.killed()
}

func (c *survivor) send(ctx context.Context, batches pb.BatchServiceClient, from int, lots []*pb.Lot) (*pb.ImportLotsResponse, error) {
	stream, err := batches.ImportLots(ctx)
	if err != nil {
		return nil, err
	}
	target := &pb.ImportLotsRequest_Target{Parent: victimBatch, ImportId: "i", From: int32(from)}
	err = stream.Send(&pb.ImportLotsRequest{Message: &pb.ImportLotsRequest_Target_{Target: target}})
	for _, lot := range lots {
		if err != nil {
			break // the answer says why
		}
		time.Sleep(c.importPause)
		err = stream.Send(&pb.ImportLotsRequest{Message: &pb.ImportLotsRequest_Lot{Lot: lot}})
	}
	return stream.CloseAndRecv()
}

// run has the batch designed, watches every lot being finished once, and compares
// what comes out.
func (c *survivor) run() {
	c.revision++
	c.again("design", func(ctx context.Context, batches pb.BatchServiceClient) error {
		_, err := batches.DesignBatch(ctx, &pb.DesignBatchRequest{Name: victimBatch, Settings: killSettings, RequestId: fmt.Sprint("design ", c.revision)})
		return err
	})
	seen, cursor := map[string]int{}, ""
	c.again("watch", func(ctx context.Context, batches pb.BatchServiceClient) error {
		c.watches++
		stream, err := batches.WatchBatch(ctx, &pb.WatchBatchRequest{Name: victimBatch, Revision: int32(c.revision), Cursor: cursor})
		if err != nil {
			return err
		}
		for {
			m, err := stream.Recv()
			if err != nil {
				return err // the end of the stream without its record, too
			}
			cursor, c.moved = m.Cursor, time.Now()
			if end := m.GetEnd(); end != nil {
				require.Equal(c.T, []int32{int32(c.revision), int32(len(c.lots)), int32(len(c.lots)), 0}, []int32{end.Revision, end.Lots, end.Finished, end.Failed})
				return nil
			}
			seen[m.GetLot().Lot]++
		}
	})
	require.Len(c.T, seen, len(c.lots), "lots were lost from the watch")
	for id, times := range seen {
		require.Equal(c.T, 1, times, "lot %s was reported more than once", id)
	}
	c.compare(exported(c, int32(c.revision)))
}

// exported are the features of every lot of a revision.
func exported(c *survivor, revision int32) (got map[string]string) {
	c.again("export", func(ctx context.Context, batches pb.BatchServiceClient) error {
		got = map[string]string{}
		stream, err := batches.ExportDesigns(ctx, &pb.ExportDesignsRequest{Name: victimBatch, Revision: revision})
		if err != nil {
			return err
		}
		for {
			m, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				return nil
			}
			if err != nil {
				return err
			}
			require.NotContains(c.T, got, m.Lot, "a lot has two designs")
			got[m.Lot] = strings.Join(m.Features, "\n")
		}
	})
	return got
}

func (c *survivor) compare(got map[string]string) {
	c.T.Helper()
	require.Len(c.T, got, len(c.want), "lots were lost")
	for id, features := range c.want {
		require.Equal(c.T, features, got[id], "lot %s differs from an undisturbed run", id)
	}
}

// undisturbed is what a service answers that is left alone.
func undisturbed(t *testing.T, lots []*pb.Lot) map[string]string {
	v := restingVictim(t)
	v.folder = cmp.Or(*leftAlone, v.folder)
	v.start()
	c := &survivor{T: t, victim: v, lots: lots, revision: 1}
	c.importLots()
	c.again("design", func(ctx context.Context, batches pb.BatchServiceClient) error {
		operation, err := batches.DesignBatch(ctx, &pb.DesignBatchRequest{Name: victimBatch, Settings: killSettings, RequestId: "design"})
		for err == nil && !operation.Done {
			time.Sleep(50 * time.Millisecond)
			operation, err = batches.GetOperation(ctx, &longrunningpb.GetOperationRequest{Name: operation.Name})
		}
		return err
	})
	got := exported(c, 1)
	require.Len(t, got, len(lots))
	c.say("undisturbed run done")
	c.victim.end()
	return got
}

// checkStore looks at the file itself: it holds together, and holds a design of
// every lot in every revision and no work that is open.
func (c *survivor) checkStore() {
	copied := filepath.Join(c.T.TempDir(), "copy.db") // a backup is checked for integrity
	require.NoError(c.T, sqlite.Backup(c.T.Context(), c.folder, copied))
	s, err := sqlite.Open(c.T.Context(), c.folder)
	require.NoError(c.T, err)
	defer s.Close()
	for r := 1; r <= c.revision; r++ {
		designs, err := s.Designs(c.T.Context(), store.Local, "elm", r, 0, len(c.lots)+1)
		require.NoError(c.T, err)
		require.Len(c.T, designs, len(c.lots))
	}
	var open int
	require.NoError(c.T, s.Writer().QueryRow(`SELECT count(*) FROM river_job WHERE state <> 'completed'`).Scan(&open))
	require.Zero(c.T, open, "jobs that are open")
}
