package sector

import (
	"cmp"
	"container/heap"
	"math"
)

// startDepth is the depth the start gives every cell, as a share of the highest
// rate of a head at full throw: about what a square lattice of cones spaced 1.1
// of the throw gives on average.
const startDepth = 0.9

// firstWorth is what reaching a dry cell is worth beyond its depth, as a share
// of the depth wanted.
const firstWorth = 0.6

// leastGain is the gain below which no head is added, as a share of the water
// wanted in the circle of the longest throw, of the family that throws least: what is wanted still is for the
// search to bring.
const leastGain = 0.01

// start chooses heads greedily: each the one that brings the most of the water
// still wanted, until the targets are met or little more is to be gained.
//
// What a head brings only shrinks as others come, so gains worked out earlier
// are upper bounds, and the best is found by bringing the top of a heap up to
// date until it stays the top.
func (s *search) start() {
	s.field.setLevel(int32(startDepth * float64(s.p.fullRate)))
	s.startPinned()
	least := s.leastGain()
	q := s.offers(least)
	if len(s.heads) == 0 && q.Len() == 0 { // on a lawn so small that nothing brings much
		least = 0
		q = s.offers(least)
	}
	heap.Init(q)
	for done := s.started(); q.Len() > 0 && !done; {
		top := (*q)[0]
		now := s.offer(top.spot, top.k)
		switch {
		case now.gain <= least || s.occupied(top.spot):
			heap.Pop(q)
		case now.gain < top.gain:
			(*q)[0] = now
			heap.Fix(q, 0)
		default:
			s.heads = append(s.heads, now.head)
			s.field.put(now.head)
			done = s.started()
		}
	}
	s.field.relevel()
}

// offers lists the offers of all free spots that bring more than the least.
func (s *search) offers(least int64) *offers {
	q := &offers{}
	for i := s.p.pinned; i < len(s.p.spots); i++ {
		for k := range s.p.radii {
			if o := s.offer(int32(i), int16(k)); o.gain > least {
				*q = append(*q, o)
			}
		}
	}
	return q
}

func (s *search) leastGain() int64 {
	cells := float64(s.p.shortestReach()) / float64(s.p.grid.cellMM)
	return int64(leastGain * math.Pi * cells * cells * float64(s.field.level))
}

// startPinned sets the pinned heads.
func (s *search) startPinned() {
	for _, h := range s.p.fixed {
		s.heads = append(s.heads, h)
		s.field.put(h)
	}
	for i := len(s.p.fixed); i < s.p.pinned; i++ {
		var best offer
		for k := range s.p.radii {
			if o := s.offer(int32(i), int16(k)); o.before(best) || best.sweep == 0 {
				best = o
			}
		}
		s.heads = append(s.heads, best.head)
		s.field.put(best.head)
	}
}

// started reports whether the targets are met, at the level that the depth
// wanted is measured from.
func (s *search) started() bool {
	level := s.field.level
	s.field.relevel()
	met := s.energy() == 0
	s.field.setLevel(level)
	return met
}

// offer is a head and what it brings.
type offer struct {
	head
	gain int64
}

// offer returns the best of the arcs listed for a spot and a radius.
func (s *search) offer(at int32, k int16) offer {
	out, r := s.p.outlook(at), &s.p.radii[k]
	best := offer{head: head{spot: at, k: k}}
	arcs := s.p.spots[at].throws[k].arcs
	if len(arcs) == 0 {
		return best
	}
	var gains [turn + 1]int64
	for b := range turn {
		gains[b+1] = gains[b] + s.gain(out.cells[out.of[b]:out.of[b+1]], r)
	}
	for _, a := range arcs {
		if g := a.total(&gains); g > best.gain {
			best.arc, best.gain = a, g
		}
	}
	if best.sweep == 0 {
		best.arc = arcs[0]
	}
	return best
}

// gain is what a radius brings to some cells.
func (s *search) gain(cells []nearCell, r *radius) int64 {
	sum, first := int64(0), int64(firstWorth*float64(s.field.level))
	for _, c := range cells {
		if c.steps > r.reach {
			continue
		}
		o := s.field.on[c.index]
		sum += int64(max(0, min(s.field.level-o.depth, r.rates[c.steps])))
		if o.times == 0 {
			sum += first
		}
	}
	return sum
}

// total is sum for whole numbers.
func (a arc) total(running *[turn + 1]int64) int64 {
	from, to := int(a.start), int(a.start)+int(a.sweep)
	if to <= turn {
		return running[to] - running[from]
	}
	return running[turn] - running[from] + running[to-turn]
}

// before orders offers by gain, then spot, then radius.
func (o offer) before(p offer) bool {
	return cmp.Or(cmp.Compare(p.gain, o.gain), cmp.Compare(o.spot, p.spot), cmp.Compare(o.k, p.k)) < 0
}

// offers is a heap with the best offer on top.
type offers []offer

func (q offers) Len() int           { return len(q) }
func (q offers) Less(i, j int) bool { return q[i].before(q[j]) }
func (q offers) Swap(i, j int)      { q[i], q[j] = q[j], q[i] }
func (q *offers) Push(x any)        { *q = append(*q, x.(offer)) }
func (q *offers) Pop() any {
	old := *q
	x := old[len(old)-1]
	*q = old[:len(old)-1]
	return x
}
