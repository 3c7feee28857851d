package geopackage_test

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	reader "lotwright/importer/geopackage"
	"lotwright/layout/feature"
	"lotwright/server/geopackage"
)

// oneLot is the features of a design, each layer but valve and overspray, as
// package feature's own tests keep them.
func oneLot(t testing.TB) (features [][]byte) {
	text, err := os.ReadFile("../../layout/feature/testdata/one_lot.geojson")
	require.NoError(t, err)
	for line := range bytes.Lines(text) {
		if line = bytes.TrimSpace(bytes.TrimSuffix(bytes.TrimSpace(line), []byte(","))); bytes.HasPrefix(line, []byte(`{"type":"Feature",`)) {
			features = append(features, bytes.Clone(line))
		}
	}
	require.Len(t, features, 9)
	return features
}

func written(t testing.TB, name string, features ...[][]byte) string {
	path := filepath.Join(t.TempDir(), name)
	w, err := geopackage.Create(path, geopackage.Options{})
	require.NoError(t, err)
	for _, f := range features {
		require.NoError(t, w.Write(f))
	}
	require.NoError(t, w.Close())
	return path
}

func opened(t testing.TB, path string) *sql.DB {
	db, err := sql.Open("sqlite", "file:"+path+"?mode=ro")
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, db.Close()) })
	return db
}

// Every feature comes out of the file as it went in: its properties, read by
// SQL, and its geometry, read by the importer's reader, which shares no code.
func TestRoundTrip(t *testing.T) {
	path := written(t, "a.gpkg", oneLot(t))
	want := map[string][]feat{}
	for _, text := range oneLot(t) {
		var f feat
		require.NoError(t, json.Unmarshal(text, &f))
		layer := f.Properties["layer"].(string)
		want[layer] = append(want[layer], f)
	}
	file, err := reader.Open(t.Context(), path, importer.Limits{})
	require.NoError(t, err)
	defer file.Close()
	require.Len(t, file.Tables(), len(feature.Schema()))
	for _, tb := range file.Tables() {
		assert.Equal(t, 4326, tb.System.Code)
		n := 0
		for row, err := range tb.Rows(t.Context(), tb.Columns) {
			require.NoError(t, err)
			f := want[tb.Name][n]
			n++
			assert.Equal(t, fmt.Sprint(n), row.ID)
			for i, column := range tb.Columns {
				if column != "fid" {
					assert.EqualValues(t, f.Properties[column], number(row.Values[i], f.Properties[column]), "%s %s", tb.Name, column)
				}
			}
			assert.Equal(t, f.Geometry.Type, string(row.Geometry.Type))
			got, err := json.Marshal(coordinates(row.Geometry))
			require.NoError(t, err)
			assert.JSONEq(t, string(f.Geometry.Coordinates), string(got))
		}
		assert.Len(t, want[tb.Name], n, tb.Name)
	}
}

type feat struct {
	Properties map[string]any
	Geometry   struct {
		Type        string
		Coordinates json.RawMessage
	}
}

// number makes of what SQLite holds what JSON would make of it.
func number(v, like any) any {
	i, whole := v.(int64)
	if _, truth := like.(bool); whole && truth {
		return i == 1
	}
	if whole {
		return float64(i)
	}
	return v
}

// coordinates nests positions as GeoJSON does.
func coordinates(g importer.Geometry) any {
	switch g.Type {
	case importer.Point:
		return g.Parts[0][0][0]
	case importer.LineString:
		return g.Parts[0][0]
	case importer.Polygon:
		return g.Parts[0]
	}
	return g.Parts
}

func TestSameBytes(t *testing.T) {
	a, err := os.ReadFile(written(t, "a.gpkg", oneLot(t), oneLot(t)))
	require.NoError(t, err)
	b, err := os.ReadFile(written(t, "other.gpkg", append(oneLot(t), oneLot(t)...)))
	require.NoError(t, err)
	assert.True(t, bytes.Equal(a, b))
}

// The spatial index holds each geometry in a box around it (SQLite rounds the
// corners outwards to single precision), and nothing of features without one.
func TestIndexAndExtent(t *testing.T) {
	bare := bytes.Replace(oneLot(t)[1], []byte(`"geometry":{"type":"Point","coordinates":[10.00001000,50.00001000]}`), []byte(`"geometry":null`), 1)
	require.NotEqual(t, oneLot(t)[1], bare)
	db := opened(t, written(t, "a.gpkg", oneLot(t), [][]byte{bare}))
	var rows, indexed int
	require.NoError(t, db.QueryRow(`SELECT (SELECT count(*) FROM head), (SELECT count(*) FROM rtree_head_geom)`).Scan(&rows, &indexed))
	assert.Equal(t, []int{2, 1}, []int{rows, indexed})
	var minX, maxX, minY, maxY, left, right, low, high float64
	require.NoError(t, db.QueryRow(`SELECT c.min_x, c.max_x, c.min_y, c.max_y, r.minx, r.maxx, r.miny, r.maxy FROM gpkg_contents c, rtree_trench_geom r WHERE c.table_name = 'trench'`).
		Scan(&minX, &maxX, &minY, &maxY, &left, &right, &low, &high))
	assert.Equal(t, []float64{10.00001, 10.00004, 50.00001, 50.00004}, []float64{minX, maxX, minY, maxY})
	assert.True(t, left <= minX && right >= maxX && low <= minY && high >= maxY)
	assert.InDelta(t, minX, left, 1e-5)
	var empty sql.NullFloat64
	require.NoError(t, db.QueryRow(`SELECT min_x FROM gpkg_contents WHERE table_name = 'valve'`).Scan(&empty))
	assert.False(t, empty.Valid)
}

func TestSound(t *testing.T) {
	db := opened(t, written(t, "a.gpkg", oneLot(t)))
	for query, want := range map[string]string{
		"PRAGMA integrity_check":                                       "ok",
		"PRAGMA application_id":                                        fmt.Sprint(0x47504b47),
		"PRAGMA user_version":                                          "10300",
		"SELECT count(*) FROM pragma_foreign_key_check":                "0",
		"SELECT group_concat(DISTINCT last_change) FROM gpkg_contents": geopackage.DefaultTime,
		"SELECT title || ': ' || description FROM gpkg_data_columns WHERE table_name='head' AND column_name='throw_ft'": "throw (ft): throw at its pressure",
		"SELECT rtreecheck('rtree_wetted_geom')": "ok",
	} {
		var got string
		require.NoError(t, db.QueryRow(query).Scan(&got), query)
		assert.Equal(t, want, got, query)
	}
}

// Every layer has a style, in both languages well formed, and every value that
// chooses a symbol is among those a layer may have.
func TestStyles(t *testing.T) {
	db := opened(t, written(t, "a.gpkg"))
	rows, err := db.Query("SELECT f_table_name, styleQML, styleSLD, useAsDefault FROM layer_styles ORDER BY id")
	require.NoError(t, err)
	defer rows.Close()
	var names []string
	for rows.Next() {
		var name, qml, sld string
		var standard bool
		require.NoError(t, rows.Scan(&name, &qml, &sld, &standard))
		assert.True(t, standard)
		names = append(names, name)
		for _, text := range []string{qml, sld} {
			d := xml.NewDecoder(strings.NewReader(text))
			for {
				_, err := d.Token()
				if errors.Is(err, io.EOF) {
					break
				}
				require.NoError(t, err, text)
			}
		}
	}
	require.NoError(t, rows.Err())
	var want []string
	for _, l := range feature.Schema() {
		want = append(want, l.Name)
	}
	assert.Equal(t, want, names)
}

func TestFaults(t *testing.T) {
	trench := string(oneLot(t)[5])
	for name, text := range map[string]string{
		"no JSON":          "{",
		"no layer":         `{"properties":{},"geometry":null}`,
		"unknown layer":    strings.Replace(trench, `"layer":"trench"`, `"layer":"ditch"`, 1),
		"other geometry":   strings.Replace(trench, "LineString", "Point", 1),
		"missing property": strings.Replace(trench, `"surface"`, `"ground"`, 1),
		"other type":       strings.Replace(trench, `"length_m":4.243`, `"length_m":"long"`, 1),
	} {
		w, err := geopackage.Create(filepath.Join(t.TempDir(), "a.gpkg"), geopackage.Options{})
		require.NoError(t, err)
		first := w.Write([][]byte{[]byte(text)})
		require.Error(t, first, name)
		assert.Equal(t, first, w.Write(oneLot(t)), "the fault stays")
		assert.ErrorIs(t, w.Close(), first)
	}
}

func TestClosedAndTaken(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.gpkg")
	w, err := geopackage.Create(path, geopackage.Options{LastChange: "2026-11-25T00:00:00.000Z"})
	require.NoError(t, err)
	require.NoError(t, w.Close())
	require.NoError(t, w.Close())
	require.ErrorIs(t, w.Write(oneLot(t)), geopackage.ErrClosed)
	_, err = geopackage.Create(path, geopackage.Options{})
	require.ErrorIs(t, err, os.ErrExist)
	var change string
	require.NoError(t, opened(t, path).QueryRow("SELECT CAST(last_change AS TEXT) FROM gpkg_contents").Scan(&change))
	assert.Equal(t, "2026-11-25T00:00:00.000Z", change)
}

// The time and space of a large batch: designs of some 60 features.
func BenchmarkWrite(b *testing.B) {
	features := oneLot(b)
	w, err := geopackage.Create(filepath.Join(b.TempDir(), "a.gpkg"), geopackage.Options{})
	require.NoError(b, err)
	for b.Loop() {
		require.NoError(b, w.Write(features))
	}
	require.NoError(b, w.Close())
}
