package rpc_test

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/metadata"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/rpc"
)

// ledger gathers what the server tells.
type ledger struct {
	mu      sync.Mutex
	records []rpc.AuditRecord
}

func (l *ledger) tell(r rpc.AuditRecord) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.records = append(l.records, r)
}

// last waits for the n-th record: what a client hears of a call may come before
// the call's end.
func (l *ledger) last(t *testing.T, n int) rpc.AuditRecord {
	t.Helper()
	require.Eventually(t, func() bool {
		l.mu.Lock()
		defer l.mu.Unlock()
		return len(l.records) >= n
	}, 10*time.Second, time.Millisecond, "record %d", n)
	l.mu.Lock()
	defer l.mu.Unlock()
	require.Len(t, l.records, n)
	return l.records[n-1]
}

// TestAudit: every call by either door makes one record, with who, what, about
// which resource and what came of it; and nothing of what was said.
func TestAudit(t *testing.T) {
	k, l := newKeyring(t, "elm"), &ledger{}
	o := keep(t, func(options *rpc.Options) {
		k.guarded(t)(options)
		options.Audit = l.tell
	})
	elm := k.as(t.Context(), "elm")
	secret := k.keys["elm"]
	id := strings.Split(secret, "_")[1]
	n := 0
	check := func(known bool, method, resource, outcome string) {
		t.Helper()
		n++
		r := l.last(t, n)
		assert.Equal(t, method, r.Method)
		assert.Equal(t, outcome, r.Outcome, "%s %s", method, resource)
		assert.Equal(t, resource, r.Resource)
		assert.Equal(t, "127.0.0.1", r.From)
		assert.WithinDuration(t, time.Now(), r.Time, time.Minute)
		if known {
			assert.Equal(t, "elm", string(r.Caller.Tenant))
			assert.Equal(t, "key "+id, r.Caller.Name)
		} else {
			assert.Empty(t, r.Caller)
		}
	}
	grpcMethod := func(name string) string { return "/lotwright.v1.BatchService/" + name }
	_, err := o.batches.CreateBatch(elm, &pb.CreateBatchRequest{BatchId: "zebra", Batch: &pb.Batch{Title: canary}})
	require.NoError(t, err)
	check(true, grpcMethod("CreateBatch"), "batches/zebra", "OK")
	stream, err := o.batches.ImportLots(elm)
	require.NoError(t, err)
	for _, m := range append([]*pb.ImportLotsRequest{target("zebra", "i", 0)}, toImport(canary)...) {
		require.NoError(t, stream.Send(m))
	}
	_, err = stream.CloseAndRecv()
	require.NoError(t, err)
	check(true, grpcMethod("ImportLots"), "batches/zebra", "OK")
	operation, err := o.batches.DesignBatch(elm, &pb.DesignBatchRequest{Name: "batches/zebra"})
	require.NoError(t, err)
	check(true, grpcMethod("DesignBatch"), "batches/zebra", "OK")
	_, err = o.operations.GetOperation(elm, &longrunningpb.GetOperationRequest{Name: operation.Name})
	require.NoError(t, err)
	check(true, "/google.longrunning.Operations/GetOperation", operation.Name, "OK")
	_, err = o.batches.GetBatch(elm, &pb.GetBatchRequest{Name: "batches/none"})
	require.Error(t, err)
	check(true, grpcMethod("GetBatch"), "batches/none", "NOT_FOUND")
	_, err = o.batches.GetBatch(t.Context(), &pb.GetBatchRequest{Name: "batches/zebra"})
	require.Error(t, err)
	check(false, grpcMethod("GetBatch"), "batches/zebra", "UNAUTHENTICATED")
	_, err = o.batches.GetBatch(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+secret+"x"), &pb.GetBatchRequest{Name: secret})
	require.Error(t, err)
	check(false, grpcMethod("GetBatch"), "lwk_…", "UNAUTHENTICATED")

	key := []string{"Authorization", "Bearer " + secret}
	o.do(t, http.MethodGet, "/v1/batches/zebra?page_token="+secret, nil, key...)
	check(true, "GET", "/v1/batches/zebra", "200")
	o.post(t, "/v1/batches", plain, `{"batch_id":"yak","batch":{"title":"`+canary+`"}}`, key...)
	check(true, "POST", "/v1/batches batches/yak", "200")
	o.post(t, "/v1/batches/none:design", plain, `{}`, key...)
	check(true, "POST", "/v1/batches/none:design", "404")
	o.post(t, file, geoJSON, collectionOf(canary), key...)
	check(true, "POST", file, "200")
	o.do(t, http.MethodGet, "/v1/batches/"+secret, nil)
	check(false, "GET", "/v1/batches/lwk_…", "401")
	o.do(t, http.MethodGet, "/"+strings.Repeat("ä", 1000), nil, key...)
	check(true, "GET", "/"+strings.Repeat("ä", 149)+"…", "404")
	for _, open := range []string{"/healthz", "/readyz"} {
		o.do(t, http.MethodGet, open, nil)
	}
	assert.Len(t, l.records, n, "probes are not kept")

	said := fmt.Sprintf("%+v", l.records) + o.log.String()
	for _, never := range []string{canary, secret, secret[13:30]} {
		assert.False(t, strings.Contains(said, never), "%s is kept", never)
	}
}

// TestAuditOfAnAnswerThatIsBrokenOff tells it from a whole one.
func TestAuditOfAnAnswerThatIsBrokenOff(t *testing.T) {
	l := &ledger{}
	s := serve(t, func(o *rpc.Options) {
		o.Audit = l.tell
		o.Limits.Stop = 50 * time.Millisecond
	})
	ended := make(chan reply, 1)
	go func() { ended <- s.post(t, file, geoJSON, collectionOf("A", "wait")) }()
	<-s.entered
	s.stop()
	require.Error(t, (<-ended).err)
	assert.Equal(t, "200 broken off", l.last(t, 1).Outcome)
	assert.Equal(t, "local", string(l.last(t, 1).Caller.Tenant))
}
