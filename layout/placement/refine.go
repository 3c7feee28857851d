package placement

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"lotwright/layout/geom"
	"lotwright/layout/setcover"
)

// refine closes the gap between witnesses, which only sample the lawn, and the
// lawn itself. It returns the fewest heads it finds to reach the target or, if
// it finds none, those that came nearest.
//
//  1. What the present heads leave dry, as chosen and as polished, becomes
//     witnesses, weighted with its area; so this choice, at least, is seen to
//     miss.
//  2. Places around the heads become spots, in rings that change from round to
//     round; and where no spot sees a dry patch, legal places that do.
//  3. The choice is made again, starting from the last one, and polished. When
//     no more than slivers are dry the heads are settled by millimetres.
//  4. Heads that reach the target are kept, and the nearest miss with one fewer
//     is the next to be looked at. Once a choice needs as many heads as are
//     kept, more moves are spent on it, and soon it is given up.
func (p *placer) refine(ctx context.Context, polished team, r setcover.Result, target float64, out *Result) (team, error) {
	f := refinement{p: p, target: target}
	goal, chosen, stalls := r.Bound, r.Chosen, 0
	raw := p.team(p.places(r.Chosen))
	for _, start := range p.site.Start {
		f.keep(p.team(start))
	}
	for i, start := range p.startsBelow(len(r.Chosen)) {
		t := p.team(start)
		p.learn(t, i)
		p.learn(p.polishMiss(t, target), i)
	}
	for round := 0; round < p.s.Rounds && ctx.Err() == nil; round++ {
		f.keep(raw)
		f.keep(polished)
		if f.fewest != nil && len(r.Near) > 0 && stalls == 0 {
			raw = p.team(p.places(r.Near))
			if polished = p.miss; round > 0 || len(p.miss.at) == 0 {
				polished = p.polishMiss(raw, target)
			}
			f.keep(polished)
		}
		if f.fewest != nil && len(f.fewest.at) <= goal {
			break
		}
		learned := p.learn(raw, round)
		if !p.learn(polished, round) && !learned && !f.keep(p.settle(polished, target)) && f.fewest == nil {
			break
		}
		var err error
		r, err = setcover.Solve(ctx, p.cover, setcover.Settings{
			Moves: p.refineMoves() << stalls, Pivots: -1, Seed: p.s.Seed, Start: chosen, Goal: goal})
		if err != nil {
			return team{}, fmt.Errorf("placing heads again: %w", err)
		}
		out.Moves += r.Work.Moves
		chosen = r.Chosen
		if f.fewest != nil && len(r.Chosen) >= len(f.fewest.at) {
			if stalls++; stalls > mostStalls {
				break
			}
			continue
		}
		raw = p.team(p.places(r.Chosen))
		polished = p.polish(raw, target)
	}
	if f.fewest != nil {
		return *f.fewest, nil
	}
	return polished, nil
}

// refineMoves is the effort of each new choice; doubled mostStalls times at the
// most when it brings nothing.
const (
	refineMoves = 600
	mostStalls  = 1
)

// refineMoves is the effort of each new choice: less where little is spent on the
// first one.
func (p *placer) refineMoves() int {
	if p.s.Moves > 0 {
		return min(refineMoves, p.s.Moves/refineShare)
	}
	return refineMoves
}

// refineShare is the share of the moves of the first choice.
const refineShare = 4

// refinement holds the fewest heads found to reach the target, nil before any.
type refinement struct {
	p      *placer
	target float64
	fewest *team
}

// keep keeps a team if it reaches the target with fewer heads than any before;
// it reports whether it reaches it.
func (f *refinement) keep(t team) bool {
	if !f.p.reaches(t, f.target) {
		return false
	}
	if t = f.p.needed(t, f.target); f.fewest == nil || len(t.at) < len(f.fewest.at) {
		f.fewest = &t
	}
	return true
}

// dry lists what the team and the pinned heads leave dry, the largest first;
// nil where the site cannot tell.
func (p *placer) dry(t team) []Dry {
	if p.site.DryAt == nil {
		return nil
	}
	reaches := slices.Concat(p.pinned, t.reach)
	all := slices.DeleteFunc(p.site.DryAt(reaches), func(d Dry) bool { return sees(reaches, d.At) })
	slices.SortFunc(all, func(a, b Dry) int { return cmp.Or(cmp.Compare(b.AreaMM2, a.AreaMM2), a.At.Compare(b.At)) })
	return all
}

// How much of what is dry is looked at in a round: so many patches, so far
// apart, and none so near to one that no legal place sees.
const (
	patchesPerRound = 24
	patchesApartMM  = 250
	lostMM          = 50
)

// learn adds witnesses for what the team leaves dry, and spots. It reports
// whether there was anything to add.
func (p *placer) learn(t team, round int) bool {
	var taken []Dry
	for _, d := range p.dry(t) {
		if len(taken) == patchesPerRound {
			break
		}
		if !nearAny(taken, d.At, patchesApartMM) && !nearAny(p.lost, d.At, lostMM) {
			taken = append(taken, d)
		}
	}
	for _, d := range taken {
		p.addWitness(d)
	}
	p.addRings(t, round)
	return len(taken) > 0
}

func nearAny(patches []Dry, at geom.Point, mm int64) bool {
	return slices.ContainsFunc(patches, func(o Dry) bool { return o.At.Within(at, mm) })
}

// addWitness makes a dry patch a row, if any legal place sees it.
func (p *placer) addWitness(d Dry) {
	if !sees(p.reach, d.At) && !p.spotsSeeing(d.At) {
		p.lost = append(p.lost, d)
		return
	}
	row := int32(len(p.cover.Weights))
	p.cover.Weights = append(p.cover.Weights, max(d.AreaMM2, 1))
	p.later = append(p.later, d.At)
	for c, reach := range p.reach {
		if reach.Sees(d.At) {
			p.cover.Columns[c] = append(p.cover.Columns[c], row)
		}
	}
}

// ringsMM are the distances from a head, round by round, at which places are
// tried as spots.
var ringsMM = [...]int64{500, 250, 120, 60, 800}

// addRings makes places around the team's heads, and where they stand, spots.
func (p *placer) addRings(t team, round int) {
	ring := ringsMM[round%len(ringsMM)]
	for _, home := range t.at {
		p.addSpot(home)
		for _, d := range compass {
			if at := geom.Pt(home.X+d.X*ring, home.Y+d.Y*ring); p.site.Allows(at) {
				p.addSpot(at)
			}
		}
	}
}

// searchStepsMM is how finely the ground is searched for places that see a patch
// no spot sees: coarsely at first, and finely if that finds none. searchMM is
// how far from the patch.
var searchStepsMM = [...]int64{1000, 500, 200, 70}

const searchMM = 3000

// spotsSeeing adds as spots legal places near a patch that see it, and reports
// whether there are any.
func (p *placer) spotsSeeing(patch geom.Point) bool {
	for _, step := range searchStepsMM {
		found := false
		reach := min(searchMM, p.site.ThrowMM) / step
		for i := -reach; i <= reach; i++ {
			for j := -reach; j <= reach; j++ {
				at := geom.Pt(patch.X+i*step, patch.Y+j*step)
				if at.Within(patch, p.site.ThrowMM) && p.site.Allows(at) && p.site.ReachFrom(at).Sees(patch) {
					p.addSpot(at)
					found = true
				}
			}
		}
		if found {
			return true
		}
	}
	return false
}
