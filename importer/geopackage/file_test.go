package geopackage_test

import (
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/geopackage"
	"lotwright/importer/table"
)

// describing are the tables that every GeoPackage has, as its standard writes
// them, cut to what is looked at.
const describing = `
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT, srs_id INTEGER PRIMARY KEY, organization TEXT, organization_coordsys_id INTEGER, definition TEXT);
INSERT INTO gpkg_spatial_ref_sys VALUES ('none', 0, 'NONE', 0, 'undefined'), ('WGS 84', 4326, 'EPSG', 4326, 'GEOGCS["…"]'), ('own', 100000, 'none', 7, 'PROJCS["own"]');
CREATE TABLE gpkg_contents (table_name TEXT PRIMARY KEY, data_type TEXT, srs_id INTEGER);
CREATE TABLE gpkg_geometry_columns (table_name TEXT, column_name TEXT, geometry_type_name TEXT, srs_id INTEGER, z TINYINT, m TINYINT);
`

// listed is a feature table with its lines in the describing tables.
func listed(name string, srs int, create string) string {
	return fmt.Sprintf("%s; INSERT INTO gpkg_contents VALUES ('%s', 'features', %d); INSERT INTO gpkg_geometry_columns VALUES ('%[2]s', 'geom', 'GEOMETRY', %[3]d, 0, 0);", create, name, srs)
}

const pointBlob = "x'47500001E6100000010100000000000000000000400000000000000840'" // 2, 3

// made writes a database and returns its path.
func made(t *testing.T, statements ...string) string {
	path := filepath.Join(t.TempDir(), "a #1?.gpkg")
	db, err := sql.Open("sqlite", "file:"+strings.NewReplacer("#", "%23", "?", "%3f").Replace(path))
	require.NoError(t, err)
	_, err = db.Exec(describing + strings.Join(statements, ";\n"))
	require.NoError(t, err)
	require.NoError(t, db.Close())
	return path
}

func opened(t *testing.T, path string) *geopackage.File {
	f, err := geopackage.Open(t.Context(), path, importer.Limits{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, f.Close()) })
	return f
}

func rowsOf(t *testing.T, tb table.Table, columns ...string) (rows []table.Row) {
	for row, err := range tb.Rows(t.Context(), columns) {
		require.NoError(t, err)
		rows = append(rows, row)
	}
	return rows
}

func TestTables(t *testing.T) {
	f := opened(t, made(t,
		listed("b", 100000, `CREATE TABLE b (fid INTEGER PRIMARY KEY, geom BLOB, "a ""b" TEXT, twice INT GENERATED ALWAYS AS (fid * 2))`),
		listed("a", 0, `CREATE TABLE a (geom BLOB, lot INTEGER, done BOOLEAN, day DATE, size REAL)`),
		"CREATE TABLE unlisted (geom BLOB)",
		"INSERT INTO a VALUES ("+strings.Replace(pointBlob, "E6100000", "00000000", 1)+", 7, 1, '2026-11-25', 2.5), (NULL, NULL, NULL, NULL, NULL)"))
	tables := f.Tables()
	require.Len(t, tables, 2)
	assert.Equal(t, "a", tables[0].Name)
	assert.Equal(t, []string{"lot", "done", "day", "size"}, tables[0].Columns)
	assert.Zero(t, tables[0].System)
	assert.Equal(t, []string{"fid", `a "b`}, tables[1].Columns)
	assert.Equal(t, table.System{Definition: `PROJCS["own"]`, Name: "own (srs_id 100000)"}, tables[1].System)

	rows := rowsOf(t, tables[0], "size", "lot", "done", "day")
	require.Len(t, rows, 2)
	assert.Equal(t, importer.Geometry{Type: importer.Point, Parts: [][][]importer.Position{{{{2, 3}}}}}, rows[0].Geometry)
	assert.Equal(t, []any{2.5, int64(7), int64(1), "2026-11-25T00:00:00Z"}, rows[0].Values)
	assert.Equal(t, table.Row{Values: []any{nil, nil, nil, nil}}, rows[1])
}

func TestRefusals(t *testing.T) {
	good := listed("lots", 4326, "CREATE TABLE lots (fid INTEGER PRIMARY KEY, geom BLOB, lot TEXT)")
	for name, c := range map[string]struct {
		rule       string
		statements []string
	}{
		"no geopackage":    {"gpkg.not_geopackage", []string{"DROP TABLE gpkg_geometry_columns"}},
		"view":             {"gpkg.not_table", []string{listed("lots", 4326, "CREATE VIEW lots AS SELECT 1 AS fid, NULL AS geom")}},
		"describing view":  {"gpkg.not_table", []string{"ALTER TABLE gpkg_contents RENAME TO c", "CREATE VIEW gpkg_contents AS SELECT * FROM c"}},
		"virtual":          {"gpkg.not_table", []string{listed("lots", 4326, "CREATE VIRTUAL TABLE lots USING rtree(fid, minx, maxx)")}},
		"not there":        {"gpkg.name", []string{listed("lots", 4326, "SELECT 1")}},
		"no such column":   {"gpkg.name", []string{listed("lots", 4326, "CREATE TABLE lots (fid INTEGER PRIMARY KEY)")}},
		"number for a map": {"gpkg.geometry", []string{good, "INSERT INTO lots VALUES (1, 5, 'a')"}},
		"broken map":       {"gpkg.geometry", []string{good, "INSERT INTO lots VALUES (1, x'4750', 'a')"}},
		"other system":     {"crs.mismatch", []string{good, "INSERT INTO lots VALUES (1, " + strings.Replace(pointBlob, "E6100000", "E6110000", 1) + ", 'a')"}},
		"list of nulls":    {"gpkg.corrupt", []string{"INSERT INTO gpkg_contents VALUES (NULL, 'features', NULL)", "INSERT INTO gpkg_geometry_columns VALUES ('a', NULL, NULL, NULL, 0, 0)", "INSERT INTO gpkg_contents VALUES ('a', 'features', NULL)"}},
		"long value":       {"gpkg.too_large", []string{good, "INSERT INTO lots VALUES (1, " + pointBlob + ", printf('%.*c', 40000000, 'x'))"}},
	} {
		t.Run(name, func(t *testing.T) {
			err := readAll(t, made(t, c.statements...))
			var refusal *importer.Refusal
			require.ErrorAs(t, err, &refusal)
			assert.Equal(t, c.rule, refusal.Finding.Rule, refusal.Error())
		})
	}
}

// readAll opens a file and reads all its rows.
func readAll(t testing.TB, path string) error {
	f, err := geopackage.Open(t.Context(), path, importer.Limits{})
	if err != nil {
		return err
	}
	defer f.Close()
	for _, tb := range f.Tables() {
		for _, err := range tb.Rows(t.Context(), tb.Columns) {
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// Damage anywhere is a refusal or goes unnoticed, never a panic; damage to the
// pages of rows is noticed.
func TestDamage(t *testing.T) {
	text, err := os.ReadFile("../../testdata/import/two_lots.gpkg")
	require.NoError(t, err)
	noticed := 0
	for page := range len(text) / 4096 {
		spoiled := slices.Clone(text)
		for i := range 4096 - 200 {
			spoiled[page*4096+100+i] = 0xa5
		}
		path := filepath.Join(t.TempDir(), "spoiled.gpkg")
		require.NoError(t, os.WriteFile(path, spoiled, 0o600))
		if err := readAll(t, path); err != nil {
			var refusal *importer.Refusal
			require.ErrorAs(t, err, &refusal, "page %d", page+1)
			noticed++
		}
	}
	assert.Equal(t, len(text)/4096, noticed)
}

func TestCutShort(t *testing.T) {
	text, err := os.ReadFile("../../testdata/import/two_lots.gpkg")
	require.NoError(t, err)
	for _, length := range []int{16, 99, 100, 4096, 10_000, len(text) - 4096} {
		path := filepath.Join(t.TempDir(), "short.gpkg")
		require.NoError(t, os.WriteFile(path, text[:length], 0o600))
		var refusal *importer.Refusal
		require.ErrorAs(t, readAll(t, path), &refusal, "%d bytes", length)
	}
}

// What another program has written but not yet moved into the file is read too.
func TestWriteAheadLog(t *testing.T) {
	path := filepath.Join(t.TempDir(), "open.gpkg")
	db, err := sql.Open("sqlite", "file:"+path+"?_pragma=journal_mode(wal)")
	require.NoError(t, err)
	defer db.Close()
	_, err = db.Exec(describing + listed("lots", 4326, "CREATE TABLE lots (fid INTEGER PRIMARY KEY, geom BLOB)") + "INSERT INTO lots VALUES (1, " + pointBlob + ")")
	require.NoError(t, err)
	require.FileExists(t, path+"-wal")
	assert.Len(t, rowsOf(t, opened(t, path).Tables()[0]), 1)
}

// Reading leaves the file, and its folder, as they were.
func TestReadOnly(t *testing.T) {
	path := made(t, listed("lots", 4326, "CREATE TABLE lots (fid INTEGER PRIMARY KEY, geom BLOB)"), "INSERT INTO lots VALUES (1, "+pointBlob+")")
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, readAll(t, path))
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after)
	beside, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	assert.Len(t, beside, 1)
}

func TestTooLarge(t *testing.T) {
	_, err := geopackage.Open(t.Context(), "../../testdata/import/two_lots.gpkg", importer.Limits{Store: 1000})
	assert.ErrorContains(t, err, "body.too_large")
}

// A few bytes changed anywhere are refused or go unnoticed; no panic, no other
// error. It is drawn here and not fuzzed, since a fuzzer's instruments slow
// SQLite down to one file in seconds.
func TestSpoiled(t *testing.T) {
	text, err := os.ReadFile("../../testdata/import/two_lots.gpkg")
	require.NoError(t, err)
	other, err := os.ReadFile("../../testdata/badinput/e28_gpkg_wrong_srid.gpkg")
	require.NoError(t, err)
	other = []byte(strings.ReplaceAll(string(other), "GP\x00\x01\x11\x0f", "GP\x00\x01\xe6\x10")) // sound but for that
	r := rand.New(rand.NewPCG(15, 16))
	path := filepath.Join(t.TempDir(), "spoiled.gpkg")
	refused := 0
	for range 300 {
		spoiled := slices.Clone([][]byte{text, other}[r.IntN(2)])
		for range 1 + r.IntN(8) {
			page := r.IntN(len(spoiled) / 4096)
			at := page*4096 + []int{r.IntN(16), r.IntN(4096), 4095 - r.IntN(256)}[r.IntN(3)]
			spoiled[at] = []byte{0, 1, 0x7f, 0xff, byte(r.IntN(256))}[r.IntN(5)]
		}
		require.NoError(t, os.WriteFile(path, spoiled, 0o600))
		if err := readAll(t, path); err != nil {
			var refusal *importer.Refusal
			require.ErrorAs(t, err, &refusal)
			refused++
		}
	}
	assert.Greater(t, refused, 100)
}
