package rpc_test

import (
	"errors"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/rpc"
	"lotwright/server/store"
)

// canary stands in everything that the owner of the batch in these tests put
// into it.
const canary = "Kanarienvogel"

// withoutIDs are the methods whose requests name nothing that belongs to
// somebody, and why. A method that is neither here nor has an id of one of the
// owner's collections fails the test.
var withoutIDs = map[protoreflect.FullName]string{
	"lotwright.v1.Designer.DesignLot":               "keeps nothing",
	"lotwright.v1.Designer.DesignLots":              "keeps nothing",
	"lotwright.v1.Designer.ComparePressures":        "keeps nothing",
	"lotwright.v1.Designer.RecheckLot":              "keeps nothing",
	"lotwright.v1.BatchService.CreateBatch":         "makes one of the caller's",
	"lotwright.v1.BatchService.ListBatches":         "lists the caller's",
	"lotwright.v1.BatchService.ListOperations":      "lists the caller's",
	"lotwright.v1.Presets.CreateHeadTable":          "makes one of the caller's",
	"lotwright.v1.Presets.CreateProfile":            "makes one of the caller's",
	"lotwright.v1.Presets.ListHeadTables":           "lists the caller's",
	"lotwright.v1.Presets.ListProfiles":             "lists the caller's",
	"google.longrunning.Operations.ListOperations":  "lists the caller's",
	"google.longrunning.Operations.DeleteOperation": "not offered",
	"google.longrunning.Operations.WaitOperation":   "not offered",
}

// estate is a batch that belongs to elm, with designs, and the keys of elm and of
// oak.
type estate struct {
	*office
	ring  *keyring
	names []string // of all that elm has, one a collection
}

func newEstate(t *testing.T) *estate {
	t.Helper()
	k := newKeyring(t, "elm", "oak")
	e := &estate{office: keep(t, func(o *rpc.Options) {
		k.guarded(t)(o)
		o.Limits.Burst = 10_000 // there are many methods
	}), ring: k}
	elm := k.as(t.Context(), "elm")
	_, err := e.batches.CreateBatch(elm, &pb.CreateBatchRequest{BatchId: "zebra", RequestId: "r1", Batch: &pb.Batch{Title: canary}})
	require.NoError(t, err)
	stream, err := e.batches.ImportLots(elm)
	require.NoError(t, err)
	for _, m := range append([]*pb.ImportLotsRequest{target("zebra", "i", 0)}, toImport(canary+" 1", canary+" 2")...) {
		require.NoError(t, stream.Send(m))
	}
	_, err = stream.CloseAndRecv()
	require.NoError(t, err)
	operation, err := e.batches.DesignBatch(elm, &pb.DesignBatchRequest{Name: "batches/zebra", RequestId: "r2"})
	require.NoError(t, err)
	watch, err := e.batches.WatchBatch(elm, &pb.WatchBatchRequest{Name: "batches/zebra"})
	require.NoError(t, err)
	for err == nil {
		_, err = watch.Recv()
	}
	require.ErrorIs(t, err, io.EOF)
	compared, err := e.batches.CompareBatch(elm, &pb.CompareBatchRequest{Name: "batches/zebra", PressuresKpa: []float64{300}})
	require.NoError(t, err)
	for done := false; !done; {
		o, err := e.kept.Operation(t.Context(), "elm", strings.TrimPrefix(compared.Name, "operations/"))
		require.NoError(t, err)
		done = o.State == store.Done
	}
	presets := pb.NewPresetsClient(e.conn)
	model := &pb.HeadModel{Name: canary, Rows: []*pb.PerformanceRow{{PressureKpa: 200, ThrowM: 8, FlowLpm: 15}}}
	table, err := presets.CreateHeadTable(elm, &pb.CreateHeadTableRequest{RequestId: "r3", HeadTable: &pb.HeadTable{Title: canary, HeadModel: model}})
	require.NoError(t, err)
	profile, err := presets.CreateProfile(elm, &pb.CreateProfileRequest{Profile: &pb.Profile{Title: canary, Settings: &pb.Settings{HeadTable: table.Name}}})
	require.NoError(t, err)
	comparison := strings.Replace(compared.Name, "operations/", "batches/zebra/comparisons/", 1)
	e.names = []string{"batches/zebra", operation.Name, comparison, table.Name, profile.Name}
	return e
}

// methods are those of all services that may be about something kept, those that
// delete last.
func methods(t *testing.T) (list []protoreflect.MethodDescriptor) {
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			s := f.Services().Get(i)
			if s.ParentFile().Package() != "lotwright.v1" && s.FullName() != "google.longrunning.Operations" {
				continue
			}
			for k := range s.Methods().Len() {
				list = append(list, s.Methods().Get(k))
			}
		}
		return true
	})
	require.Greater(t, len(list), 15)
	slices.SortFunc(list, func(a, b protoreflect.MethodDescriptor) int {
		last := func(m protoreflect.MethodDescriptor) string {
			if strings.HasPrefix(string(m.Name()), "Delete") {
				return "2"
			}
			return "1"
		}
		return strings.Compare(last(a)+string(a.FullName()), last(b)+string(b.FullName()))
	})
	return list
}

// name puts a name into every field of a message that holds one, at any depth,
// and reports whether there are any. What steers a design names nothing kept.
func name(m protoreflect.Message, to string) (found bool) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		switch {
		case f.Name() == "pressures_kpa":
			m.Mutable(f).List().Append(protoreflect.ValueOfFloat64(300))
		case f.Name() == "designs" && f.IsMap():
			m.Mutable(f).Map().Set(protoreflect.ValueOfString(canary+" 1").MapKey(), protoreflect.ValueOfString("1"))
		case f.IsList() || f.IsMap():
		case f.Kind() == protoreflect.StringKind && (f.Name() == "name" || f.Name() == "parent"):
			m.Set(f, protoreflect.ValueOfString(to))
			found = true
		case f.Kind() == protoreflect.StringKind && (f.Name() == "import_id" || f.Name() == "upload_id"):
			m.Set(f, protoreflect.ValueOfString("i"))
		case f.Kind() == protoreflect.MessageKind && f.Message().FullName() != "lotwright.v1.Settings" && f.Message().FullName() != "lotwright.v1.Lot":
			inner := m.NewField(f)
			if name(inner.Message(), to) {
				m.Set(f, inner)
				found = true
			}
		}
	}
	return found
}

// call calls any method as a tenant and returns all that came back, as text.
func (e *estate) call(tenant store.Tenant, method protoreflect.MethodDescriptor, req proto.Message) (answer string, err error) {
	e.Helper()
	path := "/" + string(method.Parent().FullName()) + "/" + string(method.Name())
	stream, err := e.conn.NewStream(e.ring.as(e.Context(), tenant), &grpc.StreamDesc{ClientStreams: true, ServerStreams: true}, path)
	require.NoError(e, err)
	_ = stream.SendMsg(req)
	_ = stream.CloseSend()
	for {
		resp := dynamicpb.NewMessage(method.Output())
		err := stream.RecvMsg(resp)
		if errors.Is(err, io.EOF) {
			return answer, nil
		}
		if err != nil {
			return answer + err.Error(), err
		}
		text, err := protojson.Marshal(resp)
		require.NoError(e, err)
		answer += string(text)
	}
}

// TestIsolation: no method, of those there are and those to come, answers a
// tenant about what is another's, nor changes it.
func TestIsolation(t *testing.T) {
	e := newEstate(t)
	before := e.inventory()
	covered := 0
	for _, method := range methods(t) {
		var met []codes.Code
		for _, id := range e.names {
			req := dynamicpb.NewMessage(method.Input())
			named := name(req, id)
			answer, err := e.call("oak", method, req)
			assert.False(t, strings.Contains(answer, canary), "%s %s leaks", method.FullName(), id)
			if _, listed := withoutIDs[method.FullName()]; !named || listed {
				continue
			}
			met = append(met, code(err))
		}
		if _, listed := withoutIDs[method.FullName()]; listed {
			continue
		}
		assert.Contains(t, met, codes.NotFound, "%s is not covered: give the owner something of its kind, or list it in withoutIDs", method.FullName())
		for _, c := range met {
			assert.Contains(t, []codes.Code{codes.NotFound, codes.InvalidArgument}, c, "%s", method.FullName())
		}
		covered++
	}
	t.Logf("%d methods with ids, %d without", covered, len(withoutIDs))
	assert.Equal(t, before, e.inventory(), "nothing of the owner's has changed")

	// The same calls find what they name when the owner makes them.
	for _, method := range methods(t) {
		if _, listed := withoutIDs[method.FullName()]; listed {
			continue
		}
		found := false
		for _, id := range e.names {
			req := dynamicpb.NewMessage(method.Input())
			name(req, id)
			_, err := e.call("elm", method, req)
			found = found || code(err) != codes.NotFound && code(err) != codes.InvalidArgument
		}
		assert.True(t, found, "%s finds nothing for its owner either", method.FullName())
	}
}

// inventory is all that elm has.
func (e *estate) inventory() string {
	e.Helper()
	var all strings.Builder
	batches, err := e.kept.Batches(e.Context(), "elm", "", 100)
	require.NoError(e, err)
	for _, b := range batches {
		all.WriteString(b.ID + b.Title + "\n")
		designs, err := e.kept.Designs(e.Context(), "elm", b.ID, 1, 0, 100)
		require.NoError(e, err)
		for _, d := range designs {
			all.WriteString(d.Lot + string(d.Status) + string(d.Content) + "\n")
		}
	}
	operations, err := e.kept.Operations(e.Context(), "elm", "", 100)
	require.NoError(e, err)
	for _, o := range operations {
		all.WriteString(o.ID + string(o.State) + "\n")
	}
	for _, kind := range []store.Kind{store.HeadTable, store.Profile} {
		records, err := e.kept.Records(e.Context(), "elm", kind, "", 100)
		require.NoError(e, err)
		for _, r := range records {
			all.WriteString(r.ID + string(r.Content) + "\n")
		}
	}
	return all.String()
}

// TestIsolationOverHTTP: nor does any path.
func TestIsolationOverHTTP(t *testing.T) {
	e := newEstate(t)
	before := e.inventory()
	asked := 0
	ask := func(method, path string) {
		t.Helper()
		r := e.do(t, method, path, strings.NewReader("{}"), "Content-Type", plain, "Authorization", "Bearer "+e.ring.keys["oak"])
		assert.Equal(t, http.StatusNotFound, r.status, "%s %s: %.200s", method, path, r.body)
		assert.False(t, strings.Contains(r.body, canary), "%s %s leaks", method, path)
		asked++
	}
	for _, method := range methods(t) {
		rule, _ := proto.GetExtension(method.Options(), annotations.E_Http).(*annotations.HttpRule)
		if _, listed := withoutIDs[method.FullName()]; rule == nil || listed || method.ParentFile().Package() != "lotwright.v1" {
			continue
		}
		for _, rule := range append([]*annotations.HttpRule{rule}, rule.AdditionalBindings...) {
			verb, path := binding(t, rule)
			fits := 0
			for _, id := range e.names {
				if filled, ok := fill(path, id); ok {
					ask(verb, filled)
					fits++
				}
			}
			assert.Positive(t, fits, "%s: give the owner something that fits %s", method.FullName(), path)
		}
	}
	for _, route := range e.server.Routes() {
		if !strings.Contains(route[1], "{") {
			continue
		}
		path := strings.ReplaceAll(route[1], "{batch}", "zebra")
		require.NotContains(t, path, "{", "say here what fills the rest of %s", route[1])
		ask(route[0], path)
	}
	assert.GreaterOrEqual(t, asked, 8)
	assert.Equal(t, before, e.inventory(), "nothing of the owner's has changed")
	own := e.do(t, http.MethodGet, "/v1/batches/zebra:export", nil, "Authorization", "Bearer "+e.ring.keys["elm"])
	assert.True(t, strings.Contains(own.body, canary), "which is there for its owner")
}

func binding(t *testing.T, r *annotations.HttpRule) (method, path string) {
	switch p := r.Pattern.(type) {
	case *annotations.HttpRule_Get:
		return http.MethodGet, p.Get
	case *annotations.HttpRule_Post:
		return http.MethodPost, p.Post
	case *annotations.HttpRule_Put:
		return http.MethodPut, p.Put
	case *annotations.HttpRule_Patch:
		return http.MethodPatch, p.Patch
	case *annotations.HttpRule_Delete:
		return http.MethodDelete, p.Delete
	}
	require.Fail(t, "no such method", "%v", r)
	return "", ""
}

// variable is a placeholder such as {name=batches/*}.
var variable = regexp.MustCompile(`\{[a-z_.]+=([^}]+)\}`)

// fill puts a name into a path, if it fits.
func fill(path, id string) (string, bool) {
	m := variable.FindStringSubmatch(path)
	if m == nil {
		return "", false
	}
	shape := "^" + strings.ReplaceAll(regexp.QuoteMeta(m[1]), `\*`, "[^/]+") + "$"
	if !regexp.MustCompile(shape).MatchString(id) {
		return "", false
	}
	return strings.Replace(path, m[0], id, 1), true
}

// TestSameIDsOfTwoTenants: ids of batches, requests, imports and cursors are each
// tenant's own.
func TestSameIDsOfTwoTenants(t *testing.T) {
	e := newEstate(t)
	oak := e.ring.as(t.Context(), "oak")
	watch, err := e.batches.WatchBatch(e.ring.as(t.Context(), "elm"), &pb.WatchBatchRequest{Name: "batches/zebra"})
	require.NoError(t, err)
	first, err := watch.Recv()
	require.NoError(t, err)

	b, err := e.batches.CreateBatch(oak, &pb.CreateBatchRequest{BatchId: "zebra", RequestId: "r1", Batch: &pb.Batch{Title: "mine"}})
	require.NoError(t, err, "taken by another tenant, and of the same request id, is free")
	assert.Equal(t, "mine", b.Title)
	assert.Zero(t, b.Lots)
	stream, err := e.batches.ImportLots(oak)
	require.NoError(t, err)
	require.NoError(t, stream.Send(target("zebra", "i", 0)))
	progress, err := stream.CloseAndRecv()
	require.NoError(t, err)
	assert.Zero(t, progress.Acknowledged)
	for _, cursor := range []string{"", first.Cursor} {
		watch, err := e.batches.WatchBatch(oak, &pb.WatchBatchRequest{Name: "batches/zebra", Cursor: cursor})
		require.NoError(t, err)
		_, err = watch.Recv()
		assert.NotEqual(t, codes.OK, code(err))
		assert.NotContains(t, err.Error(), canary)
	}
	_, err = e.batches.DeleteBatch(oak, &pb.DeleteBatchRequest{Name: "batches/zebra"})
	require.NoError(t, err)
	assert.Contains(t, e.inventory(), canary)
}
