package cli_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/cli"
)

// watched is a log that tells when a pattern first stands in it.
type watched struct {
	mu      sync.Mutex
	text    bytes.Buffer
	pattern *regexp.Regexp
	found   chan []string
}

func (w *watched) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.text.Write(p)
	if m := w.pattern.FindStringSubmatch(w.text.String()); m != nil && w.found != nil {
		w.found <- m
		w.found = nil
	}
	return len(p), nil
}

// serve runs the service on free ports until the test ends.
func serve(t *testing.T) (grpcAddress, httpAddress string) {
	t.Helper()
	log := &watched{pattern: regexp.MustCompile(`grpc=(\S+) http=(\S+) page=http://\S+/`), found: make(chan []string, 1)}
	found := log.found
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	go func() {
		args := []string{"serve", "--grpc-listen", "127.0.0.1:0", "--http-listen", "127.0.0.1:0"}
		ended <- cli.Run(ctx, args, strings.NewReader(""), io.Discard, log)
	}()
	t.Cleanup(func() {
		stop()
		assert.Equal(t, cli.ExitOK, <-ended)
	})
	select {
	case m := <-found:
		return m[1], m[2]
	case code := <-ended:
		ended <- code
		require.FailNow(t, "the service ended", "code %d: %s", code, log.text.String())
	}
	return "", ""
}

// message is a lot of a collection as gRPC takes it.
func message(t *testing.T, id string, features []string) *pb.Lot {
	t.Helper()
	lot := &pb.Lot{Lot: id}
	for _, text := range features {
		var f struct {
			Properties struct{ Lot, Layer, Head string }
			Geometry   struct{ Coordinates [][][2]float64 }
		}
		require.NoError(t, json.Unmarshal([]byte(text), &f))
		if f.Properties.Lot != id {
			continue
		}
		polygon := &pb.Polygon{}
		for _, ring := range f.Geometry.Coordinates {
			positions := &pb.Positions{}
			for _, p := range ring {
				positions.Degrees = append(positions.Degrees, p[0], p[1])
			}
			polygon.Rings = append(polygon.Rings, positions)
		}
		lot.Features = append(lot.Features, &pb.Feature{
			Layer:    pb.Feature_Layer(pb.Feature_Layer_value[strings.ToUpper(f.Properties.Layer)]),
			Geometry: &pb.Geometry{Shape: &pb.Geometry_Polygon{Polygon: polygon}},
			Head:     f.Properties.Head,
		})
	}
	return lot
}

// texts are the features of a collection as they are written.
func texts(t *testing.T, collection string) (list []string) {
	for _, f := range parse(t, collection) {
		list = append(list, f.text)
	}
	return list
}

// TestThreeDoorsOneAnswer: the command line, gRPC and REST give the same bytes
// for every feature, also of a lot that is refused.
func TestThreeDoorsOneAnswer(t *testing.T) {
	const kpa = 380
	ids := []string{"X-1", "Y-01", "Y-02", "Y-03"}
	features := append(yards(3), crossed("X-1"))
	want := texts(t, run(t, collection(features), "design", "-", "--head-pressure", "380kPa", "-q", "-o", "-").out)
	require.Greater(t, len(want), 3*len(ids))
	grpcAddress, httpAddress := serve(t)

	answer, err := http.Post("http://"+httpAddress+"/v1/lots:design?head_pressure=380kPa", "application/geo+json", strings.NewReader(collection(features)))
	require.NoError(t, err)
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, answer.StatusCode, string(body))
	assert.Equal(t, want, texts(t, string(body)))

	connection, err := grpc.NewClient(grpcAddress, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	defer connection.Close()
	designer := pb.NewDesignerClient(connection)
	settings := &pb.Settings{Supply: &pb.Supply{HeadPressureKpa: proto.Float64(kpa)}}
	var got []string
	for _, id := range ids {
		answer, err := designer.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: message(t, id, features), Settings: settings})
		require.NoError(t, err)
		got = append(got, texts(t, answer.Design.Geojson)...)
	}
	assert.Equal(t, want, got)

	// And steering reaches the design through every door.
	steered := texts(t, run(t, collection(yards(1)), "design", "-", "--head-pressure", "380kPa", "--coverage", "90%", "--least-strip", "0m", "-q", "-o", "-").out)
	require.NotEqual(t, want[:len(steered)], steered)
	settings.CoverageTarget, settings.LeastStripM = proto.Float64(0.9), proto.Float64(0)
	one, err := designer.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: message(t, "Y-01", features), Settings: settings})
	require.NoError(t, err)
	assert.Equal(t, steered, texts(t, one.Design.Geojson))
}

func TestServeRefusesATakenPort(t *testing.T) {
	_, httpAddress := serve(t)
	r := run(t, "", "serve", "--grpc-listen", "127.0.0.1:0", "--http-listen", httpAddress)
	assert.Equal(t, cli.ExitFault, r.code)
	assert.Contains(t, r.stderr, "address already in use")
}

// TestServeLogsJSON: every line of the log is an object that says what and when.
func TestServeLogsJSON(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel() // it begins, and ends in order
	var log bytes.Buffer
	args := []string{"serve", "--log-format", "json", "--grpc-listen", "127.0.0.1:0", "--http-listen", "127.0.0.1:0"}
	require.Equal(t, cli.ExitOK, cli.Run(ctx, args, strings.NewReader(""), io.Discard, &log))
	lines := strings.Split(strings.TrimSpace(log.String()), "\n")
	require.Len(t, lines, 2)
	for i, want := range []string{"listening", "stopped"} {
		var line struct{ Time, Level, Msg string }
		require.NoError(t, json.Unmarshal([]byte(lines[i]), &line))
		assert.Equal(t, want, line.Msg)
		assert.NotEmpty(t, line.Time)
	}
	assert.Equal(t, cli.ExitUsage, run(t, "", "serve", "--log-format", "xml").code)
}

// TestServePage: the page is where the log says, and takes no path away from
// the service.
func TestServePage(t *testing.T) {
	_, address := serve(t)
	fetch := func(path string) (*http.Response, string) {
		answer, err := http.Get("http://" + address + path)
		require.NoError(t, err)
		defer answer.Body.Close()
		body, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		return answer, string(body)
	}
	page, text := fetch("/")
	require.Equal(t, http.StatusOK, page.StatusCode)
	assert.Equal(t, "text/html; charset=utf-8", page.Header.Get("Content-Type"))
	assert.Equal(t, "no-cache", page.Header.Get("Cache-Control"))
	assert.Contains(t, page.Header.Get("Content-Security-Policy"), "default-src 'self'")
	script := regexp.MustCompile(`src="\.(/assets/[^"]+\.js)"`).FindStringSubmatch(text)
	require.Len(t, script, 2)
	asset, _ := fetch(script[1])
	assert.Equal(t, http.StatusOK, asset.StatusCode)
	assert.Equal(t, "text/javascript; charset=utf-8", asset.Header.Get("Content-Type"))

	ready, _ := fetch("/readyz")
	assert.Equal(t, http.StatusNoContent, ready.StatusCode)
	wrong, problem := fetch("/v1/lots:design")
	assert.Equal(t, http.StatusMethodNotAllowed, wrong.StatusCode)
	assert.Contains(t, problem, `"METHOD_NOT_ALLOWED"`)
	none, problem := fetch("/nowhere")
	assert.Equal(t, http.StatusNotFound, none.StatusCode)
	assert.Contains(t, problem, `"NOT_FOUND"`)
	gone, _ := fetch("/assets/nothing.js")
	assert.Equal(t, http.StatusNotFound, gone.StatusCode)
}
