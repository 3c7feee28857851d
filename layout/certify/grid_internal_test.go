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
			assert.True(t, hasSquareAt(g, e.A), "corner %v", e.A)
		}
	}
}

func hasSquareAt(g *grid, p geom.Point) bool {
	for _, c := range g.cells {
		if g.bounds(c.min).Has(p) {
			return true
		}
	}
	return false
}
