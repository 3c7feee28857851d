//go:build outside

package feature_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/feature"
)

// GDAL (ogrinfo, seen with 3.6.2) takes every form, and guesses for every layer
// the geometry and the column types that the schema states.
func TestGDALSeesTheSchema(t *testing.T) {
	geometries := map[feature.Geometry]string{feature.Point: "Point", feature.LineString: "Line String", feature.Polygon: "Polygon", feature.MultiPolygon: "Multi Polygon"}
	types := map[feature.Type]string{feature.String: "String", feature.Integer: "Integer", feature.Real: "Real", feature.Boolean: "Integer(Boolean)"}
	for _, l := range feature.Schema() {
		rows := ofLayer(t, l.Name)
		if len(rows) == 0 {
			continue
		}
		info := ogrinfo(t, "layer.geojsonl", bytes.Join(rows, []byte("\n")))
		assert.Contains(t, info, "Geometry: "+geometries[l.Geometry]+"\n", l.Name)
		want := ""
		for _, f := range l.Fields {
			if known(rows, f.Name) {
				want += fmt.Sprintf("%s: %s (", f.Name, types[f.Type]) + "\n"
			}
		}
		for line := range strings.Lines(want) {
			assert.Contains(t, info, "\n"+strings.TrimSuffix(line, "\n"), l.Name)
		}
	}
}

func TestGDALReadsEveryForm(t *testing.T) {
	for format, name := range map[feature.Format]string{feature.Collection: "x.geojson", feature.NewlineDelimited: "x.geojsonl", feature.TextSequence: "x.geojsons"} {
		assert.Contains(t, ogrinfo(t, name, feature.Encode(oneLot(), format)), "Feature Count: 9\n", name)
	}
}

func ofLayer(t *testing.T, name string) (rows [][]byte) {
	for _, l := range lines(t, oneLot()) {
		if bytes.Contains(l, []byte(`"layer":"`+name+`"`)) {
			rows = append(rows, l)
		}
	}
	return rows
}

// known reports whether some row has a value; of a column of nulls nothing can
// be guessed.
func known(rows [][]byte, name string) bool {
	for _, r := range rows {
		if !bytes.Contains(r, []byte(`"`+name+`":null`)) {
			return true
		}
	}
	return false
}

func ogrinfo(t *testing.T, name string, text []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, text, 0o600))
	out, err := exec.CommandContext(t.Context(), "ogrinfo", "-so", "-al", path).CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.NotContains(t, string(out), "ERROR")
	return string(out)
}
