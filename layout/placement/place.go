package placement

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"lotwright/layout/geom"
	"lotwright/layout/setcover"
)

// bestEffortShare is the share of what can be reached at all that is still
// aimed for when the target cannot be: the last half per cent would cost a head
// for every corner.
const bestEffortShare = 0.995

// Place chooses positions for the heads of a site.
//
//  1. Every spot becomes a column of a set-cover problem, every witness a row
//     weighted with its area; rows a pinned head wets are done already.
//  2. The set cover is solved: its columns are the heads, its bound is the
//     discrete proof.
//  3. The heads are polished: moved, one at a time, to wherever the exact area
//     reached grows most.
//  4. One head fewer is tried, from the search's nearest miss: off the grid,
//     polishing may reach the target after all.
//  5. Should the polished heads miss the target, because witnesses only sample
//     the lawn, what they leave dry becomes witnesses too, places around them
//     become spots, and the choice is made again: see [placer.refine].
//  6. When that has nothing more to give, heads are added one by one where the
//     exact area gains most, and those that are not needed are taken away. Heads
//     that the site brings along are taken where they do with fewer.
func Place(ctx context.Context, site Site, s Settings) (Result, error) {
	if s.PolishSteps == 0 {
		s.PolishSteps = DefaultPolishSteps
	}
	if s.Rounds == 0 {
		s.Rounds = DefaultRounds
	}
	p := placer{site: site, s: s}
	p.build()
	return p.place(ctx)
}

// placer is one placement under way.
type placer struct {
	site   Site
	s      Settings
	cover  setcover.Problem
	rowOf  []int32      // of each witness; −1 when a pinned head wets it
	later  []geom.Point // witnesses of the last rows, that came in later
	spots  []geom.Point // of each column
	reach  []Reach      // from each spot
	known  map[geom.Point]bool
	total  int64 // area of all the site's witnesses, mm²
	unseen int64 // of those that no spot and no pinned head wets
	pinned []Reach
	lost   []Dry // patches that no legal place sees
	miss   team  // the first nearest miss, polished

	scratch []int32
}

// build sets up the cover problem.
func (p *placer) build() {
	for _, at := range p.site.Pinned {
		p.pinned = append(p.pinned, p.site.ReachFrom(at))
	}
	p.rowOf = make([]int32, len(p.site.WitnessAt))
	for w, at := range p.site.WitnessAt {
		p.total += p.site.WitnessMM2[w]
		p.rowOf[w] = -1
		if !sees(p.pinned, at) {
			p.rowOf[w] = int32(len(p.cover.Weights))
			p.cover.Weights = append(p.cover.Weights, p.site.WitnessMM2[w])
		}
	}
	p.known = make(map[geom.Point]bool, len(p.site.Spots))
	for _, at := range p.site.Spots {
		p.addSpot(at)
	}
	seen := p.seenRows()
	for w, at := range p.site.WitnessAt {
		if r := p.rowOf[w]; r >= 0 && !seen[r] && !p.spotsSeeing(at) {
			p.unseen += p.cover.Weights[r]
		}
	}
}

func sees(reaches []Reach, at geom.Point) bool {
	return slices.ContainsFunc(reaches, func(r Reach) bool { return r.Sees(at) })
}

// seenRows marks the rows that some column covers.
func (p *placer) seenRows() []bool {
	seen := make([]bool, len(p.cover.Weights))
	for _, rows := range p.cover.Columns {
		for _, r := range rows {
			seen[r] = true
		}
	}
	return seen
}

// addSpot makes a place a column, unless it is one.
func (p *placer) addSpot(at geom.Point) {
	if p.known[at] {
		return
	}
	p.known[at] = true
	reach := p.site.ReachFrom(at)
	p.spots, p.reach = append(p.spots, at), append(p.reach, reach)
	p.cover.Columns = append(p.cover.Columns, p.column(at, reach))
}

// column lists the rows a head at the given place covers.
func (p *placer) column(at geom.Point, reach Reach) []int32 {
	first, _ := slices.BinarySearchFunc(p.site.WitnessAt, at.X-p.site.ThrowMM,
		func(w geom.Point, x int64) int { return int(w.X - x) })
	past, _ := slices.BinarySearchFunc(p.site.WitnessAt, at.X+p.site.ThrowMM+1,
		func(w geom.Point, x int64) int { return int(w.X - x) })
	rows := p.scratch[:0]
	reach.SeesEach(p.site.WitnessAt[first:past], func(i int) {
		if row := p.rowOf[first+i]; row >= 0 {
			rows = append(rows, row)
		}
	})
	first = len(p.cover.Weights) - len(p.later)
	for k, w := range p.later {
		if reach.Sees(w) {
			rows = append(rows, int32(first+k))
		}
	}
	p.scratch = rows
	return slices.Clone(rows)
}

func (p *placer) place(ctx context.Context) (Result, error) {
	var out Result
	target := p.s.CoverageTarget
	p.cover.Spare = int64(float64(p.total) * (1 - target))
	hopeless := p.cover.Spare < p.unseen
	if hopeless {
		target = p.aimLower()
	}
	r, err := setcover.Solve(ctx, p.cover, setcover.Settings{Moves: p.s.Moves, Pivots: p.s.Pivots, Nodes: p.s.Nodes, Seed: p.s.Seed})
	if err != nil {
		return Result{}, fmt.Errorf("placing heads: %w", err)
	}
	p.record(&out, r)
	heads := p.best(r, target)
	if !hopeless {
		if heads, err = p.refine(ctx, heads, r, target, &out); err != nil {
			return Result{}, err
		}
		before := len(heads.at)
		heads = p.completed(ctx, heads, target)
		out.Greedy += len(heads.at) - before
		heads = p.polish(p.needed(heads, target), 1)
		heads = p.orStart(heads, len(r.Chosen), target)
	}
	out.Greedy = max(out.Greedy, len(heads.at)+len(p.site.Pinned))
	return p.finish(out, heads), ctx.Err()
}

// aimLower sets the target to nearly all that can be reached and returns it.
func (p *placer) aimLower() float64 {
	reachable := p.total - p.unseen
	p.cover.Spare = p.unseen + reachable - int64(float64(reachable)*bestEffortShare)
	return 1 - float64(p.cover.Spare)/float64(p.total)
}

// record keeps the counts and the bound of the choice among the site's own
// spots and witnesses.
func (p *placer) record(out *Result, r setcover.Result) {
	out.Moves, out.Pivots, out.Nodes = r.Work.Moves, r.Work.Pivots, r.Work.Nodes
	out.Greedy = r.Greedy + len(p.site.Pinned)
	out.Bound, out.Proven = r.Bound+len(p.site.Pinned), true
}

// best polishes the cover's heads, after trying with one fewer and with the
// heads the site brings along.
func (p *placer) best(r setcover.Result, target float64) team {
	for _, start := range p.startsBelow(len(r.Chosen)) {
		if t := p.polish(p.team(start), target); p.reaches(t, target) {
			return p.polish(t, 1)
		}
	}
	if len(r.Near) > 0 || len(r.Chosen) == 1 && len(p.site.Pinned) > 0 {
		p.miss = p.polishMiss(p.team(p.places(r.Near)), target)
		if p.reaches(p.miss, target) {
			return p.polish(p.miss, 1)
		}
	}
	return p.polish(p.team(p.places(r.Chosen)), 1)
}

// orStart returns the heads, or the site's own suggestion of fewer that do, where
// that was not looked at before because the choice began with no more.
func (p *placer) orStart(heads team, chosen int, target float64) team {
	for _, start := range p.startsBelow(len(heads.at)) {
		if len(start) < chosen {
			continue
		}
		if t := p.polish(p.team(start), target); p.reaches(t, target) {
			return p.polish(p.needed(t, target), 1)
		}
	}
	return heads
}

// startsBelow returns the site's own suggestions of fewer heads than given, the
// fewest first.
func (p *placer) startsBelow(n int) (out [][]geom.Point) {
	for _, s := range p.site.Start {
		if len(s) < n {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b []geom.Point) int { return cmp.Compare(len(a), len(b)) })
	return out
}

// places returns where columns stand.
func (p *placer) places(columns []int) []geom.Point {
	out := make([]geom.Point, len(columns))
	for i, c := range columns {
		out[i] = p.spots[c]
	}
	return out
}

// completed adds the spot whose head gains the most exact area, and polishes
// again, until the target is reached or no spot gains anything.
func (p *placer) completed(ctx context.Context, t team, target float64) team {
	for !p.reaches(t, target) && ctx.Err() == nil {
		more := p.withBestSpot(t)
		if len(more.at) == len(t.at) {
			return t
		}
		t = p.polish(more, 1)
	}
	return t
}

// withBestSpot returns t with a head on the spot that gains most; t itself if
// none gains. Only spots that see something dry can gain.
func (p *placer) withBestSpot(t team) team {
	dry := p.dry(t)
	best := t
	for i, at := range p.spots {
		if dry != nil && !slices.ContainsFunc(dry, func(d Dry) bool { return p.reach[i].Sees(d.At) }) {
			continue
		}
		reach := append(slices.Clone(t.reach), p.reach[i])
		if share := p.share(reach); share > best.share+shareSlack {
			best = team{at: append(slices.Clone(t.at), at), reach: reach, share: share}
		}
	}
	return best
}

// needed takes away heads, the last first, without which the target is reached
// all the same.
func (p *placer) needed(t team, target float64) team {
	for i := len(t.at) - 1; i >= 0 && p.reaches(t, target); i-- {
		less := team{at: slices.Delete(slices.Clone(t.at), i, i+1), reach: slices.Delete(slices.Clone(t.reach), i, i+1)}
		if less.share = p.share(less.reach); p.reaches(less, target) {
			t = less
		}
	}
	return t
}

// finish fills in the heads. A placement off the grid may need fewer heads
// than any choice among the spots; its number is then the bound that holds.
func (p *placer) finish(out Result, heads team) Result {
	out.Heads = append(slices.Clone(p.site.Pinned), heads.at...)
	slices.SortFunc(out.Heads, geom.Point.Compare)
	out.Coverage = heads.share
	if !p.reaches(heads, p.s.CoverageTarget) {
		out.Status = Unreachable
	}
	out.Bound = min(out.Bound, len(out.Heads))
	out.Dry = p.later
	return out
}
