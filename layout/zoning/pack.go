package zoning

import (
	"cmp"
	"math"
	"slices"

	"lotwright/layout"
)

// microlitresPerLitre is the unit in which flows are packed.
const microlitresPerLitre = 1e6

// microlitres returns a head's flow in whole µL/min, rounded down, and
// microlitresLimit the design flow to the nearest. So heads that fill the design
// flow exactly fit, whatever the last digits of their sum; at most a millionth
// of a litre per minute a head is forgiven.
func microlitres(f layout.Flow) int64      { return max(1, int64(f.LPM()*microlitresPerLitre)) }
func microlitresLimit(f layout.Flow) int64 { return int64(math.Round(f.LPM() * microlitresPerLitre)) }

// problem is the heads of one class. Heads are counted from 0 in the order of
// their labels.
type problem struct {
	heads   []int   // place of each in the list given to [Group]
	flow    []int64 // µL/min
	limit   int64
	exact   int // largest set divided exactly
	budget  int // of moves
	moves   int // spent
	measure measure
	ids     []int // scratch of tree
}

func newProblem(g *grouping, class []int) *problem {
	p := &problem{heads: class, limit: microlitresLimit(g.s.DesignFlow), exact: g.s.ExactHeads, budget: g.s.Moves, measure: g.measure}
	for _, i := range class {
		p.flow = append(p.flow, microlitres(g.heads[i].Flow))
	}
	return p
}

// packing is heads in bins.
type packing struct {
	bins  [][]int
	bound int // no packing has fewer bins
	nodes int
}

// pack finds the fewest bins.
func (p *problem) pack(nodes int) packing {
	order := p.largestFirst()
	sizes := make([]int64, len(order))
	for k, h := range order {
		sizes[k] = p.flow[h]
	}
	best := bestFit(sizes, p.limit)
	if full := fullest(sizes, p.limit); len(full) < len(best) {
		best = full
	}
	out := packing{bound: boundL2(sizes, p.limit)}
	b := brancher{sizes: sizes, limit: p.limit, nodes: nodes}
	for out.bound < len(best) {
		fewer, done := b.into(len(best) - 1)
		if fewer == nil {
			if done {
				out.bound = len(best)
			}
			break
		}
		best = fewer
	}
	out.nodes = b.spent
	out.bins = renamed(best, order)
	return out
}

// largestFirst orders heads by flow, then by label.
func (p *problem) largestFirst() []int {
	order := make([]int, len(p.flow))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(p.flow[j], p.flow[i]) })
	return order
}

// renamed returns the bins with names in place of numbers.
func renamed(bins [][]int, names []int) [][]int {
	out := make([][]int, len(bins))
	for i, b := range bins {
		for _, k := range b {
			out[i] = append(out[i], names[k])
		}
	}
	return out
}

// bestFit puts each item, the largest first, into the fullest bin that takes
// it.
func bestFit(sizes []int64, limit int64) (bins [][]int) {
	var room []int64
	for k, size := range sizes {
		best := -1
		for b, r := range room {
			if r >= size && (best < 0 || r < room[best]) {
				best = b
			}
		}
		if best < 0 {
			best, bins, room = len(bins), append(bins, nil), append(room, limit)
		}
		bins[best] = append(bins[best], k)
		room[best] -= size
	}
	return bins
}

// fullest fills one bin after the other as full as possible: the largest item
// left and what of the others adds up to most (Gupta and Ho 1999).
func fullest(sizes []int64, limit int64) (bins [][]int) {
	left := make([]int, len(sizes))
	for i := range left {
		left[i] = i
	}
	for len(left) > 0 {
		f := filler{sizes: sizes, left: left, steps: fillSteps, least: limit}
		f.try(1, limit-sizes[left[0]], []int{left[0]})
		bins = append(bins, f.best)
		left = slices.DeleteFunc(left, func(k int) bool { return slices.Contains(f.best, k) })
	}
	return bins
}

// fillSteps bounds the search for one bin's filling; a judgement.
const fillSteps = 2000

// filler looks for the set of items that leaves least room in a bin.
type filler struct {
	sizes []int64
	left  []int
	steps int
	least int64
	best  []int
}

// try extends the items taken by some of left[k:].
func (f *filler) try(k int, room int64, taken []int) {
	if f.best == nil || room < f.least {
		f.least, f.best = room, slices.Clone(taken)
	}
	for ; k < len(f.left) && f.least > 0 && f.steps > 0; k++ {
		if size := f.sizes[f.left[k]]; size <= room {
			f.steps--
			f.try(k+1, room-size, append(taken, f.left[k]))
		}
	}
}

// boundL2 is the bound L2 of Martello and Toth (1990, §8.3): for a threshold t
// up to half the limit, items over limit−t need a bin each, those over half the
// limit too, and what the latter leave must hold those from t up. Sizes must
// fall. With t = 0 it is the total over the limit, rounded up.
func boundL2(sizes []int64, limit int64) int {
	best := thresholdBound(sizes, limit, 0)
	for k, t := range sizes {
		if t*2 <= limit && (k == 0 || t != sizes[k-1]) {
			best = max(best, thresholdBound(sizes, limit, t))
		}
	}
	return best
}

func thresholdBound(sizes []int64, limit, t int64) int {
	large, medium := 0, 0
	var room, small int64
	for _, size := range sizes {
		switch {
		case size > limit-t:
			large++
		case size*2 > limit:
			medium++
			room += limit - size
		case size >= t:
			small += size
		}
	}
	more := int64(0)
	if small > room {
		more = (small - room + limit - 1) / limit
	}
	return large + medium + int(more)
}
