package rpc_test

import (
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lotwright/layout"
	"lotwright/layout/feature"
	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/rpc"
)

func TestDesignLot(t *testing.T) {
	s := serve(t, nil)
	resp, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage("A 1/ß"), Settings: &pb.Settings{CoverageTarget: proto.Float64(0.9)}})
	require.NoError(t, err)
	d := resp.Design
	want := designOf(&layout.Lot{ID: "A 1/ß", Plane: flatPlane{10, 50}}, rpc.Settings{CoverageTarget: proto.Float64(0.9)})
	assert.Equal(t, string(feature.Encode(want, feature.Collection)), d.Geojson)
	assert.Equal(t, "A 1/ß", d.Lot)
	assert.Equal(t, pb.Design_DESIGNED, d.Status)
	assert.Equal(t, pb.Design_VARIABLE_THROW, d.HeadKind)
	assert.Equal(t, pb.Design_DISCRETE, d.Proof)
	assert.EqualValues(t, 1, d.GetHeads())
	assert.EqualValues(t, 1, d.GetHeadsBound())
	assert.Equal(t, 0.981235, d.GetCoverage(), "as the lot's feature says")
	assert.Equal(t, 0.9, d.GetCoverageTarget())
	assert.Equal(t, 9.144, d.GetThrowM())
	assert.Equal(t, 379.21, d.GetPressureKpa())
	assert.Equal(t, 17.791, d.GetFlowLpm())
	assert.True(t, d.GetPocAssumed())
	assert.NotNil(t, d.Regulator)
	assert.EqualValues(t, 2, d.GetPavingCrossings())
	require.Len(t, d.Notes, 2)
	assert.Equal(t, pb.Note_WARNING, d.Notes[0].Severity)
	assert.True(t, proto.Equal(&pb.Place{LonDeg: 10.000045, LatDeg: 50.000045}, d.Notes[0].Place), "%v", d.Notes[0].Place)
	assert.Nil(t, d.Notes[1].Place)
}

// Every figure of the lot layer has its field in the message, in SI, and the
// other way round.
func TestDesignMessageFollowsTheSchema(t *testing.T) {
	fields := (&pb.Design{}).ProtoReflect().Descriptor().Fields()
	want := map[string]bool{"notes": true, "geojson": true}
	kinds := map[feature.Type]protoreflect.Kind{feature.Real: protoreflect.DoubleKind, feature.Integer: protoreflect.Int32Kind, feature.Boolean: protoreflect.BoolKind}
	for _, f := range feature.Schema()[0].Fields[2:] {
		if strings.HasSuffix(f.Name, "_ft") || strings.HasSuffix(f.Name, "_ft2") || strings.HasSuffix(f.Name, "_psi") || strings.HasSuffix(f.Name, "_gpm") || strings.HasSuffix(f.Name, "_in_h") {
			continue
		}
		field := fields.ByName(protoreflect.Name(f.Name))
		require.NotNil(t, field, "Design lacks %s", f.Name)
		want[f.Name] = true
		if f.Type != feature.String {
			assert.Equal(t, kinds[f.Type], field.Kind(), f.Name)
			assert.True(t, field.HasPresence(), f.Name)
		}
	}
	want["lot"] = true
	for i := range fields.Len() {
		assert.True(t, want[string(fields.Get(i).Name())], "%s is not in the schema", fields.Get(i).Name())
	}
}

func TestStatusesAndProofsHaveTheirValues(t *testing.T) {
	for _, v := range []layout.Status{layout.StatusDesigned, layout.StatusInfeasible, layout.StatusInvalid, layout.StatusFailed} {
		assert.Contains(t, pb.Design_Status_value, strings.ToUpper(string(v)))
	}
	for _, v := range []layout.ProofKind{layout.ProofContinuous, layout.ProofDiscrete, layout.ProofNone} {
		assert.Contains(t, pb.Design_Proof_value, strings.ToUpper(string(v)))
	}
	for _, v := range []layout.HeadKind{layout.VariableThrow, layout.FixedArc} {
		assert.Contains(t, pb.Design_HeadKind_value, strings.ToUpper(string(v)))
	}
	for _, v := range []layout.Severity{layout.SeverityInfo, layout.SeverityWarning, layout.SeverityError} {
		assert.Contains(t, pb.Note_Severity_value, strings.ToUpper(string(v)))
	}
	for _, v := range layout.InputLayers() {
		assert.Contains(t, pb.Feature_Layer_value, strings.ToUpper(string(v)))
	}
	assert.Len(t, pb.Feature_Layer_value, len(layout.InputLayers())+1)
}

// What the lot brings reaches the importer's side unchanged, and its supply the
// design.
func TestLotArrivesWhole(t *testing.T) {
	s := serve(t, nil)
	line := &pb.Positions{Degrees: []float64{1, 2, 3, 4}}
	lot := lotMessage("whole")
	lot.Supply = &pb.Supply{StaticPressureKpa: proto.Float64(400), Test: &pb.Supply_FlowTest{FlowTest: &pb.FlowTest{FlowLpm: 25, PressureKpa: 300}}}
	lot.Features = append(lot.Features,
		&pb.Feature{Layer: pb.Feature_TREE, Geometry: &pb.Geometry{Shape: &pb.Geometry_Point{Point: &pb.Positions{Degrees: []float64{1, 2}}}}, RootRadiusM: proto.Float64(2)},
		&pb.Feature{Layer: pb.Feature_SPOT_HEIGHT, Geometry: &pb.Geometry{Shape: &pb.Geometry_Point{Point: &pb.Positions{Degrees: []float64{1, 2}}}}, HeightM: proto.Float64(-3)},
		&pb.Feature{Layer: pb.Feature_WALL, Geometry: &pb.Geometry{Shape: &pb.Geometry_LineString{LineString: line}}},
		&pb.Feature{Layer: pb.Feature_SLEEVE, Geometry: &pb.Geometry{Shape: &pb.Geometry_MultiLineString{MultiLineString: &pb.MultiLineString{Lines: []*pb.Positions{line, line}}}}},
		&pb.Feature{Layer: pb.Feature_NO_DIG, Geometry: &pb.Geometry{Shape: &pb.Geometry_MultiPolygon{MultiPolygon: &pb.MultiPolygon{Polygons: []*pb.Polygon{{Rings: []*pb.Positions{line, line}}}}}}},
		&pb.Feature{Layer: pb.Feature_HEAD, Fixed: true, Geometry: &pb.Geometry{Shape: &pb.Geometry_Point{Point: &pb.Positions{Degrees: []float64{5, 6}}}},
			ThrowM: proto.Float64(2), Model: "rotor", ArcStartDeg: proto.Float64(90), ArcSweepDeg: proto.Float64(180)},
	)
	_, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lot})
	require.NoError(t, err)
	two, minusThree := layout.Length(2), layout.Length(-3)
	l := [][2]float64{{1, 2}, {3, 4}}
	assert.Equal(t, []rpc.Feature{
		{Layer: layout.LayerParcel, Type: "Polygon", Parts: [][][][2]float64{{{{10, 50}, {10.0001, 50}, {10.0001, 50.0001}, {10, 50}}}}},
		{Layer: layout.LayerTree, Type: "Point", Parts: [][][][2]float64{{{{1, 2}}}}, RootRadius: &two},
		{Layer: layout.LayerSpotHeight, Type: "Point", Parts: [][][][2]float64{{{{1, 2}}}}, Height: &minusThree},
		{Layer: layout.LayerWall, Type: "LineString", Parts: [][][][2]float64{{l}}},
		{Layer: layout.LayerSleeve, Type: "MultiLineString", Parts: [][][][2]float64{{l}, {l}}},
		{Layer: layout.LayerNoDig, Type: "MultiPolygon", Parts: [][][][2]float64{{l, l}}},
		{Layer: layout.LayerHead, Type: "Point", Parts: [][][][2]float64{{{{5, 6}}}}, Fixed: true,
			Throw: &two, Model: "rotor", ArcStart: proto.Float64(90), ArcSweep: proto.Float64(180)},
	}, s.features[0])
	static := layout.Pressure(400)
	assert.Equal(t, layout.Supply{StaticPressure: &static, FlowTest: &layout.FlowTest{Flow: 25, Pressure: 300}}, s.lots[0].Supply)
}

func TestSettingsArriveWhole(t *testing.T) {
	s := serve(t, nil)
	_, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage("A"), Settings: &pb.Settings{
		Supply:         &pb.Supply{HeadPressureKpa: proto.Float64(350)},
		HeadModel:      &pb.HeadModel{Name: "mine", LeastThrowM: 1, Rows: []*pb.PerformanceRow{{PressureKpa: 200, ThrowM: 8, FlowLpm: 15}, {PressureKpa: 300, ThrowM: 9, FlowLpm: 18}}},
		CoverageTarget: proto.Float64(0.95), LeastStripM: proto.Float64(0), EdgeClearanceM: proto.Float64(0.2), BuildingClearanceM: proto.Float64(0.4),
		IrrigateBeds: true, CrossPavingM: proto.Float64(1.5), PavingFactor: proto.Float64(6), PavingCrossingM: proto.Float64(3), RootZoneFactor: proto.Float64(2),
		TrenchClearanceM: proto.Float64(0.5), TrenchDepthM: proto.Float64(0.3), SupplyAllowanceKpa: proto.Float64(0), DesignFlowShare: proto.Float64(0.7),
		Head: pb.Settings_VARIABLE_THROW, SprayNarrowStrips: true, PressureMarginKpa: proto.Float64(30), Effort: pb.Settings_THOROUGH,
		FrostDepthM: proto.Float64(0.9), PavingDepthM: proto.Float64(0.5), Meter: "3/4in", ServiceLineM: proto.Float64(12), ServiceSize: "1in",
		ServiceMaterial: "copper", Backflow: &pb.Backflow{Curve: []*pb.LossPoint{{LossKpa: 20}, {FlowLpm: 10, LossKpa: 30}}},
		PipeMaterial: "PE", PipeSize: "2in", PipePrices: []*pb.PipePrice{{Size: "1in", PricePerM: 2}}, PipeLoss: proto.Float64(0.1), VelocityLimitMps: proto.Float64(1.5),
	}})
	require.NoError(t, err)
	length := func(v layout.Length) *layout.Length { return &v }
	pressure := func(v layout.Pressure) *layout.Pressure { return &v }
	assert.Equal(t, rpc.Settings{
		Supply: layout.Supply{HeadPressure: pressure(350)},
		Head: &layout.HeadModel{Name: "mine", Kind: layout.VariableThrow, LeastThrow: 1,
			Rows: []layout.PerformanceRow{{Pressure: 200, Throw: 8, Flow: 15}, {Pressure: 300, Throw: 9, Flow: 18}}},
		CoverageTarget: proto.Float64(0.95), LeastStrip: length(0), EdgeClearance: length(0.2), BuildingClearance: length(0.4),
		IrrigateBeds: true, CrossPaving: length(1.5), PavingFactor: proto.Float64(6), PavingCrossing: length(3), RootZoneFactor: proto.Float64(2),
		TrenchClearance: length(0.5), TrenchDepth: length(0.3), SupplyAllowance: pressure(0), DesignFlowShare: proto.Float64(0.7),
		HeadKind: "variable", SprayNarrowStrips: true, PressureMargin: pressure(30), Effort: "thorough",
		FrostDepth: length(0.9), PavingDepth: length(0.5), Meter: "3/4in", ServiceLine: length(12), ServiceSize: "1in",
		ServiceMaterial: "copper", Backflow: &rpc.Backflow{Curve: []rpc.LossPoint{{Flow: 0, Loss: 20}, {Flow: 10, Loss: 30}}},
		PipeMaterial: "PE", PipeSize: "2in", PipePrices: []rpc.PipePrice{{Size: "1in", PerMetre: 2}}, PipeLoss: proto.Float64(0.1), VelocityLimit: proto.Float64(1.5),
	}, s.settings[0])
}

// violations returns the fields a status complains of.
func violations(t *testing.T, err error) []string {
	t.Helper()
	st := status.Convert(err)
	require.Equal(t, codes.InvalidArgument, st.Code(), "%v", err)
	var fields []string
	reason := ""
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			reason = d.Reason
			assert.Equal(t, "lotwright", d.Domain)
		case *errdetails.BadRequest:
			for _, v := range d.FieldViolations {
				assert.NotEmpty(t, v.Description)
				fields = append(fields, v.Field)
			}
		}
	}
	assert.Equal(t, "INVALID_FIELD", reason)
	return fields
}

func TestMalformedRequests(t *testing.T) {
	s := serve(t, nil)
	nan, inf := proto.Float64(math.NaN()), proto.Float64(math.Inf(1))
	point := func(degrees ...float64) *pb.Geometry {
		return &pb.Geometry{Shape: &pb.Geometry_Point{Point: &pb.Positions{Degrees: degrees}}}
	}
	with := func(f *pb.Feature) *pb.DesignLotRequest {
		return &pb.DesignLotRequest{Lot: &pb.Lot{Lot: "A", Features: []*pb.Feature{f}}}
	}
	settings := func(m *pb.Settings) *pb.DesignLotRequest {
		return &pb.DesignLotRequest{Lot: lotMessage("A"), Settings: m}
	}
	supply := func(m *pb.Supply) *pb.DesignLotRequest { return settings(&pb.Settings{Supply: m}) }
	test := &pb.Supply_FlowTest{FlowTest: &pb.FlowTest{FlowLpm: 20, PressureKpa: 300}}
	for name, c := range map[string]struct {
		req  *pb.DesignLotRequest
		want []string
	}{
		"nothing":           {&pb.DesignLotRequest{}, []string{"lot.lot", "lot.features"}},
		"no layer":          {with(&pb.Feature{Geometry: point(1, 2)}), []string{"lot.features[0].layer"}},
		"unknown layer":     {with(&pb.Feature{Layer: 99, Geometry: point(1, 2)}), []string{"lot.features[0].layer"}},
		"no geometry":       {with(&pb.Feature{Layer: pb.Feature_TREE}), []string{"lot.features[0].geometry"}},
		"empty geometry":    {with(&pb.Feature{Layer: pb.Feature_TREE, Geometry: &pb.Geometry{}}), []string{"lot.features[0].geometry"}},
		"half a position":   {with(&pb.Feature{Layer: pb.Feature_TREE, Geometry: point(1)}), []string{"lot.features[0].geometry.point.degrees", "lot.features[0].geometry.point.degrees"}},
		"two positions":     {with(&pb.Feature{Layer: pb.Feature_TREE, Geometry: point(1, 2, 3, 4)}), []string{"lot.features[0].geometry.point.degrees"}},
		"not finite":        {with(&pb.Feature{Layer: pb.Feature_TREE, Geometry: point(1, *inf)}), []string{"lot.features[0].geometry.point.degrees", "lot.features[0].geometry.point.degrees"}},
		"not finite, east":  {with(&pb.Feature{Layer: pb.Feature_TREE, Geometry: point(*nan, 2)}), []string{"lot.features[0].geometry.point.degrees", "lot.features[0].geometry.point.degrees"}},
		"radius":            {with(&pb.Feature{Layer: pb.Feature_TREE, Geometry: point(1, 2), RootRadiusM: proto.Float64(-1)}), []string{"lot.features[0].root_radius_m"}},
		"height":            {with(&pb.Feature{Layer: pb.Feature_SPOT_HEIGHT, Geometry: point(1, 2), HeightM: nan}), []string{"lot.features[0].height_m"}},
		"coverage 0":        {settings(&pb.Settings{CoverageTarget: proto.Float64(0)}), []string{"settings.coverage_target"}},
		"coverage above 1":  {settings(&pb.Settings{CoverageTarget: proto.Float64(1.01)}), []string{"settings.coverage_target"}},
		"NaN":               {settings(&pb.Settings{CoverageTarget: nan, LeastStripM: nan, PavingFactor: nan, SupplyAllowanceKpa: nan}), []string{"settings.coverage_target", "settings.least_strip_m", "settings.paving_factor", "settings.supply_allowance_kpa"}},
		"negative length":   {settings(&pb.Settings{TrenchDepthM: proto.Float64(-0.1)}), []string{"settings.trench_depth_m"}},
		"factor below 1":    {settings(&pb.Settings{RootZoneFactor: proto.Float64(0.5)}), []string{"settings.root_zone_factor"}},
		"factor above 1000": {settings(&pb.Settings{PavingFactor: proto.Float64(1001)}), []string{"settings.paving_factor"}},
		"head and static":   {supply(&pb.Supply{HeadPressureKpa: proto.Float64(300), StaticPressureKpa: proto.Float64(400)}), []string{"settings.supply.head_pressure_kpa"}},
		"static alone":      {supply(&pb.Supply{StaticPressureKpa: proto.Float64(400)}), []string{"settings.supply.static_pressure_kpa"}},
		"test alone":        {supply(&pb.Supply{Test: test}), []string{"settings.supply.test"}},
		"held above static": {supply(&pb.Supply{StaticPressureKpa: proto.Float64(300), Test: test}), []string{"settings.supply.test"}},
		"no flow":           {supply(&pb.Supply{StaticPressureKpa: proto.Float64(300), Test: &pb.Supply_FlowTest{}}), []string{"settings.supply.flow_test.flow_lpm"}},
		"no bucket":         {supply(&pb.Supply{StaticPressureKpa: proto.Float64(300), Test: &pb.Supply_BucketTest{BucketTest: &pb.BucketTest{}}}), []string{"settings.supply.bucket_test.volume_l", "settings.supply.bucket_test.time_s"}},
		"endless bucket":    {supply(&pb.Supply{StaticPressureKpa: proto.Float64(300), Test: &pb.Supply_BucketTest{BucketTest: &pb.BucketTest{VolumeL: 10, TimeS: *inf}}}), []string{"settings.supply.bucket_test.time_s"}},
		"no rows":           {settings(&pb.Settings{HeadModel: &pb.HeadModel{Name: "x"}}), []string{"settings.head_model.rows"}},
		"nameless":          {settings(&pb.Settings{HeadModel: &pb.HeadModel{Rows: []*pb.PerformanceRow{{PressureKpa: 1, ThrowM: 1, FlowLpm: 1}}}}), []string{"settings.head_model.name"}},
		"too many rows":     {settings(&pb.Settings{HeadModel: &pb.HeadModel{Name: "x", Rows: make([]*pb.PerformanceRow, 101)}}), []string{"settings.head_model.rows"}},
		"falling pressures": {settings(&pb.Settings{HeadModel: &pb.HeadModel{Name: "x", Rows: []*pb.PerformanceRow{{PressureKpa: 2, ThrowM: 1, FlowLpm: 1}, {PressureKpa: 1, ThrowM: 1, FlowLpm: 1}}}}), []string{"settings.head_model.rows"}},
		"several":           {&pb.DesignLotRequest{Lot: &pb.Lot{Lot: "A", Features: []*pb.Feature{{}}, Supply: &pb.Supply{HeadPressureKpa: inf}}}, []string{"lot.supply.head_pressure_kpa", "lot.features[0].layer", "lot.features[0].geometry"}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := s.client.DesignLot(t.Context(), c.req)
			assert.Equal(t, c.want, violations(t, err))
		})
	}
	assert.Empty(t, s.lots, "nothing of it reached the design")
}

func TestComplaintsAreBounded(t *testing.T) {
	s := serve(t, nil)
	_, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: &pb.Lot{Lot: "A", Features: make([]*pb.Feature, 5_000)}})
	assert.Len(t, violations(t, err), 20)
}

func TestFaultsOfALotAreData(t *testing.T) {
	s := serve(t, nil)
	for id, want := range map[string]struct {
		status pb.Design_Status
		reason string
	}{
		"refuse-me":      {pb.Design_INVALID, "parcel.crossing: the outline crosses itself"},
		"error":          {pb.Design_FAILED, "the pump is out"},
		"nil":            {pb.Design_FAILED, "the design gave neither result nor error"},
		"panic":          {pb.Design_FAILED, "internal error; the server's log has the details"},
		"assemble-panic": {pb.Design_FAILED, "internal error; the server's log has the details"},
	} {
		resp, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage(id)})
		require.NoError(t, err)
		assert.Equal(t, want.status, resp.Design.Status, id)
		assert.Equal(t, want.reason, resp.Design.Reason)
		assert.Equal(t, id, resp.Design.Lot)
		assert.Nil(t, resp.Design.Heads)
	}
	assert.Contains(t, s.log.String(), "the pump is out")
	assert.Contains(t, s.log.String(), "secret detail", "the log has the panic")
	assert.Contains(t, s.log.String(), "fixture_test.go", "and its stack")
}

// designLots sends the messages and returns the answers up to the end.
func designLots(ctx context.Context, s *service, messages ...*pb.DesignLotsRequest) (answers []*pb.DesignLotsResponse, err error) {
	stream, err := s.client.DesignLots(ctx)
	if err != nil {
		return nil, err
	}
	go func() {
		for _, m := range messages {
			if stream.Send(m) != nil {
				return
			}
		}
		_ = stream.CloseSend()
	}()
	for {
		m, err := stream.Recv()
		switch {
		case err == io.EOF:
			return answers, nil
		case err != nil:
			return answers, err
		}
		answers = append(answers, m)
	}
}

func lotRequests(n int) (out []*pb.DesignLotsRequest) {
	for i := range n {
		out = append(out, &pb.DesignLotsRequest{Lot: lotMessage(fmt.Sprintf("lot %d", i))})
	}
	return out
}

func TestStreamKeepsOrder(t *testing.T) {
	s := serve(t, nil)
	answers, err := designLots(t.Context(), s, lotRequests(300)...)
	require.NoError(t, err)
	require.Len(t, answers, 300)
	for i, a := range answers {
		assert.EqualValues(t, i, a.Index)
		assert.Equal(t, fmt.Sprintf("lot %d", i), a.Design.Lot)
	}
}

func TestStreamSettings(t *testing.T) {
	s := serve(t, nil)
	settings := &pb.Settings{CoverageTarget: proto.Float64(0.8)}
	for name, first := range map[string][]*pb.DesignLotsRequest{
		"alone":           {{Settings: settings}},
		"with a lot":      {{Settings: settings, Lot: lotMessage("first")}},
		"an empty opener": {{}},
	} {
		answers, err := designLots(t.Context(), s, append(first, lotRequests(2)...)...)
		require.NoError(t, err, name)
		for _, a := range answers {
			want := 0.8
			if name == "an empty opener" {
				want = 0.97
			}
			assert.Equal(t, want, a.Design.GetCoverageTarget(), name)
		}
		assert.NotEmpty(t, answers)
	}
}

func TestFaultsOfALotNeverEndTheStream(t *testing.T) {
	s := serve(t, nil)
	bad := []*pb.Lot{lotMessage("panic"), lotMessage("error"), lotMessage("refuse"), lotMessage("assemble-panic"), {Lot: "no features"}, {},
		{Lot: "odd", Features: []*pb.Feature{{Layer: pb.Feature_TREE, Geometry: &pb.Geometry{Shape: &pb.Geometry_Point{Point: &pb.Positions{Degrees: []float64{1, 2, 3}}}}}}}}
	var requests []*pb.DesignLotsRequest
	for i, l := range bad {
		requests = append(requests, &pb.DesignLotsRequest{Lot: lotMessage(fmt.Sprint(i))}, &pb.DesignLotsRequest{Lot: l})
	}
	answers, err := designLots(t.Context(), s, requests...)
	require.NoError(t, err)
	require.Len(t, answers, len(requests))
	for i, l := range bad {
		assert.Equal(t, pb.Design_DESIGNED, answers[2*i].Design.Status)
		d := answers[2*i+1].Design
		assert.Equal(t, l.Lot, d.Lot)
		assert.Contains(t, []pb.Design_Status{pb.Design_INVALID, pb.Design_FAILED}, d.Status)
		assert.NotEmpty(t, d.Reason)
	}
	odd := answers[len(answers)-1].Design
	assert.Equal(t, pb.Design_INVALID, odd.Status)
	assert.Equal(t, "message.field", odd.Notes[0].Rule)
	assert.Contains(t, odd.Notes[0].Text, "lot.features[0].geometry.point.degrees")
}

func TestStreamFaults(t *testing.T) {
	s := serve(t, nil)
	good := &pb.DesignLotsRequest{Lot: lotMessage("A")}
	answers, err := designLots(t.Context(), s, good, &pb.DesignLotsRequest{})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	assert.Len(t, answers, 1, "what came before is answered")
	_, err = designLots(t.Context(), s, good, &pb.DesignLotsRequest{Lot: lotMessage("B"), Settings: &pb.Settings{}})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	_, err = designLots(t.Context(), s, &pb.DesignLotsRequest{Lot: lotMessage("B"), Settings: &pb.Settings{CoverageTarget: proto.Float64(2)}})
	assert.Equal(t, []string{"settings.coverage_target"}, violations(t, err))
	answers, err = designLots(t.Context(), s)
	assert.NoError(t, err)
	assert.Empty(t, answers)
}

func TestCancelledStreamStopsWork(t *testing.T) {
	s := serve(t, nil)
	ctx, cancel := context.WithCancel(t.Context())
	var requests []*pb.DesignLotsRequest
	for i := range 50 {
		requests = append(requests, &pb.DesignLotsRequest{Lot: lotMessage(fmt.Sprintf("wait %d", i))})
	}
	ended := make(chan error)
	go func() {
		_, err := designLots(ctx, s, requests...)
		ended <- err
	}()
	for range 4 {
		<-s.entered
	}
	cancel()
	assert.Equal(t, codes.Canceled, status.Code(<-ended))
	// The workers are free again, or this would wait for ever.
	answers, err := designLots(t.Context(), s, lotRequests(20)...)
	require.NoError(t, err)
	assert.Len(t, answers, 20)
	assert.LessOrEqual(t, len(s.entered), 1, "nothing was begun after the cancellation")
}

func TestCancelledCallStopsWork(t *testing.T) {
	s := serve(t, nil)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() {
		_, err := s.client.DesignLot(ctx, &pb.DesignLotRequest{Lot: lotMessage("wait")})
		ended <- err
	}()
	<-s.entered
	cancel()
	assert.Equal(t, codes.Canceled, status.Code(<-ended))
}

// A lot in work at many pressures is given up with the call.
func TestCancelledComparisonStopsWork(t *testing.T) {
	s := serve(t, nil)
	ctx, cancel := context.WithCancel(t.Context())
	req := &pb.ComparePressuresRequest{Lots: []*pb.Lot{lotMessage("wait")}}
	for i := range 100 {
		req.PressuresKpa = append(req.PressuresKpa, float64(i+1))
	}
	ended := make(chan error)
	go func() {
		_, err := s.client.ComparePressures(ctx, req)
		ended <- err
	}()
	<-s.entered
	cancel()
	assert.Equal(t, codes.Canceled, status.Code(<-ended))
	s.stop()
	<-s.stopped
	assert.Len(t, s.lots, 1)
}

func TestWorkIsBounded(t *testing.T) {
	s := serve(t, nil)
	var requests []*pb.DesignLotsRequest
	for i := range 20 {
		requests = append(requests, &pb.DesignLotsRequest{Lot: lotMessage(fmt.Sprintf("wait %d", i))})
	}
	ended := make(chan int)
	for range 3 {
		go func() {
			answers, _ := designLots(t.Context(), s, requests...)
			ended <- len(answers)
		}()
	}
	for range 4 {
		<-s.entered
	}
	// Each lot let through makes room for one more, and never for two.
	for range 30 {
		assert.Empty(t, s.entered)
		s.release <- struct{}{}
		<-s.entered
	}
	close(s.release)
	for range 3 {
		assert.Equal(t, 20, <-ended)
	}
}

func TestComparePressures(t *testing.T) {
	s := serve(t, nil)
	lots := []*pb.Lot{lotMessage("A"), lotMessage("refuse"), lotMessage("panic"), lotMessage("B")}
	lots[3].Supply = &pb.Supply{StaticPressureKpa: proto.Float64(500), Test: &pb.Supply_BucketTest{BucketTest: &pb.BucketTest{VolumeL: 20, TimeS: 45}}}
	req := &pb.ComparePressuresRequest{Lots: lots, PressuresKpa: []float64{400, 300}}
	resp, err := s.client.ComparePressures(t.Context(), req)
	require.NoError(t, err)
	require.Len(t, resp.Lots, 4)
	for i, l := range resp.Lots {
		assert.Equal(t, lots[i].Lot, l.Lot)
		require.Len(t, l.Outcomes, 2)
		assert.Equal(t, 400.0, l.Outcomes[0].AskedKpa)
		assert.Equal(t, 300.0, l.Outcomes[1].AskedKpa)
	}
	a := resp.Lots[0].Outcomes[1]
	assert.Equal(t, pb.Design_DESIGNED, a.Status)
	assert.Equal(t, 300.0, a.GetPressureKpa())
	assert.EqualValues(t, 1, a.GetHeads())
	assert.EqualValues(t, 1, a.GetHeadsBound())
	assert.Equal(t, pb.Design_DISCRETE, a.Proof)
	assert.Equal(t, 6.364, a.GetTrenchM())
	assert.Equal(t, pb.Design_INVALID, resp.Lots[1].Outcomes[0].Status)
	assert.Equal(t, pb.Design_FAILED, resp.Lots[2].Outcomes[0].Status)
	assert.Equal(t, 400.0, resp.Lots[3].Outcomes[0].GetPressureKpa())

	req.Point = pb.ComparePressuresRequest_STREET
	resp, err = s.client.ComparePressures(t.Context(), req)
	require.NoError(t, err)
	assert.Equal(t, 200.0, resp.Lots[3].Outcomes[0].GetPressureKpa(), "the supply was taken to the street's pressure")
	assert.Equal(t, 150.0, resp.Lots[3].Outcomes[1].GetPressureKpa())
}

func TestMalformedComparisons(t *testing.T) {
	s := serve(t, nil)
	lots := []*pb.Lot{lotMessage("A")}
	for name, c := range map[string]struct {
		req  *pb.ComparePressuresRequest
		want []string
	}{
		"nothing":   {&pb.ComparePressuresRequest{}, []string{"pressures_kpa", "lots"}},
		"pressures": {&pb.ComparePressuresRequest{Lots: lots, PressuresKpa: []float64{0, 300, 300, math.NaN()}}, []string{"pressures_kpa[0]", "pressures_kpa[2]", "pressures_kpa[3]"}},
		"point":     {&pb.ComparePressuresRequest{Lots: lots, PressuresKpa: []float64{300}, Point: 7}, []string{"point"}},
		"twice":     {&pb.ComparePressuresRequest{Lots: append(lots, lots...), PressuresKpa: []float64{300}}, []string{"lots[1].lot"}},
		"settings":  {&pb.ComparePressuresRequest{Lots: lots, PressuresKpa: []float64{300}, Settings: &pb.Settings{PavingFactor: proto.Float64(0)}}, []string{"settings.paving_factor"}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := s.client.ComparePressures(t.Context(), c.req)
			assert.Equal(t, c.want, violations(t, err))
		})
	}
}
