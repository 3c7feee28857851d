//go:build outside

package geopackage_test

import (
	"bytes"
	"encoding/json"
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

func output(t *testing.T, program string, args ...string) string {
	out, err := exec.CommandContext(t.Context(), program, args...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.NotContains(t, string(out), "ERROR")
	return string(out)
}

// The validator that comes with GDAL (Debian package python3-gdal, seen with
// 3.6.2) checks every requirement of the standard that it knows.
func TestValidator(t *testing.T) {
	path := written(t, "a.gpkg", oneLot(t))
	output(t, "/usr/bin/python3", "/usr/lib/python3/dist-packages/osgeo_utils/samples/validate_gpkg.py", "--extra", "--warning-as-error", path)
}

// GDAL sees every layer of the schema, empty ones too, with its geometry and
// the types of its columns.
func TestGDALSeesTheSchema(t *testing.T) {
	path := written(t, "a.gpkg", oneLot(t))
	geometries := map[feature.Geometry]string{feature.Point: "Point", feature.LineString: "Line String", feature.Polygon: "Polygon", feature.MultiPolygon: "Multi Polygon"}
	types := map[feature.Type]string{feature.String: "String", feature.Integer: "Integer64", feature.Real: "Real", feature.Boolean: "Integer(Boolean)"}
	for _, l := range feature.Schema() {
		info := output(t, "ogrinfo", "-so", path, l.Name)
		assert.Contains(t, info, "Geometry: "+geometries[l.Geometry]+"\n", l.Name)
		for _, f := range l.Fields {
			assert.Contains(t, info, fmt.Sprintf("\n%s: %s (", f.Name, types[f.Type]), l.Name)
		}
	}
}

// GDAL gives back the features that were written, and finds them by place.
func TestGDALReadsFeatures(t *testing.T) {
	path := written(t, "a.gpkg", oneLot(t))
	n := 0
	for _, l := range feature.Schema() {
		out := filepath.Join(t.TempDir(), l.Name+".geojsonl")
		output(t, "ogr2ogr", "-f", "GeoJSONSeq", "-lco", "COORDINATE_PRECISION=8", out, path, l.Name)
		text, err := os.ReadFile(out)
		require.NoError(t, err)
		d := json.NewDecoder(bytes.NewReader(text))
		for d.More() {
			var got feat
			require.NoError(t, d.Decode(&got))
			var want feat
			for _, f := range oneLot(t) {
				var one feat
				require.NoError(t, json.Unmarshal(f, &one))
				if one.Properties["layer"] == l.Name && one.Properties["rule"] == got.Properties["rule"] {
					want = one
				}
			}
			assert.Equal(t, want.Properties, got.Properties)
			assert.JSONEq(t, string(want.Geometry.Coordinates), string(got.Geometry.Coordinates))
			n++
		}
	}
	assert.Equal(t, 9, n)
	assert.Contains(t, output(t, "ogrinfo", "-so", "-spat", "10.00000", "50.00000", "10.00002", "50.00002", path, "head"), "Feature Count: 1\n")
	assert.Contains(t, output(t, "ogrinfo", "-so", "-spat", "11", "50", "12", "51", path, "head"), "Feature Count: 0\n")
}

// An edit by another program keeps the index in step.
func TestGDALEdits(t *testing.T) {
	path := written(t, "a.gpkg", oneLot(t))
	output(t, "ogrinfo", path, "-dialect", "SQLite", "-sql", "UPDATE head SET geom = ST_Translate(geom, 1, 0, 0)")
	assert.Contains(t, output(t, "ogrinfo", "-so", "-spat", "11", "50", "12", "51", path, "head"), "Feature Count: 1\n")
}

// QGIS (Debian package python3-qgis, seen with 3.22.16) takes every layer with
// the style that lies in the file, has a symbol for every feature and finds
// every geometry valid.
func TestQGISDraws(t *testing.T) {
	args := []string{"-B", "testdata/draw.py", written(t, "a.gpkg", oneLot(t))}
	var want []string
	for _, l := range feature.Schema() {
		args = append(args, l.Name)
		renderer, symbols, labels := "singleSymbol", 1, "False"
		switch l.Name {
		case "trench", "note":
			renderer, symbols = "categorizedSymbol", 3
		case "head", "valve":
			labels = "True"
		}
		n := 0
		for _, f := range oneLot(t) {
			n += bytes.Count(f, []byte(`"layer":"`+l.Name+`"`))
		}
		want = append(want, fmt.Sprintf("%s True True %s %d %s %d 0 0", l.Name, renderer, symbols, labels, n))
	}
	cmd := exec.CommandContext(t.Context(), "/usr/bin/python3", args...)
	cmd.Env = append(os.Environ(), "QT_QPA_PLATFORM=offscreen", "XDG_RUNTIME_DIR="+t.TempDir(), "HOME="+t.TempDir())
	out, err := cmd.Output()
	require.NoError(t, err)
	assert.Equal(t, want, strings.Split(strings.TrimSpace(string(out)), "\n"))
}
