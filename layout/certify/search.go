package certify

import (
	"cmp"
	"container/heap"

	"lotwright/layout/geom"
)

// Half sides of boxes, in millimetres.
const (
	rootHalf = 1024
	leafHalf = 16 // smaller boxes are not cut
)

// search looks for boxes from which more weight than a limit could be wetted.
type search struct {
	viewer  viewer
	lawn    geom.Region
	ground  *Standing
	roots   []box
	boxes   int // looked at so far
	budget  int
	weights []int64 // of the cells
}

// newRoots returns boxes that cover the lawn but for those no head may stand
// in, and a single point for every exception.
func newRoots(lawn geom.Region, ground *Standing) []box {
	b := lawn.Bounds()
	var out []box
	for x := b.Min.X + rootHalf; x-rootHalf <= b.Max.X; x += 2 * rootHalf {
		for y := b.Min.Y + rootHalf; y-rootHalf <= b.Max.Y; y += 2 * rootHalf {
			if r := (box{geom.Pt(x, y), rootHalf}); !ground.excludes(lawn, r.bounds()) {
				out = append(out, r)
			}
		}
	}
	for _, p := range ground.Exceptions {
		out = append(out, box{p, 0})
	}
	return out
}

// candidate is a box with the most weight its heads could wet.
type candidate struct {
	box
	most int64
}

// candidates is a heap, the largest first; ties go to the place.
type candidates []candidate

func (c candidates) Len() int      { return len(c) }
func (c candidates) Swap(i, j int) { c[i], c[j] = c[j], c[i] }
func (c *candidates) Push(x any)   { *c = append(*c, x.(candidate)) }
func (c *candidates) Pop() any {
	last := len(*c) - 1
	x := (*c)[last]
	*c = (*c)[:last]
	return x
}
func (c candidates) Less(i, j int) bool {
	return cmp.Or(cmp.Compare(c[j].most, c[i].most), c[i].center.Compare(c[j].center), cmp.Compare(c[i].half, c[j].half)) < 0
}

// spread is the least distance, in millimetres, between boxes reported at once.
const spread = 700

// over returns up to want small boxes, apart from one another, whose heads
// could wet more than limit, the worst first. It is done when none is left:
// then no head on legal ground wets more than limit.
func (s *search) over(limit int64, want int) (found []box, done bool) {
	var queue candidates
	for _, r := range s.roots {
		s.push(&queue, r, limit)
	}
	for len(queue) > 0 && len(found) < want {
		if s.boxes >= s.budget {
			return found, false
		}
		c := heap.Pop(&queue).(candidate)
		switch {
		case c.half > leafHalf:
			for _, q := range c.quarters() {
				if !s.ground.excludes(s.lawn, q.bounds()) {
					s.push(&queue, q, limit)
				}
			}
		case apart(found, c.box):
			found = append(found, c.box)
		}
	}
	return found, len(found) == 0
}

func (s *search) push(queue *candidates, b box, limit int64) {
	s.boxes++
	if most := s.most(b); most > limit {
		heap.Push(queue, candidate{b, most})
	}
}

func apart(found []box, b box) bool {
	for _, f := range found {
		if f.center.Within(b.center, spread) {
			return false
		}
	}
	return true
}

// most returns the most weight heads of the box could wet, rounded up cell by
// cell.
func (s *search) most(b box) int64 {
	w := s.viewer.from(b)
	sum := int64(0)
	w.near(func(i int32) {
		if weight := s.weights[i]; weight > 0 {
			area := s.viewer.grid.cells[i].area
			sum += (weight*w.wettable(i) + area - 1) / area
		}
	})
	return sum
}
