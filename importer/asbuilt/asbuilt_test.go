package asbuilt_test

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/asbuilt"
	"lotwright/importer/geojson"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/feature"
	"lotwright/layout/geom"
)

var plane = project.NewPlane(importer.Position{-30, 40})

func m(x, y float64) geom.Point { return geom.Vec{X: x * 1000, Y: y * 1000}.Round() }

func rect(x0, y0, x1, y1 float64) geom.Region {
	return geom.Region{{{m(x0, y0), m(x1, y0), m(x1, y1), m(x0, y1)}}}
}

// lot is a lawn of 26 m by 20 m round a house, tapped at its wall.
func lot() *layout.Lot {
	tap := m(0, -4.1)
	return &layout.Lot{ID: "K1", Plane: plane, Parcel: rect(-13, -10, 13, 10), Building: rect(-5, -4, 5, 4), Source: &tap}
}

func settings() design.Settings {
	p := layout.PSI(62)
	return design.Settings{Effort: design.Effort{Boxes: -1},
		Supply: layout.Supply{StaticPressure: &p, FlowTest: &layout.FlowTest{Flow: layout.GPM(10), Pressure: layout.PSI(54)}}}
}

func designed(t *testing.T) *layout.Design {
	t.Helper()
	d, err := design.Run(context.Background(), lot(), settings())
	require.NoError(t, err)
	require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
	require.Greater(t, len(d.Heads), 2)
	return d
}

func read(t *testing.T, text []byte, d *layout.Design) (layout.AsBuilt, []importer.Finding) {
	t.Helper()
	return readAs(t, geojson.Collection, text, d)
}

func readAs(t *testing.T, f geojson.Format, text []byte, d *layout.Design) (layout.AsBuilt, []importer.Finding) {
	t.Helper()
	lots, err := asbuilt.Read(context.Background(), geojson.Source{Name: "built", Reader: bytes.NewReader(text), Format: f}, importer.Limits{})
	require.NoError(t, err)
	require.Len(t, lots, 1)
	assert.Equal(t, "K1", lots[0].ID)
	return lots[0].AsBuilt(plane, d)
}

// TestOwnOutputIsAsDesigned reads a design's own map back: nothing differs.
func TestOwnOutputIsAsDesigned(t *testing.T) {
	d := designed(t)
	for f, as := range map[feature.Format]geojson.Format{feature.Collection: geojson.Collection,
		feature.NewlineDelimited: geojson.Sequence, feature.TextSequence: geojson.Sequence} {
		built, findings := readAs(t, as, feature.Encode(d, f), d)
		assert.Empty(t, findings)
		assert.Empty(t, built.Pipes)
		require.Len(t, built.Heads, len(d.Heads))
		for i, h := range d.Heads {
			assert.Equal(t, layout.BuiltHead{Label: h.Label, At: h.At}, built.Heads[i])
		}
	}
}

// TestMovedByTwoMetres goes the whole way: a design is written, the place of one
// head is edited in the text, and what was built is read and audited.
func TestMovedByTwoMetres(t *testing.T) {
	d := designed(t)
	h := d.Heads[0]
	to := h.At.Add(geom.Pt(2000, 0))
	if d.Irrigated.Locate(to) != geom.Interior {
		to = h.At.Add(geom.Pt(-2000, 0))
	}
	lines := strings.SplitAfter(string(feature.Encode(d, feature.Collection)), "\n")
	for i, line := range lines {
		if strings.Contains(line, `"layer":"head","head":"H1"`) {
			p := plane.Place(to)
			at := strings.Index(line, `"coordinates":`)
			lines[i] = line[:at] + fmt.Sprintf(`"coordinates":[%.7f,%.7f]}},`, p[0], p[1]) + "\n"
		}
	}
	built, findings := read(t, []byte(strings.Join(lines, "")), d)
	require.Empty(t, findings)
	assert.True(t, built.Heads[0].At.Within(to, asbuilt.SnapMM))
	now, diff, err := design.Audit(context.Background(), lot(), d, built, settings())
	require.NoError(t, err)
	require.Len(t, diff.Moved, 1)
	assert.InDelta(t, 2, diff.Moved[0].By.Metres(), 0.011)
	assert.Positive(t, diff.NewlyDryArea)
	assert.Less(t, now.Coverage, d.Coverage)
	assert.NotEmpty(t, now.Dry)
}

func head(properties string) string {
	return `{"type":"Feature","properties":{"lot":"K1","layer":"head",` + properties + `},"geometry":{"type":"Point","coordinates":[-30,40.00002]}}`
}

func collection(features ...string) []byte {
	return []byte(`{"type":"FeatureCollection","features":[` + strings.Join(features, ",") + `]}`)
}

func plain() *layout.Design {
	return &layout.Design{Heads: []layout.Head{{Label: "H1", At: m(0, 2.22), Throw: layout.Feet(30), ArcStart: 90, ArcSweep: 180, Model: "x"}},
		Network: layout.Network{Pipes: []layout.PipeRun{{Label: "P1", Material: "PVC Sch 40", Size: "1 in", Path: geom.Line{m(0, 0), m(0, 2)}}}}}
}

// TestThrowsAndArcs edits one of the two throws, or both alike, or against each
// other.
func TestThrowsAndArcs(t *testing.T) {
	for name, c := range map[string]struct {
		properties string
		throwM     float64 // 0: as designed
		fault      bool
	}{
		"as written":    {`"throw_m":9.144,"throw_ft":30.000`, 0, false},
		"metres edited": {`"throw_m":8.5,"throw_ft":30.000`, 8.5, false},
		"feet edited":   {`"throw_m":9.144,"throw_ft":28`, 28 * 0.3048, false},
		"both alike":    {`"throw_m":8.534,"throw_ft":28`, 8.534, false},
		"contradictory": {`"throw_m":8,"throw_ft":28`, 0, true},
		"one cleared":   {`"throw_m":null,"throw_ft":28`, 28 * 0.3048, false},
		"none":          {`"fixed":false`, 0, false},
		"not a number":  {`"throw_m":"far"`, 0, true},
	} {
		built, findings := read(t, collection(head(`"head":"H1","arc_start_deg":90.0,"arc_sweep_deg":175,"model":"y",`+c.properties)), plain())
		_, bad := importer.FirstError(findings)
		require.Equal(t, c.fault, bad, name)
		if bad {
			continue
		}
		b := built.Heads[0]
		if c.throwM == 0 {
			assert.Nil(t, b.Throw, name)
		} else {
			require.NotNil(t, b.Throw, name)
			assert.InDelta(t, c.throwM, b.Throw.Metres(), 1e-9, name)
		}
		assert.Nil(t, b.ArcStart)
		assert.Equal(t, 175.0, *b.ArcSweep)
		assert.Equal(t, "y", b.Model)
	}
}

func TestAddedHeadAndPipe(t *testing.T) {
	pipe := `{"type":"Feature","properties":{"lot":"K1","layer":"pipe","pipe":"P1","material":"PE, controlled bore","size":"3/4 in"},"geometry":{"type":"LineString","coordinates":[[-30,40],[-30.00001,40.00001],[-30,40.000018]]}}`
	other := `{"type":"Feature","properties":{"lot":"K1","layer":"wetted"},"geometry":{"type":"Polygon","coordinates":"broken"}}`
	built, findings := read(t, collection(head(`"throw_m":7,"arc_start_deg":0`), pipe, other), plain())
	require.Empty(t, findings)
	require.Len(t, built.Heads, 1)
	assert.Empty(t, built.Heads[0].Label)
	assert.Equal(t, layout.Length(7), *built.Heads[0].Throw)
	assert.Equal(t, 0.0, *built.Heads[0].ArcStart)
	require.Len(t, built.Pipes, 1)
	assert.Equal(t, "3/4 in", built.Pipes[0].Size)
	assert.Equal(t, "PE, controlled bore", built.Pipes[0].Material)
	assert.Len(t, built.Pipes[0].Path, 3)
}

func TestFindings(t *testing.T) {
	line := `{"type":"Feature","properties":{"lot":"K1","layer":"head","head":"H1"},"geometry":{"type":"LineString","coordinates":[[-30,40],[-30,40.00001]]}}`
	far := strings.ReplaceAll(head(`"head":"H1"`), "40.00002", "41")
	stray := `{"type":"Feature","properties":{"lot":"K1","layer":"pipe","pipe":"P9"},"geometry":{"type":"LineString","coordinates":[[-30,40],[-30,40.00001]]}}`
	for rule, text := range map[string]string{
		"asbuilt.geometry": line, "asbuilt.far": far, "asbuilt.pipe_unknown": stray,
		"asbuilt.no_heads": strings.ReplaceAll(stray, "P9", "P1"), "geometry.type": strings.ReplaceAll(line, "LineString", "Curve"),
	} {
		_, findings := read(t, collection(text), plain())
		require.NotEmpty(t, findings, rule)
		assert.Equal(t, rule, findings[0].Rule)
		assert.Equal(t, "K1", findings[0].Lot)
		assert.Equal(t, layout.SeverityError, findings[0].Severity)
	}
}

func TestRefused(t *testing.T) {
	for rule, text := range map[string]string{
		"asbuilt.empty":   string(collection()),
		"crs.unsupported": strings.Replace(string(collection(head(`"head":"H1"`))), `"features"`, `"crs":{"type":"name","properties":{"name":"EPSG:1"}},"features"`, 1),
		"json.empty":      "",
	} {
		_, err := asbuilt.Read(context.Background(), geojson.Source{Name: "built", Reader: strings.NewReader(text)}, importer.Limits{})
		var refusal *importer.Refusal
		require.ErrorAs(t, err, &refusal, rule)
		assert.Equal(t, rule, refusal.Finding.Rule)
		assert.Equal(t, "built", refusal.Finding.File)
	}
}

// TestProjected reads the same head in a projected system.
func TestProjected(t *testing.T) {
	text := strings.Replace(string(collection(head(`"head":"H1"`))), `"features"`, `"crs":{"type":"name","properties":{"name":"EPSG:32626"}},"features"`, 1)
	utm := project.NewTransverseMercator(project.WGS84, -27, 0.9996)
	utm.FalseEasting = 500_000
	x, y := utm.Forward(-30, 40.00002)
	text = strings.Replace(text, "[-30,40.00002]", fmt.Sprintf("[%.4f,%.4f]", x, y), 1)
	built, findings := read(t, []byte(text), plain())
	require.Empty(t, findings)
	assert.True(t, built.Heads[0].At.Within(plane.Point(importer.Position{-30, 40.00002}), asbuilt.SnapMM), built.Heads[0].At)
}

// Any text gives what was built or findings, never a panic.
func FuzzRead(f *testing.F) {
	f.Add(collection(head(`"head":"H1","throw_m":9,"throw_ft":"x"`)))
	f.Add(collection(head(`"head":5,"arc_start_deg":1e300`)))
	f.Add([]byte(`{"type":"Feature","properties":{"lot":"K1","layer":"pipe","pipe":"P1"},"geometry":{"type":"MultiLineString","coordinates":[[[-30,40]]]}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		lots, err := asbuilt.Read(context.Background(), geojson.Source{Name: "fuzz", Reader: bytes.NewReader(text)}, importer.Limits{Body: 1 << 20})
		if err != nil {
			return
		}
		for _, l := range lots {
			l.AsBuilt(plane, plain())
		}
	})
}
