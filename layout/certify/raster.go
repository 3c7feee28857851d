package certify

import (
	"math"

	"lotwright/layout/geom"
)

// raster holds the area of lawn in each atom of an upright strip one cell wide.
//
// On an upright line the lawn lies below the edges that run left and above
// those that run right. So the lawn in an atom is the area within it below the
// former less that below the latter; an edge adds a full atom to every one
// below it, which is summed up at the end, from the top.
type raster struct {
	sizes
	min   geom.Point // the strip's lower left corner
	rows  int64      // of atoms
	part  []float64  // column by column: area below edges that pass through the atom
	whole []float64  // area below edges that pass above, of the atom and all below it
	cut   []bool     // of each cell: an edge comes into it or touches it
}

// rasterOf measures the strip of cells whose left side is at x.
func (s sizes) rasterOf(edges []geom.Segment, x, minY, maxY int64) *raster {
	n := s.atomsPerSide()
	cells := (maxY-minY)/s.cellMM + 1
	r := &raster{sizes: s, min: geom.Pt(x, minY), rows: cells * n, cut: make([]bool, cells)}
	r.part, r.whole = make([]float64, n*r.rows), make([]float64, n*r.rows)
	strip := geom.Bounds{Min: r.min, Max: geom.Pt(x+s.cellMM, maxY)}
	for _, e := range edges {
		if b := e.Bounds(); b.Overlaps(strip) {
			r.mark(e, b)
			for c := range n {
				r.add(e, c)
			}
		}
	}
	for c := range n {
		for k := r.rows - 2; k >= 0; k-- {
			r.whole[c*r.rows+k] += r.whole[c*r.rows+k+1]
		}
	}
	return r
}

// mark notes which cells e comes into or touches.
func (r *raster) mark(e geom.Segment, b geom.Bounds) {
	for k := max(0, (b.Min.Y-r.min.Y-1)/r.cellMM); k <= (b.Max.Y-r.min.Y)/r.cellMM && k < int64(len(r.cut)); k++ {
		r.cut[k] = r.cut[k] || touchesBox(e, r.bounds(geom.Pt(r.min.X, r.min.Y+k*r.cellMM)))
	}
}

// add adds the area below e to the atoms of column c.
func (r *raster) add(e geom.Segment, c int64) {
	a, b, sign := e.A.Vec(), e.B.Vec(), -1.0
	if a.X > b.X {
		a, b, sign = b, a, 1
	}
	left := float64(r.min.X + c*r.atomMM)
	from, to := math.Max(a.X, left), math.Min(b.X, left+float64(r.atomMM))
	if from >= to {
		return
	}
	slope := (b.Y - a.Y) / (b.X - a.X)
	at := func(x float64) float64 { return a.Y + slope*(x-a.X) - float64(r.min.Y) }
	low, high, side := math.Min(at(from), at(to)), math.Max(at(from), at(to)), float64(r.atomMM)
	first := max(0, int64(low/side))
	last := min(r.rows-1, int64(high/side))
	for k := first; k <= last; k++ {
		r.part[c*r.rows+k] += sign * below(low-float64(k)*side, high-float64(k)*side, side) * (to - from)
	}
	if first > 0 {
		r.whole[c*r.rows+first-1] += sign * side * (to - from)
	}
}

// below returns the mean over a stretch of a straight line that rises from low
// to high of its height, cut off at 0 and at top.
func below(low, high, top float64) float64 {
	ramp := func(over float64) float64 { // mean of max(0, height − over)
		switch {
		case low >= over:
			return (low+high)/2 - over
		case high <= over:
			return 0
		}
		return (high - over) * (high - over) / (2 * (high - low))
	}
	return ramp(0) - ramp(top)
}

// areaSlack, in mm², is taken off an atom's area for rounding.
const areaSlack = 0.01

// cell returns the cell whose lower side is at y.
func (r *raster) cell(y int64) cell {
	c := cell{min: geom.Pt(r.min.X, y)}
	n := r.atomsPerSide()
	first := (y - r.min.Y) / r.atomMM
	if !r.cut[(y-r.min.Y)/r.cellMM] {
		if r.whole[first]+r.part[first] > float64(r.atomMM*r.atomMM)/2 {
			c.area, c.lawn = r.cellMM*r.cellMM, ^uint64(0)>>(64-n*n)
		}
		return c
	}
	c.atoms = make([]int64, n*n)
	for i := range n {
		for j := range n {
			at := i*r.rows + first + j
			if area := int64(math.Floor(r.whole[at] + r.part[at] - areaSlack)); area > 0 {
				c.atoms[i*n+j] = area
				c.area += area
				c.lawn |= 1 << (i*n + j)
			}
		}
	}
	return c
}
