package certify

import (
	"cmp"
	"slices"

	"lotwright/layout/geom"
	"lotwright/layout/packing"
)

// spotSpacingMM is how far apart the boxes are that the program begins with: a
// sample of the ground, cheap to search.
const spotSpacingMM = 1536

// spots are sample boxes with the rows they make.
type spots struct {
	boxes []box
	rows  []packing.Row
}

// newSpots samples the ground where heads may stand.
func newSpots(lawn geom.Region, ground *Standing, v *viewer, likely []geom.Point) *spots {
	s := &spots{}
	for _, p := range likely {
		s.add(box{p, v.grid.leafHalf()}, v)
	}
	b := lawn.Bounds()
	for x := b.Min.X; x <= b.Max.X; x += spotSpacingMM {
		for y := b.Min.Y; y <= b.Max.Y; y += spotSpacingMM {
			if r := (box{geom.Pt(x, y), v.grid.leafHalf()}); !ground.excludes(lawn, r.bounds()) {
				s.add(r, v)
			}
		}
	}
	for _, p := range ground.Exceptions {
		s.add(box{p, 0}, v)
	}
	return s
}

// add adds a box to the sample.
func (s *spots) add(b box, v *viewer) {
	s.boxes = append(s.boxes, b)
	s.rows = append(s.rows, v.row(b))
}

// row returns what the heads of a box could wet as a row of the program.
func (v *viewer) row(b box) packing.Row {
	w := v.from(b, v.blockers)
	at, value := v.at[:0], v.value[:0]
	cells := v.grid.cells
	first, _ := slices.BinarySearchFunc(cells, w.box.Min.X-v.throwMM-v.grid.cellMM, func(c cell, x int64) int { return cmp.Compare(c.min.X, x) })
	for i := first; i < len(cells) && cells[i].min.X <= w.box.Max.X+v.throwMM; i++ {
		if wet := w.wettable(int32(i)); wet > 0 {
			at, value = append(at, int32(i)), append(value, float64(wet)/float64(cells[i].area))
		}
	}
	v.at, v.value = at, value
	return packing.Row{At: slices.Clone(at), Value: slices.Clone(value)}
}

// spotTol is by how much a spot may hold more than one head's worth before it
// comes into the program.
const spotTol = 1e-6

// over returns the spots, not taken yet, that hold more than one head's worth
// of y: the worst first, apart from one another, at most want.
func (s *spots) over(y []float64, has func(int32) bool, want int) (out []int32) {
	type load struct {
		spot int32
		held float64
	}
	var all []load
	for i, r := range s.rows {
		held := 0.0
		for k, j := range r.At {
			held += r.Value[k] * y[j]
		}
		if held > 1+spotTol && !has(int32(i)) {
			all = append(all, load{int32(i), held})
		}
	}
	slices.SortFunc(all, func(a, b load) int { return cmp.Or(cmp.Compare(b.held, a.held), cmp.Compare(a.spot, b.spot)) })
	var found []box
	for _, l := range all {
		if len(out) == want {
			break
		}
		if b := s.boxes[l.spot]; apart(found, b) {
			out, found = append(out, l.spot), append(found, b)
		}
	}
	return out
}
