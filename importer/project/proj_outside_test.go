//go:build outside

package project_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/project"
)

// run feeds lines to one of PROJ's programs (Debian package proj-bin) and
// returns the first two numbers of every line of the answer.
func run(t *testing.T, in []importer.Position, program string, args ...string) []importer.Position {
	var text bytes.Buffer
	for _, p := range in {
		fmt.Fprintf(&text, "%.12f %.12f\n", p[0], p[1])
	}
	cmd := exec.Command(program, args...)
	cmd.Stdin = &text
	out, err := cmd.Output()
	require.NoError(t, err)
	var ps []importer.Position
	for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		var p importer.Position
		_, err := fmt.Sscan(line, &p[0], &p[1])
		require.NoError(t, err, line)
		ps = append(ps, p)
	}
	require.Len(t, ps, len(in))
	return ps
}

// Our plane against proj +proj=tmerc on the same origin, to 0.1 mm.
func TestPlaneAgainstPROJ(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 40 {
		plane := project.NewPlane(importer.Position{r.Float64()*340 - 170, r.Float64()*160 - 80})
		o := plane.Origin()
		var in []importer.Position
		for range 10 {
			in = append(in, importer.Position{o[0] + (r.Float64()-0.5)*0.04, o[1] + (r.Float64()-0.5)*0.04})
		}
		want := run(t, in, "proj", "-d", "6", "+proj=tmerc", fmt.Sprintf("+lat_0=%.7f", o[1]), fmt.Sprintf("+lon_0=%.7f", o[0]), "+k=1", "+ellps=WGS84")
		for k, p := range in {
			v := plane.Vec(p)
			assert.InDelta(t, want[k][0], v.X/1000, 1e-4)
			assert.InDelta(t, want[k][1], v.Y/1000, 1e-4)
		}
	}
}

// Every kind of supported system against cs2cs, to 1e-9 degrees (0.1 mm).
func TestSystemsAgainstPROJ(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for _, c := range []struct {
		code                     int
		west, east, south, north float64 // of the area tried, in the system's units
		proj                     string
	}{
		{32615, 300e3, 700e3, 1e6, 8e6, "+proj=utm +zone=15 +ellps=WGS84"},
		{32733, 300e3, 700e3, 3e6, 9e6, "+proj=utm +zone=33 +south +ellps=WGS84"},
		{25832, 300e3, 700e3, 4e6, 7e6, "+proj=utm +zone=32 +ellps=GRS80"},
		{26910, 300e3, 700e3, 4e6, 7e6, "+proj=utm +zone=10 +ellps=GRS80"},
		{3857, -2e7, 2e7, -1e7, 1e7, "+proj=webmerc +datum=WGS84"},
		{2154, 200e3, 1200e3, 6.1e6, 7.1e6, "+proj=lcc +lat_0=46.5 +lon_0=3 +lat_1=49 +lat_2=44 +x_0=700000 +y_0=6600000 +ellps=GRS80"},
		{3944, 1.4e6, 2e6, 3.1e6, 3.3e6, "+proj=lcc +lat_0=44 +lon_0=3 +lat_1=43.25 +lat_2=44.75 +x_0=1700000 +y_0=3200000 +ellps=GRS80"},
	} {
		system, ok := project.Lookup(fmt.Sprintf("urn:ogc:def:crs:EPSG::%d", c.code))
		require.True(t, ok)
		var in []importer.Position
		for range 50 {
			in = append(in, importer.Position{c.west + r.Float64()*(c.east-c.west), c.south + r.Float64()*(c.north-c.south)})
		}
		args := append([]string{"-I", "-f", "%.12f"}, strings.Fields(c.proj)...)
		want := run(t, in, "proj", args...)
		byCode := run(t, in, "cs2cs", "-f", "%.12f", fmt.Sprintf("EPSG:%d", c.code), "+to", "+proj=longlat", "+datum=WGS84")
		for k, p := range in {
			got := system.LonLat(p)
			for axis := range got {
				assert.InDelta(t, want[k][axis], got[axis], 1e-9, "EPSG:%d %v", c.code, p)
				assert.InDelta(t, byCode[k][axis], got[axis], 3e-5, "EPSG:%d %v by its code", c.code, p)
			}
		}
	}
}
