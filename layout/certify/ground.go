package certify

import (
	"slices"

	"lotwright/layout/geom"
)

// sizes of a grid, in millimetres. A cell carries one weight; atoms are what is
// tested for being wetted.
type sizes struct{ cellMM, atomMM int64 }

func (s sizes) atomsPerSide() int64 { return s.cellMM / s.atomMM }

// bounds returns the square at min.
func (s sizes) bounds(min geom.Point) geom.Bounds {
	return geom.Bounds{Min: min, Max: geom.Pt(min.X+s.cellMM, min.Y+s.cellMM)}
}

// atom returns the bounds of atom k of the cell at min.
func (s sizes) atom(min geom.Point, k int) geom.Bounds {
	n := s.atomsPerSide()
	x, y := min.X+int64(k)/n*s.atomMM, min.Y+int64(k)%n*s.atomMM
	return geom.Bounds{Min: geom.Pt(x, y), Max: geom.Pt(x+s.atomMM, y+s.atomMM)}
}

// floor rounds v down to a side of the grid.
func (s sizes) floor(v int64) int64 {
	if v < 0 {
		v -= s.cellMM - 1
	}
	return v / s.cellMM * s.cellMM
}

// cell is a square of a grid and how much lawn its atoms hold.
type cell struct {
	min   geom.Point
	area  int64   // mm² of lawn, the sum of the atoms
	lawn  uint64  // the atoms that hold any, column by column
	atoms []int64 // mm² of lawn in each, rounded down; nil: it is all lawn
}

// grid is a set of cells with lawn in them.
type grid struct {
	sizes
	cells []cell // by place
}

// newGrid cuts the whole lawn into cells.
func newGrid(lawn geom.Region, s sizes) *grid {
	b := lawn.Bounds()
	g := &grid{sizes: s}
	edges := slices.Collect(lawn.Edges())
	for x := s.floor(b.Min.X); x <= b.Max.X; x += s.cellMM {
		r := s.rasterOf(edges, x, s.floor(b.Min.Y), b.Max.Y)
		for y := s.floor(b.Min.Y); y <= b.Max.Y; y += s.cellMM {
			if c := r.cell(y); c.area > 0 {
				g.cells = append(g.cells, c)
			}
		}
	}
	return g
}

func edgeTouches(lawn geom.Region, b geom.Bounds) bool {
	for s := range lawn.Edges() {
		if s.Bounds().Overlaps(b) && touchesBox(s, b) {
			return true
		}
	}
	return false
}

// touchesBox reports whether s, whose own box overlaps b, comes into b: unless
// all corners of b lie strictly on one side of it.
func touchesBox(s geom.Segment, b geom.Bounds) bool {
	left, right := 0, 0
	for _, c := range corners(b) {
		switch geom.Orient(s.A, s.B, c) {
		case 1:
			left++
		case -1:
			right++
		}
	}
	return left < 4 && right < 4
}

func corners(b geom.Bounds) [4]geom.Point {
	return [4]geom.Point{b.Min, {X: b.Max.X, Y: b.Min.Y}, b.Max, {X: b.Min.X, Y: b.Max.Y}}
}
