package shapefile

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/table"
)

var one = []testColumn{{"LOT", 'C', 8}}

// whole is a shapefile "a" with its parts.
func whole(shapes, attributes []byte, more ...entry) []entry {
	return append([]entry{{"a.shp", shapes}, {"a.dbf", attributes}, {"a.prj", []byte(wgs84)}}, more...)
}

func tablesOf(t testing.TB, parts ...entry) []table.Table {
	f, err := Open(zipped(t, parts...), importer.Limits{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, f.Close()) })
	return f.Tables()
}

func rowsOf(t testing.TB, tb table.Table) (rows []table.Row) {
	for row, err := range tb.Rows(context.Background(), tb.Columns) {
		require.NoError(t, err)
		rows = append(rows, row)
	}
	return rows
}

// square is a closed ring of two units a side, clockwise, around a place.
func square(x, y, half float64) [][2]float64 {
	return [][2]float64{{x - half, y - half}, {x - half, y + half}, {x + half, y + half}, {x + half, y - half}, {x - half, y - half}}
}

func reversed(ring [][2]float64) (out [][2]float64) {
	for i := range ring {
		out = append(out, ring[len(ring)-1-i])
	}
	return out
}

// sizes lists for each part how many rings it has, and half the width of each.
func sizes(g importer.Geometry) (out [][]float64) {
	for _, p := range g.Parts {
		var rings []float64
		for _, r := range p {
			b := importer.Geometry{Parts: [][][]importer.Position{{r}}}.Bounds()
			rings = append(rings, (b.Max[0]-b.Min[0])/2)
		}
		out = append(out, rings)
	}
	return out
}

// Clockwise rings are shells, others holes in the smallest shell around them;
// where that cannot be, the nesting decides.
func TestRings(t *testing.T) {
	hole := func(x, y, half float64) [][2]float64 { return reversed(square(x, y, half)) }
	touching := [][2]float64{{-4, 0}, {-3, -1}, {-2, 0}, {-3, 1}, {-4, 0}} // from the outline inwards, counter-clockwise
	for name, c := range map[string]struct {
		rings [][][2]float64
		want  [][]float64
		kind  importer.GeometryType
	}{
		"one":                         {[][][2]float64{square(0, 0, 4)}, [][]float64{{4}}, importer.Polygon},
		"one, the other way":          {[][][2]float64{hole(0, 0, 4)}, [][]float64{{4}}, importer.Polygon},
		"a hole":                      {[][][2]float64{square(0, 0, 4), hole(0, 0, 2)}, [][]float64{{4, 2}}, importer.Polygon},
		"the hole first":              {[][][2]float64{hole(0, 0, 2), square(0, 0, 4)}, [][]float64{{4, 2}}, importer.Polygon},
		"a touching hole":             {[][][2]float64{square(0, 0, 4), touching}, [][]float64{{4, 1}}, importer.Polygon},
		"two":                         {[][][2]float64{square(0, 0, 4), square(20, 0, 3)}, [][]float64{{4}, {3}}, importer.MultiPolygon},
		"an island in a hole":         {[][][2]float64{square(0, 0, 4), square(0, 0, 1), hole(0, 0, 2)}, [][]float64{{4, 2}, {1}}, importer.MultiPolygon},
		"holes of an island":          {[][][2]float64{square(0, 0, 8), hole(0, 0, 4), square(0, 0, 2), hole(0, 0, 1)}, [][]float64{{8, 4}, {2, 1}}, importer.MultiPolygon},
		"all the other way":           {[][][2]float64{hole(0, 0, 4), hole(0, 0, 2), hole(9, 0, 1)}, [][]float64{{4, 2}, {1}}, importer.MultiPolygon},
		"all turned round":            {[][][2]float64{hole(0, 0, 4), square(0, 0, 2)}, [][]float64{{4, 2}}, importer.Polygon},
		"twice the same":              {[][][2]float64{square(0, 0, 4), square(0, 0, 4)}, [][]float64{{4}, {4}}, importer.MultiPolygon},
		"a hole that is all of it":    {[][][2]float64{square(0, 0, 4), hole(0, 0, 4)}, [][]float64{{4}, {4}}, importer.MultiPolygon},
		"an empty part and no points": {[][][2]float64{square(0, 0, 4), nil}, [][]float64{{4}, {math.Inf(-1)}}, importer.MultiPolygon},
	} {
		for _, kind := range []int{5, 15, 25} {
			tables := tablesOf(t, whole(shp(kind, lines(kind, c.rings...)), dbf(0x57, one, []string{" ", "a"}))...)
			g := rowsOf(t, tables[0])[0].Geometry
			assert.Equal(t, c.want, sizes(g), name)
			assert.Equal(t, c.kind, g.Type, name)
		}
	}
}

func TestShapes(t *testing.T) {
	position := func(x, y float64) []importer.Position { return []importer.Position{{x, y}} }
	for _, c := range []struct {
		kind   int
		record []byte
		want   importer.Geometry
		unread string
	}{
		{1, little(1, 2.0, 3.0), importer.Geometry{Type: importer.Point, Parts: [][][]importer.Position{{position(2, 3)}}}, ""},
		{11, little(11, 2.0, 3.0, 9.0, 9.0), importer.Geometry{Type: importer.Point, Parts: [][][]importer.Position{{position(2, 3)}}}, ""},
		{1, little(1, math.NaN(), math.NaN()), importer.Geometry{}, ""},
		{1, little(0), importer.Geometry{}, ""},
		{28, little(28, make([]byte, 32), 2, 2.0, 3.0, 4.0, 5.0, 9.0, 9.0), importer.Geometry{Type: importer.MultiPoint, Parts: [][][]importer.Position{{position(2, 3)}, {position(4, 5)}}}, ""},
		{3, lines(3, [][2]float64{{0, 1}, {2, 3}}), importer.Geometry{Type: importer.LineString, Parts: [][][]importer.Position{{{{0, 1}, {2, 3}}}}}, ""},
		{23, lines(23, [][2]float64{{0, 1}, {2, 3}}, [][2]float64{{4, 5}, {6, 7}}),
			importer.Geometry{Type: importer.MultiLineString, Parts: [][][]importer.Position{{{{0, 1}, {2, 3}}}, {{{4, 5}, {6, 7}}}}}, ""},
		{31, little(31, make([]byte, 60)), importer.Geometry{}, "MultiPatch"},
		{5, lines(5, make([][][2]float64, 2000)...), importer.Geometry{}, "a polygon of too many rings"},
		{3, lines(3), importer.Geometry{}, ""},
	} {
		rows := rowsOf(t, tablesOf(t, whole(shp(c.kind, c.record), dbf(0x57, one, []string{" ", "a"}))...)[0])
		require.Len(t, rows, 1)
		assert.Equal(t, c.want, rows[0].Geometry)
		assert.Equal(t, c.unread, rows[0].Unread)
	}
}

func TestAttributes(t *testing.T) {
	columns := []testColumn{{"C", 'C', 6}, {"N", 'N', 5}, {"F", 'F', 5}, {"L", 'L', 1}, {"D", 'D', 8}, {"M", 'M', 10}}
	points := shp(1, little(1, 1.0, 1.0), little(1, 2.0, 2.0), little(1, 3.0, 3.0))
	rows := rowsOf(t, tablesOf(t, whole(points, dbf(0x57, columns,
		[]string{" ", " a\xe9", "   12", " 2.50", "T", "20261125", "        1"},
		[]string{"*", "gone", "no", "no", "x", "", ""},
		[]string{" ", "", "*****", "", "?", "", ""}))...)[0])
	require.Len(t, rows, 2)
	assert.Equal(t, []any{" aé", int64(12), 2.5, true, "20261125", nil}, rows[0].Values)
	assert.Equal(t, make([]any, 6), rows[1].Values)
	assert.Equal(t, importer.Position{3, 3}, rows[1].Geometry.Parts[0][0][0])
}

func TestEncodings(t *testing.T) {
	points := shp(1, little(1, 1.0, 1.0))
	for _, c := range []struct {
		page      string
		language  byte
		raw, want string
		remarks   int
	}{
		{"UTF-8", 0x57, "\xc3\xa9", "é", 0},
		{"utf8\r\n", 0, "\xc3\xa9", "é", 0},
		{"ISO-8859-1", 0, "\xe9", "é", 0},
		{"88591", 0, "\xe9", "é", 0},
		{"ISO-8859-15", 0, "\xa4", "€", 0},
		{"1252", 0, "\x80", "€", 0},
		{"ANSI 1252", 0, "\x80", "€", 0},
		{"CP1252", 0, "\x80", "€", 0},
		{"", 0x57, "\x80", "€", 0},
		{"", 0x02, "\x82", "é", 0},
		{"", 0, "\xc3\xa9", "é", 1},
		{"", 0, "\xe9", "é", 1},
		{"Big5", 0x57, "\xe9", "é", 1},
	} {
		tables := tablesOf(t, whole(points, dbf(c.language, one, []string{" ", c.raw}), entry{"a.CPG", []byte(c.page)})...)
		assert.Equal(t, []any{c.want}, rowsOf(t, tables[0])[0].Values, c.page)
		assert.Len(t, tables[0].Remarks, c.remarks, c.page)
	}
}

// A name that was cut off is not read, and that is said.
func TestCutNames(t *testing.T) {
	tables := tablesOf(t, whole(shp(1), dbf(0x57, []testColumn{{"static_pre", 'N', 5}, {"BUCKET_GAL", 'N', 5}}))...)
	require.Len(t, tables[0].Remarks, 1)
	assert.Equal(t, "shp.column_cut", tables[0].Remarks[0].Rule)
	assert.Contains(t, tables[0].Remarks[0].Text, "static_pressure_psi or static_pressure_kpa or static_pressure_bar")
}

func TestSeveral(t *testing.T) {
	text, attributes := shp(1), dbf(0x57, one)
	tables := tablesOf(t, entry{"city/Roofs.SHP", text}, entry{"city/roofs.dbf", attributes}, entry{"city/ROOFS.prj", []byte(wgs84)},
		entry{"__MACOSX/city/._Roofs.shp", nil}, entry{"city/.DS_Store", nil}, entry{"readme.txt", nil}, entry{"city/", nil},
		entry{"lots.shp", text}, entry{"lots.dbf", attributes})
	require.Len(t, tables, 2)
	assert.Equal(t, "Roofs", tables[0].Name)
	assert.Equal(t, "GCS_WGS_1984", tables[0].System.Name)
	assert.Equal(t, "lots", tables[1].Name)
	assert.Zero(t, tables[1].System)
}

func TestRefusals(t *testing.T) {
	good, attributes := shp(1, little(1, 1.0, 1.0)), dbf(0x57, one, []string{" ", "a"})
	for name, c := range map[string]struct {
		rule, reason string
		parts        []entry
	}{
		"up":                  {"archive.path", "", []entry{{"../a.shp", good}}},
		"drive":               {"archive.path", "", []entry{{"C:a.shp", good}}},
		"root":                {"archive.path", "", []entry{{"/a.shp", good}}},
		"nested":              {"archive.nested", "", whole(good, attributes, entry{"b.zip", nil})},
		"twice":               {"archive.duplicate", "", whole(good, attributes, entry{"A.SHP", good})},
		"nothing":             {"archive.no_shapefile", "", []entry{{"a.gpkg", nil}}},
		"no attributes":       {"shp.incomplete", "", []entry{{"a.shp", good}}},
		"blanks":              {"body.too_large", "", whole(make([]byte, 65<<20), attributes)},
		"no shapefile":        {"shp.corrupt", "does not begin", whole(make([]byte, 200), attributes)},
		"no header":           {"shp.corrupt", "header", whole(good[:50], attributes)},
		"cut in a head":       {"shp.corrupt", "its records", whole(good[:104], attributes)},
		"cut in a record":     {"shp.corrupt", "a record", whole(good[:120], attributes)},
		"record past the end": {"shp.corrupt", "more than the file", whole(append(good[:104:104], append([]byte{0x7f, 0xff, 0xff, 0xff}, good[108:]...)...), attributes)},
		"other type":          {"shp.corrupt", "type", whole(shp(5, little(1, 1.0, 1.0)), attributes)},
		"unknown type":        {"shp.corrupt", "type", whole(shp(7, little(7, 1.0, 1.0)), attributes)},
		"too many points":     {"shp.corrupt", "larger than the record", whole(shp(3, little(3, make([]byte, 32), 1, 1<<31-1, 0, 1.0)), attributes)},
		"too many parts":      {"shp.corrupt", "larger than the record", whole(shp(5, little(5, make([]byte, 32), 1<<31-1, 1, 0, 1.0, 1.0)), attributes)},
		"parts in disorder":   {"shp.corrupt", "order", whole(shp(3, little(3, make([]byte, 32), 2, 1, 1, 0, 1.0, 1.0)), attributes)},
		"short point":         {"shp.corrupt", "larger than the record", whole(shp(1, little(1, 1.0)), attributes)},
		"more shapes":         {"shp.mismatch", "3 shapes, but 1 rows", whole(shp(1, little(1, 1.0, 1.0), little(1, 1.0, 1.0), little(1, 1.0, 1.0)), attributes)},
		"more rows":           {"shp.mismatch", "0 shapes, but 1 rows", whole(shp(1), attributes)},
		"rows cut short":      {"shp.corrupt", "within row 1", whole(good, attributes[:len(attributes)-3])},
		"table cut short":     {"shp.corrupt", "header", whole(good, attributes[:40])},
		"no table":            {"shp.corrupt", "dBASE", whole(good, make([]byte, 100))},
		"wide columns":        {"shp.corrupt", "wider", whole(good, widened(attributes))},
		"no number":           {"shp.corrupt", "not a number", whole(good, dbf(0x57, []testColumn{{"n", 'N', 3}}, []string{" ", "1,5"}))},
		"not the encoding":    {"shp.corrupt", "encoding", whole(good, dbf(0x57, one, []string{" ", "\x81"}))},
	} {
		t.Run(name, func(t *testing.T) {
			err := readAll(zipped(t, c.parts...))
			var refusal *importer.Refusal
			require.ErrorAs(t, err, &refusal)
			assert.Equal(t, c.rule, refusal.Finding.Rule, refusal.Error())
			assert.Contains(t, refusal.Error(), c.reason)
		})
	}
}

// widened makes the first column wider than the record.
func widened(attributes []byte) []byte {
	out := slices.Clone(attributes)
	out[32+16] = 200
	return out
}

// readAll opens an archive and reads all its rows.
func readAll(path string) error {
	f, err := Open(path, importer.Limits{})
	if err != nil {
		return err
	}
	defer f.Close()
	for _, tb := range f.Tables() {
		for _, err := range tb.Rows(context.Background(), tb.Columns) {
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// What all parts unpack to together is bounded, whatever they say.
func TestWholeArchiveTooLarge(t *testing.T) {
	path := zipped(t, whole(shp(1, little(1, 1.0, 1.0)), dbf(0x57, one, []string{" ", "a"}))...)
	f, err := Open(path, importer.Limits{})
	require.NoError(t, err)
	defer f.Close()
	f.limits.Store = f.read + 150
	for _, err = range f.Tables()[0].Rows(t.Context(), nil) {
	}
	assert.ErrorContains(t, err, "body.too_large")
}

func TestDamagedArchive(t *testing.T) {
	assert.ErrorContains(t, readAll("dbf.go"), "archive.corrupt")
	assert.ErrorContains(t, readAll("../../testdata/badinput/e04_zip_bomb.zip"), "body.too_large")
	_, err := Open("nowhere.zip", importer.Limits{})
	assert.False(t, err == nil || strings.Contains(err.Error(), "archive"))
}
