package rpc

import (
	"fmt"
	"math"
	"strings"

	"lotwright/layout"
	pb "lotwright/proto/lotwright/v1"
)

// lot is a lot as it came over the wire.
type lot struct {
	id       string
	features []Feature
	supply   layout.Supply
}

// lot converts a lot; what is wrong with it is gathered under path.
func (c *checker) lot(path string, m *pb.Lot) lot {
	if m.GetLot() == "" {
		c.add(path+".lot", "got nothing, want the lot's id")
	}
	out := lot{id: m.GetLot(), supply: c.supply(path+".supply", m.GetSupply(), false)}
	if len(m.GetFeatures()) == 0 {
		c.add(path+".features", "got none, want the parcel at least")
	}
	c.pieces = 0
	if !c.room(path+".features", len(m.GetFeatures())) {
		return out
	}
	for i, f := range m.GetFeatures() {
		if c.full {
			break // the request is refused; a long list of faults costs no more
		}
		out.features = append(out.features, c.feature(fmt.Sprintf("%s.features[%d]", path, i), f))
	}
	return out
}

// mostPieces is far more than a lot has of features, polygons of multi-polygons,
// lines and rings together. An empty one is two bytes on the wire, but hundreds
// of bytes here and a remark in the answer.
const mostPieces = 5_000

// room reports whether the lot may have n pieces more.
func (c *checker) room(field string, n int) bool {
	if c.pieces += n; c.pieces <= mostPieces {
		return true
	}
	c.add(field, "with these the lot has more than %d features, polygons, lines and rings", mostPieces)
	return false
}

func (c *checker) feature(path string, m *pb.Feature) Feature {
	out := Feature{Fixed: m.GetFixed(), Head: m.GetHead(), Model: m.GetModel(), Throw: c.length(path+".throw_m", m.ThrowM)}
	out.ArcStart, out.ArcSweep = c.angle(path+".arc_start_deg", m.ArcStartDeg), c.angle(path+".arc_sweep_deg", m.ArcSweepDeg)
	if _, known := pb.Feature_Layer_name[int32(m.GetLayer())]; !known || m.GetLayer() == pb.Feature_LAYER_UNSPECIFIED {
		c.add(path+".layer", "got %v, want a layer", m.GetLayer())
	} else {
		out.Layer = layout.Layer(strings.ToLower(m.GetLayer().String()))
	}
	out.Type, out.Parts = c.geometry(path+".geometry", m.GetGeometry())
	out.Height = optional[layout.Length](m.HeightM, func(v float64) {
		c.within(path+".height_m", v, -mostHeight, mostHeight, " m")
	})
	out.RootRadius = c.length(path+".root_radius_m", m.RootRadiusM)
	return out
}

// angle passes an angle of not much more than a turn either way.
func (c *checker) angle(field string, v *float64) *float64 {
	if v != nil {
		c.within(field, *v, -mostAngle, mostAngle, "°")
	}
	return v
}

const mostAngle = 720

// mostHeight is above every place on land, in metres.
const mostHeight = 10_000

func (c *checker) geometry(path string, m *pb.Geometry) (kind string, parts [][][][2]float64) {
	switch g := m.GetShape().(type) {
	case *pb.Geometry_Point:
		p := c.positions(path+".point", g.Point)
		if len(p) != 1 {
			c.add(path+".point.degrees", "got %d positions, want 1", len(p))
		}
		return "Point", [][][][2]float64{{p}}
	case *pb.Geometry_LineString:
		return "LineString", [][][][2]float64{{c.positions(path+".line_string", g.LineString)}}
	case *pb.Geometry_Polygon:
		return "Polygon", [][][][2]float64{c.rings(path+".polygon.rings", g.Polygon.GetRings())}
	case *pb.Geometry_MultiLineString:
		for _, line := range c.rings(path+".multi_line_string.lines", g.MultiLineString.GetLines()) {
			parts = append(parts, [][][2]float64{line})
		}
		return "MultiLineString", parts
	case *pb.Geometry_MultiPolygon:
		return "MultiPolygon", c.polygons(path+".multi_polygon.polygons", g.MultiPolygon.GetPolygons())
	case *pb.Geometry_Wkb:
		return c.wkb(path+".wkb", g.Wkb)
	}
	c.add(path, "got nothing, want a geometry")
	return "", nil
}

func (c *checker) polygons(path string, m []*pb.Polygon) (parts [][][][2]float64) {
	if !c.room(path, len(m)) {
		return nil
	}
	for i, p := range m {
		parts = append(parts, c.rings(fmt.Sprintf("%s[%d].rings", path, i), p.GetRings()))
	}
	return parts
}

func (c *checker) wkb(path string, data []byte) (kind string, parts [][][][2]float64) {
	kind, parts, err := decodeWKB(data)
	if err != nil {
		c.add(path, "%v", err)
	}
	pieces := 0
	for _, part := range parts {
		pieces += len(part)
	}
	if kind == wkbNames[wkbMultiPolygon] {
		pieces += len(parts)
	}
	c.room(path, pieces)
	return kind, parts
}

// rings converts rings, or lines.
func (c *checker) rings(path string, m []*pb.Positions) [][][2]float64 {
	if !c.room(path, len(m)) {
		return nil
	}
	var out [][][2]float64
	for i, ring := range m {
		out = append(out, c.positions(fmt.Sprintf("%s[%d]", path, i), ring))
	}
	return out
}

func (c *checker) positions(path string, m *pb.Positions) [][2]float64 {
	degrees := m.GetDegrees()
	if len(degrees)%2 != 0 {
		c.add(path+".degrees", "got %d numbers, want two a position", len(degrees))
		return nil
	}
	out := make([][2]float64, len(degrees)/2)
	for i := range out {
		out[i] = [2]float64{degrees[2*i], degrees[2*i+1]}
		if !finite(out[i][0]) || !finite(out[i][1]) {
			c.add(path+".degrees", "position %d is not finite", i)
			return nil
		}
	}
	return out
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func (c *checker) supply(path string, m *pb.Supply, alone bool) layout.Supply {
	if m == nil {
		return layout.Supply{}
	}
	s := layout.Supply{
		HeadPressure:   c.pressure(path+".head_pressure_kpa", m.HeadPressureKpa),
		StaticPressure: c.pressure(path+".static_pressure_kpa", m.StaticPressureKpa),
	}
	switch t := m.GetTest().(type) {
	case *pb.Supply_FlowTest:
		s.FlowTest = c.flowTest(path+".flow_test", t.FlowTest)
	case *pb.Supply_BucketTest:
		s.Bucket = c.bucketTest(path+".bucket_test", t.BucketTest)
	}
	c.together(supplyFields{path + ".head_pressure_kpa", path + ".static_pressure_kpa", path + ".test"}, s, alone)
	return s
}

func (c *checker) flowTest(path string, m *pb.FlowTest) *layout.FlowTest {
	c.above(path+".flow_lpm", m.GetFlowLpm(), mostFlow.LPM(), " L/min")
	c.within(path+".pressure_kpa", m.GetPressureKpa(), 0, mostPressure.KPa(), " kPa")
	return &layout.FlowTest{Flow: layout.Flow(m.GetFlowLpm()), Pressure: layout.Pressure(m.GetPressureKpa())}
}

func (c *checker) bucketTest(path string, m *pb.BucketTest) *layout.BucketTest {
	c.above(path+".volume_l", m.GetVolumeL(), mostVolume.Litres(), " L")
	return &layout.BucketTest{Volume: layout.Volume(m.GetVolumeL()), Time: c.bucketTime(path+".time_s", m.GetTimeS())}
}

func (c *checker) settings(path string, m *pb.Settings) Settings {
	if m == nil {
		return Settings{}
	}
	if m.HeadTable != "" {
		c.add(path+".head_table", "head tables that are kept are for batches, want head_model")
	}
	return Settings{
		Supply:            c.supply(path+".supply", m.Supply, true),
		Head:              c.headModel(path+".head_model", m.HeadModel),
		CoverageTarget:    c.share(path+".coverage_target", m.CoverageTarget),
		Margin:            c.share(path+".margin", m.Margin),
		IrrigateBeds:      m.IrrigateBeds,
		LeastStrip:        c.length(path+".least_strip_m", m.LeastStripM),
		EdgeClearance:     c.length(path+".edge_clearance_m", m.EdgeClearanceM),
		BuildingClearance: c.length(path+".building_clearance_m", m.BuildingClearanceM),
		CrossPaving:       c.length(path+".cross_paving_m", m.CrossPavingM),
		PavingFactor:      c.factor(path+".paving_factor", m.PavingFactor),
		PavingCrossing:    c.length(path+".paving_crossing_m", m.PavingCrossingM),
		RootZoneFactor:    c.factor(path+".root_zone_factor", m.RootZoneFactor),
		TrenchClearance:   c.length(path+".trench_clearance_m", m.TrenchClearanceM),
		TrenchDepth:       c.length(path+".trench_depth_m", m.TrenchDepthM),
		SupplyAllowance:   c.loss(path+".supply_allowance_kpa", m.SupplyAllowanceKpa),
		DesignFlowShare:   c.share(path+".design_flow_share", m.DesignFlowShare),
		HeadKind:          choice(c, path+".head", m.Head, headKinds),
		SprayNarrowStrips: m.SprayNarrowStrips,
		PressureMargin:    c.loss(path+".pressure_margin_kpa", m.PressureMarginKpa),
		Effort:            choice(c, path+".effort", m.Effort, efforts),
		FrostDepth:        c.length(path+".frost_depth_m", m.FrostDepthM),
		PavingDepth:       c.length(path+".paving_depth_m", m.PavingDepthM),
		Meter:             c.word(path+".meter", m.Meter),
		ServiceLine:       c.length(path+".service_line_m", m.ServiceLineM),
		ServiceSize:       c.word(path+".service_size", m.ServiceSize),
		ServiceMaterial:   c.word(path+".service_material", m.ServiceMaterial),
		Backflow:          c.backflow(path+".backflow", m.Backflow),
		PipeMaterial:      c.word(path+".pipe_material", m.PipeMaterial),
		PipeSize:          c.word(path+".pipe_size", m.PipeSize),
		PipePrices:        c.pipePrices(path+".pipe_prices", m.PipePrices),
		PipeLoss:          c.share(path+".pipe_loss", m.PipeLoss),
		VelocityLimit:     c.speed(path+".velocity_limit_mps", m.VelocityLimitMps),
	}
}

// The words of the command line for the values of enumerations.
var (
	headKinds = map[pb.Settings_HeadKind]string{pb.Settings_HEAD_KIND_UNSPECIFIED: "", pb.Settings_VARIABLE_THROW: "variable",
		pb.Settings_SPRAY: "spray", pb.Settings_MULTI_STREAM: "multi-stream", pb.Settings_ROTOR: "rotor", pb.Settings_AUTO: "auto",
		pb.Settings_MIXED: "mixed"}
	efforts = map[pb.Settings_Effort]string{pb.Settings_EFFORT_UNSPECIFIED: "", pb.Settings_QUICK: "quick",
		pb.Settings_DEFAULT: "default", pb.Settings_THOROUGH: "thorough"}
	backflowKinds = map[pb.Backflow_Kind]string{pb.Backflow_KIND_UNSPECIFIED: "", pb.Backflow_PRESSURE_VACUUM_BREAKER: "pressure-vacuum-breaker",
		pb.Backflow_DOUBLE_CHECK: "double-check", pb.Backflow_REDUCED_PRESSURE: "reduced-pressure"}
)

// choice is the word for the value of an enumeration, which a newer client may
// know more of.
func choice[E comparable](c *checker, field string, v E, words map[E]string) string {
	word, known := words[v]
	if !known {
		c.add(field, "got %v, which is none of its values", v)
	}
	return word
}

func (c *checker) backflow(path string, m *pb.Backflow) *Backflow {
	if m == nil {
		return nil
	}
	b := &Backflow{Kind: choice(c, path+".kind", m.GetKind(), backflowKinds)}
	if (b.Kind == "") == (len(m.GetCurve()) == 0) {
		c.add(path, "want either a kind or a curve")
	}
	for i, p := range m.GetCurve() {
		if i == mostRows {
			c.add(path+".curve", "got %d, want at most %d", len(m.GetCurve()), mostRows)
			break
		}
		b.Curve = append(b.Curve, c.lossPoint(fmt.Sprintf("%s.curve[%d].", path, i), p.GetFlowLpm(), p.GetLossKpa()))
	}
	return b
}

func (c *checker) pipePrices(path string, m []*pb.PipePrice) (out []PipePrice) {
	if len(m) > mostRows {
		c.add(path, "got %d, want at most %d", len(m), mostRows)
		return nil
	}
	for i, p := range m {
		out = append(out, c.pipePrice(fmt.Sprintf("%s[%d].", path, i), PipePrice{p.GetSize(), p.GetPricePerM()}))
	}
	return out
}

// mostRows is far more than a performance table prints.
const mostRows = 100

func (c *checker) headModel(path string, m *pb.HeadModel) *layout.HeadModel {
	if m == nil {
		return nil
	}
	if m.GetName() == "" {
		c.add(path+".name", "got nothing, want a name")
	}
	if len(m.GetRows()) > mostRows {
		c.add(path+".rows", "got %d, want at most %d", len(m.GetRows()), mostRows)
		return nil
	}
	c.within(path+".least_throw_m", m.GetLeastThrowM(), 0, mostLength.Metres(), " m")
	head := &layout.HeadModel{Name: m.GetName(), Kind: layout.VariableThrow, LeastThrow: layout.Length(m.GetLeastThrowM())}
	for i, r := range m.GetRows() {
		row := fmt.Sprintf("%s.rows[%d]", path, i)
		c.above(row+".pressure_kpa", r.GetPressureKpa(), mostPressure.KPa(), " kPa")
		c.above(row+".throw_m", r.GetThrowM(), mostLength.Metres(), " m")
		c.above(row+".flow_lpm", r.GetFlowLpm(), mostFlow.LPM(), " L/min")
		head.Rows = append(head.Rows, layout.PerformanceRow{
			Pressure: layout.Pressure(r.GetPressureKpa()), Throw: layout.Length(r.GetThrowM()), Flow: layout.Flow(r.GetFlowLpm()),
		})
	}
	if err := head.Validate(); err != nil {
		c.add(path+".rows", "%v", err)
	}
	return head
}

// refused is the design of a lot whose message has the given faults: one note
// each.
func refused(id string, violations []violation) *layout.Design {
	var notes []layout.Note
	for _, v := range violations {
		notes = append(notes, layout.Note{Rule: "message.field", Severity: layout.SeverityError, Text: v.field + ": " + v.text})
	}
	return layout.Refused(id, notes[0].Rule+": "+notes[0].Text, notes)
}
