package uniformity

import (
	"fmt"
	"slices"

	"lotwright/layout/geom"
)

// maxCells bounds the cells of one grid, and those a head's throw may span: a
// square of 512 m at the default cell.
const maxCells = 1 << 22

// offLawn marks a cell whose centre does not lie on the lawn.
const offLawn = -1

// grid samples a lawn at the centres of square cells that fill the box around
// it from its lower left corner.
type grid struct {
	cellMM     int64
	first      geom.Point // centre of the lower left cell
	cols, rows int64
	index      []int32      // by row, then column: where the cell stands in at, or offLawn
	at         []geom.Point // centres on the lawn, row by row from the south, each from the west
}

func newGrid(lawn geom.Region, cellMM int64) (*grid, error) {
	edges := slices.Collect(lawn.Edges())
	box := geom.EmptyBounds()
	for _, s := range edges {
		box = box.Grow(s.A)
	}
	if box.Empty() {
		return nil, fmt.Errorf("no lawn to lay cells on")
	}
	size := box.Max.Sub(box.Min)
	g := &grid{cellMM: cellMM, cols: ceilDiv(size.X, cellMM), rows: ceilDiv(size.Y, cellMM),
		first: box.Min.Add(geom.Pt(cellMM/2, cellMM/2))}
	if max(g.cols, g.rows) > maxCells || g.cols*g.rows > maxCells {
		return nil, fmt.Errorf("a lawn of %d × %d cells of %d mm is more than %d: choose a larger cell",
			g.cols, g.rows, cellMM, maxCells)
	}
	g.index, g.at = make([]int32, g.cols*g.rows), make([]geom.Point, 0, g.cols*g.rows)
	for row := range g.rows {
		g.fillRow(row, edges)
	}
	if len(g.at) == 0 {
		return nil, fmt.Errorf("no centre of a cell of %d mm lies on the lawn: choose a smaller cell", cellMM)
	}
	return g, nil
}

// fillRow enters the cells of one row. Every edge that passes the row's height
// turns inside to outside, or back, from the first centre at or right of it on:
// decided in integers, and so that two regions with a common edge share no cell.
func (g *grid) fillRow(row int64, edges []geom.Segment) {
	turns := make([]bool, g.cols)
	y := g.centre(0, row).Y
	for _, s := range edges {
		if (s.A.Y > y) == (s.B.Y > y) {
			continue
		}
		if col := g.firstRightOf(s, y); col < g.cols {
			turns[col] = !turns[col]
		}
	}
	inside := false
	for col := range g.cols {
		inside = inside != turns[col]
		g.index[row*g.cols+col] = offLawn
		if inside {
			g.index[row*g.cols+col] = int32(len(g.at))
			g.at = append(g.at, g.centre(col, row))
		}
	}
}

// firstRightOf returns the first column whose centre lies on s or right of it
// at height y, which s passes.
func (g *grid) firstRightOf(s geom.Segment, y int64) int64 {
	d := s.B.Sub(s.A)
	num, den := (s.A.X-g.first.X)*d.Y+(y-s.A.Y)*d.X, d.Y*g.cellMM
	if den < 0 {
		num, den = -num, -den
	}
	return max(0, ceilDiv(num, den))
}

// centre returns the centre of a cell, on the grid or beyond it.
func (g *grid) centre(col, row int64) geom.Point {
	return geom.Pt(g.first.X+col*g.cellMM, g.first.Y+row*g.cellMM)
}

// cellAt returns where the cell stands among those on the lawn, or offLawn.
func (g *grid) cellAt(col, row int64) int32 {
	if col < 0 || col >= g.cols || row < 0 || row >= g.rows {
		return offLawn
	}
	return g.index[row*g.cols+col]
}

// cellM2 returns the area of a cell in square metres.
func (g *grid) cellM2() float64 {
	return float64(g.cellMM*g.cellMM) / (geom.MillimetresPerMetre * geom.MillimetresPerMetre)
}

// within returns the first and the last multiple of step that is at most half
// away from middle, both divided by it. The first exceeds the last if none is.
func within(middle, half, step int64) (first, last int64) {
	return ceilDiv(middle-half, step), floorDiv(middle+half, step)
}

// floorDiv returns ⌊a/b⌋ for b > 0.
func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// ceilDiv returns ⌈a/b⌉ for b > 0.
func ceilDiv(a, b int64) int64 { return -floorDiv(-a, b) }
