package zoning

import (
	"math/rand/v2"
	"slices"
)

// shortest divides the heads into as few zones as the bins, or fewer, with short
// pipe, and reports whether no division is better.
func (p *problem) shortest(bins [][]int) ([]zone, bool) {
	all := make([]int, len(p.heads))
	for i := range all {
		all[i] = i
	}
	if len(all) <= p.exact {
		return p.divided(all), true
	}
	best := p.measured(bins)
	if len(best) == 1 {
		return best, true
	}
	s := search{p: p, zones: best, rng: rand.New(rand.NewPCG(searchSeed, uint64(len(all))))}
	s.startFrom(p.inOrder(all))
	s.descend()
	s.shake()
	return s.zones, false
}

// searchSeed makes every run of the local search the same.
const searchSeed = 20

// measured returns the bins as zones.
func (p *problem) measured(bins [][]int) []zone {
	out := make([]zone, len(bins))
	for i, b := range bins {
		out[i] = p.newZone(b)
	}
	return out
}

// inOrder returns all heads as they lie round the tap or along the trench.
func (p *problem) inOrder(all []int) []int {
	ids := make([]int, len(all))
	local := make(map[int]int, len(all))
	for i, k := range all {
		ids[i], local[p.heads[k]] = p.heads[k], k
	}
	out := p.measure.sequence(ids)
	for i, id := range out {
		out[i] = local[id]
	}
	return out
}

// search is a grouping under improvement.
type search struct {
	p     *problem
	zones []zone
	rng   *rand.Rand
}

func (s *search) spent() bool { return s.p.moves >= s.p.budget }

// startFrom takes the best of the groupings that fill zones along the sequence,
// begun at each of its heads: one zone after the other, or each head into the
// first zone that takes it.
func (s *search) startFrom(sequence []int) {
	for range sequence {
		for _, open := range []int{1, len(sequence)} {
			if bins := s.p.firstFit(sequence, open); len(bins) <= len(s.zones) && !s.spent() {
				s.take(s.p.measured(bins))
			}
		}
		sequence = append(sequence[1:], sequence[0])
	}
}

// firstFit puts heads, as they come, into the first of the last few bins that
// takes them.
func (p *problem) firstFit(sequence []int, open int) (bins [][]int) {
	var room []int64
	for _, h := range sequence {
		at := max(0, len(bins)-open)
		for at < len(bins) && room[at] < p.flow[h] {
			at++
		}
		if at == len(bins) {
			bins, room = append(bins, nil), append(room, p.limit)
		}
		bins[at] = append(bins[at], h)
		room[at] -= p.flow[h]
	}
	return bins
}

// take keeps zones if they are better.
func (s *search) take(zones []zone) bool {
	if total(zones).compare(total(s.zones)) >= 0 {
		return false
	}
	s.zones = zones
	return true
}

// descend makes changes until none is for the better.
func (s *search) descend() {
	for !s.spent() && (s.moveOne() || s.swapTwo() || s.redivide()) {
	}
}

// moveOne moves a head to another zone, if that is for the better.
func (s *search) moveOne() bool {
	for a := range s.zones {
		for _, h := range s.zones[a].heads {
			for b := range s.zones {
				if a != b && s.fits(b, h, -1) && s.exchange(a, b, h, -1) {
					return true
				}
			}
		}
	}
	return false
}

// swapTwo exchanges two heads of different zones, if that is for the better.
func (s *search) swapTwo() bool {
	for a := range s.zones {
		for b := range a {
			for _, h := range s.zones[a].heads {
				for _, k := range s.zones[b].heads {
					if s.fits(b, h, k) && s.fits(a, k, h) && s.exchange(a, b, h, k) {
						return true
					}
				}
			}
		}
	}
	return false
}

// fits reports whether zone b takes head h when k (-1: none) leaves it.
func (s *search) fits(b, h, k int) bool {
	flow := s.zones[b].flow + s.p.flow[h]
	if k >= 0 {
		flow -= s.p.flow[k]
	}
	return flow <= s.p.limit && !s.spent()
}

// exchange moves h from a to b and k (-1: none) the other way, if that is for
// the better.
func (s *search) exchange(a, b, h, k int) bool {
	x, y := s.exchanged(a, b, h, k)
	if x.plus(y.value).compare(s.zones[a].plus(s.zones[b].value)) >= 0 {
		return false
	}
	s.set(a, b, x, y)
	return true
}

func (s *search) exchanged(a, b, h, k int) (x, y zone) {
	from, to := without(s.zones[a].heads, h), without(s.zones[b].heads, k)
	to = append(to, h)
	if k >= 0 {
		from = append(from, k)
	}
	return s.p.newZone(from), s.p.newZone(to)
}

// set puts x and y in the place of zones a and b. A zone left empty goes.
func (s *search) set(a, b int, x, y zone) {
	s.zones = slices.Clone(s.zones)
	s.zones[a], s.zones[b] = x, y
	s.zones = slices.DeleteFunc(s.zones, func(z zone) bool { return len(z.heads) == 0 })
}

func without(heads []int, h int) []int {
	return slices.DeleteFunc(slices.Clone(heads), func(k int) bool { return k == h })
}

// fewHeads is how many heads of two or three zones are divided anew at a time:
// more take longer than they gain. A judgement.
const fewHeads = 10

// redivide divides two or three zones anew in the best way, if that is for the
// better.
func (s *search) redivide() bool {
	for a := range s.zones {
		for b := range a {
			if s.redivided(a, b) {
				return true
			}
			for c := range b {
				if s.redivided(a, b, c) {
					return true
				}
			}
		}
	}
	return false
}

func (s *search) redivided(chosen ...int) bool {
	var heads []int
	var rest []zone
	for i, z := range s.zones {
		if slices.Contains(chosen, i) {
			heads = append(heads, z.heads...)
		} else {
			rest = append(rest, z)
		}
	}
	if len(heads) > fewHeads || s.spent() {
		return false
	}
	slices.Sort(heads)
	return s.take(append(rest, s.p.divided(heads)...))
}

// shakes is how many random exchanges a shake makes; a judgement.
const shakes = 3

// shake makes a few exchanges at random, improves what comes out and keeps it
// if it is better, until the moves are spent.
func (s *search) shake() {
	for !s.spent() {
		kept := s.zones
		for range shakes {
			s.disturb()
		}
		s.descend()
		if total(s.zones).compare(total(kept)) >= 0 {
			s.zones = kept
		}
	}
}

// disturb moves a random head to a random zone, or exchanges it for one there.
// What takes too much is drawn again, a few times.
func (s *search) disturb() {
	for range 2 * len(s.p.heads) {
		a, b := s.rng.IntN(len(s.zones)), s.rng.IntN(len(s.zones))
		if a == b {
			s.p.moves++ // so that this comes to an end where nothing can be moved
			continue
		}
		from, to := s.zones[a].heads, s.zones[b].heads
		h, k := from[s.rng.IntN(len(from))], -1
		if i := s.rng.IntN(len(to) + 1); i < len(to) {
			k = to[i]
		}
		if s.fits(b, h, k) && (k < 0 || s.fits(a, k, h)) {
			x, y := s.exchanged(a, b, h, k)
			s.set(a, b, x, y)
			return
		}
		s.p.moves++
	}
}
