package rpc_test

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"google.golang.org/grpc/metadata"

	"lotwright/layout"
	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/queue"
	"lotwright/server/rpc"
	"lotwright/server/store/sqlite"
)

const (
	traceID     = "0af7651916cd43dd8448eb211c80319c"
	traceparent = "00-" + traceID + "-b7ad6b7169203331-01"
)

// TestTraces: spans of requests by both doors, of the store, of chunks, lots and
// stages, each inside the one that it was made for, and no id of a lot in any.
func TestTraces(t *testing.T) {
	spans := tracetest.NewInMemoryExporter()
	provider := trace.NewTracerProvider(trace.WithSyncer(spans))
	tracer := provider.Tracer("test")
	kept, err := sqlite.Open(t.Context(), t.TempDir())
	require.NoError(t, err)
	defer func() { assert.NoError(t, kept.Close()) }()
	s := serve(t, func(o *rpc.Options) {
		o.Store, o.Tracer = kept, tracer
		design := o.Design
		o.Design = func(ctx context.Context, lot *layout.Lot, settings rpc.Settings) (*layout.Design, error) {
			ctx, end := rpc.Stage(ctx, "lay")
			defer end()
			_, within := rpc.Stage(ctx, "heads")
			within()
			return design(ctx, lot, settings)
		}
	})
	jobs, err := queue.New(t.Context(), riversqlite.New(kept.Writer()), kept, queue.Options{
		Design: s.server.DesignStored, Apart: s.server.DesignStored, Failed: s.server.FailedStored, Admit: s.server.Admit, Tracer: tracer,
	})
	require.NoError(t, err)
	require.NoError(t, jobs.Start(t.Context()))
	defer func() { assert.NoError(t, jobs.Stop(context.Background())) }()
	o := &office{T: t, service: s, kept: kept, batches: pb.NewBatchServiceClient(s.conn)}

	o.fill("zebra", canary)
	o.start("zebra")
	o.watch(&pb.WatchBatchRequest{Name: "batches/zebra"})
	_, err = o.batches.GetBatch(metadata.AppendToOutgoingContext(t.Context(), "traceparent", traceparent), &pb.GetBatchRequest{Name: "batches/zebra"})
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, s.do(t, http.MethodGet, "/v1/batches/zebra", nil, "Traceparent", traceparent).status)
	require.Equal(t, http.StatusOK, s.do(t, http.MethodGet, "/healthz", nil).status)
	require.Equal(t, http.StatusOK, s.post(t, typed, plain, lotJSON(canary)).status)

	paths := func() map[string]int { return pathsOf(spans.GetSpans()) }
	const service = "lotwright.v1.BatchService/"
	for _, want := range []string{
		service + "CreateBatch > store CreateBatch", service + "ImportLots > store AddLots", service + "DesignBatch > store StartOperation",
		service + "WatchBatch > store Operation", "chunk > lot > lay > heads", "chunk > store SaveDesign",
		"remote > " + service + "GetBatch > store Batch", "remote > GET > store Batch", "POST > lot > lay > heads",
	} {
		require.Eventually(t, func() bool { return paths()[want] > 0 }, 10*time.Second, time.Millisecond, "%s is not among %v", want, paths())
	}
	assert.Zero(t, paths()["GET"], "probes are not traced")
	for _, span := range spans.GetSpans() {
		said := span.Name
		for _, a := range span.Attributes {
			said += " " + string(a.Key) + "=" + a.Value.String()
		}
		assert.False(t, strings.Contains(said, canary) || strings.Contains(said, "zebra"), said)
	}
	assert.Contains(t, s.do(t, http.MethodGet, "/metrics", nil).body, `lotwright_stage_seconds_count{stage="heads"} 2`)
}

// pathsOf names each span by those it is in.
func pathsOf(spans tracetest.SpanStubs) map[string]int {
	byID := map[string]tracetest.SpanStub{}
	for _, s := range spans {
		byID[s.SpanContext.SpanID().String()] = s
	}
	paths := map[string]int{}
	for _, s := range spans {
		path := s.Name
		for parent := s.Parent; parent.IsValid(); {
			above, found := byID[parent.SpanID().String()]
			if !found {
				path = "remote > " + path
				break
			}
			path, parent = above.Name+" > "+path, above.Parent
		}
		paths[path]++
	}
	return paths
}
