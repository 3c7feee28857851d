package cutting

import (
	"cmp"
	"slices"
)

// exactPieces is the most pieces for which the exact search is worth a try: its
// work grows with the number of different lengths at every node.
const exactPieces = 200

// Solve cuts the pieces of p from sticks at the least cost it can find and
// bounds what any cutting must cost. An error means a malformed problem; running
// out of effort is a [Status].
//
//  1. Pieces of one length are counted together, and the kerf is added to pieces
//     and sticks.
//  2. The best of best-fit decreasing and minimum bin slack, with all lengths of
//     stick and with the longest alone, is the start; where it costs no more than
//     the bound it is optimal.
//  3. Of more pieces than are repacked at once, sticks are repacked a few at a
//     time, with a little of the steps.
//  4. Up to 200 pieces, branch and bound takes half of the steps.
//  5. What steps are left go to repacking.
func Solve(p Problem, s Settings) (Result, error) {
	if err := p.Validate(); err != nil {
		return Result{}, err
	}
	sizes, counts, members := grouped(p)
	in := newInstance(p, sizes, counts)
	bound := in.bound(in.counts, in.total)
	best := in.start(bound)
	spent := 0
	repack := func(steps int) {
		if best.cost > bound {
			better, n := in.improve(best, bound, steps, s.Seed)
			best, spent = better, spent+n
		}
	}
	if len(p.Pieces) > repackPieces {
		repack(s.nodes() / 50)
	}
	if best.cost > bound && len(p.Pieces) <= exactPieces {
		found, n, whole := in.exact(best, bound, s.nodes()/2)
		best, spent = found, spent+n
		if whole {
			bound = best.cost
		}
	}
	repack(s.nodes() - spent)
	r := Result{Sticks: in.sticks(best, members), Cost: best.cost, Bound: bound, Status: Limited, Nodes: spent}
	if r.Cost == r.Bound {
		r.Status = Optimal
	}
	return r, nil
}

// start packs in the simple ways until one meets the bound.
func (in *instance) start(bound int64) packing {
	best := in.bestFit()
	longest := slices.IndexFunc(in.stocks, func(s Stock) bool { return s.Length == in.longest })
	for _, pack := range []func() packing{
		func() packing { return in.leastSlack(0, len(in.stocks)) },
		func() packing { return in.trimmed(in.leastSlack(longest, longest+1)) },
	} {
		if best.cost <= bound {
			break
		}
		if k := pack(); k.cost < best.cost {
			best = k
		}
	}
	return best
}

// trimmed returns a packing with each stick as cheap as its pieces allow.
func (in *instance) trimmed(k packing) packing {
	var out packing
	for _, f := range k.fills {
		for s, stock := range in.stocks {
			if stock.Length >= f.used && stock.Cost < in.stocks[f.stock].Cost {
				f.stock = s
			}
		}
		out.add(in, f)
	}
	return out
}

// grouped returns the lengths of the pieces with the kerf, longest first, how
// many there are of each and which.
func grouped(p Problem) (sizes []int64, counts []int, members [][]int) {
	order := make([]int, len(p.Pieces))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p.Pieces[b], p.Pieces[a]) })
	for _, i := range order {
		w := p.Pieces[i] + p.Kerf
		if n := len(sizes); n == 0 || sizes[n-1] != w {
			sizes, counts, members = append(sizes, w), append(counts, 0), append(members, nil)
		}
		k := len(sizes) - 1
		counts[k]++
		members[k] = append(members[k], i)
	}
	return sizes, counts, members
}

// sticks names the pieces of a packing, in order.
func (in *instance) sticks(k packing, members [][]int) []Stick {
	fills := slices.Clone(k.fills)
	slices.SortStableFunc(fills, func(a, b fill) int {
		return cmp.Or(cmp.Compare(in.stocks[b.stock].Length, in.stocks[a.stock].Length), cmp.Compare(b.used, a.used), in.compare(a, b))
	})
	next := make([]int, len(members))
	out := make([]Stick, len(fills))
	for i, f := range fills {
		out[i].Stock = f.stock
		for _, c := range f.cuts {
			out[i].Pieces = append(out[i].Pieces, members[c.size][next[c.size]:next[c.size]+c.n]...)
			next[c.size] += c.n
		}
	}
	return out
}
