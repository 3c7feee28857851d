package rpc_test

import (
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strings"
	"testing"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"lotwright/layout"
	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/rpc"
)

// priced knows one list, by which a lot costs what its pressure is.
func priced(list string) (func(*layout.Design) (rpc.Cost, error), error) {
	if list != "" && list != "ours" {
		return nil, errors.New("line 1: no price list")
	}
	return func(d *layout.Design) (rpc.Cost, error) { return rpc.Cost{Parts: int64(d.Pressure), Labour: 1}, nil }, nil
}

// ended waits for an operation.
func (o *office) ended(name string) *longrunningpb.Operation {
	o.Helper()
	for {
		got, err := o.operations.GetOperation(o.Context(), &longrunningpb.GetOperationRequest{Name: name})
		require.NoError(o, err)
		if got.Done {
			return got
		}
	}
}

// TestCompareBatch goes the whole way, by gRPC and by REST.
func TestCompareBatch(t *testing.T) {
	o := keep(t, func(options *rpc.Options) { options.Price = priced })
	ids := append(numbered(6), "refuse me", "panic", "error")
	o.fill("elm", ids...)
	req := &pb.CompareBatchRequest{Name: "batches/elm", PressuresKpa: []float64{400, 200, 300}, RequestId: "once", PriceList: "ours"}
	started, err := o.batches.CompareBatch(t.Context(), req)
	require.NoError(t, err)
	again, err := o.batches.CompareBatch(t.Context(), req)
	require.NoError(t, err)
	assert.Equal(t, started.Name, again.Name)
	done := o.ended(started.Name)
	metadata, response := &pb.CompareBatchMetadata{}, &pb.CompareBatchResponse{}
	require.NoError(t, done.Metadata.UnmarshalTo(metadata))
	require.NoError(t, done.GetResponse().UnmarshalTo(response))
	assert.Equal(t, []int32{9, 9}, []int32{metadata.Lots, metadata.Finished})
	assert.Equal(t, response.Comparison, metadata.Comparison)
	assert.True(t, strings.HasPrefix(response.Comparison, "batches/elm/comparisons/"))

	k, err := o.batches.GetComparison(t.Context(), &pb.GetComparisonRequest{Name: response.Comparison})
	require.NoError(t, err)
	assert.Equal(t, pb.DesignBatchMetadata_DONE, k.State)
	require.Len(t, k.Scenarios, 3)
	for i, kpa := range req.PressuresKpa {
		want := &pb.Scenario{AskedKpa: kpa, Lots: 9, Designed: 6, Invalid: 1, Failed: 2, Heads: 6, HeadsBound: 6, TrenchM: 6 * 6.364, PartsCost: 6 * kpa / 100, LabourCost: 0.06}
		assert.InDelta(t, want.TrenchM, k.Scenarios[i].TrenchM, 0.01)
		want.TrenchM = k.Scenarios[i].TrenchM
		assert.True(t, proto.Equal(want, k.Scenarios[i]), "%v", k.Scenarios[i])
	}

	// Every lot is designed at the least pressure first, with the quick effort,
	// and its design is there to start from at the next.
	order := map[string][]float64{}
	for i, lot := range o.lots {
		assert.Equal(t, "quick", o.settings[i].Effort)
		if strings.HasPrefix(lot.ID, "lot") {
			assert.Len(t, o.settings[i].Before, len(order[lot.ID]))
			order[lot.ID] = append(order[lot.ID], lot.Supply.HeadPressure.KPa())
		}
	}
	require.Len(t, order, 6)
	for id, list := range order {
		assert.Equal(t, []float64{200, 300, 400}, list, id)
	}

	var lots []*pb.LotComparison
	for token := ""; ; {
		page, err := o.batches.ListLotComparisons(t.Context(), &pb.ListLotComparisonsRequest{Parent: response.Comparison, PageSize: 4, PageToken: token})
		require.NoError(t, err)
		lots = append(lots, page.Lots...)
		if token = page.NextPageToken; token == "" {
			break
		}
	}
	require.Len(t, lots, 9)
	for i, lot := range lots {
		assert.Equal(t, ids[i], lot.Lot)
		require.Len(t, lot.Outcomes, 3)
		assert.InDelta(t, 400, lot.Outcomes[0].AskedKpa, 0)
	}
	assert.Equal(t, pb.Design_FAILED, lots[7].Outcomes[0].Status)
	assert.NotContains(t, lots[7].Outcomes[0].Reason, "secret")

	r := o.do(t, http.MethodGet, "/v1/"+response.Comparison, nil)
	require.Equal(t, http.StatusOK, r.status, r.body)
	var answer struct{ Scenarios []struct{ Heads int } }
	require.NoError(t, json.Unmarshal([]byte(r.body), &answer))
	assert.Equal(t, 6, answer.Scenarios[0].Heads)
	r = o.do(t, http.MethodGet, "/v1/"+response.Comparison+"/lots?page_size=2", nil)
	assert.Equal(t, http.StatusOK, r.status, r.body)
	r = o.post(t, "/v1/batches/elm:compare", plain, `{"pressures_kpa":[300]}`)
	assert.Equal(t, http.StatusAccepted, r.status, r.body)
	assert.True(t, strings.HasPrefix(r.header.Get("Location"), "/v1/operations/"))

	// It has made no revision.
	b, err := o.batches.GetBatch(t.Context(), &pb.GetBatchRequest{Name: "batches/elm"})
	require.NoError(t, err)
	assert.Zero(t, b.Revision)
	_, err = o.batches.ListDesigns(t.Context(), &pb.ListDesignsRequest{Parent: "batches/elm"})
	assert.Equal(t, codes.FailedPrecondition, code(err))
}

func TestCompareBatchRefuses(t *testing.T) {
	o := keep(t, func(options *rpc.Options) { options.Price = priced })
	o.fill("elm", "wait")
	_, err := o.batches.CompareBatch(t.Context(), &pb.CompareBatchRequest{Name: "batches/oak"})
	assert.Equal(t, codes.NotFound, code(err), "what is not there goes before what is wrong")
	many := []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20}
	for _, c := range []struct {
		req  *pb.CompareBatchRequest
		want []string
	}{
		{&pb.CompareBatchRequest{}, []string{"pressures_kpa"}},
		{&pb.CompareBatchRequest{PressuresKpa: []float64{1, 1, -1}}, []string{"pressures_kpa[1]", "pressures_kpa[2]"}},
		{&pb.CompareBatchRequest{PressuresKpa: append(slices.Clone(many), 21)}, []string{"pressures_kpa"}},
		{&pb.CompareBatchRequest{PressuresKpa: []float64{1}, Point: 7, PriceList: "theirs"}, []string{"point", "price_list"}},
		{&pb.CompareBatchRequest{PressuresKpa: []float64{1}, Settings: &pb.Settings{Meter: "wrong"}}, []string{"settings.meter"}},
	} {
		c.req.Name = "batches/elm"
		_, err := o.batches.CompareBatch(t.Context(), c.req)
		assert.Equal(t, c.want, violations(t, err))
	}
	started, err := o.batches.CompareBatch(t.Context(), &pb.CompareBatchRequest{Name: "batches/elm", PressuresKpa: many})
	require.NoError(t, err)
	name := "batches/elm/comparisons/" + strings.TrimPrefix(started.Name, "operations/")
	_, err = o.batches.GetComparison(t.Context(), &pb.GetComparisonRequest{Name: name})
	assert.Equal(t, codes.FailedPrecondition, code(err))
	_, err = o.batches.DesignBatch(t.Context(), &pb.DesignBatchRequest{Name: "batches/elm"})
	assert.Equal(t, codes.FailedPrecondition, code(err), "one at a time")
	_, err = o.operations.CancelOperation(t.Context(), &longrunningpb.CancelOperationRequest{Name: started.Name})
	require.NoError(t, err)
	k, err := o.batches.GetComparison(t.Context(), &pb.GetComparisonRequest{Name: name})
	require.NoError(t, err)
	assert.Equal(t, pb.DesignBatchMetadata_CANCELLED, k.State)
	assert.Zero(t, k.Scenarios[0].Lots)
	for _, name := range []string{"batches/elm/comparisons/none", "batches/oak/comparisons/" + strings.TrimPrefix(started.Name, "operations/")} {
		_, err = o.batches.GetComparison(t.Context(), &pb.GetComparisonRequest{Name: name})
		assert.Equal(t, codes.NotFound, code(err), name)
	}
	for _, name := range []string{"", "batches/elm", "batches/elm/comparisons/", "batches/elm/comparisons/a/b", "comparisons/a"} {
		_, err = o.batches.GetComparison(t.Context(), &pb.GetComparisonRequest{Name: name})
		assert.Equal(t, []string{"name"}, violations(t, err), name)
	}
	close(o.release)
}

// TestPresets: head tables and profiles are kept, and steer runs.
func TestPresets(t *testing.T) {
	o := keep(t, nil)
	p := pb.NewPresetsClient(o.conn)
	model := &pb.HeadModel{Name: "ours", Rows: []*pb.PerformanceRow{{PressureKpa: 200, ThrowM: 8, FlowLpm: 15}, {PressureKpa: 300, ThrowM: 9, FlowLpm: 18}}}
	req := &pb.CreateHeadTableRequest{HeadTableId: "ours", RequestId: "r", HeadTable: &pb.HeadTable{Title: "Ours", HeadModel: model}}
	table, err := p.CreateHeadTable(t.Context(), req)
	require.NoError(t, err)
	assert.Equal(t, "headTables/ours", table.Name)
	assert.NotNil(t, table.CreateTime)
	again, err := p.CreateHeadTable(t.Context(), req)
	require.NoError(t, err)
	assert.True(t, proto.Equal(table, again))
	req.RequestId = ""
	_, err = p.CreateHeadTable(t.Context(), req)
	assert.Equal(t, codes.AlreadyExists, code(err))
	read, err := p.GetHeadTable(t.Context(), &pb.GetHeadTableRequest{Name: "headTables/ours"})
	require.NoError(t, err)
	assert.True(t, proto.Equal(table, read))
	_, err = p.CreateHeadTable(t.Context(), &pb.CreateHeadTableRequest{HeadTableId: "-"})
	assert.Equal(t, []string{"head_table.head_model", "head_table_id"}, violations(t, err))

	r := o.post(t, "/v1/profiles", plain, `{"profile_id":"spring","profile":{"title":"Spring","settings":{"head_table":"headTables/ours","coverage_target":0.9,"irrigate_beds":true}}}`)
	require.Equal(t, http.StatusOK, r.status, r.body)
	profile, err := p.GetProfile(t.Context(), &pb.GetProfileRequest{Name: "profiles/spring"})
	require.NoError(t, err)
	assert.Equal(t, "headTables/ours", profile.Settings.HeadTable)
	for i, text := range []string{`{"profile":{"settings":{"head_table":"headTables/none"}}}`, `{"profile":{"settings":{"coverage_target":2}}}`, `{"profile":{}}`,
		`{"profile":{"settings":{"head_table":"headTables/ours","head_model":{"name":"x","rows":[{"pressure_kpa":1,"throw_m":1,"flow_lpm":1}]}}}}`} {
		r := o.post(t, "/v1/profiles", plain, text)
		assert.Equal(t, []int{http.StatusNotFound, http.StatusBadRequest, http.StatusBadRequest, http.StatusBadRequest}[i], r.status, r.body)
	}

	o.fill("elm", "A")
	operation, err := o.batches.DesignBatch(t.Context(), &pb.DesignBatchRequest{Name: "batches/elm", Profile: "profiles/spring", Settings: &pb.Settings{CoverageTarget: proto.Float64(0.8)}})
	require.NoError(t, err)
	o.ended(operation.Name)
	require.Len(t, o.settings, 1)
	assert.Equal(t, "ours", o.settings[0].Head.Name, "the profile's table")
	assert.Equal(t, 0.8, *o.settings[0].CoverageTarget, "the request's goes before the profile's")
	assert.True(t, o.settings[0].IrrigateBeds)
	_, err = o.batches.DesignBatch(t.Context(), &pb.DesignBatchRequest{Name: "batches/elm", Profile: "profiles/none"})
	assert.Equal(t, codes.NotFound, code(err))

	_, err = p.CreateProfile(t.Context(), &pb.CreateProfileRequest{ProfileId: "autumn", Profile: &pb.Profile{Settings: &pb.Settings{}}})
	require.NoError(t, err)
	list, err := p.ListProfiles(t.Context(), &pb.ListProfilesRequest{PageSize: 1})
	require.NoError(t, err)
	require.Len(t, list.Profiles, 1)
	assert.Equal(t, "profiles/autumn", list.Profiles[0].Name)
	list, err = p.ListProfiles(t.Context(), &pb.ListProfilesRequest{PageSize: 1, PageToken: list.NextPageToken})
	require.NoError(t, err)
	assert.Equal(t, "profiles/spring", list.Profiles[0].Name)
	assert.Empty(t, list.NextPageToken)
	tables, err := p.ListHeadTables(t.Context(), &pb.ListHeadTablesRequest{})
	require.NoError(t, err)
	assert.Len(t, tables.HeadTables, 1)
	r = o.do(t, http.MethodDelete, "/v1/headTables/ours", nil)
	assert.Equal(t, http.StatusOK, r.status, r.body)
	r = o.do(t, http.MethodGet, "/v1/headTables/ours", nil)
	assert.Equal(t, http.StatusNotFound, r.status, r.body)
	r = o.do(t, http.MethodPut, "/v1/headTables/ours", strings.NewReader("{}"))
	assert.Equal(t, "GET, DELETE", r.header.Get("Allow"))
	_, err = p.DeleteProfile(t.Context(), &pb.DeleteProfileRequest{Name: "profiles/autumn"})
	require.NoError(t, err)
	_, err = o.batches.DesignBatch(t.Context(), &pb.DesignBatchRequest{Name: "batches/elm", Profile: "profiles/spring"})
	assert.ErrorContains(t, err, "which the settings name", "its table is gone")

	// A stateless method knows no presets.
	_, err = o.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage("A"), Settings: &pb.Settings{HeadTable: "headTables/ours"}})
	assert.Equal(t, []string{"settings.head_table"}, violations(t, err))
}
