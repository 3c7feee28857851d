package assemble_test

import (
	"bytes"
	"compress/gzip"
	"database/sql"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/geom"
)

const imports = "../../testdata/import/"

func openOne(t *testing.T, in assemble.Input, o assemble.Options) *assemble.Batch {
	b, err := assemble.Open(t.Context(), []assemble.Input{in}, o)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, b.Close()) })
	return b
}

func zipped(t *testing.T, text []byte) []byte {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	_, err := z.Write(text)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	return out.Bytes()
}

// One table with columns lot and layer is the same lots as the GeoJSON it was
// made of, by every door: as a file, as a stream, gzipped, by the table's name.
func TestLabelledTable(t *testing.T) {
	want := lotsOf(t, assemble.Input{Path: imports + "two_lots.geojson"})
	text := readFile(t, imports+"two_lots.gpkg")
	gz := filepath.Join(t.TempDir(), "a.gpkg.gz")
	require.NoError(t, os.WriteFile(gz, zipped(t, text), 0o600))
	for _, in := range []assemble.Input{
		{Path: imports + "two_lots.gpkg"},
		{Path: imports + "two_lots.gpkg", Table: "Everything"},
		{Name: "stdin", Reader: bytes.NewReader(text)},
		{Name: "stdin", Reader: bytes.NewReader(zipped(t, text))},
		{Path: gz},
	} {
		assert.Equal(t, want, lotsOf(t, in))
	}
}

// The order of rows is nobody's business.
func TestRowOrder(t *testing.T) {
	path := filepath.Join(t.TempDir(), "turned.gpkg")
	require.NoError(t, os.WriteFile(path, readFile(t, imports+"two_lots.gpkg"), 0o600))
	db, err := sql.Open("sqlite", "file:"+path)
	require.NoError(t, err)
	_, err = db.Exec("CREATE TEMP TABLE t AS SELECT * FROM everything ORDER BY fid DESC; DELETE FROM everything; INSERT INTO everything (geom, lot, layer) SELECT geom, lot, layer FROM t ORDER BY rowid")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	assert.Equal(t, lotsOf(t, assemble.Input{Path: imports + "two_lots.gpkg"}), lotsOf(t, assemble.Input{Path: path}))
}

// A table a layer, in metres and with heights, joined by place.
func TestTableALayer(t *testing.T) {
	testTableALayer(t, imports+"two_lots_tables.gpkg", "EPSG:32625")
	testTableALayer(t, imports+"two_lots.zip", "WGS_1984_UTM_Zone_25N")
}

func testTableALayer(t *testing.T, path, system string) {
	want := lotsOf(t, assemble.Input{Path: imports + "two_lots.geojson"})
	whole := openOne(t, assemble.Input{Path: path}, assemble.Options{})
	byFlags, err := assemble.Open(t.Context(), []assemble.Input{
		{Path: path, Layer: layout.LayerParcel}, {Path: path, Table: "buildings", Layer: layout.LayerBuilding}, {Path: path, Layer: layout.LayerHardscape},
	}, assemble.Options{LotProperty: "APN"})
	require.NoError(t, err)
	defer byFlags.Close()
	for _, b := range []*assemble.Batch{whole, byFlags} {
		require.Equal(t, len(want), b.Len())
		for i, w := range want {
			got := b.Lot(i).Lot
			require.NotNil(t, got)
			assert.Equal(t, w.ID, got.ID)
			assert.InEpsilon(t, w.Parcel.AreaM2(), got.Parcel.AreaM2(), 1e-4)
			assert.InEpsilon(t, w.Building.AreaM2(), got.Building.AreaM2(), 1e-4)
			assert.InEpsilon(t, w.Hardscape.AreaM2(), got.Hardscape.AreaM2(), 1e-3)
		}
	}
	var told []string
	for _, f := range whole.Findings() {
		told = append(told, f.Rule+": "+f.Text)
	}
	assert.Equal(t, []string{
		`join.lot_property: property "apn" of the parcels is taken as the lot id`,
		`table.read: table "buildings", in ` + system + `, is read as layer building`,
		`table.read: table "hardscapes", in ` + system + `, is read as layer hardscape`,
		`table.read: table "parcels", in ` + system + `, is read as layer parcel`,
	}, told)
}

// changed is a copy of the labelled table after some SQL.
func changed(t *testing.T, statements string) string {
	path := filepath.Join(t.TempDir(), "changed.gpkg")
	require.NoError(t, os.WriteFile(path, readFile(t, imports+"two_lots.gpkg"), 0o600))
	db, err := sql.Open("sqlite", "file:"+path)
	require.NoError(t, err)
	_, err = db.Exec(statements)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	return path
}

func TestTableRefusals(t *testing.T) {
	tables := imports + "two_lots_tables.gpkg"
	renamed := func(from, to string) string {
		return "ALTER TABLE " + from + " RENAME TO " + to + "; UPDATE gpkg_contents SET table_name='" + to + "'; UPDATE gpkg_geometry_columns SET table_name='" + to + "';"
	}
	const noTriggers = "DROP TRIGGER IF EXISTS trigger_insert_feature_count_everything; DROP TRIGGER IF EXISTS trigger_delete_feature_count_everything;"
	for name, c := range map[string]struct {
		rule string
		in   assemble.Input
		o    assemble.Options
	}{
		"no such table":      {"table.none", assemble.Input{Path: tables, Table: "roofs"}, assemble.Options{}},
		"which table":        {"table.ambiguous", assemble.Input{Path: tables, Layer: layout.LayerTurf}, assemble.Options{}},
		"no such column":     {"table.no_column", assemble.Input{Path: tables, Layer: layout.LayerParcel}, assemble.Options{LotProperty: "pin"}},
		"text has no tables": {"table.none", assemble.Input{Path: imports + "two_lots.geojson", Table: "a"}, assemble.Options{}},
		"no layer": {"table.ambiguous", assemble.Input{Path: changed(t, noTriggers+renamed("everything", "stuff")+"ALTER TABLE stuff DROP COLUMN layer")},
			assemble.Options{}},
		"no system": {"crs.missing", assemble.Input{Path: changed(t, "UPDATE gpkg_geometry_columns SET srs_id=0")}, assemble.Options{}},
		"other system": {"crs.unsupported", assemble.Input{Path: changed(t, `INSERT INTO gpkg_spatial_ref_sys (srs_name, srs_id, organization, organization_coordsys_id, definition)
			VALUES ('Swiss', 2056, 'EPSG', 2056, 'PROJCS["CH1903+ / LV95",GEOGCS["CH1903+",DATUM["CH1903+",SPHEROID["Bessel 1841",6377397.155,299.1528128]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]]');
			UPDATE gpkg_geometry_columns SET srs_id=2056`)}, assemble.Options{}},
		"blob as id": {"property.type", assemble.Input{Path: changed(t, noTriggers+"UPDATE everything SET lot=x'00'")}, assemble.Options{}},
		"not UTF-8":  {"encoding.not_utf8", assemble.Input{Path: changed(t, noTriggers+"UPDATE everything SET lot=CAST(x'ff41' AS TEXT)")}, assemble.Options{}},
		"no lot":     {"feature.unattributed", assemble.Input{Path: changed(t, noTriggers+"UPDATE everything SET lot=NULL WHERE fid=3")}, assemble.Options{}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := assemble.Open(t.Context(), []assemble.Input{c.in}, c.o)
			var refusal *importer.Refusal
			require.ErrorAs(t, err, &refusal)
			assert.Equal(t, c.rule, refusal.Finding.Rule, refusal.Error())
			assert.Negative(t, refusal.Finding.Offset)
			assert.NotEmpty(t, refusal.Finding.File)
		})
	}
}

// A geometry with curves refuses its lot and tells what to do.
func TestCurves(t *testing.T) {
	b := openOne(t, assemble.Input{Path: changed(t, "UPDATE everything SET geom=x'47500001E6100000010A00000000000000' WHERE fid=2")}, assemble.Options{})
	item := b.Lot(0)
	require.Nil(t, item.Lot)
	require.Equal(t, []string{"geometry.type"}, rules(item))
	assert.Contains(t, item.Findings[0].Text, "CONVERT_TO_LINEAR")
	assert.Equal(t, 1, item.Findings[0].Feature)
	assert.NotNil(t, b.Lot(1).Lot)
}

// A column of whole numbers holds lot ids as well as one of text does.
func TestWholeNumbersAsLots(t *testing.T) {
	b := openOne(t, assemble.Input{Path: changed(t, "ALTER TABLE everything ADD COLUMN no INTEGER; UPDATE everything SET no = 100 + (fid > 3)")},
		assemble.Options{LotProperty: "NO"})
	require.Equal(t, 2, b.Len())
	assert.Equal(t, "100", b.ID(0))
	assert.NotNil(t, b.Lot(1).Lot)
}

// What is unpacked is bounded, and so is what is copied.
func TestTooLargeTables(t *testing.T) {
	text := readFile(t, imports+"two_lots.gpkg")
	for _, c := range []struct {
		body   []byte
		limits importer.Limits
	}{
		{zipped(t, text), importer.Limits{Body: 50_000}},
		{text, importer.Limits{Store: 50_000}},
	} {
		_, err := assemble.Open(t.Context(), []assemble.Input{{Name: "in", Reader: bytes.NewReader(c.body)}}, assemble.Options{Limits: c.limits})
		assert.ErrorContains(t, err, "body.too_large")
	}
	half := zipped(t, text)
	half = half[:len(half)/2]
	_, err := assemble.Open(t.Context(), []assemble.Input{{Name: "in", Reader: bytes.NewReader(half)}}, assemble.Options{})
	assert.ErrorContains(t, err, "body.truncated")
}

// The demo as a survey office would hand it out, a table a layer without
// labels and in metres, comes to the same lots as the labelled file: joined by
// place, cut at the lot lines.
func TestDemoGeoPackage(t *testing.T) {
	const demo = "../../testdata/lots/larkenfold/"
	want := openOne(t, assemble.Input{Path: demo + "subdivision.geojson"}, assemble.Options{})
	got := openOne(t, assemble.Input{Path: demo + "larkenfold.gpkg"}, assemble.Options{LotProperty: "pin"})
	require.Equal(t, want.Len(), got.Len())
	for i := range want.Len() {
		w, g := want.Lot(i).Lot, got.Lot(i).Lot
		require.NotNil(t, g, got.ID(i))
		assert.Equal(t, w.ID, g.ID)
		assert.Equal(t, w.Supply, g.Supply, w.ID)
		for layer, pair := range map[string][2]geom.Region{
			"parcel": {w.Parcel, g.Parcel}, "building": {w.Building, g.Building}, "hardscape": {w.Hardscape, g.Hardscape}, "water": {w.Water, g.Water},
		} {
			assert.InDelta(t, pair[0].AreaM2(), pair[1].AreaM2(), gridArea(pair[0]), "%s %s", w.ID, layer)
		}
	}
}
