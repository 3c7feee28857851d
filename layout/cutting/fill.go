package cutting

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// filler enumerates the ways of filling one stick of a given stock with the
// longest piece that is left and others, such that no piece left would fit
// beside them, and that the last of them is the longest that fits where only one
// does. Nothing is lost by leaving out the rest: a stick that holds more pieces,
// or a longer one, leaves less to pack (dominance; Martello and Toth 1990). The
// fullest come early, since long pieces and many of them are tried first.
type filler struct {
	in     *instance
	counts []int // pieces left
	below  []int64
	picked []cut
	least  int64 // shortest piece left
	waste  int64 // most slack of interest
	steps  int   // left to spend
	visit  func(cuts []cut, slack int64) (more bool)
}

// run calls visit for every filling and reports whether all were seen.
func (f *filler) run(stock, longest int) bool {
	n := len(f.in.sizes)
	f.below = slices.Grow(f.below[:0], n+1)[:n+1] // mm left of size k or shorter
	f.below[n] = 0
	for k := n - 1; k >= 0; k-- {
		f.below[k] = f.below[k+1] + f.in.sizes[k]*int64(f.counts[k])
	}
	f.least = f.in.sizes[lastOf(f.counts)]
	slack := f.in.stocks[stock].Length - f.in.sizes[longest]
	f.picked = append(f.picked[:0], cut{longest, 1})
	f.counts[longest]--
	f.below[longest] -= f.in.sizes[longest]
	seen := f.from(longest, slack, -1)
	f.counts[longest]++
	return seen
}

// from fills slack with pieces of size k or shorter. least is the shortest piece
// passed over so far, −1 for none: a filling with room for it is not one.
func (f *filler) from(k int, slack, least int64) bool {
	if f.steps--; f.steps < 0 {
		return false
	}
	k = f.next(k, slack)
	if room := slack - f.below[k]; room > f.waste || least >= 0 && room >= least {
		return true // not even all that is left takes up the room
	}
	if k == len(f.in.sizes) {
		return f.seen(slack)
	}
	size := f.in.sizes[k]
	if 2*f.least > slack { // one more and no other: the longest, unless that was passed over
		if least >= 0 && least <= slack {
			return true
		}
		f.picked = append(f.picked, cut{k, 1})
		more := f.seen(slack - size)
		f.picked = f.picked[:len(f.picked)-1]
		return more
	}
	most := min(f.counts[k], int(slack/size))
	depth := len(f.picked)
	for n := most; n >= 0; n-- {
		left := least
		if n < f.counts[k] && size <= slack-int64(n)*size {
			left = size // one more would still fit for now
		}
		f.picked = f.picked[:depth]
		if n > 0 {
			f.picked = append(f.picked, cut{k, n})
		}
		if !f.from(k+1, slack-int64(n)*size, left) {
			return false
		}
	}
	f.picked = f.picked[:depth]
	return true
}

// seen passes a filling on if it wastes little enough.
func (f *filler) seen(slack int64) bool { return slack > f.waste || f.visit(f.picked, slack) }

// lastOf returns the last size of which there are pieces.
func lastOf(counts []int) int {
	k := len(counts) - 1
	for counts[k] == 0 {
		k--
	}
	return k
}

// next returns the first size from k on that fits and of which there are pieces.
func (f *filler) next(k int, slack int64) int {
	n := len(f.in.sizes)
	k += sort.Search(n-k, func(i int) bool { return f.in.sizes[k+i] <= slack })
	for k < n && f.counts[k] == 0 {
		k++
	}
	return k
}

// fillings lists the fillings of every stock with the longest piece left, those
// that hold most for their cost first. Those with more slack than waste are left
// out. It reports whether the list is whole.
func (in *instance) fillings(counts []int, longest int, waste int64, steps int) (list []fill, spent int, whole bool) {
	whole = true
	f := &filler{in: in, counts: counts, waste: waste, steps: steps}
	for s, stock := range in.stocks {
		if stock.Length < in.sizes[longest] {
			continue
		}
		f.visit = func(cuts []cut, slack int64) bool {
			list = append(list, fill{s, merged(cuts), stock.Length - slack})
			return true
		}
		whole = f.run(s, longest) && whole
	}
	slices.SortFunc(list, in.compare)
	return list, steps - max(0, f.steps), whole
}

// merged copies cuts; the first piece and more of its size become one.
func merged(cuts []cut) []cut {
	out := slices.Clone(cuts)
	if len(out) > 1 && out[0].size == out[1].size {
		out[1].n += out[0].n
		out = out[1:]
	}
	return out
}

// compare orders fillings by cost for what they hold, then by stock, then the
// one with the longest pieces first.
func (in *instance) compare(a, b fill) int {
	if c := cmp.Compare(in.stocks[a.stock].Cost*b.used, in.stocks[b.stock].Cost*a.used); c != 0 {
		return c
	}
	return cmp.Or(cmp.Compare(a.stock, b.stock), slices.CompareFunc(a.cuts, b.cuts, func(x, y cut) int {
		return cmp.Or(cmp.Compare(x.size, y.size), cmp.Compare(y.n, x.n))
	}))
}

// slackSteps is the most steps spent on filling one stick well. With fewer than
// some hundred the last sticks of an instance suffer; beyond a thousand nothing
// is gained. A judgement.
const slackSteps = 1000

// leastSlack packs stick by stick, each with the longest piece left and what
// fills it best for its cost (minimum bin slack; Gupta and Ho 1999), from the
// stocks from first up to end.
func (in *instance) leastSlack(first, end int) packing {
	var out packing
	left := &instance{sizes: in.sizes, stocks: in.stocks}
	counts := slices.Clone(in.counts)
	origin := make([]int, len(in.sizes)) // of left's sizes
	for k := range origin {
		origin[k] = k
	}
	for k := 0; k < len(counts); {
		if counts[k] == 0 {
			k++
			continue
		}
		f := left.bestFill(counts, k, first, end)
		take(counts, f)
		for i := range f.cuts {
			f.cuts[i].size = origin[f.cuts[i].size]
		}
		out.add(in, f)
		if live := alive(counts); 2*live < len(counts) { // keep walks over used-up sizes short
			left, counts, origin = left.without(counts, origin, live)
			k = 0
		}
	}
	return out
}

// bestFill returns the best filling that [slackSteps] steps a stock find.
func (in *instance) bestFill(counts []int, longest, first, end int) (best fill) {
	found := false
	f := &filler{in: in, counts: counts, waste: math.MaxInt64}
	for s := first; s < end; s++ {
		stock := in.stocks[s]
		if stock.Length < in.sizes[longest] {
			continue
		}
		f.visit = func(cuts []cut, slack int64) bool {
			if c := (fill{s, cuts, stock.Length - slack}); !found || in.compare(c, best) < 0 {
				best, found = fill{s, merged(cuts), c.used}, true
			}
			return slack > 0
		}
		// The first filling takes a step a size at most: it is always found.
		f.steps = slackSteps + len(in.sizes)
		f.run(s, longest)
	}
	return best
}

func alive(counts []int) (n int) {
	for _, c := range counts {
		if c > 0 {
			n++
		}
	}
	return n
}

// without returns the instance, counts and origins less the sizes used up.
func (in *instance) without(counts, origin []int, live int) (*instance, []int, []int) {
	out := &instance{stocks: in.stocks, sizes: make([]int64, 0, live)}
	var c, o []int
	for k, n := range counts {
		if n > 0 {
			out.sizes, c, o = append(out.sizes, in.sizes[k]), append(c, n), append(o, origin[k])
		}
	}
	return out, c, o
}

// take removes the pieces of f from counts, and giveBack returns them.
func take(counts []int, f fill) {
	for _, c := range f.cuts {
		counts[c.size] -= c.n
	}
}

func giveBack(counts []int, f fill) {
	for _, c := range f.cuts {
		counts[c.size] += c.n
	}
}
