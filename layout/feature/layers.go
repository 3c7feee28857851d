package feature

import (
	"fmt"
	"slices"
	"strings"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// layer is a layer's description together with how its features are made.
type layer struct {
	Layer
	features func(d *layout.Design) [][]byte
}

// source says where the features of a layer come from: one for each row.
type source[R any] struct {
	rows  func(*layout.Design) []R
	shape func(*layout.Design, R) shape
}

// newLayer builds a layer from the rows of a design and the columns they fill,
// after the two that all layers have.
func newLayer[R any](head Layer, from source[R], cols ...columns[R]) layer {
	table := slices.Concat(cols...)
	head.Fields = []Field{
		{Name: "lot", Type: String, Meaning: "id of the lot, as in the input"},
		{Name: "layer", Type: String, Meaning: "name of the layer"},
	}
	for _, c := range table {
		head.Fields = append(head.Fields, c.Field)
	}
	return layer{head, func(d *layout.Design) [][]byte {
		g, common := newGrid(d.Plane), commonProperties(d.LotID, head.Name)
		var out [][]byte
		for _, row := range from.rows(d) {
			out = append(out, appendFeature(g, common, table, row, from.shape(d, row)))
		}
		return out
	}}
}

func commonProperties(lot, layer string) []byte {
	dst := appendString([]byte(`{"type":"Feature","properties":{"lot":`), lot)
	return appendString(append(dst, `,"layer":`...), layer)
}

func appendFeature[R any](g grid, common []byte, table columns[R], row R, s shape) []byte {
	dst := slices.Clone(common)
	for _, c := range table {
		dst = append(append(append(dst, `,"`...), c.Name...), `":`...)
		dst = c.append(dst, row)
	}
	dst = s.appendOrNull(append(dst, `},"geometry":`...), g)
	return append(dst, '}')
}

// layers holds every layer of the output, in the order written.
var layers = []layer{
	lotLayer(), headLayer(), wettedLayer(),
	areaLayer("dry", "irrigated ground that no head reaches",
		func(d *layout.Design) (geom.Region, float64) { return d.Dry, d.DryArea }),
	areaLayer("narrow", "lawn too narrow for heads, left out of the irrigated region",
		func(d *layout.Design) (geom.Region, float64) { return d.Narrow, d.NarrowArea }),
	oversprayLayer(), trenchLayer(), pipeLayer(), valveLayer(), noteLayer(),
}

type design = *layout.Design

// tried reports whether heads were placed, or none were needed: without that
// the figures of the placement and the trench are not known.
func tried(d design) bool { return d.Status == layout.StatusDesigned || len(d.Heads) > 0 }

func lotLayer() layer {
	return newLayer(
		Layer{Name: "lot", Geometry: MultiPolygon, Meaning: "the irrigated region of a lot and the figures of its design"},
		source[design]{
			rows:  func(d design) []design { return []design{d} },
			shape: func(_, d design) shape { return multiPolygon(d.Irrigated) },
		},
		lotOutcome(), lotAreas(), lotWater(), lotUniformity(), lotTrench(), lotBudget(),
	)
}

func lotOutcome() columns[design] {
	proved := func(d design) bool { return d.Proof.Kind != layout.ProofNone && d.Proof.Kind != "" }
	discrete := func(d design) bool { return d.Proof.Kind == layout.ProofDiscrete }
	targeted := func(d design) bool { return d.CoverageTarget > 0 }
	return slices.Concat(
		text("status", "designed, infeasible, invalid or failed", func(d design) string { return string(d.Status) }),
		text("reason", "why the lot is not designed, in words", func(d design) string { return d.Reason }),
		text("head_kind", "variable_throw or fixed_arc", func(d design) string { return string(d.HeadKind) }),
		when(tried, count("heads", "number of heads", func(d design) int { return len(d.Heads) }),
			count("heads_fixed", "number of heads that came with the input and were kept", fixedHeads)),
		when(proved, count("heads_bound", "no design that keeps the fixed heads, if there are any, can do with fewer heads than this, under the terms of proof",
			func(d design) int { return d.Proof.Bound })),
		text("proof", "what heads_bound rests on: continuous, discrete or none", func(d design) string { return string(d.Proof.Kind) }),
		when(func(d design) bool { return proved(d) && d.Proof.Throw > 0 },
			lengths("bound_throw", "throw that heads_bound is for", func(d design) layout.Length { return d.Proof.Throw })),
		when(discrete,
			metres("candidate_spacing_m", "spacing of the head positions a discrete proof speaks of",
				func(d design) layout.Length { return d.Proof.CandidateSpacing }),
			metres("witness_spacing_m", "spacing of the points that stand for the lawn in a discrete proof",
				func(d design) layout.Length { return d.Proof.WitnessSpacing })),
		when(tried, share("coverage", "area reached ÷ irrigated area", func(d design) float64 { return d.Coverage })),
		when(targeted, share("coverage_target", "least coverage asked for", func(d design) float64 { return d.CoverageTarget })),
		text("head_families", "families of fixed-arc heads, and how many there are of each", headFamilies),
		text("head_choice", "why these heads were chosen, in words; null where there was no choice", func(d design) string { return d.HeadChoice }),
	)
}

// headFamilies lists the families of the heads in the order of their areas.
func headFamilies(d design) string {
	var names []string
	count := map[string]int{}
	for _, a := range d.Areas {
		names = append(names, a.Family)
	}
	for _, h := range d.Heads {
		if count[h.Family]++; h.Family != "" && !slices.Contains(names, h.Family) {
			names = append(names, h.Family)
		}
	}
	var words []string
	for _, name := range names {
		if count[name] > 0 {
			words = append(words, fmt.Sprintf("%d %s", count[name], name))
		}
	}
	return strings.Join(words, ", ")
}

func fixedHeads(d design) (n int) {
	for _, h := range d.Heads {
		if h.Pinned {
			n++
		}
	}
	return n
}

func lotAreas() columns[design] {
	surveyed := func(d design) bool { return d.ParcelArea > 0 }
	return slices.Concat(
		when(surveyed,
			areas("parcel", "area of the parcel", func(d design) float64 { return d.ParcelArea }),
			areas("irrigated", "area of the irrigated region", func(d design) float64 { return d.IrrigatedArea }),
			areas("narrow", "lawn too narrow for heads", func(d design) float64 { return d.NarrowArea })),
		when(tried,
			areas("dry", "irrigated area that no head reaches", func(d design) float64 { return d.DryArea }),
			areas("overspray", "area wetted outside the irrigated region", func(d design) float64 { return d.OversprayArea })),
	)
}

func lotWater() columns[design] {
	return slices.Concat(
		when(func(d design) bool { return d.Throw > 0 },
			lengths("throw", "throw of the heads at their pressure", func(d design) layout.Length { return d.Throw })),
		when(func(d design) bool { return tried(d) && d.HeadKind != layout.FixedArc },
			lengths("throw_slack", "throw that may be lost before the heads miss the coverage target", func(d design) layout.Length { return d.ThrowSlack }),
			share("throw_margin", "share of the throw held back while placing the heads", func(d design) float64 { return d.Margin })),
		when(func(d design) bool { return d.Pressure > 0 },
			pressures("pressure", "pressure at the heads while one runs", func(d design) layout.Pressure { return d.Pressure })),
		when(func(d design) bool { return d.HeadFlow > 0 },
			flows("flow", "flow of one head", func(d design) layout.Flow { return d.HeadFlow })),
		when(tried, flag("regulator", "a pressure regulator is needed: the supply is above the rated band of the heads",
			func(d design) bool { return d.Regulated })),
	)
}

func lotUniformity() columns[design] {
	known := func(d design) bool { return d.Uniformity != nil }
	return slices.Concat(when(known,
		share("du_target", "least distribution uniformity asked for", func(d design) float64 { return d.Uniformity.Target }),
		share("du_lq", "distribution uniformity: mean of the driest quarter of the lawn over the mean of all", func(d design) float64 { return d.Uniformity.DULowQuarter }),
		share("cu", "Christiansen's coefficient of uniformity, as a share", func(d design) float64 { return d.Uniformity.CU }),
		number(Field{Name: "scheduling_coefficient", Decimals: rateDecimals, Meaning: "mean over the driest place; null where that gets nothing"},
			func(d design) float64 { return d.Uniformity.SchedulingCoefficient }),
		rates("precipitation", "water that lands on the lawn while all heads run, over the lawn", func(d design) float64 { return d.Uniformity.PrecipitationMMPerHour }),
		share("head_to_head", "share of the lawn that two or more heads reach", func(d design) float64 { return d.Uniformity.HeadToHead })))
}

func lotTrench() columns[design] {
	piped := func(d design) bool { return len(d.Network.Pipes) > 0 }
	return slices.Concat(when(tried,
		flag("poc_assumed", "the point of connection was not given but assumed", func(d design) bool { return d.Network.POCAssumed }),
		lengths("trench", "trench to dig, shared metres counted once", func(d design) layout.Length { return d.Network.TrenchLength }),
		lengths("spanning_tree", "length of the minimum spanning tree over least-cost paths, for comparison",
			func(d design) layout.Length { return d.Network.SpanningTreeLength }),
		count("paving_crossings", "how often the trench passes under paving", func(d design) int { return d.Network.PavingCrossings }),
		lengths("paving_crossing", "length of trench under paving", func(d design) layout.Length { return d.Network.PavingCrossingLength })),
		when(piped, lengths("pipe", "length of pipe", func(d design) layout.Length { return d.Network.PipeLength })),
	)
}

// lotBudget sums up where the pressure goes on the way to the head that gets the
// least.
func lotBudget() columns[design] {
	reckoned := func(d design) bool { return d.Water != nil }
	known := func(d design) bool { return reckoned(d) && d.Water.Known && len(d.Water.Budget) > 0 }
	loss := func(items ...string) func(design) layout.Pressure {
		return func(d design) (sum layout.Pressure) {
			for _, row := range d.Water.Budget {
				if slices.Contains(items, row.Item) {
					sum += row.Loss
				}
			}
			return sum
		}
	}
	return slices.Concat(
		when(func(d design) bool { return reckoned(d) && !d.Water.Known },
			pressures("poc_needed", "pressure that must stand at the point of connection while one head runs", func(d design) layout.Pressure { return d.Water.Needed })),
		when(known,
			count("zones", "number of zones", func(d design) int { return len(d.Water.Zones) }),
			flows("design_flow", "most that may be drawn", func(d design) layout.Flow { return d.Water.DesignFlow }),
			pressures("static", "pressure with all taps shut", func(d design) layout.Pressure { return d.Water.Static }),
			text("budget_head", "head that gets the least pressure; the losses are those on the way to it", func(d design) string { return d.Water.BudgetHead }),
			pressures("supply_loss", "what the supply falls by as the water runs", loss("supply")),
			pressures("device_loss", "service line, meter, backflow assembly, valve, and what is held back", loss("service_line", "meter", "backflow", "valve", "held_back", "filter", "regulator")),
			pressures("pipe_loss", "pipe and fittings", loss("pipe", "fittings")),
			pressures("height_loss", "rise of the ground", loss("elevation")),
			flag("pipe_sized", "the pipe sizes are the cheapest that serve every head", func(d design) bool { return d.Water.PipeSized }),
			money("pipe_cost", "price of the pipe, in the currency of the price list", func(d design) int64 { return d.Water.PipeCost })),
	)
}

func heads(d *layout.Design) []layout.Head { return d.Heads }

func headLayer() layer {
	type H = layout.Head
	return newLayer(Layer{Name: "head", Geometry: Point, Meaning: "a head"},
		source[H]{rows: heads, shape: func(_ *layout.Design, h H) shape { return point(h.At) }},
		text("head", "label of the head: H1, H2, …", func(h H) string { return h.Label }),
		text("kind", "variable_throw or fixed_arc", func(h H) string { return string(h.Kind) }),
		text("model", "catalogue row the head was chosen from", func(h H) string { return h.Model }),
		text("family", "family of a fixed-arc head; heads of different families never run together", func(h H) string { return h.Family }),
		lengths("throw", "throw at its pressure", func(h H) layout.Length { return h.Throw }),
		angle("arc_start_deg", "bearing at which the arc starts, clockwise from north", func(h H) float64 { return h.ArcStart }),
		angle("arc_sweep_deg", "sweep of the arc, clockwise; 360 all round", func(h H) float64 { return h.ArcSweep }),
		pressures("pressure", "pressure at the head while it runs", func(h H) layout.Pressure { return h.Pressure }),
		flows("flow", "flow while it runs", func(h H) layout.Flow { return h.Flow }),
		when(func(h H) bool { return h.Zone > 0 }, count("zone", "number of its zone, from 1", func(h H) int { return h.Zone })),
		text("pipe", "label of the pipe that ends at it", func(h H) string { return h.Pipe }),
		flag("fixed", "the head came with the input and was kept where it stood", func(h H) bool { return h.Pinned }),
	)
}

func oversprayLayer() layer {
	type H = layout.Head
	return newLayer(Layer{Name: "overspray", Geometry: MultiPolygon, Meaning: "what one head wets outside the irrigated region"},
		source[H]{rows: oversprayers, shape: func(_ *layout.Design, h H) shape { return multiPolygon(h.Overspray) }},
		text("head", "label of the head", func(h H) string { return h.Label }),
		areas("area", "area wetted in vain", func(h H) float64 { return h.OversprayArea }),
	)
}

// oversprayers returns the heads that wet anything outside the irrigated region.
func oversprayers(d *layout.Design) []layout.Head {
	var out []layout.Head
	for _, h := range d.Heads {
		if len(h.Overspray) > 0 {
			out = append(out, h)
		}
	}
	return out
}

func wettedLayer() layer {
	type H = layout.Head
	return newLayer(Layer{Name: "wetted", Geometry: Polygon, Meaning: "what one head reaches"},
		source[H]{rows: heads, shape: func(_ *layout.Design, h H) shape { return outline(h.Wetted) }},
		text("head", "label of the head", func(h H) string { return h.Label }),
		lengths("throw", "throw at its pressure", func(h H) layout.Length { return h.Throw }),
		areas("area", "area it reaches, with round arcs", func(h H) float64 { return h.WettedArea }),
	)
}

// areaLayer is a layer with one feature for the whole lot, where there is any
// such ground.
func areaLayer(name, meaning string, of func(*layout.Design) (geom.Region, float64)) layer {
	type R struct {
		region geom.Region
		area   float64
	}
	return newLayer(Layer{Name: name, Geometry: MultiPolygon, Meaning: meaning},
		source[R]{
			rows: func(d *layout.Design) []R {
				region, area := of(d)
				if len(region) == 0 {
					return nil
				}
				return []R{{region, area}}
			},
			shape: func(_ *layout.Design, r R) shape { return multiPolygon(r.region) },
		},
		areas("area", "its area", func(r R) float64 { return r.area }),
	)
}

func trenchLayer() layer {
	type R = layout.TrenchRun
	return newLayer(Layer{Name: "trench", Geometry: LineString, Meaning: "a run of trench through one surface"},
		source[R]{
			rows:  func(d *layout.Design) []R { return d.Network.Runs },
			shape: func(_ *layout.Design, r R) shape { return line(r.Path) },
		},
		text("from", "end nearer the water: POC, a tee T1, … or a head", func(r R) string { return r.From }),
		text("to", "the other end", func(r R) string { return r.To }),
		text("surface", "soil, paving or sleeve", func(r R) string { return string(r.Surface) }),
		lengths("length", "length of the run", func(r R) layout.Length { return r.Length }),
		depths("depth", "depth of the trench", func(r R) layout.Length { return r.Depth }),
	)
}

func pipeLayer() layer {
	type R = layout.PipeRun
	return newLayer(Layer{Name: "pipe", Geometry: LineString, Meaning: "a run of pipe of one size"},
		source[R]{
			rows:  func(d *layout.Design) []R { return d.Network.Pipes },
			shape: func(_ *layout.Design, r R) shape { return line(r.Path) },
		},
		text("pipe", "label of the run: P1, P2, …", func(r R) string { return r.Label }),
		text("from", "end nearer the water", func(r R) string { return r.From }),
		text("to", "the other end", func(r R) string { return r.To }),
		text("material", "what the pipe is made of", func(r R) string { return r.Material }),
		text("size", "nominal size", func(r R) string { return r.Size }),
		lengths("length", "length of the run", func(r R) layout.Length { return r.Length }),
		flows("flow", "largest flow it must carry", func(r R) layout.Flow { return r.Flow }),
		when(func(r R) bool { return r.Zone > 0 }, count("zone", "number of the zone it belongs to; null where all run through it", func(r R) int { return r.Zone })),
		when(func(r R) bool { return r.Velocity > 0 },
			speeds("velocity", "speed of the water at that flow", func(r R) float64 { return r.Velocity }),
			pressures("loss", "pressure lost in it at that flow, fittings included", func(r R) layout.Pressure { return r.Loss })),
	)
}

func noteLayer() layer {
	type N = layout.Note
	return newLayer(Layer{Name: "note", Geometry: Point, Meaning: "a remark, where it applies; one about the whole lot lies at the origin of the lot's plane"},
		source[N]{
			rows:  func(d *layout.Design) []N { return d.Notes },
			shape: func(_ *layout.Design, n N) shape { return point(place(n)) },
		},
		text("rule", "code of the rule the remark comes from", func(n N) string { return n.Rule }),
		text("severity", "info, warning or error", func(n N) string { return string(n.Severity) }),
		text("text", "the remark in words", func(n N) string { return n.Text }),
	)
}

func place(n layout.Note) geom.Point {
	if n.At == nil {
		return geom.Point{}
	}
	return *n.At
}
