package geom_test

import (
	"math"
	"math/rand/v2"
	"testing"

	sf "github.com/peterstace/simplefeatures/geom"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/geom"
)

func box(x0, y0, x1, y1 int64) geom.Region {
	return geom.Region{{{geom.Pt(x0, y0), geom.Pt(x1, y0), geom.Pt(x1, y1), geom.Pt(x0, y1)}}}
}

func TestOverlayByHand(t *testing.T) {
	a, b := box(0, 0, 4000, 4000), box(2000, 2000, 6000, 6000)
	cases := map[string]struct {
		got   geom.Region
		area  float64
		parts int
		rings int
	}{
		"union of two overlapping squares":    {geom.Union(a, b), 28, 1, 1},
		"intersection":                        {geom.Intersection(a, b), 4, 1, 1},
		"difference":                          {geom.Difference(a, b), 12, 1, 1},
		"union of squares sharing an edge":    {geom.Union(box(0, 0, 1000, 1000), box(1000, 0, 2000, 1000)), 2, 1, 1},
		"union of squares sharing a corner":   {geom.Union(box(0, 0, 1000, 1000), box(1000, 1000, 2000, 2000)), 2, 2, 2},
		"hole":                                {geom.Difference(a, box(1000, 1000, 2000, 2000)), 15, 1, 2},
		"hole touching the shell at a corner": {geom.Difference(a, diamond(0, 2000, 1000).plus(1000)), 14, 1, 2},
		"island in a hole":                    {geom.Union(geom.Difference(a, box(1000, 1000, 3000, 3000)), box(1500, 1500, 2500, 2500)), 13, 2, 3},
		"identical":                           {geom.Union(a, a), 16, 1, 1},
		"identical taken away":                {geom.Difference(a, a), 0, 0, 0},
		"nothing at all":                      {geom.Union(), 0, 0, 0},
		"far apart":                           {geom.Intersection(a, box(9000, 0, 9001, 1)), 0, 0, 0},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			assert.InDelta(t, c.area, c.got.AreaM2(), 1e-9)
			assert.Len(t, c.got, c.parts)
			assert.Equal(t, c.rings, countRings(c.got))
		})
	}
}

type shape geom.Region

// diamond is a square on its tip, centred at (cx, cy), of half diagonal r.
func diamond(cx, cy, r int64) shape {
	return shape{{{geom.Pt(cx-r, cy), geom.Pt(cx, cy-r), geom.Pt(cx+r, cy), geom.Pt(cx, cy+r)}}}
}

func (s shape) plus(dx int64) geom.Region {
	out := geom.Region{}
	for _, poly := range s {
		var p geom.Polygon
		for _, ring := range poly {
			var r geom.Ring
			for _, q := range ring {
				r = append(r, geom.Pt(q.X+dx, q.Y))
			}
			p = append(p, r)
		}
		out = append(out, p)
	}
	return out
}

func countRings(g geom.Region) int {
	n := 0
	for range g.Rings() {
		n++
	}
	return n
}

func TestNormalizeRules(t *testing.T) {
	inner := geom.Ring{geom.Pt(1000, 1000), geom.Pt(2000, 1000), geom.Pt(2000, 2000), geom.Pt(1000, 2000)}
	outer := geom.Ring{geom.Pt(0, 0), geom.Pt(3000, 0), geom.Pt(3000, 3000), geom.Pt(0, 3000)}
	assert.InDelta(t, 9, geom.Normalize([]geom.Ring{outer, inner}).AreaM2(), 1e-9, "same way round: no hole")
	assert.InDelta(t, 8, geom.Normalize([]geom.Ring{outer, inner.Reversed()}).AreaM2(), 1e-9)
	assert.InDelta(t, 8, geom.NormalizeEvenOdd([]geom.Ring{outer, inner}).AreaM2(), 1e-9)
	assert.Empty(t, geom.NormalizePositive([]geom.Ring{outer.Reversed()}))
	bowtie := geom.Ring{geom.Pt(0, 0), geom.Pt(2000, 2000), geom.Pt(2000, 0), geom.Pt(0, 2000)}
	assert.InDelta(t, 2, geom.Normalize([]geom.Ring{bowtie}).AreaM2(), 1e-9, "both lobes")
	assert.InDelta(t, 1, geom.NormalizePositive([]geom.Ring{bowtie}).AreaM2(), 1e-9, "the lobe that runs counter-clockwise")
}

// TestOverlayAgainstLibrary compares areas with simplefeatures (a port of JTS,
// itself measured equal to GEOS) on random scribbles and star polygons.
func TestOverlayAgainstLibrary(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	for range 300 {
		a, b := randomStar(rng), randomStar(rng)
		la, lb := library(t, a), library(t, b)
		for name, op := range map[string]struct {
			ours   geom.Region
			theirs func(sf.Geometry, sf.Geometry) (sf.Geometry, error)
		}{
			"union":        {geom.Union(a, b), sf.Union},
			"intersection": {geom.Intersection(a, b), sf.Intersection},
			"difference":   {geom.Difference(a, b), sf.Difference},
		} {
			theirs, err := op.theirs(la, lb)
			require.NoError(t, err)
			perimeter := 100_000.0 // mm, of the larger stars; noding moves an edge by under 1 mm
			assert.InDelta(t, theirs.Area(), op.ours.AreaM2()*1e6, perimeter, name)
			requireValid(t, op.ours)
		}
	}
}

func library(t *testing.T, g geom.Region) sf.Geometry {
	t.Helper()
	var polys []sf.Polygon
	for _, poly := range g {
		var rings []sf.LineString
		for _, ring := range poly {
			var xy []float64
			for _, p := range append(ring[:len(ring):len(ring)], ring[0]) {
				xy = append(xy, float64(p.X), float64(p.Y))
			}
			rings = append(rings, sf.NewLineStringXY(xy...))
		}
		polys = append(polys, sf.NewPolygon(rings))
	}
	return sf.NewMultiPolygon(polys).AsGeometry()
}

// requireValid checks a region by the library's own rules and ours: shells
// counter-clockwise, holes clockwise.
func requireValid(t *testing.T, g geom.Region) {
	t.Helper()
	require.NoError(t, library(t, g).Validate())
	for _, poly := range g {
		require.Positive(t, poly[0].Area2())
		for _, h := range poly[1:] {
			require.Negative(t, h.Area2())
		}
	}
}

// randomStar returns a region made of a star-shaped ring of up to 40 points,
// sometimes with coarse coordinates so that degenerate contacts occur.
func randomStar(rng *rand.Rand) geom.Region {
	n := 3 + rng.IntN(38)
	grid := []int64{1, 1, 500, 2000}[rng.IntN(4)]
	cx, cy := float64(rng.IntN(8000)), float64(rng.IntN(8000))
	var ring geom.Ring
	for i := range n {
		phi := 2 * math.Pi * (float64(i) + 0.8*rng.Float64()) / float64(n)
		r := 1000 + 9000*rng.Float64()
		p := geom.Vec{X: cx + r*math.Cos(phi), Y: cy + r*math.Sin(phi)}.Round()
		ring = append(ring, geom.Pt(p.X/grid*grid, p.Y/grid*grid))
	}
	return geom.Normalize([]geom.Ring{ring})
}

// TestScribblesNodeCleanly throws closed random walks at the noder: the result
// must be valid and must not depend on where a ring starts or which way it runs.
func TestScribblesNodeCleanly(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	for range 200 {
		var ring geom.Ring
		for range 3 + rng.IntN(30) {
			ring = append(ring, geom.Pt(rng.Int64N(60), rng.Int64N(60)))
		}
		g := geom.Normalize([]geom.Ring{ring})
		requireValid(t, g)
		turned := append(append(geom.Ring{}, ring[len(ring)/2:]...), ring[:len(ring)/2]...)
		require.Equal(t, g, geom.Normalize([]geom.Ring{turned}))
		require.Equal(t, g, geom.Normalize([]geom.Ring{ring.Reversed()}))
	}
}

func TestOpenedKeepsCornersAndDropsStrips(t *testing.T) {
	yard := geom.Union(box(0, 0, 10_000, 10_000), box(10_000, 4000, 15_000, 4500))
	got, err := geom.Opened(yard, 300)
	require.NoError(t, err)
	assert.InDelta(t, 100, got.AreaM2(), 0.01, "the 0.5 m strip goes, the square keeps its corners")
	requireValid(t, got)
	same, err := geom.Opened(box(0, 0, 600, 10_000), 300)
	require.NoError(t, err)
	assert.Empty(t, same, "a strip of exactly the least width erodes to nothing")
	kept, err := geom.Opened(box(0, 0, 604, 10_000), 300)
	require.NoError(t, err)
	assert.InDelta(t, 6.04, kept.AreaM2(), 0.02)
}

func TestBufferAreas(t *testing.T) {
	round, err := geom.Buffer(box(0, 0, 1000, 1000), 300, geom.RoundJoin)
	require.NoError(t, err)
	assert.InDelta(t, 1+4*0.3+math.Pi*0.09, round.AreaM2(), 0.001)
	mitred, err := geom.Buffer(box(0, 0, 1000, 1000), 300, geom.MitreJoin)
	require.NoError(t, err)
	assert.InDelta(t, 1.6*1.6, mitred.AreaM2(), 1e-6)
	wall, err := geom.LineBuffer(geom.Line{geom.Pt(0, 0), geom.Pt(2000, 0)}, 50)
	require.NoError(t, err)
	assert.InDelta(t, 2*0.1+math.Pi*0.0025, wall.AreaM2(), 0.0002)
}
