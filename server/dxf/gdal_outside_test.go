//go:build outside

package dxf

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// GDAL (ogr2ogr, seen with 3.6.2) reads the drawing, and PROJ brings every
// place back to the map by the plane that the drawing states, to 0.1 mm.
func TestGDALReadsTheDrawing(t *testing.T) {
	dir := t.TempDir()
	in, out := filepath.Join(dir, "a.dxf"), filepath.Join(dir, "a.geojson")
	require.NoError(t, os.WriteFile(in, []byte(drawn(t, oneLot(t))), 0o600))
	text, err := exec.CommandContext(t.Context(), "ogr2ogr", "-f", "GeoJSON", "-lco", "COORDINATE_PRECISION=10",
		"-s_srs", ProjString(10, 50), "-t_srs", "EPSG:4326", out, in).CombinedOutput()
	require.NoError(t, err, "%s", text)
	require.Empty(t, string(text))

	text, err = os.ReadFile(out)
	require.NoError(t, err)
	var c struct {
		Features []struct {
			Properties struct {
				Layer string
				Text  *string
			}
			Geometry struct {
				Type        string
				Coordinates any
			}
		}
	}
	require.NoError(t, json.Unmarshal(text, &c))
	got := map[string][]float64{}
	n := map[string]int{}
	for _, f := range c.Features {
		if f.Properties.Text == nil {
			got[f.Properties.Layer] = flat(got[f.Properties.Layer], f.Geometry.Coordinates)
			n[f.Properties.Layer]++
		}
	}
	want := map[string][]float64{}
	for _, encoded := range oneLot(t) {
		var f struct {
			Properties struct{ Layer string }
			Geometry   struct{ Coordinates any }
		}
		require.NoError(t, json.Unmarshal(encoded, &f))
		want[f.Properties.Layer] = flat(want[f.Properties.Layer], f.Geometry.Coordinates)
	}
	assert.Equal(t, map[string]int{"lot": 2, "head": 1, "wetted": 1, "dry": 2, "narrow": 1, "trench": 1, "pipe": 1, "note": 2}, n)
	for layer, numbers := range want {
		require.Len(t, got[layer], len(numbers), layer)
		assert.InDeltaSlice(t, numbers, got[layer], 1e-9, layer)
	}
}

// flat appends the longitudes and latitudes of coordinates nested anyhow.
func flat(dst []float64, coordinates any) []float64 {
	list := coordinates.([]any)
	if _, ok := list[0].(float64); ok {
		return append(dst, list[0].(float64), list[1].(float64)) // and no height
	}
	for _, c := range list {
		dst = flat(dst, c)
	}
	return dst
}
