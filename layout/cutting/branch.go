package cutting

import (
	"encoding/binary"
	"math"
	"slices"
)

// search is branch and bound over the fillings of one stick at a time (bin
// completion; Korf 2002). Some stick holds the longest piece that is left: every
// way of filling it is tried. What is left is remembered with the cost at which
// it was met, so that the same sticks in another order are not tried again.
type search struct {
	in     *instance
	counts []int
	left   int64 // mm of pieces left
	laid   packing
	best   packing
	enough int64 // a packing this cheap is good enough
	steps  int   // left to spend
	met    map[string]int64
	key    []byte
}

// exact looks for a packing cheaper than best. It reports whether the search was
// whole, so that there is none cheaper than what it returns.
func (in *instance) exact(best packing, enough int64, steps int) (found packing, spent int, whole bool) {
	s := &search{in: in, counts: slices.Clone(in.counts), left: in.total,
		best: best, enough: enough, steps: steps, met: make(map[string]int64)}
	whole = s.node()
	return s.best, steps - max(0, s.steps), whole
}

// node packs what is left in every way that may be cheaper than the best, and
// reports whether it tried them all.
func (s *search) node() bool {
	if s.left == 0 {
		if s.laid.cost < s.best.cost {
			s.best = packing{slices.Clone(s.laid.fills), s.laid.cost}
		}
		return true
	}
	if s.laid.cost+s.in.bound(s.counts, s.left) >= s.best.cost || s.known() {
		return true
	}
	if s.steps--; s.steps < 0 {
		return false
	}
	longest := slices.IndexFunc(s.counts, func(n int) bool { return n > 0 })
	list, spent, whole := s.in.fillings(s.counts, longest, s.waste(), s.steps)
	s.steps -= spent
	for _, f := range list {
		if !s.with(f) {
			whole = false
		}
		if s.best.cost <= s.enough {
			return true
		}
		if s.steps <= 0 {
			return false
		}
	}
	return whole
}

// waste returns the most slack a stick may have in a packing cheaper than the
// best: with one length of stick, what fewer sticks hold beyond the pieces.
func (s *search) waste() int64 {
	if len(s.in.stocks) > 1 {
		return math.MaxInt64
	}
	stick := s.in.stocks[0]
	return (s.best.cost-s.laid.cost-1)/stick.Cost*stick.Length - s.left
}

// with goes on with one more stick filled.
func (s *search) with(f fill) bool {
	take(s.counts, f)
	s.left -= f.used
	n, cost := len(s.laid.fills), s.laid.cost
	s.laid.add(s.in, f)
	whole := s.node()
	s.laid = packing{s.laid.fills[:n], cost}
	s.left += f.used
	giveBack(s.counts, f)
	return whole
}

// known reports whether these pieces were left before, at no greater cost.
func (s *search) known() bool {
	s.key = s.key[:0]
	for _, n := range s.counts {
		s.key = binary.AppendUvarint(s.key, uint64(n))
	}
	if cost, ok := s.met[string(s.key)]; ok && cost <= s.laid.cost {
		return true
	}
	s.met[string(s.key)] = s.laid.cost
	return false
}
