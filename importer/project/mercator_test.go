package project_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/importer"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/geom"
)

var _ layout.Plane = project.Plane{}

// Metres per degree of latitude and longitude on WGS 84, from the closed
// formulas of the meridian and prime vertical radii of curvature.
func TestMetresPerDegree(t *testing.T) {
	for _, c := range []struct{ lat, perLat, perLon float64 }{
		{0, 110_574, 111_320}, {30, 110_852, 96_486}, {40, 111_035, 85_394}, {45, 111_132, 78_847}, {60, 111_412, 55_800},
	} {
		const step = 0.001
		plane := project.NewPlane(importer.Position{12, c.lat})
		north := plane.Vec(importer.Position{12, c.lat + step/2}).Y - plane.Vec(importer.Position{12, c.lat - step/2}).Y
		east := plane.Vec(importer.Position{12 + step, c.lat}).X
		assert.InEpsilon(t, c.perLat, north/step/1000, 1e-4, "latitude %g", c.lat)
		assert.InEpsilon(t, c.perLon, east/step/1000, 1e-4, "latitude %g", c.lat)
	}
}

// The worked example of EPSG Guidance Note 7-2 for the transverse Mercator
// method 9807 (British National Grid, Airy ellipsoid), from memory: 50°30'N,
// 0°30'E is E 577274.99, N 69740.50, to the centimetre.
func TestGuidanceNoteExample(t *testing.T) {
	airy := project.Ellipsoid{A: 6377563.396, InvF: 299.32496}
	tm := project.NewTransverseMercator(airy, -2, 0.9996012717)
	_, north0 := tm.Forward(-2, 49)
	tm.FalseEasting, tm.FalseNorthing = 400_000, -100_000-north0
	x, y := tm.Forward(0.5, 50.5)
	assert.InDelta(t, 577_274.99, x, 0.01)
	assert.InDelta(t, 69_740.50, y, 0.01)
}

// The worked example for the Lambert conic conformal method 9802 of the same
// note (Texas South Central, Clarke 1866, US survey feet), from memory: 28°30'N,
// 96°W is E 2963503.91, N 254759.80 ft.
func TestConeExample(t *testing.T) {
	const foot = 12 / 39.37
	lonLat := project.LambertForTest(project.Ellipsoid{A: 6378206.4, InvF: 294.9786982},
		[4]float64{28 + 23./60, 30 + 17./60, 27 + 50./60, -99}, 2_000_000*foot, 0)
	p := lonLat(importer.Position{2_963_503.91 * foot, 254_759.80 * foot})
	assert.InDelta(t, -96, p[0], 1e-7)
	assert.InDelta(t, 28.5, p[1], 1e-7)
}

func TestRoundTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 10_000 {
		at := importer.Position{r.Float64()*358 - 179, r.Float64()*168 - 84}
		plane := project.NewPlane(at)
		p := importer.Position{at[0] + (r.Float64()-0.5)*0.05, at[1] + (r.Float64()-0.5)*0.05}
		v := plane.Vec(p)
		lon, lat := plane.LonLat(v.X, v.Y)
		assert.InDelta(t, p[0], lon, 1e-9)
		assert.InDelta(t, p[1], lat, 1e-9)
	}
}

// Distances between points 100 m apart must be those on the ellipsoid, by the
// radii of curvature, to a ten-thousandth of a millimetre a metre.
func TestScaleIsOne(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	f := 1 / project.WGS84.InvF
	e2 := f * (2 - f)
	for range 1000 {
		lat := r.Float64()*160 - 80
		plane := project.NewPlane(importer.Position{7, lat})
		lat = plane.Origin()[1]
		s := math.Sin(lat * math.Pi / 180)
		meridian := project.WGS84.A * (1 - e2) / math.Pow(1-e2*s*s, 1.5)
		d := 100 / meridian * 180 / math.Pi
		v := plane.Vec(importer.Position{7, lat + d/2}).Sub(plane.Vec(importer.Position{7, lat - d/2}))
		assert.InDelta(t, 100_000, v.Norm(), 0.01)
		assert.InDelta(t, 0, v.X, 1e-6)
	}
}

func TestPlaneDoesNotDependOnNoise(t *testing.T) {
	at := importer.Position{7.123456789, 47.987654321}
	assert.Equal(t, project.NewPlane(at), project.NewPlane(importer.Position{at[0] + 1e-10, at[1] - 1e-10}))
	assert.Equal(t, geom.Pt(0, 0), project.NewPlane(at).Point(project.NewPlane(at).Origin()))
}
