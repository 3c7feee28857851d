package cli_test

import (
	"io"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
)

// sink is a collector of traces.
type sink struct {
	*httptest.Server
	mu    sync.Mutex
	paths []string
	names map[string]int
}

func newSink(t *testing.T) *sink {
	s := &sink{names: map[string]int{}}
	s.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		text, err := io.ReadAll(r.Body)
		var request collector.ExportTraceServiceRequest
		if err != nil || proto.Unmarshal(text, &request) != nil {
			http.Error(w, "not traces", http.StatusBadRequest)
			return
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		s.paths = append(s.paths, r.URL.Path)
		for _, rs := range request.ResourceSpans {
			for _, ss := range rs.ScopeSpans {
				for _, span := range ss.Spans {
					s.names[span.Name]++
				}
			}
		}
		w.Header().Set("Content-Type", "application/x-protobuf")
	}))
	t.Cleanup(s.Close)
	return s
}

// designsOne has a service design a batch of one lot, and stops it.
func designsOne(t *testing.T, flags ...string) {
	k := &keeper{T: t, folder: t.TempDir(), more: flags}
	k.start()
	k.fill("elm", []string{"Y-01"}, yards(1))
	_, err := k.batches.DesignBatch(t.Context(), &pb.DesignBatchRequest{Name: "batches/elm", Settings: &pb.Settings{Supply: &pb.Supply{HeadPressureKpa: proto.Float64(380)}}})
	require.NoError(t, err)
	stream, err := k.batches.WatchBatch(t.Context(), &pb.WatchBatchRequest{Name: "batches/elm"})
	require.NoError(t, err)
	for err == nil {
		_, err = stream.Recv()
	}
	require.ErrorIs(t, err, io.EOF)
	k.stop()
}

// TestTracesAreSentWhereTheyShould: to the place of the flag, or else of the
// environment, and nowhere when neither names one.
func TestTracesAreSentWhereTheyShould(t *testing.T) {
	byFlag, byEnvironment := newSink(t), newSink(t)
	for _, name := range []string{"OTEL_EXPORTER_OTLP_ENDPOINT", "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT"} {
		t.Setenv(name, "")
	}
	designsOne(t)
	t.Setenv("OTEL_EXPORTER_OTLP_ENDPOINT", byEnvironment.URL)
	designsOne(t, "--otlp-endpoint", byFlag.URL+"/v1/traces")
	assert.Empty(t, byEnvironment.paths)
	for _, name := range []string{"lotwright.v1.BatchService/ImportLots", "chunk", "lot", "ground", "supply", "lay", "heads", "proof", "trench", "store SaveDesign"} {
		assert.Positive(t, byFlag.names[name], "%s is not among %v", name, byFlag.names)
	}
	designsOne(t)
	assert.Contains(t, byEnvironment.paths, "/v1/traces")
	assert.Positive(t, byEnvironment.names["heads"])
}

// TestTracesThatCannotBeSent cost nothing but the traces.
func TestTracesThatCannotBeSent(t *testing.T) {
	gone := newSink(t)
	gone.Close()
	designsOne(t, "--otlp-endpoint", gone.URL)
}
