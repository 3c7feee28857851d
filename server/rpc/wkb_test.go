package rpc_test

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"math"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	wire "github.com/twpayne/go-geom"
	"github.com/twpayne/go-geom/encoding/ewkb"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"lotwright/layout"
	"lotwright/layout/feature"
	"lotwright/layout/geom"
	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/rpc"
)

// drawn is a lot whose parcel is the first feature, on the plane of the
// stand-in importer.
func drawn(id string, features []rpc.Feature) *layout.Lot {
	lot := &layout.Lot{ID: id, Plane: flatPlane{10, 50}}
	for _, part := range features[0].Parts {
		var polygon geom.Polygon
		for _, line := range part {
			var ring geom.Ring
			for _, p := range line[1:] {
				ring = append(ring, geom.Pt(int64(math.Round((p[0]-10)*1e8)), int64(math.Round((p[1]-50)*1e8))))
			}
			polygon = append(polygon, ring)
		}
		lot.Parcel = append(lot.Parcel, polygon)
	}
	return lot
}

func drawnDesign(lot *layout.Lot) *layout.Design {
	d := designOf(lot, rpc.Settings{})
	d.Irrigated = lot.Parcel
	return d
}

// A lot whose geometries come as well-known binary is the lot whose geometries
// come as messages: the same goes to the importer and the same bytes come back.
func TestLotAsWKB(t *testing.T) {
	shell := []float64{10, 50, 10.0001, 50, 10.0001, 50.0001, 10, 50.0001, 10, 50}
	hole := []float64{10.00004, 50.00004, 10.00004, 50.00006, 10.00006, 50.00006, 10.00004, 50.00004}
	line, tree := []float64{10, 50.00005, 10.00005, 50.00005}, []float64{10.00002, 50.00003}
	typedLot := &pb.Lot{Lot: "A", Features: []*pb.Feature{
		{Layer: pb.Feature_PARCEL, Geometry: &pb.Geometry{Shape: &pb.Geometry_Polygon{Polygon: &pb.Polygon{Rings: []*pb.Positions{{Degrees: shell}, {Degrees: hole}}}}}},
		{Layer: pb.Feature_WALL, Geometry: &pb.Geometry{Shape: &pb.Geometry_LineString{LineString: &pb.Positions{Degrees: line}}}},
		{Layer: pb.Feature_TREE, Geometry: &pb.Geometry{Shape: &pb.Geometry_Point{Point: &pb.Positions{Degrees: tree}}}, RootRadiusM: proto.Float64(2)},
	}}
	binaryLot := proto.Clone(typedLot).(*pb.Lot)
	for i, g := range []wire.T{
		wire.NewPolygonFlat(wire.XY, append(append([]float64{}, shell...), hole...), []int{len(shell), len(shell) + len(hole)}).SetSRID(4326),
		wire.NewLineStringFlat(wire.XY, line).SetSRID(4326),
		wire.NewPointFlat(wire.XY, tree).SetSRID(4326),
	} {
		data, err := ewkb.Marshal(g, ewkb.NDR)
		require.NoError(t, err)
		binaryLot.Features[i].Geometry = &pb.Geometry{Shape: &pb.Geometry_Wkb{Wkb: data}}
	}

	s := serve(t, func(o *rpc.Options) {
		assemble, design := o.Assemble, o.Design
		o.Assemble = func(id string, features []rpc.Feature) rpc.Item {
			return rpc.Item{Lot: drawn(assemble(id, features).Lot.ID, features)}
		}
		o.Design = func(ctx context.Context, lot *layout.Lot, settings rpc.Settings) (*layout.Design, error) {
			_, err := design(ctx, lot, settings)
			return drawnDesign(lot), err
		}
	})
	var answers []string
	for _, lot := range []*pb.Lot{typedLot, binaryLot} {
		resp, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lot})
		require.NoError(t, err)
		text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(&pb.DesignLotRequest{Lot: lot})
		require.NoError(t, err)
		r := s.post(t, typed, plain, string(text))
		require.Equal(t, http.StatusOK, r.status, r.body)
		var answer struct{ Design struct{ Geojson string } }
		require.NoError(t, json.Unmarshal([]byte(r.body), &answer))
		answers = append(answers, resp.Design.Geojson, answer.Design.Geojson)
	}
	require.Len(t, s.features, 4)
	for i := range 4 {
		assert.Equal(t, s.features[0], s.features[i], "what reaches the importer")
		assert.Equal(t, s.lots[0], s.lots[i], "what reaches the design")
		assert.Equal(t, answers[0], answers[i], "what comes back")
	}
	want := drawnDesign(drawn("A", s.features[0]))
	assert.Equal(t, string(feature.Encode(want, feature.Collection)), answers[0])
	assert.Contains(t, answers[0], "10.00006000,50.00006000", "the hole is there")
}

func TestBadWKB(t *testing.T) {
	s := serve(t, nil)
	lot := lotMessage("A")
	lot.Features = append(lot.Features, &pb.Feature{Layer: pb.Feature_TREE, Geometry: &pb.Geometry{Shape: &pb.Geometry_Wkb{Wkb: []byte{1, 7, 0, 0, 0, 0, 0, 0, 0}}}})
	_, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lot})
	assert.Equal(t, []string{"lot.features[1].geometry.wkb"}, violations(t, err))
	assert.ErrorContains(t, err, "at byte 5: got a GeometryCollection, want a Point, LineString or Polygon, or a Multi of one")

	answers, err := designLots(t.Context(), s, &pb.DesignLotsRequest{Lot: lot})
	require.NoError(t, err)
	assert.Equal(t, pb.Design_INVALID, answers[0].Design.Status)
	assert.Contains(t, answers[0].Design.Notes[0].Text, "lot.features[1].geometry.wkb: at byte 5")

	// Over REST the bytes are base64; what is none is not well formed.
	asJSON := func(text string) reply {
		return s.post(t, typed, plain, strings.Replace(lotJSON("A"), `"polygon":{"rings":[{"degrees":[10,50,10.0001,50,10.0001,50.0001,10,50]}]}`, `"wkb":"`+text+`"`, 1))
	}
	p := asJSON(base64.StdEncoding.EncodeToString([]byte("0101000000"))).problem(t)
	assert.Equal(t, "lot.features[0].geometry.wkb", p.Violations[0].Field)
	assert.Contains(t, p.Violations[0].Detail, "hexadecimal")
	assert.Equal(t, "lot.features[0].geometry.wkb", asJSON("").problem(t).Violations[0].Field)
	assert.Equal(t, http.StatusBadRequest, asJSON("***").status)
	assert.Empty(t, s.lots)
}
