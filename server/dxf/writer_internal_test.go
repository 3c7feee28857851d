package dxf

import (
	"bytes"
	"encoding/json"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/feature"
)

// oneLot is the features of a design, each layer but valve and overspray, as
// package feature's own tests keep them.
func oneLot(t testing.TB) (features [][]byte) {
	text, err := os.ReadFile("../../layout/feature/testdata/one_lot.geojson")
	require.NoError(t, err)
	var c struct{ Features []json.RawMessage }
	require.NoError(t, json.Unmarshal(text, &c))
	for _, f := range c.Features {
		features = append(features, f)
	}
	require.Len(t, features, 9)
	return features
}

func drawn(t testing.TB, designs ...[][]byte) string {
	var out bytes.Buffer
	w := NewWriter(&out)
	for _, d := range designs {
		require.NoError(t, w.Write(d))
	}
	require.NoError(t, w.Close())
	return out.String()
}

// group is a code and a value.
type group struct {
	code  int
	value string
}

// groups reads a drawing: lines in pairs, the first of each a number.
func groups(t *testing.T, text string) (out []group) {
	lines := strings.Split(strings.TrimSuffix(text, "\r\n"), "\r\n")
	require.Zero(t, len(lines)%2)
	for i := 0; i < len(lines); i += 2 {
		code, err := strconv.Atoi(strings.TrimSpace(lines[i]))
		require.NoError(t, err)
		out = append(out, group{code, lines[i+1]})
	}
	return out
}

// entity is a kind with the groups that follow it.
type entity struct {
	kind   string
	groups []group
}

func (e entity) get(code int) string {
	i := slices.IndexFunc(e.groups, func(g group) bool { return g.code == code })
	if i < 0 {
		return ""
	}
	return e.groups[i].value
}

// entities splits a drawing at its zeros.
func entities(t *testing.T, text string) (out []entity) {
	for _, g := range groups(t, text) {
		if g.code == 0 {
			out = append(out, entity{kind: g.value})
			continue
		}
		if len(out) > 0 {
			out[len(out)-1].groups = append(out[len(out)-1].groups, g)
		}
	}
	return out
}

func kinds(all []entity, kind string) (out []entity) {
	for _, e := range all {
		if e.kind == kind {
			out = append(out, e)
		}
	}
	return out
}

func TestDrawing(t *testing.T) {
	text := drawn(t, oneLot(t))
	assert.Equal(t, group{999, "Sprinkler designs. Plane in metres: +proj=tmerc +lat_0=50.000 +lon_0=10.000 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m"}, groups(t, text)[0])
	all := entities(t, text)
	assert.Equal(t, "EOF", all[len(all)-1].kind)

	var layers []string
	for _, l := range kinds(all, "LAYER") {
		layers = append(layers, l.get(2))
	}
	want := []string{"0"}
	for _, l := range feature.Schema() {
		want = append(want, l.Name)
	}
	assert.Equal(t, want, layers)

	// Rings: lot and dry 2, wetted and narrow 1 each; lines: trench and pipe.
	assert.Len(t, kinds(all, "POLYLINE"), 8)
	assert.Len(t, kinds(all, "SEQEND"), 8)
	points := kinds(all, "POINT")
	require.Len(t, points, 3)
	assert.Equal(t, "head", points[0].get(8))
	assert.Equal(t, "lot=A-1", points[0].get(1000))
	// 1e-5° of longitude and latitude at 50°: 71,695.7 and 111,229.0 m a degree
	// (WGS 84, closed formulas of the radii of curvature).
	assert.Equal(t, "0.7170", points[0].get(10))
	assert.Equal(t, "1.1123", points[0].get(20))

	var labels []string
	for _, l := range kinds(all, "TEXT") {
		labels = append(labels, l.get(1))
	}
	assert.Equal(t, []string{"A-1", "H1", "poc.assumed", "supply.headroom"}, labels)
}

// The sections and tables that are opened are closed, and no entity names a
// layer or line type that has no entry.
func TestSound(t *testing.T) {
	paved := bytes.Replace(oneLot(t)[5], []byte(`"surface":"soil"`), []byte(`"surface":"paving"`), 1)
	all := entities(t, drawn(t, oneLot(t), [][]byte{paved}))
	assert.Len(t, kinds(all, "SECTION"), len(kinds(all, "ENDSEC")))
	assert.Len(t, kinds(all, "TABLE"), len(kinds(all, "ENDTAB")))
	known := map[string]bool{}
	for _, e := range all {
		switch e.kind {
		case "LAYER", "LTYPE":
			known[e.get(2)] = true
		case "POINT", "POLYLINE", "VERTEX", "SEQEND", "TEXT":
			assert.True(t, known[e.get(8)], "%v", e)
			assert.True(t, e.get(6) == "" || known[e.get(6)], "%v", e)
		}
	}
	lines := kinds(all, "POLYLINE")
	assert.Equal(t, dashed, lines[len(lines)-1].get(6))
}

func TestSameBytes(t *testing.T) {
	assert.Equal(t, drawn(t, oneLot(t), oneLot(t)), drawn(t, append(oneLot(t), oneLot(t)...)))
}

// Nothing to draw is a drawing too, and a lot without a place is left out.
func TestEmpty(t *testing.T) {
	bare := [][]byte{[]byte(`{"properties":{"lot":"x","layer":"lot"},"geometry":null}`)}
	assert.Equal(t, drawn(t), drawn(t, bare))
	assert.Empty(t, kinds(entities(t, drawn(t, bare)), "POLYLINE"))
	var out bytes.Buffer
	w := NewWriter(&out)
	require.NoError(t, w.Close())
	require.NoError(t, w.Close())
	assert.ErrorIs(t, w.Write(oneLot(t)), ErrClosed)
}

func TestFaults(t *testing.T) {
	trench := string(oneLot(t)[5])
	for name, text := range map[string]string{
		"no JSON":        "{",
		"unknown layer":  strings.Replace(trench, `"layer":"trench"`, `"layer":"ditch"`, 1),
		"other geometry": strings.Replace(trench, "LineString", "MultiPoint", 1),
	} {
		w := NewWriter(&bytes.Buffer{})
		first := w.Write([][]byte{[]byte(text)})
		require.Error(t, first, name)
		assert.Equal(t, first, w.Write(oneLot(t)))
		assert.Equal(t, first, w.Close())
	}
}

func TestASCII(t *testing.T) {
	for in, want := range map[string]string{
		"A-001": "A-001", "é": `\U+00E9`, "a\nb\x00c\x7f": "a b c ", "🌱": "?",
		strings.Repeat("x", 300):                strings.Repeat("x", 255),
		strings.Repeat("x", 250) + "é" + "more": strings.Repeat("x", 250),
	} {
		assert.Equal(t, want, ascii(in))
	}
}

func TestEveryLayerHasAStyle(t *testing.T) {
	for _, l := range feature.Schema() {
		s, ok := styles[l.Name]
		assert.True(t, ok && s.lineType != "" && s.color > 0, l.Name)
		assert.Equal(t, s.label != "", s.height > 0)
	}
}
