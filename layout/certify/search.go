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
	heavy   []int32 // the cells with a weight
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
	most  int64
	near  []geom.Segment // blockers in range
	cells []int32        // cells it could wet
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
		s.push(&queue, r, limit, nil)
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
					s.push(&queue, q, limit, &c)
				}
			}
		case apart(found, c.box):
			found = append(found, c.box)
		}
	}
	return found, len(found) == 0
}

// push queues the box if its heads could wet more than limit. Within a box cut
// up before only the blockers and cells that mattered there can matter.
func (s *search) push(queue *candidates, b box, limit int64, within *candidate) {
	s.boxes++
	c := candidate{box: b}
	if within == nil {
		s.count(&c, s.viewer.blockers, s.weighted())
	} else {
		s.count(&c, within.near, within.cells)
	}
	if c.most > limit {
		heap.Push(queue, c)
	}
}

// weighted lists the cells with a weight.
func (s *search) weighted() []int32 {
	if s.heavy == nil {
		for i, w := range s.weights {
			if w > 0 {
				s.heavy = append(s.heavy, int32(i))
			}
		}
	}
	return s.heavy
}

// setWeights starts over with other weights.
func (s *search) setWeights(weights []int64) { s.weights, s.heavy = weights, nil }

// count adds up the most weight the heads of c could wet, rounded up cell by
// cell, and keeps what mattered.
func (s *search) count(c *candidate, blockers []geom.Segment, cells []int32) {
	w := s.viewer.from(c.box, blockers)
	c.near = w.near
	for _, i := range cells {
		if wet := w.wettable(i); wet > 0 {
			area := s.viewer.grid.cells[i].area
			c.most += (s.weights[i]*wet + area - 1) / area
			c.cells = append(c.cells, i)
		}
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
