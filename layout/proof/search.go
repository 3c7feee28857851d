package proof

import (
	"context"
	"math/bits"
)

// capsule is the ground nearer to an obstacle's edge than its clearance.
type capsule struct {
	edge    segment
	clearMM int64
}

// patch is a tile and the atoms of it that may be wetted.
type patch struct {
	tile int32
	may  uint64
}

// level is what is known of a box under examination. Boxes cut from it need
// not look at anything else.
type level struct {
	edges    []segment // of the lawn, that enter the box
	capsules []capsule // that may reach the box
	blockers []segment // that may hide something from some place in the box
	patches  []patch   // that may be wetted from the box
	weight   int64     // of the patches
}

// maxDepth is the most cuts from the largest box to one that cannot be cut.
const maxDepth = 2 * 24

// search shows that no head at a legal place wets more than the most claimed.
type search struct {
	lawn    *lawn
	spread  *spread
	throwMM int64
	most    int64 // in the units of the spread

	levels  [maxDepth + 2]level // from the whole ground to the box at hand
	shadows []shadow            // of the box at hand
	boxes   int                 // examined
	budget  int
}

// begin sets out what the whole ground is known by.
func (s *search) begin(capsules []capsule, blockers []segment) {
	whole := &s.levels[0]
	whole.edges, whole.capsules, whole.blockers = s.lawn.edges, capsules, blockers
	whole.weight = s.spread.sum
	for i, t := range s.spread.tiles {
		p := patch{tile: int32(i)}
		for n, w := range t.weight {
			if w > 0 {
				p.may |= 1 << n
			}
		}
		whole.patches = append(whole.patches, p)
	}
}

// checkBetween is the number of boxes from one look at the context to the next.
const checkBetween = 64

// settle shows that no head in the box wets more than the most, with what the
// level before is known by: because no legal place is in it, because too little
// may be wetted from it, or because either holds of its halves.
func (s *search) settle(ctx context.Context, b box, depth int) error {
	if s.boxes >= s.budget {
		return refuse("effort spent: %d boxes were not enough", s.boxes)
	}
	if s.boxes%checkBetween == 0 && ctx.Err() != nil {
		return ctx.Err()
	}
	s.boxes++
	above, here := &s.levels[depth], &s.levels[depth+1]
	if !s.hasLegal(b, above, here) || s.wetsAtMost(b, above, here) {
		return nil
	}
	first, second, ok := b.halves()
	if !ok {
		return refuse("a head near %v may wet %d, more than the most claimed", b.min, here.weight/fineness)
	}
	if err := s.settle(ctx, first, depth+1); err != nil {
		return err
	}
	return s.settle(ctx, second, depth+1)
}

// settlePoint shows the same of a single place, legal by itself.
func (s *search) settlePoint(p point) error {
	s.boxes++
	if s.lawn.place(p.doubled()) == outside || s.wetsAtMost(box{p, p}, &s.levels[0], &s.levels[1]) {
		return nil
	}
	return refuse("a head at the exception %v may wet %d, more than the most claimed", p, s.levels[1].weight/fineness)
}

// hasLegal reports whether a legal place may lie in b, and narrows down the
// edges and capsules. A box no edge enters lies on one side of them all; if
// none entered the level before either, that was inside.
func (s *search) hasLegal(b box, above, here *level) bool {
	here.edges = here.edges[:0]
	for _, e := range above.edges {
		if b.entered(e) {
			here.edges = append(here.edges, e)
		}
	}
	if len(here.edges) == 0 && len(above.edges) > 0 && s.lawn.place(b.centre()) != inside {
		return false
	}
	here.capsules = here.capsules[:0]
	for _, c := range above.capsules {
		if !c.edge.box().padded(c.clearMM).overlaps(b) {
			continue
		}
		if c.holds(b) {
			return false
		}
		here.capsules = append(here.capsules, c)
	}
	return true
}

// holds reports whether every place in b is nearer to the edge than the
// clearance.
func (c capsule) holds(b box) bool {
	for _, p := range b.corners() {
		if !c.edge.nearer(p, c.clearMM) {
			return false
		}
	}
	return true
}

// wetsAtMost reports whether no head in b wets more than the most. If it
// cannot tell, it has narrowed down the blockers and the patches.
func (s *search) wetsAtMost(b box, above, here *level) bool {
	s.castShadows(b, above, here)
	here.weight, here.patches = above.weight, here.patches[:0]
	for _, p := range above.patches {
		t := &s.spread.tiles[p.tile]
		dry := s.dry(b, t.corner, p.may)
		for rest := dry; rest != 0; rest &= rest - 1 {
			here.weight -= t.weight[bits.TrailingZeros64(rest)]
		}
		if here.weight <= s.most {
			return true
		}
		if p.may &^= dry; p.may != 0 {
			here.patches = append(here.patches, p)
		}
	}
	return false
}

// castShadows works out the shadows from b. Blockers out of the throw, or
// wholly in the shadow of another, hide nothing more and are left out. A
// shadow holds its own blocker, so only those kept so far are asked.
func (s *search) castShadows(b box, above, here *level) {
	here.blockers, s.shadows = here.blockers[:0], s.shadows[:0]
	for _, k := range above.blockers {
		if b.gap2(k.box()) >= s.throwMM*s.throwMM || s.shaded(k) {
			continue
		}
		here.blockers = append(here.blockers, k)
		if sh, ok := shadowOf(k, b, s.spread.atomMM); ok {
			s.shadows = append(s.shadows, sh)
		}
	}
}

// shaded reports whether one of the shadows cast so far holds all of k.
func (s *search) shaded(k segment) bool {
	for i := range s.shadows {
		if sh := &s.shadows[i]; sh.holds(k.a) && sh.holds(k.b) {
			return true
		}
	}
	return false
}

// dry marks those of the atoms given that no head in b wets.
func (s *search) dry(b box, corner point, may uint64) uint64 {
	dry := s.outOfThrow(b, corner)
	for i := range s.shadows {
		if may&^dry == 0 {
			break
		}
		hidden := s.shadows[i].hides(corner, s.spread.atomMM)
		dry |= hidden
		if hidden == all { // likely so for the next tile too
			s.shadows[0], s.shadows[i] = s.shadows[i], s.shadows[0]
		}
	}
	return dry & may
}

// outOfThrow marks the atoms of a tile that lie out of the throw of all heads
// in b.
func (s *search) outOfThrow(b box, corner point) (mask uint64) {
	throw2, atom := s.throwMM*s.throwMM, s.spread.atomMM
	tile := square(corner, tileSide*atom)
	switch {
	case b.gap2(tile) >= throw2:
		return all
	case b.far2(tile) <= throw2:
		return 0
	}
	var across [tileSide]int64 // squares of the gaps between columns and b
	for i := range across {
		x := corner.x + int64(i)*atom
		gap := max(0, x-b.max.x, b.min.x-x-atom)
		across[i] = gap * gap
	}
	for j := range tileSide {
		y := corner.y + int64(j)*atom
		gap := max(0, y-b.max.y, b.min.y-y-atom)
		for i, a := range across {
			if a+gap*gap >= throw2 {
				mask |= 1 << (j*tileSide + i)
			}
		}
	}
	return mask
}
