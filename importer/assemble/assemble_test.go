package assemble_test

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// metre turns an offset in metres near 30° W, 40° N into a position.
func metre(x, y float64) importer.Position {
	return importer.Position{-30 + x/85_394, 40 + y/111_035}
}

// path turns offsets in metres into positions.
func path(xy ...float64) (out []importer.Position) {
	for i := 0; i < len(xy); i += 2 {
		out = append(out, metre(xy[i], xy[i+1]))
	}
	return out
}

// closed turns offsets in metres into a closed ring.
func closed(xy ...float64) []importer.Position {
	r := path(xy...)
	return append(r, r[0])
}

func box(x0, y0, x1, y1 float64) []importer.Position { return closed(x0, y0, x1, y0, x1, y1, x0, y1) }

func area(layer layout.Layer, rings ...[]importer.Position) importer.Feature {
	return importer.Feature{Layer: layer, Geometry: importer.Geometry{Type: importer.Polygon, Parts: [][][]importer.Position{rings}}}
}

func line(layer layout.Layer, xy ...float64) importer.Feature {
	return importer.Feature{Layer: layer, Geometry: importer.Geometry{Type: importer.LineString, Parts: [][][]importer.Position{{path(xy...)}}}}
}

func point(layer layout.Layer, x, y float64) importer.Feature {
	return importer.Feature{Layer: layer, Geometry: importer.Geometry{Type: importer.Point, Parts: [][][]importer.Position{{path(x, y)}}}}
}

func with(x importer.Feature, name string, value float64) importer.Feature {
	x.Properties.Quantities = append(slices.Clone(x.Properties.Quantities), importer.Quantity{Name: name, Value: value})
	return x
}

// yard is a lot with something of everything.
func yard() []importer.Feature {
	return []importer.Feature{
		with(area(layout.LayerParcel, closed(0, 0, 14, -1, 30, 0, 31, 12, 30, 20, 0, 20)), "static_pressure_psi", 60),
		area(layout.LayerTurf, box(0, 0, 30, 18)),
		area(layout.LayerBed, box(1, 1, 5, 2)),
		area(layout.LayerBuilding, box(10, 6, 22, 15), box(14, 9, 17, 12)),
		area(layout.LayerBuilding, box(21, 6, 25, 10)),
		area(layout.LayerHardscape, box(14, -1, 18, 6.5)),
		area(layout.LayerWater, box(2, 15, 5, 18)),
		line(layout.LayerWall, 0, 12, 6, 12, 6, 16),
		line(layout.LayerSleeve, 13, 3, 19, 3),
		area(layout.LayerNoDig, box(25, 15, 31, 20)),
		point(layout.LayerTree, 27, 5),
		with(point(layout.LayerTree, 30.5, 10), "root_radius_ft", 10),
		point(layout.LayerSource, 11, 4),
		point(layout.LayerController, 22, 8),
		with(point(layout.LayerSpotHeight, 3, 3), "height_m", 12.5),
		with(point(layout.LayerSpotHeight, 28, 18), "height_ft", 40),
	}
}

func TestYard(t *testing.T) {
	item := assemble.Lot("yard", yard(), assemble.Options{})
	require.NotNil(t, item.Lot, "%v", item.Findings)
	l := item.Lot
	assert.Equal(t, "yard", l.ID)
	assert.InDelta(t, 600+15+10, l.Parcel.AreaM2(), 0.5) // and the wedges in the south and east
	assert.True(t, l.HasTurf)
	assert.InDelta(t, 540, l.Turf.AreaM2(), 1.5)
	assert.InDelta(t, 4, l.Bed.AreaM2(), 0.01)
	assert.InDelta(t, 108-9+16-4, l.Building.AreaM2(), 0.05)
	assert.Len(t, l.Building, 1)
	assert.Len(t, l.Building[0], 2)
	assert.InDelta(t, 9, l.Water.AreaM2(), 0.01)
	assert.InDelta(t, 1+0.0079/2, l.Wall.AreaM2(), 0.02)
	assert.InDelta(t, 26.6, l.NoDig.AreaM2(), 0.1)
	assert.Greater(t, l.RootZone.AreaM2(), 7.1)
	require.Len(t, l.Sleeves, 1)
	assert.InDelta(t, 6000, l.Sleeves[0].LengthMM(), 2)
	require.NotNil(t, l.Source)
	require.NotNil(t, l.Controller)
	require.NotNil(t, l.Supply.StaticPressure)
	assert.InDelta(t, 60, l.Supply.StaticPressure.PSI(), 1e-9)
	require.Len(t, l.Heights, 2)
	assert.InDelta(t, 12.192, l.Heights[1].Height.Metres(), 1e-9)
	checkLot(t, l)
}

// checkLot checks what must hold of any assembled lot.
func checkLot(t testing.TB, l *layout.Lot) {
	require.Len(t, l.Parcel, 1)
	require.NotNil(t, l.Plane)
	checkRegion(t, l.Parcel)
	for _, g := range []geom.Region{l.Turf, l.Bed, l.Building, l.Hardscape, l.Water, l.Wall, l.RootZone, l.NoDig} {
		checkRegion(t, g)
		out := geom.Difference(g, l.Parcel)
		require.LessOrEqual(t, out.AreaM2(), gridArea(g), "within the parcel, but for the grid")
	}
	for _, p := range []*geom.Point{l.Source, l.Controller} {
		if p != nil && !l.Parcel.Has(*p) {
			require.LessOrEqual(t, l.Parcel.DistanceMM(*p), 1.0)
		}
	}
	for _, n := range l.Notes {
		require.NotEqual(t, layout.SeverityError, n.Severity)
		require.NotContains(t, n.Text, "features[")
	}
}

// gridArea is the area in m² that is gained or lost when every edge of g moves
// by a millimetre, as it may each time a region is put on the grid.
func gridArea(g geom.Region) float64 {
	const moves = 2
	sum := 0.0
	for s := range g.Edges() {
		sum += s.LengthMM() + 1
	}
	return moves * sum / 1e6
}

// checkRegion checks form: shells one way, holes the other, no ring crossing
// itself.
func checkRegion(t testing.TB, g geom.Region) {
	for _, poly := range g {
		for k, r := range poly {
			require.GreaterOrEqual(t, len(r), 3)
			require.Equal(t, k == 0, r.Area2() > 0)
			for _, p := range r {
				require.LessOrEqual(t, max(p.X, -p.X, p.Y, -p.Y), int64(geom.MaxCoord))
			}
		}
	}
}

// The same yard, however it is written down, is the same lot.
func TestSameYardWrittenDifferently(t *testing.T) {
	want := assemble.Lot("yard", yard(), assemble.Options{})
	require.NotNil(t, want.Lot)
	r := rand.New(rand.NewPCG(1, 1))
	for range 50 {
		features := yard()
		r.Shuffle(len(features), func(i, j int) { features[i], features[j] = features[j], features[i] })
		for i := range features {
			features[i].Index = i
			rewrite(r, &features[i].Geometry)
		}
		got := assemble.Lot("yard", features, assemble.Options{})
		require.NotNil(t, got.Lot, "%v", got.Findings)
		assert.Equal(t, want.Lot, got.Lot)
	}
}

// rewrite starts rings elsewhere, runs them and lines the other way, and turns
// single geometries into multiple ones of one part.
func rewrite(r *rand.Rand, g *importer.Geometry) {
	for _, part := range g.Parts {
		for k, ring := range part {
			if g.Type == importer.Polygon {
				open := ring[:len(ring)-1]
				n := r.IntN(len(open))
				open = slices.Concat(open[n:], open[:n])
				ring = append(open, open[0])
			} else {
				ring = slices.Clone(ring)
			}
			if r.IntN(2) == 0 {
				slices.Reverse(ring)
			}
			part[k] = ring
		}
	}
	if r.IntN(2) == 0 && !strings.HasPrefix(string(g.Type), "Multi") {
		g.Type = "Multi" + g.Type
	}
}

// Positions repeated any number of times change nothing but a remark.
func TestRepeatedPositions(t *testing.T) {
	want := assemble.Lot("yard", yard(), assemble.Options{}).Lot
	r := rand.New(rand.NewPCG(2, 2))
	features := yard()
	for i := range features {
		g := &features[i].Geometry
		if g.Type != importer.Polygon && g.Type != importer.LineString {
			continue
		}
		for k, ring := range g.Parts[0] {
			var out []importer.Position
			for _, p := range ring {
				out = append(out, slices.Repeat([]importer.Position{p}, 1+r.IntN(3))...)
			}
			g.Parts[0][k] = out
		}
	}
	got := assemble.Lot("yard", features, assemble.Options{})
	require.NotNil(t, got.Lot)
	got.Lot.Notes = slices.DeleteFunc(got.Lot.Notes, func(n layout.Note) bool { return n.Rule == "ring.duplicate_vertices" })
	assert.Equal(t, want, got.Lot)
}

// rules lists the rules of an item's findings.
func rules(item assemble.Item) []string {
	var out []string
	for _, f := range item.Findings {
		out = append(out, f.Rule)
	}
	return slices.Compact(out)
}

func TestLotByHand(t *testing.T) {
	parcel := area(layout.LayerParcel, box(0, 0, 30, 20))
	multi := func(x importer.Feature, parts ...[][]importer.Position) importer.Feature {
		x.Geometry = importer.Geometry{Type: importer.MultiPolygon, Parts: parts}
		return x
	}
	cases := map[string]struct {
		features []importer.Feature
		rules    []string
		refused  bool
	}{
		"plain":                        {[]importer.Feature{parcel}, nil, false},
		"no features":                  {nil, []string{"parcel.missing"}, true},
		"same parcel twice, turned":    {[]importer.Feature{parcel, area(layout.LayerParcel, closed(30, 20, 0, 20, 0, 0, 30, 0))}, []string{"feature.duplicate"}, false},
		"two parts that share an edge": {[]importer.Feature{multi(parcel, [][]importer.Position{box(0, 0, 15, 20)}, [][]importer.Position{box(15, 0, 30, 20)})}, nil, false},
		"two parts apart":              {[]importer.Feature{multi(parcel, [][]importer.Position{box(0, 0, 15, 20)}, [][]importer.Position{box(16, 0, 30, 20)})}, []string{"parcel.multipart"}, true},
		"a sliver beside":              {[]importer.Feature{multi(parcel, [][]importer.Position{box(0, 0, 30, 20)}, [][]importer.Position{box(31, 0, 31.1, 1)})}, []string{"parcel.sliver_dropped"}, false},
		"parcel 4 km long":             {[]importer.Feature{area(layout.LayerParcel, box(0, 0, 4000, 2))}, []string{"parcel.too_large"}, true},
		"parcel of 11 ha":              {[]importer.Feature{area(layout.LayerParcel, box(0, 0, 1000, 110))}, []string{"parcel.too_large"}, true},
		"parcel of 9 ha":               {[]importer.Feature{area(layout.LayerParcel, box(0, 0, 1000, 90))}, nil, false},

		"source 40 cm out":     {[]importer.Feature{parcel, point(layout.LayerSource, -0.4, 5)}, []string{"source.snapped"}, false},
		"source 60 cm out":     {[]importer.Feature{parcel, point(layout.LayerSource, -0.6, 5)}, []string{"source.outside"}, true},
		"source 100 m out":     {[]importer.Feature{parcel, point(layout.LayerSource, -100, 5)}, []string{"source.outside"}, true},
		"source twice":         {[]importer.Feature{parcel, point(layout.LayerSource, 1, 5), point(layout.LayerSource, 1, 5)}, nil, false},
		"source on the line":   {[]importer.Feature{parcel, point(layout.LayerSource, 0, 5)}, nil, false},
		"controller elsewhere": {[]importer.Feature{parcel, point(layout.LayerController, 50, 5)}, []string{"feature.outside"}, false},
		"two controllers":      {[]importer.Feature{parcel, point(layout.LayerController, 5, 5), point(layout.LayerController, 6, 5)}, []string{"controller.multiple"}, true},

		"building beside the lot":   {[]importer.Feature{parcel, area(layout.LayerBuilding, box(40, 0, 50, 10))}, []string{"feature.outside"}, false},
		"building far away":         {[]importer.Feature{parcel, area(layout.LayerBuilding, box(4e5, 0, 4.1e5, 10))}, []string{"feature.outside"}, false},
		"building over the line":    {[]importer.Feature{parcel, area(layout.LayerBuilding, box(25, 5, 35, 10))}, []string{"feature.clipped"}, false},
		"building 1 mm over":        {[]importer.Feature{parcel, area(layout.LayerBuilding, box(25, 5, 30.001, 10))}, nil, false},
		"lake 100 km wide":          {[]importer.Feature{parcel, area(layout.LayerWater, box(-5e4, 10, 5e4, 5e4))}, []string{"feature.clipped"}, false},
		"building without extent":   {[]importer.Feature{parcel, area(layout.LayerBuilding, box(5, 5, 5, 5))}, []string{"feature.empty_dropped", "ring.duplicate_vertices"}, false},
		"building of two points":    {[]importer.Feature{parcel, area(layout.LayerBuilding, closed(5, 5, 6, 6))}, []string{"ring.too_few"}, true},
		"building without geometry": {[]importer.Feature{parcel, {Layer: layout.LayerBuilding}}, []string{"geometry.missing"}, false},
		"parcel without geometry":   {[]importer.Feature{{Layer: layout.LayerParcel}}, []string{"geometry.missing"}, true},
		"polygon without rings":     {[]importer.Feature{parcel, area(layout.LayerBuilding)}, []string{"feature.empty_dropped"}, false},
		"building as a point":       {[]importer.Feature{parcel, point(layout.LayerBuilding, 5, 5)}, []string{"geometry.type"}, true},
		"tree as a line":            {[]importer.Feature{parcel, line(layout.LayerTree, 5, 5, 6, 6)}, []string{"geometry.type"}, true},
		"building touches itself":   {[]importer.Feature{parcel, area(layout.LayerBuilding, closed(5, 5, 15, 5, 15, 15, 10, 5, 5, 15))}, []string{"ring.self_touch"}, false},
		"wall of one point":         {[]importer.Feature{parcel, line(layout.LayerWall, 5, 5)}, []string{"line.too_few"}, true},
		"wall on the line":          {[]importer.Feature{parcel, line(layout.LayerWall, 0, 0, 0, 20)}, nil, false},
		"wall leaves the lot":       {[]importer.Feature{parcel, line(layout.LayerWall, 5, 5, 40, 5)}, []string{"feature.clipped"}, false},
		"sleeve leaves the lot":     {[]importer.Feature{parcel, line(layout.LayerSleeve, 5, 5, 40, 5)}, nil, false},
		"no layer":                  {[]importer.Feature{parcel, {}}, []string{"layer.missing"}, true},
		"layer of results":          {[]importer.Feature{parcel, point("valve", 1, 1)}, []string{"layer.design"}, false},
		"layer nobody knows":        {[]importer.Feature{parcel, point("valves", 1, 1)}, []string{"layer.unknown"}, true},
		"a hole is courtyard lawn":  {[]importer.Feature{parcel, area(layout.LayerBuilding, box(5, 5, 15, 15), box(8, 8, 12, 12))}, nil, false},
		"height without a number":   {[]importer.Feature{parcel, point(layout.LayerSpotHeight, 5, 5)}, []string{"height.missing"}, false},
		"roots of 300 ft":           {[]importer.Feature{parcel, with(point(layout.LayerTree, 5, 5), "root_radius_ft", 300)}, []string{"property.out_of_range"}, true},

		"two units that agree":     {[]importer.Feature{with(with(parcel, "static_pressure_psi", 60), "static_pressure_kpa", 414)}, nil, false},
		"two units that differ":    {[]importer.Feature{with(with(parcel, "static_pressure_psi", 60), "static_pressure_kpa", 60)}, []string{"property.conflict"}, true},
		"two features that differ": {[]importer.Feature{with(with(parcel, "bucket_gal", 5), "bucket_s", 45), with(point(layout.LayerSource, 1, 1), "bucket_s", 60)}, []string{"property.conflict"}, true},
		"negative pressure":        {[]importer.Feature{with(parcel, "head_pressure_bar", -3)}, []string{"property.out_of_range"}, true},
		"bucket in no time":        {[]importer.Feature{with(with(parcel, "bucket_gal", 5), "bucket_s", 0)}, []string{"property.out_of_range"}, true},
		"bucket without a time":    {[]importer.Feature{with(parcel, "bucket_gal", 5)}, []string{"supply.incomplete"}, false},
		"flow without a pressure":  {[]importer.Feature{with(parcel, "flow_lpm", 20)}, []string{"supply.open_flow"}, false},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			item := assemble.Lot("lot", c.features, assemble.Options{})
			assert.Equal(t, c.refused, item.Lot == nil, "%v", item.Findings)
			assert.Equal(t, c.rules, rules(item), "%v", item.Findings)
			if item.Lot != nil {
				checkLot(t, item.Lot)
			}
		})
	}
}

func TestSupply(t *testing.T) {
	p := area(layout.LayerParcel, box(0, 0, 30, 20))
	p = with(with(with(p, "static_pressure_bar", 4), "flow_lpm", 22), "flow_pressure_kpa", 310)
	s := assemble.Lot("lot", []importer.Feature{p, with(with(point(layout.LayerSource, 1, 1), "bucket_l", 19), "bucket_s", 45)}, assemble.Options{}).Lot.Supply
	assert.InDelta(t, 400, s.StaticPressure.KPa(), 1e-9)
	assert.InDelta(t, 22, s.FlowTest.Flow.LPM(), 1e-9)
	assert.InDelta(t, 310, s.FlowTest.Pressure.KPa(), 1e-9)
	assert.InDelta(t, 19./45*60, s.Bucket.Flow().LPM(), 1e-9)
	assert.Nil(t, s.HeadPressure)
}

// Limits hold at n and are passed at n+1.
func TestLimits(t *testing.T) {
	parcel := area(layout.LayerParcel, box(0, 0, 30, 20))
	trees := func(n int) []importer.Feature {
		out := []importer.Feature{parcel}
		for i := range n - 1 {
			out = append(out, point(layout.LayerTree, float64(i%30), float64(i%20)))
		}
		return out
	}
	assert.NotNil(t, assemble.Lot("a", trees(500), assemble.Options{}).Lot)
	assert.Equal(t, []string{"lot.too_many_features"}, rules(assemble.Lot("a", trees(501), assemble.Options{})))

	o := assemble.Options{Limits: importer.Limits{LotVertices: 9}}
	assert.NotNil(t, assemble.Lot("a", trees(5), o).Lot)
	assert.Equal(t, []string{"geometry.too_complex"}, rules(assemble.Lot("a", trees(6), o)))

	o = assemble.Options{Limits: importer.Limits{LeastArea: 599, MostArea: 601}}
	assert.NotNil(t, assemble.Lot("a", trees(1), o).Lot)
	o = assemble.Options{Limits: importer.Limits{LeastArea: 601}}
	assert.Equal(t, []string{"parcel.too_small"}, rules(assemble.Lot("a", trees(1), o)))
	o = assemble.Options{Limits: importer.Limits{MostArea: 599}}
	assert.Equal(t, []string{"parcel.too_large"}, rules(assemble.Lot("a", trees(1), o)))

	o = assemble.Options{Limits: importer.Limits{LotID: 3}}
	assert.NotNil(t, assemble.Lot("äa", trees(1), o).Lot)
	assert.Equal(t, []string{"lot.id_invalid"}, rules(assemble.Lot("äab", trees(1), o)))

	house := area(layout.LayerBuilding, box(5, 5, 9, 9))
	o = assemble.Options{Limits: importer.Limits{Corners: 4}}
	assert.NotNil(t, assemble.Lot("a", []importer.Feature{parcel, house}, o).Lot)
	assert.Equal(t, []string{"geometry.too_complex"}, rules(assemble.Lot("a", []importer.Feature{parcel, house, house}, o)))
}

// A batch tells the same whatever the order of its features and files.
func TestBatchOrder(t *testing.T) {
	var c struct{ Features []json.RawMessage }
	text := readFile(t, lotsA)
	require.NoError(t, json.Unmarshal(text, &c))
	want := lotsOf(t, assemble.Input{Name: "a", Reader: bytes.NewReader(text)})
	r := rand.New(rand.NewPCG(3, 3))
	r.Shuffle(len(c.Features), func(i, j int) { c.Features[i], c.Features[j] = c.Features[j], c.Features[i] })
	half := len(c.Features) / 2
	got := lotsOf(t, file("b", c.Features[:half]), file("c", c.Features[half:]))
	assert.Equal(t, want, got)
}

func file(name string, features []json.RawMessage) assemble.Input {
	body, _ := json.Marshal(map[string]any{"type": "FeatureCollection", "features": features})
	return assemble.Input{Name: name, Reader: bytes.NewReader(body)}
}

func lotsOf(t testing.TB, inputs ...assemble.Input) []*layout.Lot {
	b, err := assemble.Open(context.Background(), inputs, assemble.Options{})
	require.NoError(t, err)
	defer b.Close()
	var lots []*layout.Lot
	for i := range b.Len() {
		item := b.Lot(i)
		require.NotNil(t, item.Lot, "%v", item.Findings)
		checkLot(t, item.Lot)
		lots = append(lots, item.Lot)
	}
	return lots
}

// Geometries that no reader would make, as another door might pass them on.
func TestIllFormedGeometry(t *testing.T) {
	parcel := area(layout.LayerParcel, box(0, 0, 30, 20))
	for _, x := range []importer.Feature{
		{Layer: layout.LayerWall, Geometry: importer.Geometry{Type: importer.LineString, Parts: [][][]importer.Position{{}}}},
		{Layer: layout.LayerWall, Geometry: importer.Geometry{Type: importer.MultiLineString, Parts: [][][]importer.Position{{path(1, 1, 2, 2), path(1, 1, 2, 2)}}}},
		{Layer: layout.LayerSource, Geometry: importer.Geometry{Type: importer.Point, Parts: [][][]importer.Position{{path(1, 1, 2, 2)}}}},
		{Layer: layout.LayerSource, Geometry: importer.Geometry{Type: importer.Point, Parts: [][][]importer.Position{nil}}},
	} {
		assert.Equal(t, []string{"geometry.coordinates"}, rules(assemble.Lot("a", []importer.Feature{parcel, x}, assemble.Options{})))
	}
	for _, p := range []importer.Position{{math.NaN(), 40}, {-30, math.Inf(1)}, {math.Inf(-1), math.Inf(1)}} {
		x := point(layout.LayerSource, 1, 1)
		x.Geometry.Parts[0][0][0] = p
		assert.Equal(t, []string{"coords.not_number"}, rules(assemble.Lot("a", []importer.Feature{parcel, x}, assemble.Options{})))
	}
}
