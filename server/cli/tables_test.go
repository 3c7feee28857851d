package cli_test

import (
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
