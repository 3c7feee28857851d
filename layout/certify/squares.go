package certify

import (
	"math"
	"slices"

	"lotwright/layout/geom"
)

// squareSizes are those of witness squares: single atoms, small enough to stand
// for a point and large enough to hold lawn wherever a corner is. fineSizes are
// for places that are known to stay dry by slivers.
var (
	squareSizes = sizes{cellMM: 64, atomMM: 64}
	fineSizes   = sizes{cellMM: 16, atomMM: 16}
)

// newSquares returns witness squares of a lawn that is to be reached whole: a
// lattice of them, spacingMM apart, and those along the lawn's edges and in its
// corners, which are the hardest to reach.
func newSquares(lawn geom.Region, spacingMM int64) *grid {
	return squareSizes.witnesses(lawn, spacingMM, nil)
}

// newFineSquares returns small witness squares: as [newSquares], and one at each
// place in doubt.
func newFineSquares(lawn geom.Region, spacingMM int64, doubtful []geom.Point) *grid {
	return fineSizes.witnesses(lawn, spacingMM, doubtful)
}

// leastSquareMM2 is the lawn under which a square is no witness: placement
// forgives as much.
const leastSquareMM2 = 10

func (s sizes) witnesses(lawn geom.Region, spacingMM int64, doubtful []geom.Point) *grid {
	b := lawn.Bounds()
	var at []geom.Point
	for _, p := range doubtful {
		at = append(at, geom.Pt(s.floor(p.X), s.floor(p.Y)))
	}
	for x := s.floor(b.Min.X); x <= b.Max.X; x += spacingMM {
		for y := s.floor(b.Min.Y); y <= b.Max.Y; y += spacingMM {
			at = append(at, geom.Pt(x, y))
		}
	}
	for e := range lawn.Edges() {
		at = s.appendAlong(at, e, spacingMM)
	}
	slices.SortFunc(at, geom.Point.Compare)
	g := &grid{sizes: s}
	edges := slices.Collect(lawn.Edges())
	var r *raster
	for _, min := range slices.Compact(at) {
		if r == nil || r.min.X != min.X {
			r = s.rasterOf(edges, min.X, s.floor(b.Min.Y), b.Max.Y)
		}
		if min.Y < r.min.Y || min.Y > b.Max.Y {
			continue
		}
		if c := r.cell(min.Y); c.area > leastSquareMM2 {
			g.cells = append(g.cells, c)
		}
	}
	return g
}

// appendAlong appends the squares that hold the start of e and points along it,
// at most spacingMM apart, and their neighbours on all sides: the edge may only
// graze a square.
func (s sizes) appendAlong(at []geom.Point, e geom.Segment, spacingMM int64) []geom.Point {
	n := max(1, int(math.Ceil(e.LengthMM()/float64(spacingMM))))
	d := e.B.Sub(e.A).Vec()
	for i := range n {
		p := e.A.Vec().Add(d.Scale(float64(i) / float64(n))).Round()
		for _, dx := range [2]int64{-1, 0} {
			for _, dy := range [2]int64{-1, 0} {
				at = append(at, geom.Pt(s.floor(p.X+dx*s.cellMM/2), s.floor(p.Y+dy*s.cellMM/2)))
			}
		}
	}
	return at
}
