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
}

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

// leastGain is the smallest gain in coverage worth a move: 1 dm² in 1000 m².
const leastGain = 1e-5

// polish moves heads one at a time by a pattern search (Hooke and Jeeves
// 1961): of the eight neighbours at the present step the one with the largest
// coverage, if it gains, until no head gains or the goal is reached; then with
// the next smaller step.
func (p *placer) polish(t team, goal float64) team {
	budget := p.s.PolishSteps * len(t.at)
	for _, step := range polishStepsMM {
		for moved := true; moved && t.share < goal && budget > 0; {
			moved = false
			for i := range t.at {
				if p.improve(&t, i, step, &budget) {
					moved = true
				}
			}
		}
	}
	return t
}

var compass = [8]geom.Point{{X: 1}, {X: 1, Y: 1}, {Y: 1}, {X: -1, Y: 1}, {X: -1}, {X: -1, Y: -1}, {Y: -1}, {X: 1, Y: -1}}

// improve moves head i to its best neighbour and reports whether it gained.
func (p *placer) improve(t *team, i int, step int64, budget *int) bool {
	home, reach := t.at[i], t.reach[i]
	best, bestReach, bestShare := home, reach, t.share+leastGain
	for _, d := range compass {
		at := geom.Pt(home.X+d.X*step, home.Y+d.Y*step)
		if *budget == 0 || !p.site.Allows(at) {
			continue
		}
		*budget--
		t.reach[i] = p.site.ReachFrom(at)
		if share := p.share(t.reach); share > bestShare {
			best, bestReach, bestShare = at, t.reach[i], share
		}
	}
	t.at[i], t.reach[i] = best, bestReach
	if best == home {
		return false
	}
	t.share = bestShare
	return true
}
