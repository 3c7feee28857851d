package sector

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Place chooses heads for a site.
//
//  1. The spots are surveyed: what every setting of a head there wets on the
//     lawn and off it. Cells that no permitted setting wets are counted; if the
//     coverage target cannot be met without them they are left aside, and what
//     follows is the best effort on the rest.
//  2. Fixed heads that meet the targets by themselves are all there is. Else a
//     greedy start gives every cell water from about two heads.
//  3. While the targets are met the most dispensable head is dropped, and the
//     others are set anew until the targets are met again or effort runs out.
//     If the start itself misses the targets, heads are added first.
//  4. The smallest set is set right on a finer grid and polished there: more
//     coverage, less overspray. Then its figures are measured; while they miss
//     the targets the goals are raised. If that fails, the next larger set has
//     its turn.
//
// An error is a fault in the call or a cancelled context; targets that cannot
// be met are a [Status].
func Place(ctx context.Context, site Site, s Settings) (Result, error) {
	p, err := newProblem(site, s.filled())
	if err != nil {
		return Result{}, fmt.Errorf("placing fixed-arc heads: %w", err)
	}
	r := placing{ctx: ctx, p: p}
	r.out.Unfit = p.unfit
	if err := r.all(); err != nil {
		return Result{}, fmt.Errorf("placing fixed-arc heads: %w", err)
	}
	return r.out, nil
}

// placing is one placement under way.
type placing struct {
	ctx     context.Context
	p       *problem
	s       *search
	partial bool     // the coverage target is out of reach
	found   [][]head // sets that met the goals, each smaller than the one before
	out     Result
}

func (r *placing) all() error {
	unreached, cells := r.p.unreached(), len(r.p.grid.at)
	r.out.Unreached = r.p.grid.areaM2(unreached)
	if unreached == cells {
		r.unreachable("no permitted sector wets any of the lawn")
		return nil
	}
	if share := 1 - float64(unreached)/float64(cells); share < r.p.s.CoverageTarget {
		r.partial = true
		r.p.leaveAside()
		r.unreachable("permitted sectors wet only %.1f %% of the lawn from where heads may stand, and %.1f %% is asked for: "+
			"the rest is too narrow for a radius of %v or too far from any spot", 100*share, 100*r.p.s.CoverageTarget, r.p.leastRadius())
	}
	if err := r.bound(); err != nil || r.useless() {
		return err
	}
	r.s = newSearch(r.p)
	if ok, err := r.fixedSuffice(); ok || err != nil {
		return err
	}
	r.s.start()
	r.out.Greedy = len(r.s.heads)
	if err := r.fewest(r.p.s.Moves); err != nil {
		return err
	}
	if r.partial || len(r.found) == 0 {
		return r.bestEffort()
	}
	return r.setRight()
}

// useless reports whether more heads are needed than are of any use.
func (r *placing) useless() bool {
	most := r.p.s.MostHeads
	if most == 0 || !r.partial && r.out.Bound <= most {
		return false
	}
	if !r.partial {
		r.unreachable("at least %d heads are needed for the coverage alone", r.out.Bound)
	}
	return true
}

// fixedSuffice reports whether fixed heads, where all that stand are, meet the
// targets by themselves. The search would not tell: it aims a little higher.
func (r *placing) fixedSuffice() (bool, error) {
	if len(r.p.fixed) == 0 || r.p.pinned > len(r.p.fixed) {
		return false, nil
	}
	r.s.restore(r.p.fixed)
	r.out.Greedy = len(r.p.fixed)
	ok, err := r.measure()
	if ok {
		r.out.Status, r.out.Reason = Reached, ""
	} else {
		r.s.restore(nil)
	}
	return ok, err
}

func (r *placing) unreachable(format string, args ...any) {
	r.out.Status, r.out.Reason = Unreachable, fmt.Sprintf(format, args...)
}

// bestEffort measures what there is when the targets cannot be met.
func (r *placing) bestEffort() error {
	if len(r.found) > 0 {
		r.s.polish()
	}
	_, err := r.measure()
	if r.out.Reason == "" {
		r.missed()
	}
	return err
}

func (r *placing) missed() {
	text := ""
	for i, a := range r.p.site.Areas {
		if du := r.out.Figures.AreaDU[i]; du < a.UniformityTarget {
			text += fmt.Sprintf("; area %d has %.3f of the %.3f asked for there", i+1, du, a.UniformityTarget)
		}
	}
	r.unreachable("coverage of %.1f %% and a distribution uniformity of %.3f are the best found, and %.1f %% and %.3f are asked for%s",
		100*r.out.Figures.Coverage, r.out.Figures.DULowQuarter, 100*r.p.s.CoverageTarget, r.p.s.UniformityTarget, text)
}

// bound works out a bound on coverage alone. Where the target is out of reach
// there is none.
func (r *placing) bound() (err error) {
	if !r.partial {
		r.out.Bound, r.out.WitnessMM, err = r.p.bound(r.ctx)
	}
	return err
}

// setRight takes the sets found to the finer grid, the smallest first, and
// keeps the first that meets the targets.
func (r *placing) setRight() error {
	coarse := r.s
	r.s = newSearch(r.p.finer(fineCellMM))
	r.s.moves = coarse.moves
	for _, heads := range slices.Backward(r.found) {
		r.s.restore(heads)
		ok, err := r.meetMeasured()
		if err != nil || ok {
			return err
		}
	}
	r.missed()
	return nil
}

// Effort for one set on the finer grid: moves a head, and how often its figures
// are measured.
const (
	fineAttempt = 2000
	measurings  = 3
)

// moreMargin is what the goals are raised by beyond what was found missing.
const moreMargin = 0.0005

// meetMeasured tries to meet the targets by the measured figures with the heads
// there are.
func (r *placing) meetMeasured() (bool, error) {
	s := r.s
	s.coverageGoal, s.uniformityGoal = r.p.s.CoverageTarget, r.p.s.UniformityTarget
	s.setAreaGoals(0)
	for range measurings {
		if err := r.ctx.Err(); err != nil {
			return false, err
		}
		met := s.met() || s.attempt(fineAttempt*len(s.heads), false)
		before := s.keep()
		if met {
			s.polish()
		}
		ok, err := r.measure()
		if ok || err != nil || !met {
			return ok, err
		}
		s.restore(before.heads)
		s.coverageGoal = min(1, s.coverageGoal+raise(r.p.s.CoverageTarget-r.out.Figures.Coverage))
		s.uniformityGoal += raise(r.p.s.UniformityTarget - r.out.Figures.DULowQuarter)
		for i, a := range r.p.site.Areas {
			s.areaGoals[i] += raise(a.UniformityTarget - r.out.Figures.AreaDU[i])
		}
	}
	return false, nil
}

// raise returns what to add to a goal of which so much was missing.
func raise(missing float64) float64 {
	if missing <= 0 {
		return 0
	}
	return missing + moreMargin
}

// measure fills in the heads and figures, and reports whether they meet the
// targets.
func (r *placing) measure() (bool, error) {
	r.out.Heads, r.out.Moves = r.sectors(), r.s.moves
	r.out.Figures = Figures{Coverage: r.s.field.coverage(), DULowQuarter: r.s.field.du(), AreaDU: r.s.field.areaDU()}
	if r.p.site.Measure != nil {
		var err error
		if r.out.Figures, err = r.p.site.Measure(r.out.Heads); err != nil {
			return false, fmt.Errorf("measuring: %w", err)
		}
	}
	return r.out.Figures.meet(r.p), nil
}

// meet reports whether the targets are met.
func (f *Figures) meet(p *problem) bool {
	for i, a := range p.site.Areas {
		if f.AreaDU[i] < a.UniformityTarget {
			return false
		}
	}
	return f.Coverage >= p.s.CoverageTarget && f.DULowQuarter >= p.s.UniformityTarget
}

// Moves a head that attempts are given, one after the other, before a number of
// heads is held to be too few; fewer where the limit comes first.
var attempts = [...]int{600, 1600, 4000}

// growingAttempt is the moves a head between additions of heads, and
// growthShare the share of the heads added at a time.
const (
	growingAttempt = 1000
	growthShare    = 12
)

// growthLimit is how many times the heads of the start may be reached by adding,
// and how many times the most that are of any use.
const growthLimit = 2

func (r *placing) mostGrown() int {
	if most := r.p.s.MostHeads; most > 0 && most < r.out.Greedy {
		return growthLimit * most
	}
	return growthLimit * r.out.Greedy
}

// fewest adds heads until the goals are met, then drops heads while they can be
// met without, and keeps every set that met them.
func (r *placing) fewest(limit int) error {
	s := r.s
	for !s.met() && !r.try(growingAttempt, limit) {
		if s.moves >= limit || len(s.heads) >= r.mostGrown() || len(r.p.spots) == r.p.pinned {
			return r.ctx.Err()
		}
		for range 1 + len(s.heads)/growthShare {
			s.insert()
		}
	}
	for {
		if err := r.ctx.Err(); err != nil {
			return err
		}
		r.found = append(r.found, slices.Clone(s.heads))
		if len(s.heads) <= max(1, r.p.pinned, r.out.Bound) {
			return nil
		}
		if s.drop(); !r.repair(limit) {
			s.restore(r.found[len(r.found)-1])
			return nil
		}
	}
}

// repair tries to meet the goals with the heads there are, ever harder.
func (r *placing) repair(limit int) bool {
	for _, moves := range attempts {
		if r.try(moves, limit) {
			return true
		}
	}
	return false
}

func (r *placing) try(movesPerHead, limit int) bool {
	return r.s.met() || r.s.attempt(min(movesPerHead*len(r.s.heads), limit-r.s.moves), true)
}

// sectors returns the heads in the terms of the caller.
func (r *placing) sectors() []Sector {
	var out []Sector
	for i, h := range r.s.heads {
		radius := &r.p.radii[h.k]
		out = append(out, Sector{At: r.p.spots[h.spot].at, Nozzle: radius.nozzle,
			Radius:   layout.Length(radius.mm) / geom.MillimetresPerMetre,
			StartDeg: int(h.start), SweepDeg: int(h.sweep), Pinned: i < r.p.pinned,
			Flow: layout.ArcFlow(r.p.site.Nozzles[radius.nozzle].Flow, float64(h.sweep))})
	}
	slices.SortFunc(out, func(a, b Sector) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.StartDeg, b.StartDeg),
			cmp.Compare(a.SweepDeg, b.SweepDeg), cmp.Compare(a.Radius, b.Radius), cmp.Compare(a.Nozzle, b.Nozzle))
	})
	return out
}
