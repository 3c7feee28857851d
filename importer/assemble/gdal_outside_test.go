//go:build outside

package assemble_test

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer/assemble"
	"lotwright/layout"
)

const surveyed = "../../testdata/reference/lots_A.geojson"

func ogr2ogr(t *testing.T, args ...string) {
	out, err := exec.CommandContext(t.Context(), "ogr2ogr", args...).CombinedOutput()
	require.NoError(t, err, "%s", out)
}

// Real lots that GDAL (ogr2ogr, seen with 3.6.2) has put into a GeoPackage are
// the same lots.
func TestGDALGeoPackage(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.gpkg")
	ogr2ogr(t, "-f", "GPKG", path, surveyed, "-nln", "all")
	assert.Equal(t, lotsOf(t, assemble.Input{Path: surveyed}), lotsOf(t, assemble.Input{Path: path}))
}

// The same out of shapefiles, whose rings run the other way, and out of a plane
// grid: no area differs by more than the grid of millimetres explains.
func TestGDALShapefiles(t *testing.T) {
	want := lotsOf(t, assemble.Input{Path: surveyed})
	for _, system := range []string{"EPSG:4326", "EPSG:3857"} {
		dir := t.TempDir()
		var inputs []assemble.Input
		for _, l := range []layout.Layer{"parcel", "building", "hardscape", "water"} {
			base := filepath.Join(dir, string(l))
			ogr2ogr(t, "-f", "ESRI Shapefile", base+".shp", surveyed, "-where", fmt.Sprintf("layer='%s'", l), "-t_srs", system)
			out, err := exec.CommandContext(t.Context(), "/usr/bin/python3", "-m", "zipfile", "-c", base+".zip",
				base+".shp", base+".dbf", base+".prj", base+".cpg").CombinedOutput()
			require.NoError(t, err, "%s", out)
			inputs = append(inputs, assemble.Input{Path: base + ".zip"})
		}
		b, err := assemble.Open(t.Context(), inputs, assemble.Options{})
		require.NoError(t, err)
		defer b.Close()
		require.Equal(t, len(want), b.Len())
		for i, w := range want {
			got := b.Lot(i).Lot
			require.NotNil(t, got, b.ID(i))
			assert.InDelta(t, w.Parcel.AreaM2(), got.Parcel.AreaM2(), gridArea(w.Parcel), w.ID)
			assert.InDelta(t, w.Building.AreaM2(), got.Building.AreaM2(), gridArea(w.Building), w.ID)
			assert.InDelta(t, w.Hardscape.AreaM2(), got.Hardscape.AreaM2(), gridArea(w.Hardscape), w.ID)
			assert.InDelta(t, w.Water.AreaM2(), got.Water.AreaM2(), gridArea(w.Water), w.ID)
		}
	}
}
