package certify

import (
	"math"

	"lotwright/layout/geom"
)

// Sizes of the grid, in millimetres. A cell carries one weight; atoms are what
// is tested for being wetted.
const (
	cellMM       = 1024
	atomMM       = 128
	atomsPerSide = cellMM / atomMM
	atomsPerCell = atomsPerSide * atomsPerSide
)

// cell is a square of the grid and how much lawn its atoms hold.
type cell struct {
	min   geom.Point
	area  int64               // mm² of lawn, the sum of the atoms
	atoms [atomsPerCell]int64 // mm² of lawn in each, column by column, rounded down
	whole bool                // it is all lawn
}

func (c *cell) bounds() geom.Bounds {
	return geom.Bounds{Min: c.min, Max: geom.Pt(c.min.X+cellMM, c.min.Y+cellMM)}
}

// atom returns the bounds of atom k.
func (c *cell) atom(k int) geom.Bounds {
	x, y := c.min.X+int64(k/atomsPerSide)*atomMM, c.min.Y+int64(k%atomsPerSide)*atomMM
	return geom.Bounds{Min: geom.Pt(x, y), Max: geom.Pt(x+atomMM, y+atomMM)}
}

// grid is the lawn cut into cells, addressed by place.
type grid struct {
	cells      []cell
	index      []int32 // cell at each place of the box around the lawn, −1: none
	origin     geom.Point
	cols, rows int64
}

// newGrid cuts the lawn into cells.
func newGrid(lawn geom.Region) *grid {
	b := lawn.Bounds()
	g := &grid{origin: geom.Pt(floorTo(b.Min.X), floorTo(b.Min.Y))}
	g.cols, g.rows = (b.Max.X-g.origin.X)/cellMM+1, (b.Max.Y-g.origin.Y)/cellMM+1
	g.index = make([]int32, g.cols*g.rows)
	rings := ringsOf(lawn)
	for i := range g.cols {
		x := g.origin.X + i*cellMM
		column := clipped(clipped(rings, axisX, float64(x), 1), axisX, float64(x+cellMM), -1)
		for j := range g.rows {
			c := cellOf(lawn, column, geom.Pt(x, g.origin.Y+j*cellMM))
			g.index[i*g.rows+j] = -1
			if c.area > 0 {
				g.index[i*g.rows+j] = int32(len(g.cells))
				g.cells = append(g.cells, c)
			}
		}
	}
	return g
}

func floorTo(v int64) int64 {
	if v < 0 {
		v -= cellMM - 1
	}
	return v / cellMM * cellMM
}

// cellOf returns the cell at min, given the lawn clipped to its column.
func cellOf(lawn geom.Region, column [][]geom.Vec, min geom.Point) cell {
	c := cell{min: min}
	part := clipped(clipped(column, axisY, float64(min.Y), 1), axisY, float64(min.Y+cellMM), -1)
	switch area := areaOf(part); {
	case area < 1:
		return c
	case !edgeTouches(lawn, c.bounds()):
		c.whole, c.area = true, cellMM*cellMM
		for k := range c.atoms {
			c.atoms[k] = atomMM * atomMM
		}
		return c
	}
	for i := range atomsPerSide {
		x := float64(min.X + int64(i)*atomMM)
		strip := clipped(clipped(part, axisX, x, 1), axisX, x+atomMM, -1)
		for j := range atomsPerSide {
			y := float64(min.Y + int64(j)*atomMM)
			area := areaOf(clipped(clipped(strip, axisY, y, 1), axisY, y+atomMM, -1))
			c.atoms[i*atomsPerSide+j] = max(0, int64(math.Floor(area-areaSlack)))
			c.area += c.atoms[i*atomsPerSide+j]
		}
	}
	return c
}

// areaSlack, in mm², is taken off an atom's area for the rounding of clipping.
const areaSlack = 0.01

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

type axis func(geom.Vec) float64

func axisX(v geom.Vec) float64 { return v.X }
func axisY(v geom.Vec) float64 { return v.Y }

func ringsOf(g geom.Region) [][]geom.Vec {
	var rings [][]geom.Vec
	for ring := range g.Rings() {
		r := make([]geom.Vec, len(ring))
		for i, p := range ring {
			r[i] = p.Vec()
		}
		rings = append(rings, r)
	}
	return rings
}

// clipped returns the rings clipped to side·along ≥ side·at (Sutherland and
// Hodgman 1974).
func clipped(rings [][]geom.Vec, along axis, at, side float64) [][]geom.Vec {
	var out [][]geom.Vec
	for _, ring := range rings {
		var kept []geom.Vec
		for i, p := range ring {
			q := ring[(i+1)%len(ring)]
			dp, dq := side*(along(p)-at), side*(along(q)-at)
			if dp >= 0 {
				kept = append(kept, p)
			}
			if dp > 0 && dq < 0 || dp < 0 && dq > 0 {
				kept = append(kept, p.Add(q.Sub(p).Scale(dp/(dp-dq))))
			}
		}
		if len(kept) > 2 {
			out = append(out, kept)
		}
	}
	return out
}

func areaOf(rings [][]geom.Vec) float64 {
	sum := 0.0
	for _, ring := range rings {
		for i, p := range ring {
			sum += p.Sub(ring[0]).Cross(ring[(i+1)%len(ring)].Sub(ring[0]))
		}
	}
	return sum / 2
}
