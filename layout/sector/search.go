package sector

import (
	"math/rand/v2"
	"slices"
)

// search improves a set of heads of fixed number by threshold accepting with a
// random threshold (after G. Dueck and T. Scheuer, Threshold accepting, Journal
// of Computational Physics 90, 1990). What is minimised is what the targets
// are missed by; it is nought when both are met.
//
// How much a missing share of coverage counts against a missing share of DU_lq
// is set on the way: while one of them alone is missed it slowly gains weight.
// Fixed weights leave lots whose corners only few settings reach with twice the
// heads.
type search struct {
	p     *problem
	field *field
	rng   *rand.Rand
	heads []head // the pinned ones first

	coverageGoal, uniformityGoal float64 // targets, and a margin for what the grid flatters
	areaGoals                    []float64
	coverageWeight               float64
	polishing                    bool
	moves                        int // made so far
}

// Margins of the goals over the targets to begin with. What the grid of the
// search flatters beyond that is found by measuring.
const (
	coverageMargin   = 0.002
	uniformityMargin = 0.004
)

// Weight of coverage against DU_lq: where it starts, its bounds, and its change
// every time the level is set anew.
const (
	startWeight  = 2
	leastWeight  = 1
	mostWeight   = 20
	weightGrowth = 1.01
)

// stream makes the generator's second word.
const stream = 0x9e3779b97f4a7c15

func newSearch(p *problem) *search {
	s := &search{p: p, field: newField(p), rng: rand.New(rand.NewPCG(p.s.Seed, stream)),
		coverageGoal:   min(1, p.s.CoverageTarget+coverageMargin),
		uniformityGoal: p.s.UniformityTarget + uniformityMargin,
		coverageWeight: startWeight}
	s.setAreaGoals(uniformityMargin)
	return s
}

// What polishing minimises once both goals are met: lawn not reached and, so
// much less, overspray, as shares of the lawn. missedWeight keeps the goals met.
const (
	oversprayWeight = 0.25
	missedWeight    = 100
	polishMoves     = 1000 // a head
)

// polish resets the heads of a set that meets the goals for the sake of what
// comes after: most coverage, least overspray.
func (s *search) polish() {
	before := slices.Clone(s.heads)
	s.polishing = true
	s.anneal(polishMoves*len(s.heads), cooling)
	s.polishing = false
	if !s.met() {
		s.restore(before)
	}
}

// energy is what is minimised.
func (s *search) energy() float64 {
	covered := s.field.coverage()
	missed := max(0, s.uniformityGoal-s.field.du()) + s.missedByAreas() + float64(s.coverageWeight*max(0, s.coverageGoal-covered))
	if !s.polishing {
		return missed
	}
	return float64(missedWeight*missed) + 1 - covered +
		float64(oversprayWeight*(s.field.over/s.p.grid.areaM2(len(s.p.grid.at))))
}

// met reports whether both goals are met.
func (s *search) met() bool {
	return s.field.du() >= s.uniformityGoal && s.missedByAreas() == 0 && s.field.coverage() >= s.coverageGoal
}

// The level is set anew after so many moves, and after as many as there are
// cells to a 64th on a fine grid, where that takes as long as several moves.
const releveled = 64

// schedule is how the threshold falls.
type schedule struct{ from, to float64 }

// The schedules. A head more or less moves the energy by some hundredths, a
// stop by a few thousandths.
var (
	hot     = schedule{0.02, 0.0005}
	warm    = schedule{0.006, 0.0005}
	cooling = schedule{0.001, 0}
)

// at returns the threshold when the given share of the moves is made.
func (c schedule) at(share float64) float64 {
	rest := (1 - share) * (1 - share)
	return c.to + float64((c.from-c.to)*rest)
}

// anneal makes the given number of moves, or fewer when the goals are met and
// it is not polishing. A move that makes things worse is accepted when it does
// so by less than a random part of the threshold.
func (s *search) anneal(moves int, c schedule) {
	e, every := 0.0, max(releveled, len(s.field.on)/releveled)
	for m := range moves {
		if m%every == 0 {
			s.field.relevel()
			s.reweigh()
			if e = s.energy(); e == 0 {
				return
			}
		}
		s.moves++
		i := s.rng.IntN(len(s.heads))
		h, ok := s.propose(i)
		if !ok {
			continue
		}
		s.field.take(s.heads[i])
		s.field.put(h)
		now := s.energy()
		if now <= e || now-e < float64(c.at(float64(m)/float64(moves))*s.rng.Float64()) {
			s.heads[i], e = h, now
			if e == 0 {
				break
			}
			continue
		}
		s.field.take(h)
		s.field.put(s.heads[i])
	}
	s.field.relevel()
}

func (s *search) reweigh() {
	dry, uneven := s.field.coverage() < s.coverageGoal, s.field.du() < s.uniformityGoal || s.missedByAreas() > 0
	switch {
	case dry && !uneven:
		s.coverageWeight = min(float64(s.coverageWeight*weightGrowth), mostWeight)
	case uneven && !dry:
		s.coverageWeight = max(float64(s.coverageWeight/weightGrowth), leastWeight)
	}
}

// How an attempt spends its moves: a first share on one hot schedule, the rest
// on rounds of so many moves a head, each begun by moving one head to where
// water lacks. A round that ends worse by more than setback is undone.
const (
	hotShare   = 0.3
	roundMoves = 150
	setback    = 0.003
)

// attempt tries to meet the goals with the heads there are, starting hot or
// staying close to how they are set.
func (s *search) attempt(moves int, startHot bool) bool {
	best, spent := s.keep(), 0
	if startHot {
		spent = int(hotShare * float64(moves))
		s.anneal(spent, hot)
		best = s.keep()
	}
	for current := best; spent < moves && best.energy > 0; spent += roundMoves * len(s.heads) {
		s.relocate()
		s.anneal(roundMoves*len(s.heads), warm)
		now := s.keep()
		if now.energy < best.energy {
			best = now
		}
		if now.energy <= current.energy+setback {
			current = now
		} else {
			s.restore(current.heads)
		}
	}
	s.restore(best.heads)
	return best.energy == 0
}

// kept is a set of heads put by.
type kept struct {
	heads  []head
	energy float64
}

func (s *search) keep() kept { return kept{slices.Clone(s.heads), s.energy()} }

// restore goes back to a set of heads put by.
func (s *search) restore(heads []head) {
	for _, h := range s.heads {
		s.field.take(h)
	}
	s.heads = slices.Clone(heads)
	for _, h := range s.heads {
		s.field.put(h)
	}
	s.field.relevel()
}
