package placement

import (
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
//     the lawn, the set cover is asked for a little more and it starts again.
//  6. When it has nothing more to give, heads are added one by one where the
//     exact area gains most.
func Place(ctx context.Context, site Site, s Settings) (Result, error) {
	if s.PolishSteps == 0 {
		s.PolishSteps = DefaultPolishSteps
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
	rowOf  []int32 // of each witness; −1 when a pinned head wets it
	total  int64   // area of all witnesses, mm²
	unseen int64   // of those that no spot and no pinned head wets
	pinned []Reach
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
		if !slices.ContainsFunc(p.pinned, func(r Reach) bool { return r.Sees(at) }) {
			p.rowOf[w] = int32(len(p.cover.Weights))
			p.cover.Weights = append(p.cover.Weights, p.site.WitnessMM2[w])
		}
	}
	p.cover.Columns = make([][]int32, len(p.site.Spots))
	seen := make([]bool, len(p.cover.Weights))
	for c, at := range p.site.Spots {
		p.cover.Columns[c] = p.column(at)
		for _, r := range p.cover.Columns[c] {
			seen[r] = true
		}
	}
	for r, w := range p.cover.Weights {
		if !seen[r] {
			p.unseen += w
		}
	}
}

// column lists the rows a head at the given place covers.
func (p *placer) column(at geom.Point) []int32 {
	reach := p.site.ReachFrom(at)
	first, _ := slices.BinarySearchFunc(p.site.WitnessAt, at.X-p.site.ThrowMM,
		func(w geom.Point, x int64) int { return int(w.X - x) })
	var rows []int32
	for w := first; w < len(p.site.WitnessAt) && p.site.WitnessAt[w].X <= at.X+p.site.ThrowMM; w++ {
		if p.rowOf[w] >= 0 && reach.Sees(p.site.WitnessAt[w]) {
			rows = append(rows, p.rowOf[w])
		}
	}
	return rows
}

// tightenings bounds how often the cover is asked for more; leastTightening is
// the share of the lawn it is asked for the first time, doubled every time, so
// that the last time it is asked for everything.
const (
	tightenings     = 7
	leastTightening = 0.002
)

func (p *placer) place(ctx context.Context) (Result, error) {
	var out Result
	target := p.s.CoverageTarget
	p.cover.Spare = int64(float64(p.total) * (1 - target))
	hopeless := p.cover.Spare < p.unseen
	if hopeless {
		target = p.aimLower()
	}
	var heads team
	for round := range tightenings {
		r, err := setcover.Solve(ctx, p.cover, setcover.Settings{Moves: p.s.Moves, Seed: p.s.Seed})
		if err != nil {
			return Result{}, fmt.Errorf("placing heads: %w", err)
		}
		p.record(&out, r, round == 0)
		heads = p.best(r, target)
		if hopeless || heads.reaches(target) || p.cover.Spare == p.unseen {
			break
		}
		asked := max(target-heads.share, leastTightening*float64(int(1)<<round))
		p.cover.Spare = max(p.unseen, p.cover.Spare-int64(asked*float64(p.total)))
	}
	if !hopeless {
		before := len(heads.at)
		heads = p.completed(ctx, heads, target)
		out.Greedy += len(heads.at) - before
	}
	return p.finish(out, heads), ctx.Err()
}

// aimLower sets the target to nearly all that can be reached and returns it.
func (p *placer) aimLower() float64 {
	reachable := p.total - p.unseen
	p.cover.Spare = p.unseen + reachable - int64(float64(reachable)*bestEffortShare)
	return 1 - float64(p.cover.Spare)/float64(p.total)
}

// record keeps the counts, and the first round's bound: later rounds ask for
// more than the target, so their bounds do not count.
func (p *placer) record(out *Result, r setcover.Result, first bool) {
	out.Moves += r.Work.Moves
	out.Pivots += r.Work.Pivots
	out.Nodes += r.Work.Nodes
	out.Greedy = r.Greedy + len(p.site.Pinned)
	if first {
		out.Bound = r.Bound + len(p.site.Pinned)
		out.Proven = true
	}
}

// best polishes the cover's heads, after trying with one fewer.
func (p *placer) best(r setcover.Result, target float64) team {
	if len(r.Near) > 0 || len(r.Chosen) == 1 && len(p.site.Pinned) > 0 {
		if fewer := p.polish(p.team(p.spots(r.Near)), target); fewer.reaches(target) {
			return p.polish(fewer, 1)
		}
	}
	return p.polish(p.team(p.spots(r.Chosen)), 1)
}

func (p *placer) spots(columns []int) []geom.Point {
	out := make([]geom.Point, len(columns))
	for i, c := range columns {
		out[i] = p.site.Spots[c]
	}
	return out
}

// completed adds the spot whose head gains the most exact area, and polishes
// again, until the target is reached or no spot gains anything.
func (p *placer) completed(ctx context.Context, t team, target float64) team {
	for !t.reaches(target) && ctx.Err() == nil {
		more := p.withBestSpot(t)
		if len(more.at) == len(t.at) {
			return t
		}
		t = p.polish(more, 1)
	}
	return t
}

// withBestSpot returns t with a head on the spot that gains most; t itself if
// none gains.
func (p *placer) withBestSpot(t team) team {
	best := t
	for _, at := range p.site.Spots {
		reach := append(slices.Clone(t.reach), p.site.ReachFrom(at))
		if share := p.share(reach); share > best.share+shareSlack {
			best = team{at: append(slices.Clone(t.at), at), reach: reach, share: share}
		}
	}
	return best
}

// finish fills in the heads. A placement off the grid may need fewer heads
// than any choice among the spots; its number is then the bound that holds.
func (p *placer) finish(out Result, heads team) Result {
	out.Heads = append(slices.Clone(p.site.Pinned), heads.at...)
	slices.SortFunc(out.Heads, geom.Point.Compare)
	out.Coverage = heads.share
	if !heads.reaches(p.s.CoverageTarget) {
		out.Status = Unreachable
	}
	out.Bound = min(out.Bound, len(out.Heads))
	return out
}
