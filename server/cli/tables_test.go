package cli_test

import (
	"compress/gzip"
	"context"
	"database/sql"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/cli"
)

const imports = "../../testdata/import/"

// A GeoPackage is designed as the GeoJSON it was made of, byte for byte, and a
// table is named after its file.
func TestDesignOfGeoPackage(t *testing.T) {
	design := func(in ...string) string {
		r := run(t, "", append(in, "--head-pressure", "50psi", "--coverage", "80%", "-q", "-o", "-")...)
		require.Equal(t, cli.ExitOK, r.code, r.stderr)
		return r.out
	}
	want := design("design", imports+"two_lots.geojson")
	assert.Equal(t, want, design("design", imports+"two_lots.gpkg"))
	assert.Equal(t, want, design("design", imports+"two_lots.gpkg:everything"))
}

// What each table is taken for is shown before anything is designed.
func TestCheckOfGeoPackage(t *testing.T) {
	r := run(t, "", "check", imports+"two_lots_tables.gpkg", "--json")
	require.Equal(t, cli.ExitOK, r.code, r.stderr)
	assert.Contains(t, r.out, `table \"buildings\", in EPSG:32625, is read as layer building`)

	tables := imports + "two_lots_tables.gpkg:"
	r = run(t, "", "check", "--layer", "parcel="+tables+"parcels", "--layer", "building="+tables+"buildings", "--lot-property", "apn")
	assert.Equal(t, cli.ExitOK, r.code, r.stderr)
	assert.Contains(t, r.out, "2 sound")

	r = run(t, "", "check", "--layer", "parcel="+tables+"roofs")
	assert.Equal(t, cli.ExitFault, r.code)
	assert.Contains(t, r.stderr, `it has "buildings", "hardscapes", "parcels"`)
}

func TestNeverOverATableInUse(t *testing.T) {
	r := run(t, "", "design", imports+"two_lots.gpkg:everything", "--head-pressure", "50psi", "-o", imports+"two_lots.gpkg", "--format", "geojson")
	assert.Equal(t, cli.ExitUsage, r.code)
	assert.Contains(t, r.stderr, "is an input and an output")
}

// The map as a GeoPackage holds what the map as GeoJSON holds, the same bytes
// however many work on it; as a stream and gzipped too.
func TestDesignToGeoPackage(t *testing.T) {
	dir := t.TempDir()
	input := write(t, filepath.Join(dir, "in.geojson"), collection(yards(3)))
	design := []string{"design", input, "--head-pressure", "55psi", "-q", "-o"}
	one, two := filepath.Join(dir, "one.gpkg"), filepath.Join(dir, "two.gpkg")
	require.Equal(t, cli.ExitOK, run(t, "", append(design, one, "--workers", "1")...).code)
	require.Equal(t, cli.ExitOK, run(t, "", append(design, two, "--workers", "3")...).code)
	assert.True(t, read(t, one) == read(t, two))
	r := run(t, "", append(design, "-", "--format", "gpkg")...)
	require.Equal(t, cli.ExitOK, r.code, r.stderr)
	assert.True(t, read(t, one) == r.out)
	require.Equal(t, cli.ExitOK, run(t, "", append(design, one+".gz")...).code)
	z, err := gzip.NewReader(strings.NewReader(read(t, one+".gz")))
	require.NoError(t, err)
	unzipped, err := io.ReadAll(z)
	require.NoError(t, err)
	assert.True(t, read(t, one) == string(unzipped))
	require.Equal(t, cli.ExitOK, run(t, "", append(design, filepath.Join(dir, "out")+"/", "--format", "gpkg")...).code)
	assert.True(t, read(t, one) == read(t, filepath.Join(dir, "out", "map.gpkg")))

	heads := map[string]int{}
	for _, f := range parse(t, run(t, "", append(design, "-")...).out) {
		heads[f.Properties.Layer]++
	}
	db, err := sql.Open("sqlite", "file:"+one)
	require.NoError(t, err)
	defer db.Close()
	for layer, want := range heads {
		var got int
		require.NoError(t, db.QueryRow(`SELECT count(*) FROM "`+layer+`"`).Scan(&got))
		assert.Equal(t, want, got, layer)
	}
}

// An interrupted run leaves a GeoPackage with the lots that are done.
func TestInterruptedGeoPackage(t *testing.T) {
	dir := t.TempDir()
	input := write(t, filepath.Join(dir, "in.geojson"), collection(yards(60)))
	ctx, cancel := context.WithCancel(t.Context())
	stderr := &cancelAfter{lines: 3, cancel: cancel}
	out := filepath.Join(dir, "out.gpkg")
	code := cli.Run(ctx, []string{"design", input, "--head-pressure", "55psi", "--workers", "2", "--progress", "json", "-o", out}, strings.NewReader(""), io.Discard, stderr)
	require.Equal(t, cli.ExitFault, code, stderr.String())
	db, err := sql.Open("sqlite", "file:"+out)
	require.NoError(t, err)
	defer db.Close()
	var lots int
	var sound string
	require.NoError(t, db.QueryRow("SELECT count(*) FROM lot").Scan(&lots))
	require.NoError(t, db.QueryRow("PRAGMA integrity_check").Scan(&sound))
	assert.Equal(t, "ok", sound)
	assert.Contains(t, stderr.String(), fmt.Sprintf("interrupted: %d of 60 lots are done", lots))
	assert.Equal(t, []string{"in.geojson", "out.gpkg"}, names(t, dir))
}

// A drawing holds every head, wherever it is written to.
func TestDesignToDrawing(t *testing.T) {
	dir := t.TempDir()
	input := write(t, filepath.Join(dir, "in.geojson"), collection(yards(2)))
	design := []string{"design", input, "--head-pressure", "55psi", "-q", "-o"}
	path := filepath.Join(dir, "out.dxf")
	require.Equal(t, cli.ExitOK, run(t, "", append(design, path)...).code)
	r := run(t, "", append(design, "-", "--format", "dxf")...)
	require.Equal(t, cli.ExitOK, r.code, r.stderr)
	assert.True(t, read(t, path) == r.out)
	heads := 0
	for _, f := range parse(t, run(t, "", append(design, "-")...).out) {
		if f.Properties.Layer == "head" {
			heads++
		}
	}
	assert.Equal(t, heads, strings.Count(r.out, "POINT\r\n  8\r\nhead\r\n"))
	assert.True(t, strings.HasSuffix(r.out, "EOF\r\n"))
}
