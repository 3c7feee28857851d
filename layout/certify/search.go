package certify

import (
	"cmp"
	"container/heap"
	"slices"

	"lotwright/layout/geom"
)

// Half sides of boxes, in millimetres. Boxes of leafHalf are not cut, nor, where
// squares are fine, those of a quarter of that.
const (
	rootHalf = 1024
	leafHalf = 16
	fineHalf = 4
)

// leafHalf returns the half side of boxes that are not cut.
func (s sizes) leafHalf() int64 {
	if s == fineSizes {
		return fineHalf
	}
	return leafHalf
}

// search looks for boxes from which more weight than a limit could be wetted.
// The boxes once cut, and what of the lawn each could wet, are kept: weights
// change from round to round, the ground does not. Only cells that had a weight
// at some time are looked at.
type search struct {
	viewer  viewer
	lawn    geom.Region
	ground  *Standing
	nodes   []node
	roots   int // the first nodes
	budget  int // of nodes
	weights []int64
	order   []int32 // cells that had a weight, in the order in which they first had one
	rank    []int32 // of each cell in order, or unranked
}

const unranked = -1

// node is a box of ground with what its heads could wet.
type node struct {
	box
	parent int32   // or noParent
	kids   []int32 // the quarters a head may stand in
	cut    bool
	near   []geom.Segment // blockers in range
	seen   []seenCell     // of the first upto of search.order
	upto   int
}

const noParent = -1

// seenCell is how much of a cell, in mm² of lawn, heads of a box could wet.
type seenCell struct{ cell, wet int32 }

func newSearch(site Site, ground *Standing, v viewer, budget int) search {
	s := search{viewer: v, lawn: site.Lawn, ground: ground, budget: budget, rank: make([]int32, len(v.grid.cells))}
	for i := range s.rank {
		s.rank[i] = unranked
	}
	for _, b := range rootBoxes(site.Lawn, ground) {
		s.nodes = append(s.nodes, node{box: b, parent: noParent})
	}
	s.roots = len(s.nodes)
	return s
}

// rootBoxes returns boxes that cover the lawn but for those no head may stand
// in, and a single point for every exception.
func rootBoxes(lawn geom.Region, ground *Standing) []box {
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

// boxes returns the number of boxes looked at so far.
func (s *search) boxes() int { return len(s.nodes) }

// setWeights puts other weights on the cells.
func (s *search) setWeights(weights []int64) {
	s.weights = weights
	for i, w := range weights {
		if w > 0 && s.rank[i] == unranked {
			s.rank[i] = int32(len(s.order))
			s.order = append(s.order, int32(i))
		}
	}
}

// candidate is a node with the most weight its heads could wet.
type candidate struct {
	node int32
	most int64
}

// candidates is a heap, the largest first; ties go to the older node.
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
	return cmp.Or(cmp.Compare(c[j].most, c[i].most), cmp.Compare(c[i].node, c[j].node)) < 0
}

// spread is the least distance, in millimetres, between boxes reported at once.
const spread = 700

// over returns up to want small boxes, apart from one another, whose heads
// could wet more than limit. It is done when none is left: then no head on legal
// ground wets more than limit. From the box of the largest bound it goes down to
// its best quarter, and on from there: what is wanted is any box over the limit,
// not the worst.
func (s *search) over(limit int64, want int) (found []box, done bool) {
	var queue candidates
	for n := range s.roots {
		s.push(&queue, int32(n), limit)
	}
	for len(queue) > 0 && len(found) < want {
		at := heap.Pop(&queue).(candidate).node
		for at >= 0 {
			if s.boxes() >= s.budget {
				return found, false
			}
			n := &s.nodes[at]
			if n.half < spread/2 && !apart(found, n.box) {
				break // its like is found already
			}
			if n.half <= s.viewer.grid.leafHalf() {
				found = append(found, n.box)
				break
			}
			at = s.into(&queue, at, limit)
		}
	}
	return found, len(found) == 0
}

// into returns the quarter of a node with the largest bound and queues the
// others; −1 if none is over the limit.
func (s *search) into(queue *candidates, at int32, limit int64) int32 {
	best := candidate{node: -1, most: limit}
	for _, k := range s.kidsOf(at) {
		s.look(k)
		c := candidate{k, s.most(&s.nodes[k])}
		if c.most > best.most {
			best, c = c, best
		}
		if c.node >= 0 && c.most > limit {
			heap.Push(queue, c)
		}
	}
	return best.node
}

// kidsOf returns the quarters of a node that a head may stand in.
func (s *search) kidsOf(at int32) []int32 {
	if n := &s.nodes[at]; !n.cut {
		n.cut = true
		var kids []int32
		for _, q := range n.quarters() {
			if !s.ground.excludes(s.lawn, q.bounds()) {
				kids = append(kids, int32(len(s.nodes)))
				s.nodes = append(s.nodes, node{box: q, parent: at})
			}
		}
		s.nodes[at].kids = kids
	}
	return s.nodes[at].kids
}

// push queues the node if its heads could wet more than limit.
func (s *search) push(queue *candidates, at int32, limit int64) {
	s.look(at)
	if most := s.most(&s.nodes[at]); most > limit {
		heap.Push(queue, candidate{at, most})
	}
}

// look brings a node up to date with the cells that have come to bear weight.
// Only what its parent could wet, and the blockers that mattered there, can
// matter.
func (s *search) look(at int32) {
	n := &s.nodes[at]
	if n.upto == len(s.order) && n.near != nil {
		return
	}
	blockers := n.near
	if blockers == nil {
		blockers = s.viewer.blockers
		if n.parent != noParent {
			blockers = s.nodes[n.parent].near
		}
	}
	w := s.viewer.from(n.box, blockers)
	if n.near == nil {
		n.near = append(make([]geom.Segment, 0, len(w.near)), w.near...)
	}
	if n.parent == noParent {
		for _, i := range s.order[n.upto:] {
			n.see(w, i)
		}
	} else {
		above := s.nodes[n.parent].seen
		first, _ := slices.BinarySearchFunc(above, n.upto, func(c seenCell, upto int) int { return int(s.rank[c.cell]) - upto })
		for _, c := range above[first:] {
			n.see(w, c.cell)
		}
	}
	n.upto = len(s.order)
}

// see takes note of what of a cell the view could wet.
func (n *node) see(w *view, i int32) {
	if wet := w.wettable(i); wet > 0 {
		n.seen = append(n.seen, seenCell{i, int32(wet)})
	}
}

// most adds up the most weight the heads of n could wet, rounded up cell by cell.
func (s *search) most(n *node) int64 {
	sum := int64(0)
	for _, c := range n.seen {
		w := s.weights[c.cell]
		if area := s.viewer.grid.cells[c.cell].area; int64(c.wet) < area {
			w = (w*int64(c.wet) + area - 1) / area
		}
		sum += w
	}
	return sum
}

func apart(found []box, b box) bool {
	for _, f := range found {
		if f.center.Within(b.center, spread) {
			return false
		}
	}
	return true
}
