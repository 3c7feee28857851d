package geojson_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/geojson"
	"lotwright/layout"
)

const point = `{"type":"Feature","id":7,"properties":{"lot":"L-%d","layer":"source","flow_gpm":5.5,"other":[1,{"a":2}]},"geometry":{"type":"Point","coordinates":[%d.5,40,12]}}`

func points(n int) []string {
	var out []string
	for i := range n {
		out = append(out, fmt.Sprintf(point, i, i))
	}
	return out
}

func collection(features ...string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(features, ",") + `]}`
}

func open(text string, src geojson.Source) (*geojson.Document, error) {
	if src.Path == "" {
		src.Reader = strings.NewReader(text)
	}
	return geojson.Open(context.Background(), src, importer.Limits{})
}

func rule(t *testing.T, err error) string {
	if err == nil {
		return ""
	}
	var refusal *importer.Refusal
	require.ErrorAs(t, err, &refusal)
	return refusal.Finding.Rule
}

func zipped(text string) string {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = io.WriteString(z, text)
	_ = z.Close()
	return b.String()
}

// checkPoints checks that all of n points come back, in any order and from
// several goroutines.
func checkPoints(t *testing.T, d *geojson.Document, n int) {
	require.Equal(t, n, d.Len())
	var wg sync.WaitGroup
	for i := n - 1; i >= 0; i-- {
		wg.Go(func() {
			f := d.Feature(i)
			assert.Empty(t, f.Findings)
			assert.Equal(t, i, f.Index)
			assert.Equal(t, fmt.Sprintf("L-%d", i), f.Lot)
			assert.Equal(t, layout.LayerSource, f.Layer)
			assert.Equal(t, "7", f.ID)
			assert.Equal(t, []importer.Quantity{{Name: "flow_gpm", Value: 5.5}}, f.Properties.Quantities)
			assert.Equal(t, importer.Geometry{Type: importer.Point, Parts: [][][]importer.Position{{{{float64(i) + 0.5, 40}}}}}, f.Geometry)
		})
	}
	wg.Wait()
}

// Every form of the same features gives the same features.
func TestForms(t *testing.T) {
	const n = 20
	ps := points(n)
	pretty := strings.ReplaceAll(collection(ps...), ",", " ,\r\n\t")
	forms := map[string]struct {
		text   string
		name   string
		format geojson.Format
	}{
		"collection":             {text: collection(ps...), name: "a.geojson"},
		"collection, any name":   {text: collection(ps...), name: "a.json"},
		"white space":            {text: pretty, name: "a.geojson"},
		"byte order mark":        {text: "\ufeff" + collection(ps...), name: "a.geojson"},
		"gzip":                   {text: zipped(collection(ps...)), name: "a.geojson"},
		"gzip, named so":         {text: zipped(collection(ps...)), name: "a.geojson.gz"},
		"gzip, byte order mark":  {text: zipped("\ufeff" + collection(ps...)), name: "a.geojson"},
		"members after features": {text: collection(ps...)[:len(collection(ps...))-1] + `,"name":"x","crs":null}`, name: "a.geojson"},
		"RFC 8142":               {text: "\x1e" + strings.Join(ps, "\n\x1e") + "\n", name: "a.geojsons"},
		"RFC 8142, other name":   {text: "\x1e" + strings.Join(ps, "\n\x1e") + "\n", name: "a.geojson"},
		"lines":                  {text: strings.Join(ps, "\n"), name: "a.geojsonl"},
		"lines, zipped":          {text: zipped(strings.Join(ps, "\n")), name: "a.NDJSON.gz"},
		"lines, blank between":   {text: strings.Join(ps, "\r\n\r\n"), name: "a.jsonl"},
		"lines, by format":       {text: strings.Join(ps, "\n"), name: "a.txt", format: geojson.Sequence},
	}
	for name, form := range forms {
		t.Run(name, func(t *testing.T) {
			d, err := open(form.text, geojson.Source{Name: form.name, Format: form.format})
			require.NoError(t, err)
			defer d.Close()
			checkPoints(t, d, n)
		})
		t.Run(name+", from a file", func(t *testing.T) {
			path := filepath.Join(t.TempDir(), form.name)
			require.NoError(t, os.WriteFile(path, []byte(form.text), 0o600))
			d, err := open("", geojson.Source{Path: path, Format: form.format})
			require.NoError(t, err)
			defer d.Close()
			checkPoints(t, d, n)
		})
	}
}

// More than a spool keeps in memory goes through a temporary file.
func TestSpoolOverflow(t *testing.T) {
	const n = 10_000
	text := collection(points(n)...)
	require.Greater(t, len(text), 1<<20)
	d, err := geojson.Open(context.Background(), geojson.Source{Name: "x", Reader: iotest.HalfReader(strings.NewReader(text))}, importer.Limits{})
	require.NoError(t, err)
	defer d.Close()
	checkPoints(t, d, n)
}

func TestRefusals(t *testing.T) {
	p := points(2)
	for name, c := range map[string]struct {
		text, file, rule string
	}{
		"empty":                    {"", "a.geojson", "json.empty"},
		"blank":                    {" \n ", "a.geojson", "json.empty"},
		"only a byte order mark":   {"\ufeff", "a.geojson", "json.empty"},
		"empty gzip":               {zipped(""), "a.geojson", "json.empty"},
		"two on one line":          {p[0] + " " + p[1], "a.geojsonl", "json.syntax"},
		"lines as a collection":    {p[0] + "\n" + p[1], "a.geojson", "json.trailing"},
		"gzip in gzip":             {zipped(zipped(collection(p...))), "a.geojson", "encoding.nested"},
		"zip in gzip":              {zipped("PK\x03\x04"), "a.geojson", "format.unsupported"},
		"gzip cut short":           {zipped(collection(p...))[:60], "a.geojson", "body.truncated"},
		"gzip head only":           {zipped(collection(p...))[:3], "a.geojson", "body.truncated"},
		"gzip damaged":             {strings.Replace(zipped(collection(p...)), zipped(collection(p...))[20:24], "\xff\xff\xff\xff", 1), "a.geojson", "body.corrupt"},
		"features twice":           {`{"type":"FeatureCollection","features":[],"features":[]}`, "a.geojson", "json.duplicate_key"},
		"lot twice":                {collection(strings.Replace(p[0], `"layer"`, `"lot":"x","layer"`, 1)), "a.geojson", "json.duplicate_key"},
		"unread member twice":      {collection(strings.Replace(p[0], `"layer"`, `"q":1,"q":2,"layer"`, 1)), "a.geojson", "json.duplicate_key"},
		"crs unknown shape":        {`{"type":"FeatureCollection","crs":5,"features":[]}`, "a.geojson", "crs.unsupported"},
		"crs link":                 {`{"type":"FeatureCollection","crs":{"type":"link","properties":{"href":"x"}},"features":[]}`, "a.geojson", "crs.unsupported"},
		"no properties":            {collection(`{"type":"Feature","geometry":null}`), "a.geojson", "feature.unattributed"},
		"properties null":          {collection(`{"type":"Feature","properties":null,"geometry":null}`), "a.geojson", "feature.unattributed"},
		"no lot":                   {collection(`{"type":"Feature","properties":{"layer":"parcel"},"geometry":null}`), "a.geojson", "feature.unattributed"},
		"lot in another case":      {collection(`{"type":"Feature","properties":{"Lot":"a","layer":"parcel"},"geometry":null}`), "a.geojson", "feature.unattributed"},
		"lot null":                 {collection(`{"type":"Feature","properties":{"lot":null,"layer":"parcel"},"geometry":null}`), "a.geojson", "feature.unattributed"},
		"lot number":               {collection(`{"type":"Feature","properties":{"lot":3,"layer":"parcel"},"geometry":null}`), "a.geojson", "lot.id_type"},
		"feature is a string":      {collection(`"x"`), "a.geojson", "feature.unattributed"},
		"collection in a sequence": {collection(p...), "a.geojsonl", "feature.unattributed"},
		"lone surrogate in an id":  {collection(strings.Replace(p[0], "L-0", `\ud800`, 1)), "a.geojson", "encoding.lone_surrogate"},
	} {
		t.Run(name, func(t *testing.T) {
			d, err := open(c.text, geojson.Source{Name: c.file})
			require.Error(t, err)
			assert.Nil(t, d)
			assert.Equal(t, c.rule, rule(t, err), err.Error())
			var refusal *importer.Refusal
			require.ErrorAs(t, err, &refusal)
			assert.Equal(t, c.file, refusal.Finding.File)
			assert.Equal(t, importer.ScopeRequest, refusal.Finding.Scope)
		})
	}
}

func TestMembersLimit(t *testing.T) {
	feature := func(n int) string {
		var props []string
		for i := range n - 2 {
			props = append(props, fmt.Sprintf(`"p%d":%d`, i, i))
		}
		return collection(`{"type":"Feature","properties":{"lot":"a","layer":"tree",` + strings.Join(props, ",") + `},"geometry":null}`)
	}
	_, err := open(feature(256), geojson.Source{Name: "a"})
	assert.NoError(t, err)
	_, err = open(feature(257), geojson.Source{Name: "a"})
	assert.Equal(t, "property.too_many", rule(t, err))
}

// Faults of one feature are among its findings, and only there.
func TestFeatureFaults(t *testing.T) {
	geometry := func(g string) string {
		return `{"type":"Feature","properties":{"lot":"a","layer":"wall"},"geometry":` + g + `}`
	}
	for text, want := range map[string]string{
		geometry(`{"type":"Point","coordinates":[1,2]}`):   "",
		geometry(`{"coordinates":[1,2],"type":"Point"}`):   "",
		geometry(`{"type":"Point","coordinates":[1,2,3]}`): "",
		geometry(`null`): "",
		geometry(`{"type":"Point","coordinates":[1,2,3,4]}`):                            "coords.extra_dims",
		geometry(`{"type":"Point","coordinates":[]}`):                                   "coords.position",
		geometry(`{"type":"Point","coordinates":[1]}`):                                  "coords.position",
		geometry(`{"type":"Point","coordinates":["1",2]}`):                              "coords.not_number",
		geometry(`{"type":"Point","coordinates":[null,2]}`):                             "coords.not_number",
		geometry(`{"type":"Point","coordinates":[[1,2]]}`):                              "geometry.coordinates",
		geometry(`{"type":"Point","coordinates":{}}`):                                   "geometry.coordinates",
		geometry(`{"type":"Point"}`):                                                    "geometry.coordinates",
		geometry(`{"type":"LineString","coordinates":[1,2]}`):                           "geometry.coordinates",
		geometry(`{"type":"MultiPoint","coordinates":[[1,2],[3,4]]}`):                   "",
		geometry(`{"type":"MultiLineString","coordinates":[[[1,2],[3,4]]]}`):            "",
		geometry(`{"type":"MultiLineString","coordinates":[[1,2],[3,4]]}`):              "geometry.coordinates",
		geometry(`{"type":"MultiPolygon","coordinates":[[[[1,2],[3,4],[5,6],[1,2]]]]}`): "",
		geometry(`{"type":"MultiPolygon","coordinates":[[[1,2],[3,4],[5,6],[1,2]]]}`):   "geometry.coordinates",
		geometry(`{"type":"Polygon","coordinates":[[[1,2],[3,4],[5,6],[1,2]],7]}`):      "geometry.coordinates",
		geometry(`{"type":"GeometryCollection","geometries":[]}`):                       "geometry.type",
		geometry(`{"type":"point","coordinates":[1,2]}`):                                "geometry.type",
		geometry(`{"coordinates":[1,2]}`):                                               "geometry.type",
		geometry(`"Point"`):                                                             "geometry.type",
		`{"type":"feature","properties":{"lot":"a"},"geometry":null}`:                   "feature.type",
		`{"properties":{"lot":"a"},"geometry":null}`:                                    "feature.type",
		`{"type":"Feature","properties":{"lot":"a"}}`:                                   "geometry.type",
		`{"type":"Feature","bbox":[1,2,3],"properties":{"lot":"a"},"geometry":null}`:    "bbox.ignored",
		`{"type":"Feature","bbox":[1,2,3,4],"properties":{"lot":"a"},"geometry":null}`:  "",
		`{"type":"Feature","id":{},"properties":{"lot":"a"},"geometry":null}`:           "feature.id_ignored",
		`{"type":"Feature","properties":{"lot":"a","flow_gpm":"5"},"geometry":null}`:    "property.not_number",
		`{"type":"Feature","properties":{"lot":"a","flow_gpm":null},"geometry":null}`:   "",
	} {
		d, err := open(collection(text, points(1)[0]), geojson.Source{Name: "x"})
		require.NoError(t, err, text)
		got := ""
		for _, f := range d.Feature(0).Findings {
			got = f.Rule
			assert.Equal(t, "a", f.Lot)
			assert.Equal(t, 0, f.Feature)
			assert.Equal(t, "x", f.File)
		}
		assert.Equal(t, want, got, text)
		assert.Empty(t, d.Feature(1).Findings)
		require.NoError(t, d.Close())
	}
}

func TestGeometryLimits(t *testing.T) {
	ring := func(n int) string { return "[" + strings.TrimSuffix(strings.Repeat("[1,2],", n), ",") + "]" }
	rings := func(n int) string { return "[" + strings.TrimSuffix(strings.Repeat("[[1,2]],", n), ",") + "]" }
	limits := importer.Limits{RingVertices: 10, Rings: 5, LotVertices: 12}
	for text, want := range map[string]string{
		"[" + ring(10) + "]":                "",
		"[" + ring(11) + "]":                "geometry.too_complex",
		"[" + ring(6) + "," + ring(6) + "]": "",
		"[" + ring(6) + "," + ring(7) + "]": "geometry.too_complex",
		rings(5):                            "",
		rings(6):                            "geometry.too_complex",
	} {
		f, err := geojson.Decode([]byte(`{"type":"Feature","properties":{"lot":"a"},"geometry":{"type":"Polygon","coordinates":`+text+`}}`), limits)
		require.NoError(t, err)
		first, _ := importer.FirstError(f.Findings)
		assert.Equal(t, want, first.Rule, text)
	}
}

// A layer of parcels needs an id; it is taken from where it tells all apart.
func TestParcelIDs(t *testing.T) {
	parcel := func(props string) string { return `{"type":"Feature","properties":{` + props + `},"geometry":null}` }
	src := geojson.Source{Name: "p.geojson", Layer: layout.LayerParcel}
	ids := func(src geojson.Source, features ...string) (out []string, err error) {
		d, err := open(collection(features...), src)
		if err != nil {
			return nil, err
		}
		defer d.Close()
		for i := range d.Len() {
			id, ok := d.Lot(i)
			require.True(t, ok)
			out = append(out, id)
			assert.Equal(t, layout.LayerParcel, d.Feature(i).Layer)
		}
		return out, nil
	}
	got, err := ids(src, parcel(`"LOT_ID":"x","name":"n"`), parcel(`"LOT_ID":"x","name":"m"`))
	require.NoError(t, err)
	assert.Equal(t, []string{"n", "m"}, got, "LOT_ID does not tell them apart")

	got, err = ids(src, parcel(`"Parcel_ID":17`), parcel(`"Parcel_ID":18`))
	require.NoError(t, err)
	assert.Equal(t, []string{"17", "18"}, got)

	got, err = ids(src, `{"type":"Feature","id":"q","properties":null,"geometry":null}`)
	require.NoError(t, err)
	assert.Equal(t, []string{"q"}, got)

	_, err = ids(src, parcel(`"lot":"a"`), parcel(`"lot":null`))
	assert.Equal(t, "join.no_lot_property", rule(t, err))

	src.LotProperty = "flur"
	got, err = ids(src, parcel(`"flur":"a","lot":"z"`), parcel(`"flur":"a","lot":"y"`))
	require.NoError(t, err)
	assert.Equal(t, []string{"a", "a"}, got, "a named property is taken as it is")
	_, err = ids(src, parcel(`"lot":"z"`))
	assert.Equal(t, "feature.unattributed", rule(t, err))
}

func TestCRSName(t *testing.T) {
	d, err := open(`{"type":"FeatureCollection","features":[],"crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::32615"}}}`, geojson.Source{Name: "x"})
	require.NoError(t, err)
	defer d.Close()
	assert.Equal(t, "urn:ogc:def:crs:EPSG::32615", d.CRS())
}

// A file that changes between the two passes costs lots, not the process.
func TestFileChanges(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.geojson")
	require.NoError(t, os.WriteFile(path, []byte(collection(points(3)...)), 0o600))
	d, err := open("", geojson.Source{Path: path})
	require.NoError(t, err)
	defer d.Close()
	require.NoError(t, os.WriteFile(path, []byte(strings.Repeat(`{"a":`, 40)), 0o600))
	for i := range d.Len() {
		first, bad := importer.FirstError(d.Feature(i).Findings)
		assert.True(t, bad)
		assert.Equal(t, "file.changed", first.Rule)
	}
}

func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := geojson.Open(ctx, geojson.Source{Name: "x", Reader: strings.NewReader("{}")}, importer.Limits{})
	assert.ErrorIs(t, err, context.Canceled)
	_, err = geojson.Open(context.Background(), geojson.Source{Name: "x"}, importer.Limits{})
	assert.Error(t, err)
	var refusal *importer.Refusal
	assert.False(t, errors.As(err, &refusal))
}

func FuzzOpen(f *testing.F) {
	for _, seed := range []string{
		collection(points(2)...), "\x1e" + points(1)[0], zipped(collection()), `{"type":"FeatureCollection","crs":{"properties":{"name":"x"}},"features":[{"geometry":{"type":"Polygon","coordinates":[[[]]]},"properties":{"lot":""}}]}`,
	} {
		f.Add([]byte(seed), true)
		f.Add([]byte(seed), false)
	}
	f.Fuzz(func(t *testing.T, text []byte, labelled bool) {
		src := geojson.Source{Name: "fuzz", Reader: bytes.NewReader(text)}
		if !labelled {
			src.Layer = layout.LayerParcel
		}
		d, err := geojson.Open(context.Background(), src, importer.Limits{Body: 1 << 20})
		if err != nil {
			var refusal *importer.Refusal
			require.ErrorAs(t, err, &refusal)
			require.NotEmpty(t, refusal.Error())
			return
		}
		defer d.Close()
		for i := range d.Len() {
			for _, finding := range d.Feature(i).Findings {
				require.NotEqual(t, "file.changed", finding.Rule, finding.String())
			}
		}
	})
}
