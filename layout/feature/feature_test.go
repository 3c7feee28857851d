package feature_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/geojson"
	"github.com/paulmach/orb/planar"
	sf "github.com/peterstace/simplefeatures/geom"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/feature"
	"lotwright/layout/geom"
)

var update = flag.Bool("update", false, "rewrite the expected files in testdata")

// evenPlane maps a millimetre to the same number of degrees everywhere, so
// that expected positions can be worked out by hand.
type evenPlane struct{ lon, lat, degreesPerMM float64 }

func (p evenPlane) LonLat(x, y float64) (float64, float64) {
	return p.lon + x*p.degreesPerMM, p.lat + y*p.degreesPerMM
}

// metrePlane has 1e-5 degrees a metre, as roughly near the equator.
var metrePlane = evenPlane{lon: 10, lat: 50, degreesPerMM: 1e-8}

func square(x, y, side int64) geom.Ring {
	return geom.Ring{geom.Pt(x, y), geom.Pt(x+side, y), geom.Pt(x+side, y+side), geom.Pt(x, y+side)}
}

// oneLot is a 10 m square lawn with a 2 m building in it, one head and one
// trench: every layer that a design can fill has a feature.
func oneLot() *layout.Design {
	lawn := geom.Region{{square(0, 0, 10000), square(4000, 4000, 2000).Reversed()}}
	corner := geom.Pt(10000, 10000)
	return &layout.Design{
		LotID: "A-1", Plane: metrePlane, Status: layout.StatusDesigned,
		HeadKind: layout.VariableThrow,
		Heads: []layout.Head{{
			Label: "H1", At: geom.Pt(1000, 1000), Kind: layout.VariableThrow, Model: "generic variable-throw",
			Throw: layout.Feet(30), ArcSweep: 360, Pressure: layout.PSI(55), Flow: layout.GPM(4.7), Zone: 1, Pipe: "P1",
			Wetted: []geom.Vec{{X: 0, Y: 0}, {X: 0, Y: 5000}, {X: 5000, Y: 0}}, WettedArea: 12.5,
		}},
		Proof:    layout.Proof{Kind: layout.ProofDiscrete, Bound: 1, CandidateSpacing: 0.5, WitnessSpacing: 0.25},
		Coverage: 0.9712345678, CoverageTarget: 0.97,
		Throw: layout.Feet(30), Pressure: layout.PSI(55), HeadFlow: layout.GPM(4.7),
		ParcelArea: 100, Irrigated: lawn, IrrigatedArea: 96,
		Narrow: geom.Region{{square(20000, 0, 100)}}, NarrowArea: 0.01,
		Dry: geom.Region{{square(9000, 9000, 1000)}, {square(0, 9000, 1000)}}, DryArea: 2,
		Network: layout.Network{
			POCAssumed:   true,
			Runs:         []layout.TrenchRun{{From: "POC", To: "H1", Surface: layout.SurfaceSoil, Path: geom.Line{geom.Pt(4000, 4000), geom.Pt(1000, 1000)}, Length: 4.243, Depth: 10 * layout.MetresPerInch}},
			Pipes:        []layout.PipeRun{{Label: "P1", From: "POC", To: "H1", Material: "PVC", Size: "1 in", Path: geom.Line{geom.Pt(4000, 4000), geom.Pt(1000, 1000)}, Length: 4.243, Flow: layout.GPM(4.7)}},
			TrenchLength: 4.243, SpanningTreeLength: 4.243, PipeLength: 4.243,
		},
		Notes: []layout.Note{
			{Rule: "poc.assumed", Severity: layout.SeverityWarning, Text: "no source given", At: &corner},
			{Rule: "supply.headroom", Severity: layout.SeverityInfo, Text: "about the whole lot"},
		},
	}
}

func TestOneLotAsExpected(t *testing.T) {
	got := feature.Encode(oneLot(), feature.Collection)
	path := filepath.Join("testdata", "one_lot.geojson")
	if *update {
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got))
}

// rawFeature keeps the values as written, so that a test sees 3 and 3.000 apart.
type rawFeature struct {
	Type       string                     `json:"type"`
	Properties map[string]json.RawMessage `json:"properties"`
	Geometry   json.RawMessage            `json:"geometry"`
}

func lines(t *testing.T, d *layout.Design) [][]byte {
	t.Helper()
	features := feature.Features(d)
	for _, f := range features {
		require.NotContains(t, string(f), "\n")
	}
	joined := append(bytes.Join(features, []byte("\n")), '\n')
	require.Equal(t, string(joined), string(feature.Encode(d, feature.NewlineDelimited)))
	return features
}

func TestFeaturesFollowTheSchema(t *testing.T) {
	byName := map[string]feature.Layer{}
	for _, l := range feature.Schema() {
		byName[l.Name] = l
	}
	designs := []*layout.Design{oneLot(), layout.Refused("bad", "no parcel", nil), {LotID: "x", Status: layout.StatusFailed}, {LotID: "y", Status: layout.StatusDesigned, Plane: metrePlane, Heads: make([]layout.Head, 2)}}
	seen := map[string]int{}
	for _, d := range designs {
		for _, l := range lines(t, d) {
			var f rawFeature
			require.NoError(t, json.Unmarshal(l, &f))
			var name string
			require.NoError(t, json.Unmarshal(f.Properties["layer"], &name))
			seen[name]++
			layer := byName[name]
			require.Len(t, f.Properties, len(layer.Fields), "%s", l)
			at := 0
			for _, field := range layer.Fields {
				value, ok := f.Properties[field.Name]
				require.True(t, ok, "%s lacks %s", name, field.Name)
				assertType(t, field, string(value))
				next := bytes.Index(l[at:], []byte(`"`+field.Name+`":`))
				require.GreaterOrEqual(t, next, 0, "%s: %s out of order", name, field.Name)
				at += next
			}
			if string(f.Geometry) != "null" {
				assert.True(t, strings.HasPrefix(string(f.Geometry), `{"type":"`+string(layer.Geometry)+`"`), "%s", l)
			}
		}
	}
	for _, name := range []string{"lot", "head", "wetted", "dry", "narrow", "trench", "pipe", "note"} {
		assert.NotZero(t, seen[name], name)
	}
}

func assertType(t *testing.T, f feature.Field, value string) {
	t.Helper()
	if value == "null" {
		assert.NotContains(t, []string{"lot", "layer", "status"}, f.Name)
		return
	}
	switch f.Type {
	case feature.String:
		assert.True(t, strings.HasPrefix(value, `"`), "%s = %s", f.Name, value)
	case feature.Boolean:
		assert.Contains(t, []string{"true", "false"}, value, f.Name)
	case feature.Integer:
		assert.Regexp(t, `^-?[0-9]+$`, value, f.Name)
	case feature.Real:
		_, fraction, _ := strings.Cut(value, ".")
		assert.Len(t, fraction, f.Decimals, "%s = %s", f.Name, value)
	default:
		assert.Fail(t, "unknown type", "%s: %q", f.Name, f.Type)
	}
}

func TestSchema(t *testing.T) {
	var names []string
	for _, l := range feature.Schema() {
		names = append(names, l.Name)
		require.GreaterOrEqual(t, len(l.Fields), 3)
		assert.Equal(t, "lot", l.Fields[0].Name)
		assert.Equal(t, "layer", l.Fields[1].Name)
		assert.NotEmpty(t, l.Meaning)
		fields := map[string]bool{}
		for _, f := range l.Fields {
			assert.False(t, fields[f.Name], "%s.%s twice", l.Name, f.Name)
			fields[f.Name] = true
			assert.NotEmpty(t, f.Meaning, f.Name)
			assert.NotEqual(t, "id", f.Name, "GDAL takes a property id for the feature's own")
		}
		for si, us := range map[string]string{"_kpa": "_psi", "_lpm": "_gpm", "_m2": "_ft2"} {
			for name := range fields {
				if stem, ok := strings.CutSuffix(name, si); ok {
					assert.True(t, fields[stem+us], "%s.%s lacks its twin", l.Name, name)
				}
			}
		}
	}
	assert.Equal(t, []string{"lot", "head", "wetted", "dry", "narrow", "overspray", "trench", "pipe", "valve", "note"}, names)
}

func TestSchemaIsACopy(t *testing.T) {
	feature.Schema()[0].Fields[0].Name = "changed"
	assert.Equal(t, "lot", feature.Schema()[0].Fields[0].Name)
}

// Split is the inverse of Encode, and takes nothing else.
func TestSplit(t *testing.T) {
	odd := layout.Refused("a\n},\n\u2028{", "}\n]}\n", nil)
	for _, d := range []*layout.Design{oneLot(), odd} {
		got, err := feature.Split(feature.Encode(d, feature.Collection))
		require.NoError(t, err)
		assert.Equal(t, feature.Features(d), got)
	}
	var none bytes.Buffer
	require.NoError(t, feature.NewWriter(&none, feature.Collection).Close())
	got, err := feature.Split(none.Bytes())
	require.NoError(t, err)
	assert.Empty(t, got)
	for _, text := range []string{"", "{}", `{"type":"FeatureCollection","features":[]}`, string(feature.Encode(oneLot(), feature.TextSequence))} {
		_, err := feature.Split([]byte(text))
		assert.Error(t, err, text)
	}
}

func TestFormatsCarryTheSameBytes(t *testing.T) {
	d := oneLot()
	plain := string(feature.Encode(d, feature.NewlineDelimited))
	seq := string(feature.Encode(d, feature.TextSequence))
	coll := string(feature.Encode(d, feature.Collection))
	assert.Equal(t, plain, strings.ReplaceAll(seq, "\x1e", ""))
	assert.Equal(t, strings.Count(plain, "\n"), strings.Count(seq, "\x1e{"))
	inner := strings.TrimSuffix(strings.TrimPrefix(coll, `{"type":"FeatureCollection","features":[`+"\n"), "\n]}\n")
	assert.Equal(t, strings.TrimSuffix(plain, "\n"), strings.ReplaceAll(inner, ",\n", "\n"))
	assert.Equal(t, "application/geo+json", feature.Collection.MediaType())
	assert.Equal(t, "application/x-ndjson", feature.NewlineDelimited.MediaType())
	assert.Equal(t, "application/geo+json-seq", feature.TextSequence.MediaType())
}

// An outside reader takes the collection, and the rules of RFC 7946 section
// 3.1.6 hold: rings closed, four positions or more, shells counter-clockwise,
// holes clockwise.
func TestOutsideReader(t *testing.T) {
	fc, err := geojson.UnmarshalFeatureCollection(feature.Encode(oneLot(), feature.Collection))
	require.NoError(t, err)
	require.Len(t, fc.Features, 9)
	for _, f := range fc.Features {
		for _, p := range polygons(f.Geometry) {
			for i, r := range p {
				require.GreaterOrEqual(t, len(r), 4)
				assert.True(t, r.Closed())
				want := orb.CCW
				if i > 0 {
					want = orb.CW
				}
				assert.Equal(t, want, r.Orientation())
			}
		}
	}
	lawn := fc.Features[0].Geometry.(orb.MultiPolygon)
	assert.Equal(t, orb.Point{10, 50}, lawn[0][0][0])
	assert.Equal(t, orb.Point{10.00004, 50.00004}, lawn[0][1][0])
	assert.InEpsilon(t, 96e-10, planar.Area(lawn), 1e-6)
	assert.Equal(t, orb.Point{10.00001, 50.00001}, fc.Features[1].Geometry)
	assert.Equal(t, orb.LineString{{10.00004, 50.00004}, {10.00001, 50.00001}}, fc.Features[5].Geometry)
	dry := fc.Features[3].Geometry.(orb.MultiPolygon)
	require.Len(t, dry, 2)
	assert.Equal(t, orb.Point{10, 50.00009}, dry[0][0][0], "polygons are sorted")
	assert.Equal(t, orb.Point{10, 50}, fc.Features[8].Geometry, "a note without a place lies at the origin")
}

func polygons(g orb.Geometry) []orb.Polygon {
	switch g := g.(type) {
	case orb.Polygon:
		return []orb.Polygon{g}
	case orb.MultiPolygon:
		return g
	}
	return nil
}

// The check value of the geojson-rewind readme, a hundredth of its size:
// a clockwise square comes out counter-clockwise from the same corner.
func TestClockwiseOutlineIsTurned(t *testing.T) {
	d := &layout.Design{LotID: "w", Plane: evenPlane{lon: 100, degreesPerMM: 1e-5}, Heads: []layout.Head{{
		Wetted: []geom.Vec{{X: 0, Y: 0}, {X: 0, Y: 1000}, {X: 1000, Y: 1000}, {X: 1000, Y: 0}},
	}}}
	got := string(lines(t, d)[2])
	assert.Contains(t, got, `"coordinates":[[[100.00000000,0.00000000],[100.01000000,0.00000000],[100.01000000,0.01000000],[100.00000000,0.01000000],[100.00000000,0.00000000]]]`)
}

// Where a ring cannot be written in one piece (RFC 7946 section 3.1.9 would
// have it split) nothing is drawn, rather than a band round the globe.
func TestAcrossThe180thMeridian(t *testing.T) {
	d := oneLot()
	d.Notes = nil
	d.Plane = wrappingPlane{evenPlane{lon: 179.99999, lat: -16.5, degreesPerMM: 1e-8}}
	for _, l := range lines(t, d) {
		assert.NotContains(t, string(l), `[-179.9`, "%s", l)
	}
	assert.Contains(t, string(lines(t, d)[0]), `"geometry":null`)
}

type wrappingPlane struct{ evenPlane }

func (p wrappingPlane) LonLat(x, y float64) (float64, float64) {
	lon, lat := p.evenPlane.LonLat(x, y)
	if lon > 180 {
		lon -= 360
	}
	return lon, lat
}

func TestSouthWestPositions(t *testing.T) {
	at := geom.Pt(-1, 1)
	d := &layout.Design{Plane: evenPlane{degreesPerMM: 1e-8}, Notes: []layout.Note{{At: &at}}}
	assert.Contains(t, string(lines(t, d)[1]), `[-0.00000001,0.00000001]`)
}

func TestCollapsedShapesAreNull(t *testing.T) {
	d := oneLot()
	d.Plane = evenPlane{degreesPerMM: 1e-13}
	for _, l := range lines(t, d) {
		var f rawFeature
		require.NoError(t, json.Unmarshal(l, &f))
		if !bytes.Contains(f.Geometry, []byte(`"Point"`)) {
			assert.Equal(t, "null", string(f.Geometry), "%s", l)
		}
	}
}

func TestRefusedLot(t *testing.T) {
	d := layout.Refused("7", "two parcels", []layout.Note{{Rule: "parcel.two", Severity: layout.SeverityError, Text: "two parcels"}})
	got := lines(t, d)
	require.Len(t, got, 2)
	assert.Contains(t, string(got[0]), `"status":"invalid","reason":"two parcels","head_kind":null,"heads":null,"heads_fixed":null,"heads_bound":null,"proof":"none"`)
	assert.Contains(t, string(got[0]), `"geometry":null`)
	assert.Contains(t, string(got[1]), `"geometry":null`)
}

func TestEmptyAndEarlyClose(t *testing.T) {
	for format, want := range map[feature.Format]string{
		feature.Collection:       "{\"type\":\"FeatureCollection\",\"features\":[\n]}\n",
		feature.NewlineDelimited: "",
		feature.TextSequence:     "",
	} {
		var buf bytes.Buffer
		w := feature.NewWriter(&buf, format)
		assert.Zero(t, buf.Len())
		require.NoError(t, w.Close())
		require.NoError(t, w.Close())
		assert.Equal(t, want, buf.String())
		assert.ErrorIs(t, w.Write(oneLot()), feature.ErrClosed)
		assert.Equal(t, want, buf.String())
	}
}

func TestManyLotsMakeOneCollection(t *testing.T) {
	var buf bytes.Buffer
	w := feature.NewWriter(&buf, feature.Collection)
	for range 3 {
		require.NoError(t, w.Write(oneLot()))
	}
	require.NoError(t, w.Close())
	fc, err := geojson.UnmarshalFeatureCollection(buf.Bytes())
	require.NoError(t, err)
	assert.Len(t, fc.Features, 27)
}

type failingWriter struct{ after int }

func (w *failingWriter) Write(p []byte) (int, error) {
	if w.after--; w.after < 0 {
		return 0, io.ErrShortWrite
	}
	return len(p), nil
}

func TestWriteErrorsStick(t *testing.T) {
	w := feature.NewWriter(&failingWriter{after: 1}, feature.Collection)
	require.NoError(t, w.Write(oneLot()))
	assert.ErrorIs(t, w.Write(oneLot()), io.ErrShortWrite)
	assert.ErrorIs(t, w.Write(oneLot()), io.ErrShortWrite)
	assert.True(t, errors.Is(w.Close(), io.ErrShortWrite))
}

func TestNumbersAndStrings(t *testing.T) {
	d := oneLot()
	d.LotID = "a\"\\\x1e\n\xff<\u2028é"
	d.Heads[0].ArcStart = math.NaN()
	d.Heads[0].ArcSweep = math.Inf(1)
	d.Heads[0].Throw = -0.0001
	d.Coverage = 0.97
	got := string(feature.Encode(d, feature.TextSequence))
	assert.Equal(t, strings.Count(got, "\n"), strings.Count(got, "\x1e"), "no separator inside a feature")
	assert.Contains(t, got, `"lot":"a\"\\\u001e\n\ufffd<\u2028é"`)
	assert.Contains(t, got, `"throw_m":0.000,"throw_ft":0.000,"arc_start_deg":null,"arc_sweep_deg":null`)
	assert.Contains(t, got, `"coverage":0.970000`)
	assert.Contains(t, got, `"pressure_kpa":379.21,"pressure_psi":55.00,"flow_lpm":17.791,"flow_gpm":4.700`)
}

// Rings may start anywhere and polygons come in any order: the bytes are the same.
func TestCanonicalOrder(t *testing.T) {
	want := feature.Encode(oneLot(), feature.Collection)
	for turn := range 4 {
		d := oneLot()
		slices.Reverse(d.Dry)
		for i, r := range d.Irrigated[0] {
			d.Irrigated[0][i] = append(slices.Clone(r[turn:]), r[:turn]...)
		}
		w := d.Heads[0].Wetted
		d.Heads[0].Wetted = append(slices.Clone(w[turn%3:]), w[:turn%3]...)
		assert.Equal(t, string(want), string(feature.Encode(d, feature.Collection)))
	}
}

// However thin the pieces of a region, what is written is valid by the OGC
// rules as an outside library checks them, and its area is right to what
// rounding every edge by a grid step can change.
func TestRoundingKeepsRegionsValid(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	plane := evenPlane{lon: -93.2, lat: 44.9, degreesPerMM: 0.9e-8}
	written := 0
	for range 400 {
		region := geom.Normalize([]geom.Ring{scribble(rng), scribble(rng)})
		d := &layout.Design{Plane: plane, Dry: region, Heads: []layout.Head{{Wetted: star(rng)}}}
		for _, l := range lines(t, d) {
			var f rawFeature
			require.NoError(t, json.Unmarshal(l, &f))
			if string(f.Geometry) == "null" {
				continue
			}
			g, err := sf.UnmarshalGeoJSON(f.Geometry)
			require.NoError(t, err, "%s", f.Geometry)
			if string(f.Properties["layer"]) == `"dry"` {
				written++
				unit := 0.9e-8 * 1000
				slack := perimeter(region) * 0.002
				assert.InDelta(t, region.AreaM2(), g.Area()/(unit*unit), slack+1e-6)
			}
		}
	}
	assert.Greater(t, written, 350)
}

func perimeter(g geom.Region) float64 {
	sum := 0.0
	for s := range g.Edges() {
		sum += s.LengthMM() / geom.MillimetresPerMetre
	}
	return sum
}

// scribble crosses itself and has slivers a few millimetres wide.
func scribble(rng *rand.Rand) geom.Ring {
	r := make(geom.Ring, 12)
	for i := range r {
		r[i] = geom.Pt(rng.Int64N(2000), rng.Int64N(60))
	}
	return r
}

func star(rng *rand.Rand) []geom.Vec {
	out := make([]geom.Vec, 90)
	for i := range out {
		a, r := float64(i)*4*math.Pi/180, rng.Float64()*50
		out[i] = geom.Vec{X: r * math.Cos(a), Y: r * math.Sin(a)}
	}
	return out
}

func BenchmarkEncode(b *testing.B) {
	for _, heads := range []int{1, 15, 60} {
		d := oneLot()
		circle := make([]geom.Vec, 100) // as many corners as a 9 m throw drawn to 5 mm has
		for i := range circle {
			a := 2 * math.Pi * float64(i) / float64(len(circle))
			circle[i] = geom.Vec{X: 9144 * math.Cos(a), Y: 9144 * math.Sin(a)}
		}
		d.Heads[0].Wetted = circle
		for len(d.Heads) < heads {
			d.Heads = append(d.Heads, d.Heads[0])
		}
		b.Run(fmt.Sprintf("heads=%d", heads), func(b *testing.B) {
			for b.Loop() {
				feature.Encode(d, feature.NewlineDelimited)
			}
		})
	}
}
