//go:build outside

package assemble_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/importer/geojson"
	"lotwright/layout"
)

// Every feature of the GeoJSON corpora (see importer/geojson) taken for a
// parcel: it becomes a lot or is refused in words.
func TestForeignParcels(t *testing.T) {
	root := os.Getenv("LOTWRIGHT_CORPORA")
	require.NotEmpty(t, root, "LOTWRIGHT_CORPORA is not set")
	tried, lots := 0, 0
	for _, pattern := range []string{"geojson-validator/tests/data/*/*json", "geojsonhint/test/data/*/*json"} {
		files, err := filepath.Glob(filepath.Join(root, pattern))
		require.NoError(t, err)
		require.NotEmpty(t, files)
		for _, path := range files {
			for _, x := range foreignFeatures(t, path) {
				x.Layer = layout.LayerParcel
				item := assemble.Lot("foreign", []importer.Feature{x}, assemble.Options{Limits: importer.Limits{MostArea: 1e12}})
				checkItem(t, item)
				tried++
				if item.Lot != nil {
					lots++
				}
			}
		}
	}
	assert.Greater(t, tried, 50)
	t.Logf("%d features, %d became lots", tried, lots)
}

func foreignFeatures(t *testing.T, path string) (out []importer.Feature) {
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	src := geojson.Source{Name: path, Reader: bytes.NewReader(text), Layer: layout.LayerBuilding}
	d, err := geojson.Open(context.Background(), src, importer.Limits{})
	if err != nil {
		if x, err := geojson.Decode(text, importer.Limits{}); err == nil {
			out = append(out, x)
		}
		return out
	}
	defer d.Close()
	for i := range d.Len() {
		out = append(out, d.Feature(i))
	}
	return out
}
