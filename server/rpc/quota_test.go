package rpc_test

import (
	"fmt"
	"net/http"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/rpc"
)

// requireQuota checks that an error names the quota it is about.
func requireQuota(t *testing.T, err error, limit string) {
	t.Helper()
	st := status.Convert(err)
	require.Equal(t, codes.ResourceExhausted, st.Code(), "%v", err)
	require.NotEmpty(t, st.Details())
	info, ok := st.Details()[0].(*errdetails.ErrorInfo)
	require.True(t, ok)
	assert.Equal(t, "QUOTA_EXCEEDED", info.Reason)
	assert.Equal(t, limit, info.Metadata["limit"])
	assert.Contains(t, st.Message(), limit)
}

func TestLimitBatches(t *testing.T) {
	o := keep(t, withLimits(rpc.Limits{Batches: 2}))
	o.create("a")
	o.create("b")
	_, err := o.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{})
	requireQuota(t, err, "Batches")
	r := o.post(t, "/v1/batches", plain, `{"batch_id":"c"}`)
	assert.Equal(t, http.StatusTooManyRequests, r.status)
	p := r.problem(t)
	assert.Equal(t, "QUOTA_EXCEEDED", p.Code)
	assert.Equal(t, "Batches", p.Limit)
	assert.Equal(t, 2, *p.Most)
	assert.Empty(t, r.header.Get("Retry-After"), "waiting does not help")
}

func TestLimitStored(t *testing.T) {
	o := keep(t, withLimits(rpc.Limits{Stored: 5}))
	o.fill("a", "1", "2", "3")
	o.fill("b", "1", "2")
	_, err := o.send(append([]*pb.ImportLotsRequest{target("b", "again", 0)}, toImport("3")...)...)
	requireQuota(t, err, "Stored")
	resp, err := o.send(append([]*pb.ImportLotsRequest{target("b", "known", 0)}, toImport("1", "2")...)...)
	require.NoError(t, err)
	assert.Equal(t, int32(2), resp.Known)
}

func TestLimitRunning(t *testing.T) {
	o := keep(t, withLimits(rpc.Limits{Running: 1}))
	o.fill("a", "wait")
	o.fill("b", "1")
	name := o.start("a")
	<-o.entered
	_, err := o.batches.DesignBatch(t.Context(), &pb.DesignBatchRequest{Name: "batches/b"})
	requireQuota(t, err, "Running")
	r := o.post(t, "/v1/batches/b:design", plain, "{}")
	assert.Equal(t, http.StatusTooManyRequests, r.status)
	assert.Equal(t, "60", r.header.Get("Retry-After"))
	close(o.release)
	_, end := o.watch(&pb.WatchBatchRequest{Name: "batches/a"})
	require.Equal(t, pb.DesignBatchMetadata_DONE, end.State, name)
	o.start("b")
}

// TestLimitRate: a tenant that calls too often is told when to come back, by both
// doors, and others are not held up.
func TestLimitRate(t *testing.T) {
	const burst = 4
	k := newKeyring(t, "elm", "oak")
	o := keep(t, func(options *rpc.Options) {
		k.guarded(t)(options)
		options.Limits = rpc.Limits{Rate: 0.01, Burst: burst}
	})
	for i := range burst {
		if i%2 == 0 {
			_, err := o.batches.ListBatches(k.as(t.Context(), "elm"), &pb.ListBatchesRequest{})
			require.NoError(t, err)
			continue
		}
		require.Equal(t, http.StatusOK, o.do(t, http.MethodGet, "/v1/batches", nil, "Authorization", "Bearer "+k.keys["elm"]).status)
	}
	_, err := o.batches.ListBatches(k.as(t.Context(), "elm"), &pb.ListBatchesRequest{})
	st := status.Convert(err)
	assert.Equal(t, codes.ResourceExhausted, st.Code())
	assert.Contains(t, fmt.Sprint(st.Details()...), "retry_delay")
	for _, path := range []string{"/v1/batches", "/v1/batches/a:export", "/nowhere"} {
		r := o.do(t, http.MethodGet, path, nil, "Authorization", "Bearer "+k.keys["elm"])
		assert.Equal(t, http.StatusTooManyRequests, r.status)
		assert.Equal(t, "TOO_MANY_REQUESTS", r.problem(t).Code)
		wait, err := strconv.Atoi(r.header.Get("Retry-After"))
		require.NoError(t, err)
		assert.Greater(t, wait, 50)
		assert.LessOrEqual(t, wait, 100)
	}
	assert.Equal(t, http.StatusOK, o.do(t, http.MethodGet, "/healthz", nil).status)
	_, err = o.batches.ListBatches(k.as(t.Context(), "oak"), &pb.ListBatchesRequest{})
	assert.NoError(t, err)
}

// TestNoRateWhereCallersAreNotKnown: they are this machine's own.
func TestNoRateWhereCallersAreNotKnown(t *testing.T) {
	o := keep(t, withLimits(rpc.Limits{Rate: 0.01, Burst: 1}))
	for range 5 {
		_, err := o.batches.ListBatches(t.Context(), &pb.ListBatchesRequest{})
		require.NoError(t, err)
	}
}
