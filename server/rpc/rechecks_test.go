package rpc_test

import (
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// designsOf are the designs of a revision by lot.
func (o *office) designsOf(batch string, revision int32) map[string]*pb.Design {
	o.Helper()
	resp, err := o.batches.ListDesigns(o.Context(), &pb.ListDesignsRequest{Parent: "batches/" + batch, Revision: revision, PageSize: 100})
	require.NoError(o, err)
	byLot := map[string]*pb.Design{}
	for _, d := range resp.Designs {
		byLot[d.Lot] = d
	}
	return byLot
}

// TestRecheckBatch: lots that are named are checked, the others keep what they
// have, and the revision that was edited does not change.
func TestRecheckBatch(t *testing.T) {
	o := keep(t, nil)
	ids := append(numbered(7), "refuse me")
	o.fill("elm", ids...)
	o.ended(o.start("elm"))
	first := o.designsOf("elm", 1)
	require.Len(t, first, 8)

	req := &pb.RecheckBatchRequest{Name: "batches/elm", Designs: map[string]string{"lot 002": "12345"}, RequestId: "once"}
	started, err := o.batches.RecheckBatch(t.Context(), req)
	require.NoError(t, err)
	again, err := o.batches.RecheckBatch(t.Context(), req)
	require.NoError(t, err)
	assert.Equal(t, started.Name, again.Name)
	response := &pb.DesignBatchResponse{}
	require.NoError(t, o.ended(started.Name).GetResponse().UnmarshalTo(response))
	assert.Equal(t, int32(2), response.Revision)
	assert.Equal(t, first, o.designsOf("elm", 1), "a revision does not change")
	second := o.designsOf("elm", 2)
	assert.Equal(t, "5 heads stand", second["lot 002"].Reason)
	assert.InDelta(t, 0.9, second["lot 002"].GetCoverageTarget(), 0, "by the settings of the revision that was edited")
	for id, d := range first {
		if id != "lot 002" {
			assert.True(t, proto.Equal(d, second[id]), id)
		}
	}

	// A map of several lots, over REST, on the checked revision; the settings come
	// along once more.
	feature := func(lot string) string {
		return fmt.Sprintf(`{"type":"Feature","properties":{"lot":"%s","layer":"head"},"geometry":null}`, lot)
	}
	geojson := `{"type":"FeatureCollection","features":[` + feature("lot 000") + "," + feature("lot 006") + "," + feature("lot 000") + `]}`
	answer := o.post(t, "/v1/batches/elm:recheck", "application/json", fmt.Sprintf(`{"geojson":%q}`, geojson))
	require.Equal(t, http.StatusAccepted, answer.status, answer.body)
	o.watch(&pb.WatchBatchRequest{Name: "batches/elm", Revision: 3})
	third := o.designsOf("elm", 3)
	assert.NotEqual(t, second["lot 000"].Reason, third["lot 000"].Reason)
	assert.NotEqual(t, second["lot 006"].Reason, third["lot 006"].Reason)
	assert.InDelta(t, 0.9, third["lot 000"].GetCoverageTarget(), 0)
	assert.True(t, proto.Equal(second["lot 002"], third["lot 002"]))
}

func TestRecheckBatchRefuses(t *testing.T) {
	o := keep(t, nil)
	o.fill("elm", numbered(2)...)
	recheck := func(req *pb.RecheckBatchRequest) error {
		req.Name = "batches/elm"
		_, err := o.batches.RecheckBatch(t.Context(), req)
		return err
	}
	one := map[string]string{"lot 001": "1"}
	assert.Equal(t, codes.FailedPrecondition, code(recheck(&pb.RecheckBatchRequest{Designs: one})))
	o.ended(o.start("elm"))
	for name, req := range map[string]*pb.RecheckBatchRequest{
		"nothing":          {},
		"an unknown lot":   {Designs: map[string]string{"lot 009": "1"}},
		"no collection":    {Geojson: "heads"},
		"a lot without id": {Geojson: `{"features":[{"properties":{"lot":7}}]}`},
		"a lot twice":      {Designs: one, Geojson: `{"features":[{"properties":{"lot":"lot 001"}}]}`},
		"settings":         {Designs: one, Settings: &pb.Settings{CoverageTarget: proto.Float64(7)}},
	} {
		assert.Equal(t, codes.InvalidArgument.String(), code(recheck(req)).String(), name)
	}
	assert.Equal(t, codes.NotFound, code(recheck(&pb.RecheckBatchRequest{Designs: one, Revision: 2})))
	_, err := o.send(append([]*pb.ImportLotsRequest{target("elm", "more", 0)}, toImport("late")...)...)
	require.NoError(t, err)
	assert.Equal(t, codes.FailedPrecondition, code(recheck(&pb.RecheckBatchRequest{Designs: one})))

	// A run that was cancelled leaves lots without a design.
	o.create("oak")
	_, err = o.send(append([]*pb.ImportLotsRequest{target("oak", "i", 0)}, toImport("slow", "lot")...)...)
	require.NoError(t, err)
	operation, err := o.kept.StartOperation(t.Context(), store.Local, "oak", "cancelled", nil, store.Request{})
	require.NoError(t, err)
	_, err = o.kept.CancelOperation(t.Context(), store.Local, operation.ID)
	require.NoError(t, err)
	_, err = o.batches.RecheckBatch(t.Context(), &pb.RecheckBatchRequest{Name: "batches/oak", Designs: map[string]string{"lot": "1"}})
	assert.Equal(t, codes.FailedPrecondition, code(err))
}
