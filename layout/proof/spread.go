package proof

import (
	"slices"

	"lotwright/layout"
)

// fineness is the number of units in which weights are counted to one unit of
// the certificate: the sum of all stays under 2^60.
const fineness = 1 << 20

// tileSide is the number of atoms along the side of a tile.
const tileSide = 8

// tile is a square of atoms with their weights, in the order of rows.
type tile struct {
	corner point
	weight [tileSide * tileSide]int64
}

// heap is the weight of a cell and the lawn it lies on, not overestimated.
type heap struct{ weight, area int64 }

// spread is the weight laid out over the lawn.
type spread struct {
	atomMM int64
	origin point // corner of a tile
	tiles  []tile
	heaps  []heap
	sum    int64
}

// layOut spreads the weights of the certificate over the lawn of their cells.
func layOut(l *lawn, c *layout.Certificate) (*spread, error) {
	s := &spread{atomMM: c.AtomMM, origin: point{c.Cells[0].Min.X, c.Cells[0].Min.Y}}
	tiles := map[point]int{}
	for _, cell := range c.Cells {
		b := square(point{cell.Min.X, cell.Min.Y}, c.CellMM)
		areas := l.areasOfAtoms(b, c.AtomMM)
		h := heap{weight: cell.Weight * fineness}
		for _, area := range areas {
			h.area += area
		}
		if h.area == 0 {
			return nil, refuse("the cell at %v has a weight and no lawn", b.min)
		}
		s.heaps = append(s.heaps, h)
		perSide := c.CellMM / c.AtomMM
		for i, area := range areas {
			at := point{int64(i) % perSide, int64(i) / perSide}
			s.put(tiles, shareDown(h.weight, area, h.area), point{b.min.x + at.x*c.AtomMM, b.min.y + at.y*c.AtomMM})
		}
	}
	return s, nil
}

// put gives a weight to the atom at a place.
func (s *spread) put(tiles map[point]int, weight int64, at point) {
	if weight == 0 {
		return
	}
	d := at.minus(s.origin)
	column, i := divide(d.x/s.atomMM, tileSide)
	row, j := divide(d.y/s.atomMM, tileSide)
	n, ok := tiles[point{column, row}]
	if !ok {
		n = len(s.tiles)
		tiles[point{column, row}] = n
		side := s.atomMM * tileSide
		s.tiles = append(s.tiles, tile{corner: s.origin.plus(point{column * side, row * side})})
	}
	s.tiles[n].weight[j*tileSide+i] = weight
	s.sum += weight
}

// divide returns the quotient of a and b > 0 rounded down, and the rest.
func divide(a, b int64) (quotient, rest int64) {
	quotient, rest = a/b, a%b
	if rest < 0 {
		quotient, rest = quotient-1, rest+b
	}
	return quotient, rest
}

// areasOfAtoms returns the area of lawn in each atom of a cell, in the order of
// rows, in units of area, not overestimated.
func (l *lawn) areasOfAtoms(cell box, atomMM int64) []int64 {
	perSide := (cell.max.x - cell.min.x) / atomMM
	areas := make([]int64, perSide*perSide)
	if !slices.ContainsFunc(l.edges, cell.entered) {
		if l.place(cell.centre()) == inside {
			for i := range areas {
				areas[i] = atomMM * atomMM * areaUnits
			}
		}
		return areas
	}
	for column := range perSide {
		strip := cell
		strip.min.x += column * atomMM
		strip.max.x = strip.min.x + atomMM
		above := l.edgesAbove(strip)
		for row := range perSide {
			areas[row*perSide+column] = areaIn(square(point{strip.min.x, cell.min.y + row*atomMM}, atomMM), above)
		}
	}
	return areas
}

// edgesAbove returns the edges that pass over or through b.
func (l *lawn) edgesAbove(b box) (out []segment) {
	for _, e := range l.edges {
		if around := e.box(); around.min.x < b.max.x && around.max.x > b.min.x && around.max.y > b.min.y {
			out = append(out, e)
		}
	}
	return out
}

const million = 1_000_000

// dryWeight returns K: the most weight that the share of the lawn left dry can
// hold. It fills that area, rounded up, with the densest cells.
func (s *spread) dryWeight(l *lawn, targetPPM int64) int64 {
	room := shareUp(l.area2*(areaUnits/2), million-targetPPM, million)
	heaps := slices.Clone(s.heaps)
	slices.SortFunc(heaps, func(a, b heap) int { // densest first
		switch {
		case less128(uint64(b.weight), uint64(a.area), uint64(a.weight), uint64(b.area)):
			return -1
		case less128(uint64(a.weight), uint64(b.area), uint64(b.weight), uint64(a.area)):
			return 1
		}
		return 0
	})
	held := int64(0)
	for _, h := range heaps {
		if h.area > room {
			return held + shareUp(h.weight, room, h.area)
		}
		held, room = held+h.weight, room-h.area
	}
	return held
}
