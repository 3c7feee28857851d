package rpc_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/queue"
	"lotwright/server/rpc"
	"lotwright/server/store"
	"lotwright/server/store/sqlite"
)

// office is a server with a store and a queue behind it, both the real ones.
type office struct {
	*testing.T
	*service
	kept       *sqlite.Store
	batches    pb.BatchServiceClient
	operations longrunningpb.OperationsClient
}

func keep(t *testing.T, change func(*rpc.Options)) *office {
	t.Helper()
	return keepAt(t, 0, change)
}

// keepAt is keep with a time for each lot.
func keepAt(t *testing.T, lotTime time.Duration, change func(*rpc.Options)) *office {
	t.Helper()
	kept, err := sqlite.Open(t.Context(), t.TempDir())
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, kept.Close()) })
	o := &office{T: t, kept: kept}
	o.service = serve(t, func(options *rpc.Options) {
		options.Store = kept
		if change != nil {
			change(options)
		}
	})
	jobs, err := queue.New(t.Context(), riversqlite.New(kept.Writer()), kept, queue.Options{
		Design: o.server.DesignStored, Apart: o.server.DesignStored, Failed: o.server.FailedStored, Admit: o.server.Admit,
		ChunkLots: 3, LotTime: lotTime,
	})
	require.NoError(t, err)
	require.NoError(t, jobs.Start(t.Context()))
	t.Cleanup(func() { assert.NoError(t, jobs.Stop(context.Background())) })
	o.batches, o.operations = pb.NewBatchServiceClient(o.conn), longrunningpb.NewOperationsClient(o.conn)
	return o
}

func (o *office) create(id string) {
	o.Helper()
	_, err := o.batches.CreateBatch(o.Context(), &pb.CreateBatchRequest{BatchId: id})
	require.NoError(o, err)
}

// send sends messages of one import and returns the answer.
func (o *office) send(messages ...*pb.ImportLotsRequest) (*pb.ImportLotsResponse, error) {
	o.Helper()
	stream, err := o.batches.ImportLots(o.Context())
	require.NoError(o, err)
	for _, m := range messages {
		if err := stream.Send(m); errors.Is(err, io.EOF) {
			break // the answer says why
		}
	}
	return stream.CloseAndRecv()
}

func target(batch, id string, from int32) *pb.ImportLotsRequest {
	return &pb.ImportLotsRequest{Message: &pb.ImportLotsRequest_Target_{Target: &pb.ImportLotsRequest_Target{Parent: "batches/" + batch, ImportId: id, From: from}}}
}

func toImport(ids ...string) (list []*pb.ImportLotsRequest) {
	for _, id := range ids {
		list = append(list, &pb.ImportLotsRequest{Message: &pb.ImportLotsRequest_Lot{Lot: lotMessage(id)}})
	}
	return list
}

func numbered(n int) (ids []string) {
	for i := range n {
		ids = append(ids, fmt.Sprintf("lot %03d", i))
	}
	return ids
}

// fill makes a batch of the given lots.
func (o *office) fill(batch string, ids ...string) {
	o.Helper()
	o.create(batch)
	_, err := o.send(append([]*pb.ImportLotsRequest{target(batch, "i", 0)}, toImport(ids...)...)...)
	require.NoError(o, err)
}

// start starts a run over a batch and returns the operation's name.
func (o *office) start(batch string) string {
	o.Helper()
	operation, err := o.batches.DesignBatch(o.Context(), &pb.DesignBatchRequest{Name: "batches/" + batch, Settings: &pb.Settings{CoverageTarget: proto.Float64(0.9)}})
	require.NoError(o, err)
	return operation.Name
}

// watch returns the records of a run up to its end.
func (o *office) watch(req *pb.WatchBatchRequest) (lots []*pb.WatchBatchResponse, end *pb.DesignBatchMetadata) {
	o.Helper()
	stream, err := o.batches.WatchBatch(o.Context(), req)
	require.NoError(o, err)
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return lots, end
		}
		require.NoError(o, err)
		require.Nil(o, end, "a record behind the end")
		if end = m.GetEnd(); end == nil {
			lots = append(lots, m)
		}
	}
}

func code(err error) codes.Code { return status.Code(err) }

// TestBatch goes the whole way: lots in, a run, what becomes of them, out again.
func TestBatch(t *testing.T) {
	o := keep(t, nil)
	ids := []string{"a", "b", "refuse c", "panic d", "e", "f", "g"}
	o.fill("elm", ids...)
	name := o.start("elm")

	lots, end := o.watch(&pb.WatchBatchRequest{Name: "batches/elm"})
	statuses := map[string]pb.Design_Status{}
	for _, m := range lots {
		statuses[m.GetLot().Lot] = m.GetLot().Status
	}
	assert.Equal(t, map[string]pb.Design_Status{"a": 1, "b": 1, "refuse c": pb.Design_INVALID, "panic d": pb.Design_FAILED, "e": 1, "f": 1, "g": 1}, statuses)
	require.NotNil(t, end)
	assert.Equal(t, []int32{7, 7, 5, 0, 1, 1}, []int32{end.Lots, end.Finished, end.Designed, end.Infeasible, end.Invalid, end.Failed})
	assert.Equal(t, pb.DesignBatchMetadata_DONE, end.State)

	operation, err := o.operations.GetOperation(t.Context(), &longrunningpb.GetOperationRequest{Name: name})
	require.NoError(t, err)
	assert.True(t, operation.Done)
	var resp pb.DesignBatchResponse
	require.NoError(t, operation.GetResponse().UnmarshalTo(&resp))
	assert.Equal(t, "batches/elm", resp.Batch)
	assert.Equal(t, int32(1), resp.Revision)

	// Page by page and in one piece: what the other service answers for a lot.
	var want []*pb.Design
	for _, id := range ids {
		one, err := o.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage(id), Settings: &pb.Settings{CoverageTarget: proto.Float64(0.9)}})
		require.NoError(t, err)
		want = append(want, one.Design)
	}
	assert.Equal(t, texts(want), texts(o.designs("elm", 3)))
	assert.Equal(t, texts(want), texts(o.designs("elm", 1000)))
	stream, err := o.batches.ExportDesigns(t.Context(), &pb.ExportDesignsRequest{Name: "batches/elm"})
	require.NoError(t, err)
	var features []string
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		features = append(features, m.Features...)
	}
	got := o.do(t, http.MethodGet, "/v1/batches/elm:export", nil)
	require.Equal(t, http.StatusOK, got.status, got.body)
	assert.Equal(t, "application/geo+json", got.header.Get("Content-Type"))
	assert.Equal(t, collected(t, want), strings.Join(features, "\n"))
	assert.Equal(t, features, rawFeatures(t, got.body))
	const database = "application/geopackage+sqlite3"
	got = o.do(t, http.MethodGet, "/v1/batches/elm:export", nil, "Accept", database)
	assert.Equal(t, database, got.header.Get("Content-Type"))
	assert.True(t, strings.HasPrefix(got.body, "SQLite format 3\x00"))
	assert.Equal(t, got.body, o.do(t, http.MethodGet, rpc.DatabasePath("elm"), nil).body)
	got = o.do(t, http.MethodGet, "/v1/batches/elm:export?revision=1", nil, "Accept", "application/x-ndjson")
	assert.Equal(t, strings.Join(features, "\n")+"\n", got.body)

	_, err = o.batches.DeleteBatch(t.Context(), &pb.DeleteBatchRequest{Name: "batches/elm"})
	require.NoError(t, err)
	_, err = o.batches.GetBatch(t.Context(), &pb.GetBatchRequest{Name: "batches/elm"})
	assert.Equal(t, codes.NotFound, code(err))
}

// designs lists the designs of a batch's last revision, by pages of a size.
func (o *office) designs(batch string, size int32) (list []*pb.Design) {
	o.Helper()
	token := ""
	for {
		page, err := o.batches.ListDesigns(o.Context(), &pb.ListDesignsRequest{Parent: "batches/" + batch, PageSize: size, PageToken: token})
		require.NoError(o, err)
		require.LessOrEqual(o, len(page.Designs), int(size))
		list = append(list, page.Designs...)
		if token = page.NextPageToken; token == "" {
			return list
		}
	}
}

func texts(designs []*pb.Design) (out []string) {
	for _, d := range designs {
		text, err := proto.MarshalOptions{Deterministic: true}.Marshal(d)
		if err != nil {
			panic(err)
		}
		out = append(out, string(text))
	}
	return out
}

func rawFeatures(t *testing.T, collection string) (out []string) {
	t.Helper()
	var c struct{ Features []json.RawMessage }
	require.NoError(t, json.Unmarshal([]byte(collection), &c))
	for _, f := range c.Features {
		out = append(out, string(f))
	}
	return out
}

func collected(t *testing.T, designs []*pb.Design) string {
	t.Helper()
	var out []string
	for _, d := range designs {
		out = append(out, rawFeatures(t, d.Geojson)...)
	}
	return strings.Join(out, "\n")
}

func TestRequestsThatAreRepeated(t *testing.T) {
	o := keep(t, nil)
	first, err := o.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{RequestId: "r"})
	require.NoError(t, err)
	again, err := o.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{RequestId: "r"})
	require.NoError(t, err)
	assert.Equal(t, first.Name, again.Name)
	_, err = o.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{RequestId: "r", Batch: &pb.Batch{Title: "other"}})
	assert.Equal(t, codes.InvalidArgument, code(err))
	assert.ErrorContains(t, err, "used for another request")

	o.fill("elm", "wait 1")
	design := &pb.DesignBatchRequest{Name: "batches/elm", RequestId: "d"}
	one, err := o.batches.DesignBatch(t.Context(), design)
	require.NoError(t, err)
	two, err := o.batches.DesignBatch(t.Context(), design)
	require.NoError(t, err)
	assert.Equal(t, one.Name, two.Name)
	_, err = o.batches.DesignBatch(t.Context(), &pb.DesignBatchRequest{Name: "batches/elm"})
	assert.Equal(t, codes.FailedPrecondition, code(err), "one run at a time")
	_, err = o.batches.DeleteBatch(t.Context(), &pb.DeleteBatchRequest{Name: "batches/elm"})
	assert.Equal(t, codes.FailedPrecondition, code(err))
	close(o.release)
}

// TestImportThatBreaksOff: what was acknowledged stays, the rest is sent again,
// and every lot is there once.
func TestImportThatBreaksOff(t *testing.T) {
	o := keep(t, nil)
	o.create("elm")
	ids := numbered(450)
	ctx, cancel := context.WithCancel(t.Context())
	stream, err := o.batches.ImportLots(ctx)
	require.NoError(t, err)
	for _, m := range append([]*pb.ImportLotsRequest{target("elm", "i", 0)}, toImport(ids[:300]...)...) {
		require.NoError(t, stream.Send(m))
	}
	lots := func() int32 {
		b, err := o.batches.GetBatch(t.Context(), &pb.GetBatchRequest{Name: "batches/elm"})
		require.NoError(t, err)
		return b.Lots
	}
	require.Eventually(t, func() bool { return lots() >= 200 }, 20*time.Second, time.Millisecond)
	cancel()

	progress, err := o.send(target("elm", "i", 0))
	require.NoError(t, err)
	assert.GreaterOrEqual(t, progress.Acknowledged, int32(200))
	assert.LessOrEqual(t, progress.Acknowledged, int32(300))
	assert.Equal(t, lots(), progress.Acknowledged)
	_, err = o.send(target("elm", "i", progress.Acknowledged+1))
	assert.Equal(t, codes.OutOfRange, code(err), "a gap")
	from := progress.Acknowledged - 10 // some again
	resp, err := o.send(append([]*pb.ImportLotsRequest{target("elm", "i", from)}, toImport(ids[from:]...)...)...)
	require.NoError(t, err)
	assert.Equal(t, int32(450), resp.Acknowledged)
	assert.Equal(t, int32(450), resp.Added)
	assert.Equal(t, int32(450), lots())

	// All of it under another name adds nothing.
	resp, err = o.send(append([]*pb.ImportLotsRequest{target("elm", "j", 0)}, toImport(ids...)...)...)
	require.NoError(t, err)
	assert.Equal(t, int32(450), resp.Known)
	assert.Equal(t, int32(450), lots())
}

func TestImportRefusals(t *testing.T) {
	o := keep(t, func(options *rpc.Options) { options.Limits.StreamLots = 5 })
	o.create("elm")
	other := toImport("a")[0]
	other.GetLot().Features[0].Geometry = nil
	resp, err := o.send(append([]*pb.ImportLotsRequest{target("elm", "i", 0)}, append(toImport("a", "", strings.Repeat("x", 129), strings.Repeat("x", 128)), other)...)...)
	require.NoError(t, err)
	assert.Equal(t, []int32{5, 2, 0, 3}, []int32{resp.Acknowledged, resp.Added, resp.Known, resp.Refused})
	require.Len(t, resp.Refusals, 3)
	assert.Equal(t, []int32{1, 2, 4}, []int32{resp.Refusals[0].Index, resp.Refusals[1].Index, resp.Refusals[2].Index})
	assert.Equal(t, "a", resp.Refusals[2].Lot)

	_, err = o.send(append([]*pb.ImportLotsRequest{target("elm", "i", 5)}, toImport("b")...)...)
	assert.Equal(t, codes.ResourceExhausted, code(err))
	for name, messages := range map[string][]*pb.ImportLotsRequest{
		"nothing":           nil,
		"a lot first":       toImport("a"),
		"two targets":       {target("elm", "k", 0), target("elm", "k", 0)},
		"no import id":      {target("elm", "", 0)},
		"from below 0":      {target("elm", "k", -1)},
		"long import id":    {target("elm", strings.Repeat("x", 129), 0)},
		"name without a id": {target("", "k", 0)},
	} {
		_, err := o.send(messages...)
		assert.Equal(t, codes.InvalidArgument, code(err), name)
	}
	_, err = o.send(target("oak", "i", 0))
	assert.Equal(t, codes.NotFound, code(err))
}

// TestWatchFromACursor: every record once, wherever the stream was cut.
func TestWatchFromACursor(t *testing.T) {
	o := keep(t, nil)
	o.fill("elm", numbered(30)...)
	o.start("elm")
	whole, _ := o.watch(&pb.WatchBatchRequest{Name: "batches/elm"})
	require.Len(t, whole, 30)
	for _, cut := range []int{1, 17, 30} {
		rest, end := o.watch(&pb.WatchBatchRequest{Name: "batches/elm", Cursor: whole[cut-1].Cursor})
		assert.NotNil(t, end)
		require.Len(t, rest, 30-cut)
		for i := range rest {
			assert.True(t, proto.Equal(whole[cut+i], rest[i]))
		}
	}
	// A cursor goes on in its own revision, whatever was begun since.
	o.start("elm")
	_, end := o.watch(&pb.WatchBatchRequest{Name: "batches/elm", Cursor: whole[3].Cursor})
	assert.Equal(t, int32(1), end.Revision)
	for name, req := range map[string]*pb.WatchBatchRequest{
		"made up":        {Name: "batches/elm", Cursor: "17"},
		"other batch":    {Name: "batches/oak", Cursor: whole[3].Cursor},
		"other revision": {Name: "batches/elm", Revision: 2, Cursor: whole[3].Cursor},
	} {
		stream, err := o.batches.WatchBatch(t.Context(), req)
		require.NoError(t, err)
		_, err = stream.Recv()
		assert.Equal(t, codes.InvalidArgument, code(err), name)
	}
}

// TestWatchWhenTheServerStops: the client learns that this was not the end.
func TestWatchWhenTheServerStops(t *testing.T) {
	o := keep(t, nil)
	o.fill("elm", "a", "wait")
	o.start("elm")
	stream, err := o.batches.WatchBatch(t.Context(), &pb.WatchBatchRequest{Name: "batches/elm"})
	require.NoError(t, err)
	_, err = stream.Recv()
	require.NoError(t, err)
	began := time.Now()
	o.stop()
	_, err = stream.Recv()
	assert.Equal(t, codes.Unavailable, code(err))
	<-o.stopped
	assert.Less(t, time.Since(began), 8*time.Second, "less than the time for stragglers")
	close(o.release)
}

// TestBatchWaitsItsTurn: lots of batches share the workers with calls, and the
// wait for one does not count as theirs.
func TestBatchWaitsItsTurn(t *testing.T) {
	const lotTime = 200 * time.Millisecond
	o := keepAt(t, lotTime, func(options *rpc.Options) { options.Workers = 1 })
	answered := make(chan error, 1)
	go func() {
		_, err := o.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage("wait")})
		answered <- err
	}()
	<-o.entered
	o.fill("elm", "a", "b")
	name := o.start("elm")
	time.Sleep(2 * lotTime)
	operation, err := o.batches.GetOperation(t.Context(), &longrunningpb.GetOperationRequest{Name: name})
	require.NoError(t, err)
	assert.False(t, operation.Done)
	close(o.release)
	require.NoError(t, <-answered)
	_, end := o.watch(&pb.WatchBatchRequest{Name: "batches/elm"})
	assert.Equal(t, []int32{2, 2, 0}, []int32{end.Finished, end.Designed, end.Failed})
}

// TestWatchersAreLimited: those who only watch leave room for those who work.
func TestWatchersAreLimited(t *testing.T) {
	o := keep(t, func(options *rpc.Options) { options.Limits.Watchers = 2 })
	o.fill("elm", "a", "wait")
	o.start("elm")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	look := func() error {
		stream, err := o.batches.WatchBatch(ctx, &pb.WatchBatchRequest{Name: "batches/elm"})
		require.NoError(t, err)
		_, err = stream.Recv()
		return err
	}
	require.NoError(t, look())
	require.NoError(t, look())
	assert.Equal(t, codes.ResourceExhausted, code(look()))
	cancel()
	ctx = t.Context()
	assert.Eventually(t, func() bool { return look() == nil }, 20*time.Second, 10*time.Millisecond)
	close(o.release)
}

// TestLargeDesigns: a page ends where it would be too much for a client.
func TestLargeDesigns(t *testing.T) {
	o := keep(t, nil)
	var ids []string
	for i := range 45 {
		ids = append(ids, fmt.Sprintf("%02d ", i)+strings.Repeat("x", 120))
	}
	o.large = 100_000
	o.fill("elm", ids...)
	o.start("elm")
	o.watch(&pb.WatchBatchRequest{Name: "batches/elm"})
	page, err := o.batches.ListDesigns(t.Context(), &pb.ListDesignsRequest{Parent: "batches/elm", PageSize: 1000})
	require.NoError(t, err)
	assert.Less(t, len(page.Designs), 45)
	assert.Less(t, proto.Size(page), 4<<20)
	var got []string
	for _, d := range o.designs("elm", 1000) {
		got = append(got, d.Lot)
	}
	assert.Equal(t, ids, got)
}

func TestCancelledOperation(t *testing.T) {
	o := keep(t, nil)
	o.fill("elm", "a", "wait", "b")
	name := o.start("elm")
	<-o.entered
	_, err := o.batches.ListDesigns(t.Context(), &pb.ListDesignsRequest{Parent: "batches/elm"})
	assert.Equal(t, codes.FailedPrecondition, code(err), "nobody sees half a revision")
	_, err = o.operations.CancelOperation(t.Context(), &longrunningpb.CancelOperationRequest{Name: name})
	require.NoError(t, err)
	close(o.release)
	operation, err := o.batches.GetOperation(t.Context(), &longrunningpb.GetOperationRequest{Name: name})
	require.NoError(t, err)
	assert.True(t, operation.Done)
	assert.Equal(t, int32(codes.Canceled), operation.GetError().GetCode())
	kept := o.designs("elm", 10)
	require.Len(t, kept, 1)
	assert.Equal(t, "a", kept[0].Lot)

	// A run under way leaves what the last one made to be read.
	o.start("elm")
	assert.Eventually(t, func() bool {
		b, err := o.batches.GetBatch(t.Context(), &pb.GetBatchRequest{Name: "batches/elm"})
		return err == nil && b.Revision == 2
	}, 20*time.Second, time.Millisecond)
	assert.NotEmpty(t, o.designs("elm", 10))
}

func TestLists(t *testing.T) {
	o := keep(t, nil)
	for _, id := range []string{"c", "a", "b"} {
		o.fill(id, "lot")
		o.start(id)
		o.watch(&pb.WatchBatchRequest{Name: "batches/" + id})
	}
	var names []string
	req := &pb.ListBatchesRequest{PageSize: 2}
	for {
		page, err := o.batches.ListBatches(t.Context(), req)
		require.NoError(t, err)
		for _, b := range page.Batches {
			names = append(names, b.Name)
		}
		if req.PageToken = page.NextPageToken; req.PageToken == "" {
			break
		}
	}
	assert.Equal(t, []string{"batches/a", "batches/b", "batches/c"}, names)

	list := &longrunningpb.ListOperationsRequest{Name: "operations", PageSize: 2}
	page, err := o.operations.ListOperations(t.Context(), list)
	require.NoError(t, err)
	require.Len(t, page.Operations, 2)
	var newest pb.DesignBatchMetadata
	require.NoError(t, page.Operations[0].Metadata.UnmarshalTo(&newest))
	assert.Equal(t, "batches/b", newest.Batch)
	list.PageToken = page.NextPageToken
	page, err = o.operations.ListOperations(t.Context(), list)
	require.NoError(t, err)
	require.Len(t, page.Operations, 1)
	assert.Empty(t, page.NextPageToken)

	for name, call := range map[string]func() error{
		"size below 0": func() error {
			_, err := o.batches.ListBatches(t.Context(), &pb.ListBatchesRequest{PageSize: -1})
			return err
		},
		"token of another list": func() error {
			_, err := o.batches.ListBatches(t.Context(), &pb.ListBatchesRequest{PageToken: list.PageToken})
			return err
		},
		"filter": func() error {
			_, err := o.operations.ListOperations(t.Context(), &longrunningpb.ListOperationsRequest{Filter: "done"})
			return err
		},
		"id that is none": func() error {
			_, err := o.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{BatchId: "Elm Street"})
			return err
		},
		"long title": func() error {
			_, err := o.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{Batch: &pb.Batch{Title: strings.Repeat("é", 201)}})
			return err
		},
		"settings": func() error {
			_, err := o.batches.DesignBatch(t.Context(), &pb.DesignBatchRequest{Name: "batches/a", Settings: &pb.Settings{CoverageTarget: proto.Float64(2)}})
			return err
		},
	} {
		assert.Equal(t, codes.InvalidArgument, code(call()), name)
	}
	_, err = o.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{Batch: &pb.Batch{Title: strings.Repeat("é", 200)}})
	assert.NoError(t, err)
	_, err = o.batches.CreateBatch(t.Context(), &pb.CreateBatchRequest{BatchId: "a"})
	assert.Equal(t, codes.AlreadyExists, code(err))
}

// TestBatchesOverHTTP: long work is told by HTTP's own means, faults are problem
// documents, and what is not understood is refused.
func TestBatchesOverHTTP(t *testing.T) {
	o := keep(t, nil)
	made := o.post(t, "/v1/batches", "application/json", `{"batch_id":"elm","batch":{"title":"Elm Street"}}`)
	require.Equal(t, http.StatusOK, made.status, made.body)
	_, err := o.send(append([]*pb.ImportLotsRequest{target("elm", "i", 0)}, toImport("a", "wait")...)...)
	require.NoError(t, err)
	started := o.post(t, "/v1/batches/elm:design", "application/json", `{}`)
	require.Equal(t, http.StatusAccepted, started.status, started.body)
	assert.Equal(t, "1", started.header.Get("Retry-After"))
	place := started.header.Get("Location")
	got := o.do(t, http.MethodGet, place, nil)
	assert.Equal(t, http.StatusOK, got.status)
	assert.Equal(t, "1", got.header.Get("Retry-After"))
	assert.Contains(t, strings.ReplaceAll(got.body, " ", ""), `"done":false`)
	close(o.release)
	watched := o.do(t, http.MethodGet, "/v1/batches/elm:watch", nil)
	lines := strings.Split(strings.TrimSpace(watched.body), "\n")
	require.Len(t, lines, 3, watched.body)
	assert.Contains(t, lines[2], `"end":`)
	got = o.do(t, http.MethodGet, place, nil)
	assert.Contains(t, strings.ReplaceAll(got.body, " ", ""), `"done":true`)
	assert.Empty(t, got.header.Get("Retry-After"))
	assert.Equal(t, http.StatusOK, o.post(t, place+":cancel", "application/json", `{}`).status, "too late, and no harm done")
	assert.Equal(t, http.StatusOK, o.do(t, http.MethodGet, "/v1/operations?page_size=1", nil).status)
	assert.Equal(t, http.StatusOK, o.do(t, http.MethodGet, "/v1/batches/elm/designs?page_size=1", nil).status)

	for _, c := range []struct {
		method, path string
		status       int
		code         string
	}{
		{"GET", "/v1/batches/oak", 404, "NOT_FOUND"},
		{"GET", "/v1/batches/oak:export", 404, "NOT_FOUND"},
		{"GET", "/v1/batches/elm:export?revision=2", 404, "NOT_FOUND"},
		{"GET", "/v1/batches/elm:export?revision=x", 400, "INVALID_FIELD"},
		{"GET", "/v1/batches/elm:export?f=dxf", 400, "INVALID_FIELD"},
		{"GET", "/v1/batches/elm:export?f=gpkg&f=gpkg", 400, "INVALID_FIELD"},
		{"GET", "/v1/batches/elm:export?f=gpkg&revision=2", 404, "NOT_FOUND"},
		{"GET", "/v1/batches/elm:export?nothing=1", 400, "INVALID_FIELD"},
		{"GET", "/v1/batches/elm:export?revison=1", 400, "INVALID_FIELD"},
		{"GET", "/v1/batches/elm/designs?page_sze=1", 400, "INVALID_ARGUMENT"},
		{"GET", "/v1/batches/elm/designs?page_size=1&page_size=2", 400, "INVALID_ARGUMENT"},
		{"GET", "/v1/batches/elm/designs?parent=batches/oak", 400, "INVALID_ARGUMENT"},
		{"GET", "/v1/operations/none", 404, "NOT_FOUND"},
		{"DELETE", "/v1/batches/oak", 404, "NOT_FOUND"},
		{"PUT", "/v1/batches/elm", 405, "METHOD_NOT_ALLOWED"},
	} {
		got := o.do(t, c.method, c.path, nil)
		assert.Equal(t, c.status, got.status, "%s %s: %s", c.method, c.path, got.body)
		assert.Equal(t, c.code, got.problem(t).Code, c.path)
	}
	assert.Equal(t, http.StatusConflict, o.post(t, "/v1/batches", "application/json", `{"batch_id":"elm"}`).status)
	o.create("empty")
	got = o.post(t, "/v1/batches/empty:design", "application/json", `{}`)
	assert.Equal(t, http.StatusConflict, got.status)
	assert.Equal(t, "WRONG_STATE", got.problem(t).Code)
	for path, allowed := range map[string]string{
		"/v1/batches": "GET, POST", "/v1/batches/elm": "GET, DELETE", "/v1/batches/elm:watch": "GET", "/v1/batches/elm:design": "POST",
		"/v1/batches/elm/designs": "GET", "/v1/operations": "GET", "/v1/operations/none:cancel": "POST", "/readyz": "GET",
	} {
		assert.Equal(t, allowed, o.do(t, http.MethodPatch, path, nil).header.Get("Allow"), path)
	}
	assert.Equal(t, http.StatusOK, o.do(t, http.MethodDelete, "/v1/batches/elm", nil).status)
}

// TestFullStore: a write that finds no room says so, by both doors, and the
// service goes on.
func TestFullStore(t *testing.T) {
	o := keep(t, nil)
	o.create("elm")
	_, err := o.kept.Writer().Exec(`PRAGMA max_page_count = 1`)
	require.NoError(t, err)
	big := toImport(numbered(pieceOver)...)
	_, err = o.send(append([]*pb.ImportLotsRequest{target("elm", "i", 0)}, big...)...)
	assert.Equal(t, codes.Unavailable, code(err))
	assert.ErrorContains(t, err, "disk is full")
	long := strings.Repeat("x", 200)
	var got reply
	for i := range 100 { // until the last page is full
		got = o.post(t, "/v1/batches", "application/json", fmt.Sprintf(`{"batch_id":"oak-%d","batch":{"title":%q}}`, i, long))
		if got.status != http.StatusOK {
			break
		}
	}
	assert.Equal(t, http.StatusInsufficientStorage, got.status)
	assert.Equal(t, "STORE_FULL", got.problem(t).Code)
	assert.Equal(t, http.StatusNoContent, o.do(t, http.MethodGet, "/readyz", nil).status)
	_, err = o.kept.Writer().Exec(`PRAGMA max_page_count = 1000000`)
	require.NoError(t, err)
	resp, err := o.send(append([]*pb.ImportLotsRequest{target("elm", "i", 0)}, big...)...)
	require.NoError(t, err)
	assert.Equal(t, int32(len(big)), resp.Added)
}

// pieceOver is more lots than are taken in at once.
const pieceOver = 300

func TestReady(t *testing.T) {
	o := keep(t, nil)
	assert.Equal(t, http.StatusNoContent, o.do(t, http.MethodGet, "/readyz", nil).status)
	broken, err := sqlite.Open(t.Context(), t.TempDir())
	require.NoError(t, err)
	require.NoError(t, broken.Close())
	s := serve(t, func(options *rpc.Options) { options.Store = broken })
	got := s.do(t, http.MethodGet, "/readyz", nil)
	assert.Equal(t, http.StatusServiceUnavailable, got.status)
	assert.Equal(t, "NOT_READY", got.problem(t).Code)
	assert.Equal(t, http.StatusNoContent, serve(t, nil).do(t, http.MethodGet, "/readyz", nil).status)
}

func TestNoBatchesWithoutAStore(t *testing.T) {
	s := serve(t, nil)
	_, err := pb.NewBatchServiceClient(s.conn).ListBatches(t.Context(), &pb.ListBatchesRequest{})
	assert.Equal(t, codes.Unimplemented, code(err))
	for _, path := range []string{"/v1/batches", "/v1/batches/elm:export"} {
		assert.Equal(t, http.StatusNotFound, s.do(t, http.MethodGet, path, nil).status, path)
	}
}

// TestWhatIsKeptIsTheTenants: nothing that is in the store under another tenant
// is found by any method.
func TestWhatIsKeptIsTheTenants(t *testing.T) {
	o := keep(t, nil)
	_, err := o.kept.CreateBatch(t.Context(), "another", "elm", "", store.Request{})
	require.NoError(t, err)
	_, _, err = o.kept.AddLots(t.Context(), "another", "elm", store.Piece{Import: "i", Messages: []store.ImportMessage{{Lot: store.Lot{ID: "a", Content: []byte{}}}}})
	require.NoError(t, err)
	_, err = o.kept.StartOperation(t.Context(), "another", "elm", "run", nil, store.Request{})
	require.NoError(t, err)
	ctx := t.Context()
	for name, call := range map[string]func() error{
		"GetBatch": func() error { _, err := o.batches.GetBatch(ctx, &pb.GetBatchRequest{Name: "batches/elm"}); return err },
		"DeleteBatch": func() error {
			_, err := o.batches.DeleteBatch(ctx, &pb.DeleteBatchRequest{Name: "batches/elm"})
			return err
		},
		"ImportLots": func() error { _, err := o.send(target("elm", "i", 0)); return err },
		"DesignBatch": func() error {
			_, err := o.batches.DesignBatch(ctx, &pb.DesignBatchRequest{Name: "batches/elm"})
			return err
		},
		"ListDesigns": func() error {
			_, err := o.batches.ListDesigns(ctx, &pb.ListDesignsRequest{Parent: "batches/elm", Revision: 1})
			return err
		},
		"GetOperation": func() error {
			_, err := o.batches.GetOperation(ctx, &longrunningpb.GetOperationRequest{Name: "operations/run"})
			return err
		},
		"CancelOperation": func() error {
			_, err := o.batches.CancelOperation(ctx, &longrunningpb.CancelOperationRequest{Name: "operations/run"})
			return err
		},
		"WatchBatch": func() error {
			stream, err := o.batches.WatchBatch(ctx, &pb.WatchBatchRequest{Name: "batches/elm"})
			require.NoError(t, err)
			_, err = stream.Recv()
			return err
		},
		"ExportDesigns": func() error {
			stream, err := o.batches.ExportDesigns(ctx, &pb.ExportDesignsRequest{Name: "batches/elm", Revision: 1})
			require.NoError(t, err)
			_, err = stream.Recv()
			return err
		},
	} {
		assert.Equal(t, codes.NotFound, code(call()), name)
	}
	batches, err := o.batches.ListBatches(ctx, &pb.ListBatchesRequest{})
	require.NoError(t, err)
	assert.Empty(t, batches.Batches)
	operations, err := o.batches.ListOperations(ctx, &longrunningpb.ListOperationsRequest{})
	require.NoError(t, err)
	assert.Empty(t, operations.Operations)
}
