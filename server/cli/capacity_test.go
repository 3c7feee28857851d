//go:build kill

package cli_test

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
)

var (
	capacityLots   = flag.String("capacity-lots", "69,207", "sizes of the batches whose way through the service is measured")
	capacityEffort = flag.String("capacity-effort", "quick", "of the design: quick, default or thorough")
)

// mostMemory is what the service may ever hold, whatever the size of the batch.
const mostMemory = 400 << 20 // bytes

// TestCapacity takes batches of lots of real sizes through the service, from the
// import to the file with all designs, and says what that took. Every lot must
// come out, and the service must stay within its memory.
func TestCapacity(t *testing.T) {
	for _, size := range strings.Split(*capacityLots, ",") {
		n, err := strconv.Atoi(size)
		require.NoError(t, err)
		t.Run(size, func(t *testing.T) {
			c := &survivor{T: t, victim: startVictim(t), lots: deformedLots(t, n), revision: 1}
			took := []time.Duration{c.timed(c.importLots), c.timed(c.designLots), c.timed(c.download)}
			used := usageOf(t, c.process.Process.Pid)
			c.end()
			t.Logf("%d lots: import %.1f s, design %.1f s, export %.1f s, together %.0f s; %.0f ms of processor time a lot; at most %d MB of memory",
				n, took[0].Seconds(), took[1].Seconds(), took[2].Seconds(), (took[0] + took[1] + took[2]).Seconds(),
				used.processor.Seconds()*1000/float64(n), used.memory>>20)
			require.Less(t, used.memory, int64(mostMemory))
		})
	}
}

// deformedLots are the lots of the collection over and over, each time turned,
// stretched, sheared and put elsewhere.
func deformedLots(t *testing.T, n int) (out []*pb.Lot) {
	random := rand.New(rand.NewPCG(1, 0))
	lots := surveyedLots(t)
	for i := range n {
		lot := proto.CloneOf(lots[i%len(lots)])
		lot.Lot = fmt.Sprintf("%s/%05d", lot.Lot, i)
		deform(lot, random)
		out = append(out, lot)
	}
	return out
}

// deform changes a lot by an affine map of the plane at its first corner, by up
// to 5 % in length, and moves it by up to a twentieth of a degree. Such a map
// keeps what touches, overlaps and lies within what.
func deform(lot *pb.Lot, random *rand.Rand) {
	first := lot.Features[0].Geometry.GetPolygon().Rings[0].Degrees
	lon, lat := first[0], first[1]
	shrink := math.Cos(lat * math.Pi / 180)
	sin, cos := math.Sincos(random.Float64() * 2 * math.Pi)
	east, north, shear := 0.95+0.1*random.Float64(), 0.95+0.1*random.Float64(), 0.1*(random.Float64()-0.5)
	awayLon, awayLat := (random.Float64()-0.5)/10, (random.Float64()-0.5)/10
	for _, f := range lot.Features {
		for _, ring := range f.Geometry.GetPolygon().GetRings() {
			for i := 0; i < len(ring.Degrees); i += 2 {
				x, y := (ring.Degrees[i]-lon)*shrink*east, (ring.Degrees[i+1]-lat)*north
				x += shear * y
				ring.Degrees[i] = lon + awayLon + (x*cos-y*sin)/shrink
				ring.Degrees[i+1] = lat + awayLat + x*sin + y*cos
			}
		}
	}
}

func (c *survivor) timed(what func()) time.Duration {
	began := time.Now()
	what()
	return time.Since(began)
}

// designLots has the batch designed and waits for the end.
func (c *survivor) designLots() {
	settings := proto.CloneOf(killSettings)
	settings.Effort = pb.Settings_Effort(pb.Settings_Effort_value[strings.ToUpper(*capacityEffort)])
	c.again("design", func(ctx context.Context, batches pb.BatchServiceClient) error {
		operation, err := batches.DesignBatch(ctx, &pb.DesignBatchRequest{Name: victimBatch, Settings: settings, RequestId: "design"})
		for err == nil && !operation.Done {
			time.Sleep(50 * time.Millisecond)
			operation, err = batches.GetOperation(ctx, &longrunningpb.GetOperationRequest{Name: operation.Name})
		}
		return err
	})
}

// download takes the map of all designs over REST, and counts the lots in it.
func (c *survivor) download() {
	answer, err := http.Get("http://" + c.http + "/v1/" + victimBatch + ":export")
	require.NoError(c.T, err)
	defer answer.Body.Close()
	require.Equal(c.T, http.StatusOK, answer.StatusCode)
	text := &occurrences{of: `"layer":"lot"`}
	_, err = io.Copy(text, answer.Body)
	require.NoError(c.T, err)
	require.Equal(c.T, len(c.lots), text.n)
}

// occurrences counts a text in what is written to it.
type occurrences struct {
	of   string
	rest string
	n    int
}

func (o *occurrences) Write(p []byte) (int, error) {
	text := o.rest + string(p)
	o.n += strings.Count(text, o.of)
	if last := strings.LastIndex(text, o.of); last >= 0 {
		text = text[last+len(o.of):]
	}
	o.rest = text[max(0, len(text)-len(o.of)+1):]
	return len(p), nil
}

// usage is what a process has taken so far.
type usage struct {
	processor time.Duration
	memory    int64 // at most, in bytes
}

// usageOf reads Linux' account of a process.
func usageOf(t *testing.T, pid int) usage {
	t.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	require.NoError(t, err)
	fields := strings.Fields(string(stat[strings.LastIndexByte(string(stat), ')')+1:]))
	ticks := parsed(t, fields[11]) + parsed(t, fields[12]) // user and system, in hundredths of a second
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	require.NoError(t, err)
	_, peak, found := strings.Cut(string(status), "VmHWM:")
	require.True(t, found)
	return usage{processor: time.Duration(ticks) * 10 * time.Millisecond, memory: parsed(t, strings.Fields(peak)[0]) << 10}
}

func parsed(t *testing.T, text string) int64 {
	t.Helper()
	n, err := strconv.ParseInt(text, 10, 64)
	require.NoError(t, err)
	return n
}
