package sector

import (
	"math"
	"slices"
)

// Sizes of the small moves.
const (
	mostTurn  = 15 // degrees a head is turned by
	mostSteps = 6  // sweep steps a stop is moved by
)

// propose returns another setting for head i, and whether it is permitted and
// different.
func (s *search) propose(i int) (head, bool) {
	h := s.heads[i]
	if i < len(s.p.fixed) {
		return h, false
	}
	pinned := i < s.p.pinned
	switch s.rng.IntN(8) {
	case 0:
		s.turn(&h)
	case 1, 2:
		s.moveStop(&h)
	case 3, 4:
		if !pinned {
			s.slide(&h)
		}
	case 5:
		h.k = int16(max(0, min(len(s.p.radii)-1, int(h.k)+1-2*s.rng.IntN(2))))
	case 6:
		if !pinned && s.rng.IntN(2) == 0 {
			s.slide(&h)
		}
		s.rearc(&h)
	default:
		if !pinned {
			s.jump(&h, s.dryCell())
		}
	}
	if h == s.heads[i] || h.spot != s.heads[i].spot && s.occupied(h.spot) {
		return h, false
	}
	return h, s.p.spots[h.spot].throws[h.k].permits(h.arc, s.p.oversprayLimit)
}

// occupied reports whether a head stands on a spot: two do not fit in one hole.
func (s *search) occupied(spot int32) bool {
	return slices.ContainsFunc(s.heads, func(h head) bool { return h.spot == spot })
}

// turn turns a head, stops and all.
func (s *search) turn(h *head) {
	if h.sweep < turn {
		h.start = bearing(int(h.start) + s.rng.IntN(2*mostTurn+1) - mostTurn)
	}
}

// moveStop moves the left or the right stop of a head.
func (s *search) moveStop(h *head) {
	by := sweepStep * (1 + s.rng.IntN(mostSteps))
	if s.rng.IntN(2) == 0 {
		by = -by
	}
	sweep := min(s.p.greatestSweep, max(s.p.leastSweep, int(h.sweep)+by))
	if s.rng.IntN(2) == 0 {
		h.start = bearing(int(h.start) - (sweep - int(h.sweep)))
	}
	if h.sweep = int16(sweep); sweep == turn {
		h.start = 0
	}
}

// slide moves a head to a spot nearby.
func (s *search) slide(h *head) {
	if near := s.p.near[h.spot]; len(near) > 0 {
		h.spot = near[s.rng.IntN(len(near))]
	}
}

// rearc gives a head one of the arcs listed for its spot.
func (s *search) rearc(h *head) {
	if arcs := s.p.spots[h.spot].throws[h.k].arcs; len(arcs) > 0 {
		h.arc = arcs[s.rng.IntN(len(arcs))]
	}
}

// jumpTries is how many spots a jump looks at before it gives up.
const jumpTries = 40

// jump moves a head to a random spot within a radius of a cell, with one of the
// arcs listed there.
func (s *search) jump(h *head, cell int) {
	p := s.p
	for range jumpTries {
		if p.pinned == len(p.spots) {
			return
		}
		i, k := p.pinned+s.rng.IntN(len(p.spots)-p.pinned), s.rng.IntN(len(p.radii))
		if len(p.spots[i].throws[k].arcs) > 0 && p.spots[i].at.Within(p.grid.at[cell], p.radii[k].mm) {
			h.spot, h.k = int32(i), int16(k)
			s.rearc(h)
			return
		}
	}
}

// dryCells is how many cells are drawn for the driest of them to be chosen.
const dryCells = 8

func (s *search) dryCell() int {
	on := s.field.on
	driest := s.rng.IntN(len(on))
	for range dryCells - 1 {
		if c := s.rng.IntN(len(on)); on[c].depth < on[driest].depth {
			driest = c
		}
	}
	return driest
}

// Numbers of heads and of settings that are compared when a head is moved to
// where water lacks.
const (
	leaveTries  = 3
	insertTries = 24
)

// relocate takes out the most dispensable of a few heads and puts it back in
// where water lacks.
func (s *search) relocate() {
	free := len(s.heads) - s.p.pinned
	if free == 0 {
		return
	}
	leaving, least := 0, math.Inf(1)
	for range leaveTries {
		i := s.p.pinned + s.rng.IntN(free)
		if e := s.without(i); e < least {
			leaving, least = i, e
		}
	}
	h := s.heads[leaving]
	s.field.take(h)
	if found, ok := s.bestInsert(h); ok {
		h = found
	}
	s.heads[leaving] = h
	s.field.put(h)
	s.field.relevel()
}

// without returns the energy there would be without head i.
func (s *search) without(i int) float64 {
	s.field.take(s.heads[i])
	e := s.energy()
	s.field.put(s.heads[i])
	return e
}

// bestInsert returns the best of some settings that water a dry cell from spots
// that are free, if it comes upon any. The head it starts from is not among them.
func (s *search) bestInsert(from head) (best head, ok bool) {
	least, cell := math.Inf(1), s.dryCell()
	for range insertTries {
		h := from
		if s.jump(&h, cell); s.occupied(h.spot) {
			continue
		}
		s.field.put(h)
		if e := s.energy(); e < least {
			best, least, ok = h, e, true
		}
		s.field.take(h)
	}
	return best, ok
}

// drop takes out the head that is missed least.
func (s *search) drop() {
	leaving, least := 0, math.Inf(1)
	for i := s.p.pinned; i < len(s.heads); i++ {
		if e := s.without(i); e < least {
			leaving, least = i, e
		}
	}
	s.field.take(s.heads[leaving])
	s.heads = append(s.heads[:leaving:leaving], s.heads[leaving+1:]...)
	s.field.relevel()
}

// insert adds a head where water lacks, if it comes upon a free spot there.
func (s *search) insert() {
	h, ok := s.bestInsert(s.heads[len(s.heads)-1])
	if !ok {
		return
	}
	s.heads = append(s.heads, h)
	s.field.put(h)
	s.field.relevel()
}

// bearing returns degrees within a turn.
func bearing(deg int) int16 { return int16((deg%turn + turn) % turn) }
