package placement

import (
	"slices"

	"lotwright/layout/geom"
)

// team is a set of heads, beside the pinned ones, with what they wet.
type team struct {
	at    []geom.Point
	reach []Reach
	share float64 // exact coverage, pinned heads included
	done  bool    // polished for all the lawn
}

// What is forgiven. Areas are summed in floating point: shareSlack is a tenth of
// a square centimetre in a hectare. And corners were rounded to the grid of
// millimetres, which leaves nooks of a few square millimetres that nothing
// reaches: forgivenMM2 is a tenth of a square centimetre on any lot.
const (
	shareSlack  = 1e-9
	forgivenMM2 = 10
)

// slack is the share of the lawn that is forgiven.
func (p *placer) slack() float64 {
	return max(shareSlack, forgivenMM2/(p.site.LawnAreaM2*geom.MillimetresPerMetre*geom.MillimetresPerMetre))
}

// reaches reports whether t covers the target share.
func (p *placer) reaches(t team, target float64) bool { return t.share >= target-p.slack() }

func (p *placer) team(at []geom.Point) team {
	t := team{at: slices.Clone(at)}
	for _, a := range at {
		t.reach = append(t.reach, p.site.ReachFrom(a))
	}
	t.share = p.share(t.reach)
	return t
}

// share returns the exact share of the lawn that the reaches and the pinned
// heads wet.
func (p *placer) share(reach []Reach) float64 {
	if p.site.LawnAreaM2 == 0 {
		return 1
	}
	return p.site.AreaReached(slices.Concat(p.pinned, reach)) / p.site.LawnAreaM2
}

// polishStepsMM are the step lengths of the pattern search, in millimetres.
var polishStepsMM = [...]int64{1000, 400, 150, 60, 25}

// leastGain is the smallest gain in coverage worth a move, 1 dm² in 1000 m²,
// unless less than that is missing from the goal.
const leastGain = 1e-5

// polish moves heads one at a time by a pattern search (Hooke and Jeeves
// 1961): of the eight neighbours at the present step the one with the largest
// coverage, if it gains, until no head gains or the goal is reached; then with
// the next smaller step.
func (p *placer) polish(t team, goal float64) team {
	if t.done {
		return t
	}
	t = p.polishing(leastGain, t, goal).by(polishStepsMM[:])
	t.done = goal == 1
	return t
}

// polishMiss polishes heads that miss the goal, and gives up once they would
// have to gain many times what they gained so far.
func (p *placer) polishMiss(t team, goal float64) team {
	w := p.polishing(leastGain, t, goal)
	w.hopelessAt = hopelessGains
	return w.by(polishStepsMM[:])
}

// hopelessGains is how many times the gain so far may be missing. Of 69
// surveyed lots, those that were polished to the goal missed 1.2 times the gain
// of the first sweep at the most.
const hopelessGains = 4

// settle moves heads by millimetres, for what is missing by hairs.
func (p *placer) settle(t team, goal float64) team {
	return p.polishing(shareSlack, t, goal).by(settleStepsMM[:])
}

// settleStepsMM are the step lengths where slivers narrower than a millimetre
// are all that is dry.
var settleStepsMM = [...]int64{15, 5, 2, 1}

func (p *placer) polishing(least float64, t team, goal float64) *polishing {
	return &polishing{p: p, t: t, goal: goal, least: least, startShare: t.share,
		budget: p.s.PolishSteps * len(t.at), settled: make([]settledAt, len(t.at))}
}

// by moves the heads with the given steps, one after the other.
func (w *polishing) by(steps []int64) team {
	for _, step := range steps {
		for moved := true; moved; {
			moved = false
			for i := range w.t.at {
				moved = w.improve(i, step) || moved
			}
			if w.hopeless() {
				return w.t
			}
		}
	}
	return w.t
}

// hopeless reports whether too much is missing to go on.
func (w *polishing) hopeless() bool {
	return w.hopelessAt > 0 && w.goal-w.t.share > w.hopelessAt*(w.t.share-w.startShare)
}

// polishing is one polish under way.
type polishing struct {
	p      *placer
	t      team
	goal   float64
	least  float64 // gain in coverage worth a move
	budget int     // exact evaluations left

	startShare float64
	hopelessAt float64 // gains so far that may be missing; 0 for any number

	moves   int         // made so far
	settled []settledAt // of each head
}

// settledAt says when a head last had no better neighbour: it has none until
// some head moves.
type settledAt struct {
	step  int64
	moves int
}

var compass = [8]geom.Point{{X: 1}, {X: 1, Y: 1}, {Y: 1}, {X: -1, Y: 1}, {X: -1}, {X: -1, Y: -1}, {Y: -1}, {X: 1, Y: -1}}

// improve moves head i to its best neighbour and reports whether it gained.
// Only heads near enough to wet the same ground are looked at meanwhile.
func (w *polishing) improve(i int, step int64) bool {
	t, site := &w.t, &w.p.site
	if w.p.reaches(*t, w.goal) || w.budget <= 0 || w.settled[i] == (settledAt{step, w.moves}) {
		return false
	}
	home := t.at[i]
	others := w.near(i, step)
	added := site.addedTo(others)
	before := added(t.reach[i])
	best, bestReach := home, t.reach[i]
	bestShare := min(t.share+w.least, w.goal-w.p.slack())
	for _, d := range compass {
		at := geom.Pt(home.X+d.X*step, home.Y+d.Y*step)
		if w.budget <= 0 || !site.Allows(at) {
			continue
		}
		w.budget--
		reach := site.ReachFrom(at)
		gain := (added(reach) - before) / site.LawnAreaM2
		if t.share+gain > bestShare {
			best, bestReach, bestShare = at, reach, t.share+gain
		}
	}
	if best == home {
		w.settled[i] = settledAt{step, w.moves}
		return false
	}
	w.moves++
	t.at[i], t.reach[i] = best, bestReach
	t.share = w.p.share(t.reach)
	return true
}

// addedTo returns the area, in m², that one more reach adds to the given ones.
func (s *Site) addedTo(others []Reach) func(Reach) float64 {
	if s.AddedTo != nil {
		return s.AddedTo(others)
	}
	before := s.AreaReached(others)
	return func(r Reach) float64 { return s.AreaReached(append(others, r)) - before }
}

// near returns the reaches, head i's own left out, that may share ground with
// head i or with its neighbours at the given step.
func (w *polishing) near(i int, step int64) []Reach {
	home, limit := w.t.at[i], 2*(w.p.site.ThrowMM+step)
	var out []Reach
	for k, at := range w.p.site.Pinned {
		if at.Within(home, limit) {
			out = append(out, w.p.pinned[k])
		}
	}
	for k, at := range w.t.at {
		if k != i && at.Within(home, limit) {
			out = append(out, w.t.reach[k])
		}
	}
	return slices.Clip(out)
}
