package project_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/importer"
	"lotwright/importer/project"
	"lotwright/layout/geom"
)

func geometry(t importer.GeometryType, parts ...[][]importer.Position) importer.Geometry {
	return importer.Geometry{Type: t, Parts: parts}
}

func TestCutByHand(t *testing.T) {
	box := importer.Bounds{Max: importer.Position{10, 10}}
	inside := geometry(importer.Polygon, [][]importer.Position{{{1, 1}, {9, 1}, {9, 9}, {1, 1}}})
	got, cut := project.Cut(inside, box)
	assert.False(t, cut)
	assert.Equal(t, inside, got)

	got, cut = project.Cut(geometry(importer.Polygon, [][]importer.Position{{{20, 20}, {30, 20}, {30, 30}, {20, 20}}}), box)
	assert.True(t, cut)
	assert.Empty(t, got.Parts)

	got, _ = project.Cut(geometry(importer.LineString, [][]importer.Position{{{-5, 5}, {15, 5}, {15, 8}, {5, 8}}}), box)
	assert.Equal(t, [][][]importer.Position{{{{0, 5}, {10, 5}}}, {{{10, 8}, {5, 8}}}}, got.Parts)

	got, _ = project.Cut(geometry(importer.MultiPoint, [][]importer.Position{{{1, 1}}}, [][]importer.Position{{{11, 1}}}), box)
	assert.Equal(t, [][][]importer.Position{{{{1, 1}}}}, got.Parts)

	got, cut = project.Cut(importer.Geometry{Type: importer.Polygon}, box)
	assert.True(t, cut)
	assert.Empty(t, got.Parts)
}

// Cutting in degrees and then intersecting in the plane is intersecting in the
// plane, but for the grid.
func TestCutKeepsWhatIsInside(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	plane := project.NewPlane(importer.Position{-30, 40})
	const metre = 1. / 111_000
	for range 300 {
		ring := make([]importer.Position, 3+r.IntN(12))
		for k := range ring {
			ring[k] = importer.Position{-30 + (r.Float64()-0.5)*400*metre, 40 + (r.Float64()-0.5)*400*metre}
		}
		g := geometry(importer.Polygon, [][]importer.Position{ring})
		box := importer.Bounds{Min: importer.Position{-30 - 60*metre, 40 - 60*metre}, Max: importer.Position{-30 + 60*metre, 40 + 60*metre}}
		lot := geom.Region{{{geom.Pt(-30_000, -40_000), geom.Pt(35_000, -30_000), geom.Pt(30_000, 40_000), geom.Pt(-40_000, 30_000)}}}
		cut, _ := project.Cut(g, box)
		want := geom.Intersection(plane.Region(g), lot)
		got := geom.Intersection(plane.Region(cut), lot)
		assert.InDelta(t, want.AreaM2(), got.AreaM2(), 0.5)
	}
}

func TestCentroid(t *testing.T) {
	square := []importer.Position{{1, 1}, {3, 1}, {3, 3}, {1, 3}, {1, 1}}
	assert.Equal(t, importer.Position{2, 2}, project.Centroid(square))
	ell := []importer.Position{{0, 0}, {3, 0}, {3, 1}, {1, 1}, {1, 3}, {0, 3}}
	c := project.Centroid(ell)
	assert.InDelta(t, 1.1, c[0], 1e-12)
	assert.InDelta(t, 1.1, c[1], 1e-12)
	assert.Equal(t, importer.Position{}, project.Centroid(nil))
	assert.Equal(t, importer.Position{5, 6}, project.Centroid([]importer.Position{{5, 6}, {5, 6}}))
	bowTie := []importer.Position{{0, 0}, {2, 2}, {2, 0}, {0, 2}}
	assert.Equal(t, importer.Position{1, 1}, project.Centroid(bowTie))
}

// To the bit: where a ring starts, which way it runs and what it repeats.
func TestCentroidDoesNotDependOnForm(t *testing.T) {
	r := rand.New(rand.NewPCG(10, 10))
	for range 500 {
		ring := make([]importer.Position, 3+r.IntN(20))
		for k := range ring {
			ring[k] = importer.Position{7 + r.Float64()*1e-3, 47 + r.Float64()*1e-3}
		}
		want := project.Centroid(ring)
		n := r.IntN(len(ring))
		var other []importer.Position
		for k := range ring {
			p := ring[(n+len(ring)-k)%len(ring)]
			other = append(other, p, p)
		}
		assert.Equal(t, want, project.Centroid(append(other, other[0])))
	}
}

func TestLookup(t *testing.T) {
	for name, want := range map[string]struct {
		known, degrees bool
	}{
		"urn:ogc:def:crs:OGC:1.3:CRS84":                {true, true},
		"urn:ogc:def:crs:OGC::CRS84":                   {true, true},
		"http://www.opengis.net/def/crs/OGC/1.3/CRS84": {true, true},
		"EPSG:4326":                                   {true, true},
		"urn:ogc:def:crs:EPSG::4326":                  {true, true},
		"urn:ogc:def:crs:EPSG:6.9:4258":               {true, true},
		"http://www.opengis.net/def/crs/EPSG/0/32632": {true, false},
		"urn:ogc:def:crs:EPSG::32760":                 {true, false},
		"epsg:3857":                                   {true, false},
		"urn:ogc:def:crs:EPSG::25838":                 {true, false},
		"urn:ogc:def:crs:EPSG::2154":                  {true, false},
		"urn:ogc:def:crs:EPSG::32600":                 {},
		"urn:ogc:def:crs:EPSG::32661":                 {},
		"urn:ogc:def:crs:EPSG::25839":                 {},
		"EPSG:2263":                                   {},
		"EPSG:":                                       {},
		"EPSG:x":                                      {},
		"ESRI:102100":                                 {},
		"":                                            {},
		"WGS84":                                       {},
	} {
		s, ok := project.Lookup(name)
		assert.Equal(t, want.known, ok, name)
		if ok {
			assert.Equal(t, want.degrees, s.Degrees(), name)
		}
	}
}

// A few places in systems, worked out with PROJ 9.1.1 (Debian proj-bin):
// echo x y | proj -I -f %.9f <definition of the system>.
func TestSystems(t *testing.T) {
	for _, c := range []struct {
		name     string
		x, y     float64
		lon, lat float64
	}{
		{"EPSG:32615", 500000, 4649776.22482, -93, 42},
		{"EPSG:3857", 1001875.4171394621, 6800125.454397305, 9, 52}, // README of github.com/wroge/wgs84
		{"EPSG:25832", 500000, 5761038.21, 9, 52},                   // likewise, to the centimetre
		{"EPSG:2154", 700000, 6600000, 3, 46.5},
	} {
		s, ok := project.Lookup(c.name)
		assert.True(t, ok)
		p := s.LonLat(importer.Position{c.x, c.y})
		assert.InDelta(t, c.lon, p[0], 1e-7, c.name)
		assert.InDelta(t, c.lat, p[1], 1e-7, c.name)
	}
}
