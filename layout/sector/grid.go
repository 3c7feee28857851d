package sector

import (
	"slices"

	"lotwright/layout/geom"
)

// offLawn marks a cell whose centre does not lie on the lawn.
const offLawn = -1

// grid samples the lawn at the centres of square cells.
type grid struct {
	cellMM     int64
	first      geom.Point // centre of the lower left cell
	cols, rows int64
	index      []int32 // by row, then column: where the cell stands in at, or offLawn
	at         []geom.Point
}

func newGrid(lawn geom.Region, cellMM int64) *grid {
	b := lawn.Bounds()
	g := &grid{cellMM: cellMM, first: b.Min.Add(geom.Pt(cellMM/2, cellMM/2)),
		cols: (b.Max.X-b.Min.X)/cellMM + 1, rows: (b.Max.Y-b.Min.Y)/cellMM + 1}
	edges := slices.Collect(lawn.Edges())
	for row := range g.rows {
		g.appendRow(edges, g.first.Y+row*cellMM)
	}
	return g
}

// appendRow enters the cells of the row at height y: a centre is on the lawn
// when an odd number of edges pass to its left.
func (g *grid) appendRow(edges []geom.Segment, y int64) {
	xs := crossings(edges, y)
	for col := range g.cols {
		c := geom.Pt(g.first.X+col*g.cellMM, y)
		at := int32(offLawn)
		if left, _ := slices.BinarySearch(xs, c.X+1); left%2 == 1 {
			at = int32(len(g.at))
			g.at = append(g.at, c)
		}
		g.index = append(g.index, at)
	}
}

// crossings returns where the edges pass the height y, ascending, rounded up to
// the grid.
func crossings(edges []geom.Segment, y int64) []int64 {
	var xs []int64
	for _, s := range edges {
		if (s.A.Y > y) == (s.B.Y > y) {
			continue
		}
		d := s.B.Sub(s.A)
		xs = append(xs, s.A.X+ceilDiv((y-s.A.Y)*d.X, d.Y))
	}
	slices.Sort(xs)
	return xs
}

// ceilDiv returns ⌈a/b⌉.
func ceilDiv(a, b int64) int64 {
	q := a / b
	if r := a % b; r != 0 && (r > 0) == (b > 0) {
		q++
	}
	return q
}

// around calls do for every cell of the lawn whose centre lies within reach mm
// of h, with the vector from h to the centre.
func (g *grid) around(h geom.Point, reach int64, do func(cell int32, v geom.Point)) {
	low, high := g.band(h.Y-g.first.Y, reach, g.rows)
	left, right := g.band(h.X-g.first.X, reach, g.cols)
	for row := low; row <= high; row++ {
		for col := left; col <= right; col++ {
			i := g.index[row*g.cols+col]
			if i == offLawn {
				continue
			}
			if v := g.at[i].Sub(h); v.Norm2() <= reach*reach {
				do(i, v)
			}
		}
	}
}

// band returns the first and last of n rows, or columns, that lie within reach
// of the offset from the first one.
func (g *grid) band(offset, reach, n int64) (first, last int64) {
	return max(0, ceilDiv(offset-reach, g.cellMM)), min(n-1, (offset+reach)/g.cellMM)
}

// areaM2 returns the area that n cells stand for.
func (g *grid) areaM2(n int) float64 {
	side := float64(g.cellMM) / geom.MillimetresPerMetre
	return float64(n) * side * side
}
