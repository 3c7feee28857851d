package certify

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout/geom"
)

// TestAreasAgree: the lawn measured in every cell and atom is that of the exact
// overlay with its square, less what rounding down takes.
func TestAreasAgree(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 12))
	for _, s := range []sizes{{cellMM: 1024, atomMM: 128}, {cellMM: 256, atomMM: 32}} {
		lawn := randomLawn(rng)
		g := newGrid(lawn, s)
		for range 300 {
			c := g.cells[rng.IntN(len(g.cells))]
			for k := range int(s.atomsPerSide() * s.atomsPerSide()) {
				exact := geom.Intersection(lawn, regionOf(s.atom(c.min, k)))
				got := c.areaOf(c.lawn&(1<<k), s.atomMM)
				assert.InDelta(t, float64(exact.Area2())/2, float64(got), 3*float64(s.atomMM), "overlay snaps to whole millimetres")
			}
		}
	}
}

func regionOf(b geom.Bounds) geom.Region {
	return geom.Region{{{b.Min, geom.Pt(b.Max.X, b.Min.Y), b.Max, geom.Pt(b.Min.X, b.Max.Y)}}}
}

// TestSquaresLieInTheLawn: every witness square holds lawn, no more than there
// is, and every corner of the lawn has one at it.
func TestSquaresLieInTheLawn(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 2))
	for range 10 {
		lawn := randomLawn(rng)
		g := newSquares(lawn, 512)
		for i, c := range g.cells {
			exact := geom.Intersection(lawn, regionOf(g.bounds(c.min)))
			assert.Positive(t, c.area)
			assert.LessOrEqual(t, float64(c.area), float64(exact.Area2())/2+3*float64(g.cellMM))
			if i > 0 {
				assert.Negative(t, g.cells[i-1].min.Compare(c.min), "in order, without repeats")
			}
		}
		for e := range lawn.Edges() {
			assert.True(t, hasSquareAt(g, e.A) || !lawnAt(lawn, g, e.A), "corner %v", e.A)
		}
	}
}

// lawnAt reports whether a square around p holds more lawn than is forgiven, by
// more than overlay loses by snapping.
func lawnAt(lawn geom.Region, g *grid, p geom.Point) bool {
	for _, d := range [4]geom.Point{{}, {X: -1}, {Y: -1}, {X: -1, Y: -1}} {
		square := regionOf(g.bounds(geom.Pt(g.floor(p.X+d.X), g.floor(p.Y+d.Y))))
		if exact := geom.Intersection(lawn, square); exact.Area2()/2 > leastSquareMM2+4*g.cellMM {
			return true
		}
	}
	return false
}

func hasSquareAt(g *grid, p geom.Point) bool {
	for _, c := range g.cells {
		if g.bounds(c.min).Has(p) {
			return true
		}
	}
	return false
}

// TestFineSquares: every place in doubt has a small square at it, unless there
// is next to no lawn.
func TestFineSquares(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 3))
	lawn := randomLawn(rng)
	var doubtful []geom.Point
	for range 200 {
		doubtful = append(doubtful, geom.Pt(rng.Int64N(20_000), rng.Int64N(20_000)))
	}
	g := newFineSquares(lawn, 512, doubtful)
	held := 0
	for _, p := range doubtful {
		if lawn.Locate(p) == geom.Interior && lawnAt(lawn, g, p) {
			held++
			assert.True(t, hasSquareAt(g, p), "%v", p)
		}
	}
	assert.Greater(t, held, 100)
	for _, c := range g.cells {
		assert.Greater(t, c.area, int64(leastSquareMM2))
	}
	assert.Equal(t, int64(fineHalf), g.leafHalf())
	assert.Equal(t, int64(leafHalf), newSquares(lawn, 512).leafHalf())
}
