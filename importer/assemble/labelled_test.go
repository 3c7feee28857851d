package assemble_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/layout"
)

// Labelled features, read again, are the same lots, refused ones among them.
func TestLabelledAgain(t *testing.T) {
	for _, in := range []assemble.Input{
		{Path: imports + "two_lots.geojson"},
		{Path: imports + "two_lots.gpkg"},
		{Path: imports + "two_lots_tables.gpkg"},
		{Path: imports + "two_lots.zip"},
		{Path: imports + "two_lots_utm.geojson"},
		{Path: "../../testdata/lots/larkenfold/larkenfold.gpkg"},
		{Path: changed(t, "UPDATE everything SET geom=x'47500001E6100000010A00000000000000' WHERE fid=2")}, // curves
	} {
		first := openOne(t, in, assemble.Options{})
		var text bytes.Buffer
		for i := range first.Len() {
			features, err := first.Labelled(i)
			require.NoError(t, err)
			for _, f := range features {
				text.Write(append(f, '\n'))
			}
		}
		again := openOne(t, assemble.Input{Name: "again.geojsonl", Reader: &text}, assemble.Options{})
		require.Equal(t, first.Len(), again.Len(), in.Path)
		for i := range first.Len() {
			want, got := first.Lot(i), again.Lot(i)
			assert.Equal(t, want.Lot, got.Lot, "%s %s", in.Path, want.ID)
			assert.Equal(t, rules(want), rules(got), "%s %s", in.Path, want.ID)
		}
	}
}

// What files hold is listed with what it may be, before anything is read as lots.
func TestList(t *testing.T) {
	const demo = "../../testdata/lots/larkenfold/"
	got, err := assemble.List(t.Context(), []assemble.Input{
		{Path: imports + "two_lots.gpkg"}, {Path: demo + "larkenfold.gpkg"}, {Path: demo + "building.geojson"}, {Path: demo + "subdivision.geojson"},
	}, assemble.Options{})
	require.NoError(t, err)
	by := map[string]assemble.Listed{}
	for _, l := range got {
		by[l.File+":"+l.Table] = l
	}
	one := by[imports+"two_lots.gpkg:everything"]
	assert.True(t, one.Labelled)
	assert.Positive(t, one.Features)
	parcels := by[demo+"larkenfold.gpkg:parcels"]
	assert.Equal(t, layout.LayerParcel, parcels.Layer)
	assert.Equal(t, []any{24, importer.Polygon, false}, []any{parcels.Features, parcels.Geometry, parcels.Labelled})
	assert.Contains(t, parcels.Columns, "pin")
	assert.NotEmpty(t, parcels.System)
	roofs := by[demo+"building.geojson:"]
	assert.Equal(t, []any{layout.LayerBuilding, false, "WGS 84"}, []any{roofs.Layer, roofs.Labelled, roofs.System})
	assert.Equal(t, 32, roofs.Features)
	assert.True(t, by[demo+"subdivision.geojson:"].Labelled)

	_, err = assemble.List(t.Context(), []assemble.Input{{Name: "in", Reader: bytes.NewReader([]byte("{}"))}}, assemble.Options{})
	assert.ErrorContains(t, err, "geojson.not_collection")
}
