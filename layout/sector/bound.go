package sector

import (
	"context"
	"fmt"
	"math"
	"math/bits"
	"slices"

	"lotwright/layout/geom"
	"lotwright/layout/setcover"
)

// Witnesses of the bound: so many to the longest throw, on large lawns fewer.
const (
	witnessesPerThrow = 6
	mostWitnesses     = 700
)

// boundStart is the number of neighbouring left stops, in degrees, whose widest
// arcs are taken together as one that sweeps over them all: that can only lower
// the bound. So does giving the overspray limit and the radius the benefit of
// the rounding.
const boundStart = 15

// Effort for the bound.
const (
	boundMoves  = 200 // the search for a cover is not what is wanted
	boundPivots = 4000
)

// bound returns a number of heads that coverage alone needs, and the spacing of
// the witnesses it is counted on.
//
// From one left stop the widest permitted arc wets whatever a narrower one
// does. So if no choice of widest arcs on all spots with all radii covers
// enough witnesses, nothing does: a set-cover problem, whose bound is certified
// in integers.
func (p *problem) bound(ctx context.Context) (heads int, witnessMM int64, err error) {
	sparse := int64(math.Sqrt(p.grid.areaM2(len(p.grid.at))/mostWitnesses) * geom.MillimetresPerMetre)
	q := p.finer(max(p.looker.reachMM/witnessesPerThrow, sparse, p.grid.cellMM))
	c := columns{p: q, known: map[string]bool{}, done: make(witnessSet, (len(q.grid.at)+63)/64)}
	for _, h := range q.fixed {
		for i, w := range c.set(h.spot, int(h.k), h.arc) {
			c.done[i] |= w
		}
	}
	for i := len(q.fixed); i < len(q.spots); i++ {
		c.addSpot(int32(i))
	}
	cover := c.cover()
	cover.Spare = int64(float64(len(q.grid.at)) * (1 - p.s.CoverageTarget))
	r, err := setcover.Solve(ctx, cover, setcover.Settings{Moves: boundMoves, Pivots: boundPivots, Nodes: -1, Seed: p.s.Seed})
	if err != nil {
		return 0, 0, fmt.Errorf("bounding the number of heads: %w", err)
	}
	return len(q.fixed) + max(r.Bound, p.pinned-len(q.fixed)), q.grid.cellMM, nil
}

// cover is the choice among the columns, of the witnesses that fixed heads do
// not wet.
func (c *columns) cover() setcover.Problem {
	row := make([]int32, len(c.p.grid.at))
	var out setcover.Problem
	for w := range row {
		if row[w] = -1; c.done[w/64]&(1<<(w%64)) == 0 {
			row[w] = int32(len(out.Weights))
			out.Weights = append(out.Weights, 1)
		}
	}
	for _, rows := range c.rows {
		left := make([]int32, 0, len(rows))
		for _, w := range rows {
			if row[w] >= 0 {
				left = append(left, row[w])
			}
		}
		if len(left) > 0 {
			out.Columns = append(out.Columns, left)
		}
	}
	return out
}

// columns gathers what single heads wet of the witnesses.
type columns struct {
	p     *problem
	known map[string]bool
	rows  [][]int32
	done  witnessSet // wet already
}

// addSpot adds the sets of witnesses that heads on a spot wet, without those
// within others of the same spot or known already.
func (c *columns) addSpot(spot int32) {
	var sets []witnessSet
	for k := range c.p.radii {
		for start := 0; start < turn; start += boundStart {
			if a, ok := c.widest(&c.p.spots[spot].throws[k], start); ok {
				sets = append(sets, c.set(spot, k, a))
			}
		}
	}
	for i, s := range sets {
		within := slices.ContainsFunc(sets[:i], s.within) ||
			slices.ContainsFunc(sets[i+1:], func(t witnessSet) bool { return s.within(t) && !t.within(s) })
		if within || c.known[s.key()] {
			continue
		}
		c.known[s.key()] = true
		if rows := s.members(); len(rows) > 0 {
			c.rows = append(c.rows, rows)
		}
	}
}

// widest returns an arc that sweeps over every permitted one whose left stop is
// within boundStart degrees from start on.
func (c *columns) widest(t *throw, start int) (arc, bool) {
	limit := float32(c.p.s.OversprayLimit * (1 + rayMargin))
	from, to := -1, 0
	for s := start; s < start+boundStart; s++ {
		if a, ok := c.p.widestFrom(t, int16(s), limit); ok {
			if from < 0 {
				from = s
			}
			to = max(to, s+int(a.sweep))
		}
	}
	return arc{int16(max(from, 0)), int16(min(to-from, turn))}, from >= 0
}

// witnessSet is a set of witnesses, a bit each.
type witnessSet []uint64

func (c *columns) set(spot int32, k int, a arc) witnessSet {
	s := make(witnessSet, (len(c.p.grid.at)+63)/64)
	first, second := c.p.outlook(spot).swept(a)
	for _, cells := range [][]nearCell{first, second} {
		for _, w := range cells {
			if w.steps <= c.p.radii[k].reach+1 { // distances are rounded up
				s[w.index/64] |= 1 << (w.index % 64)
			}
		}
	}
	return s
}

func (s witnessSet) within(t witnessSet) bool {
	for i, w := range s {
		if w&^t[i] != 0 {
			return false
		}
	}
	return true
}

func (s witnessSet) key() string {
	out := make([]byte, 0, 8*len(s))
	for _, w := range s {
		for shift := 0; shift < 64; shift += 8 {
			out = append(out, byte(w>>shift))
		}
	}
	return string(out)
}

// members lists the witnesses, ascending.
func (s witnessSet) members() []int32 {
	var out []int32
	for i, w := range s {
		for ; w != 0; w &= w - 1 {
			out = append(out, int32(64*i+bits.TrailingZeros64(w)))
		}
	}
	return out
}
