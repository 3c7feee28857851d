package hydraulic

import (
	"cmp"
	"slices"
)

// fallingChain is a convex cost as a function of head: cost at the least head
// possible, and straight stretches from there, the steepest first, after which
// more head saves nothing.
type fallingChain struct {
	head, cost float64 // m, hundredths
	stretches  []stretch
}

// stretch is a straight part of a chain: it saves so much for each metre, over
// so many.
type stretch struct{ saves, over float64 }

// splitBound is the least cost if every pipe may be laid in lengths of several
// sizes and sizes need not narrow outwards: the classical linear programme of
// branched networks, solved without one. A pipe's cost by its loss is then the
// lower convex hull of its sizes; pipes one behind the other share a head best
// by using the steepest stretches first; pipes that part add at one head. Since
// losses are not rounded up here, no choice of sizes costs less.
func (z *sizer) splitBound() float64 {
	chains := make([]fallingChain, len(z.order))
	for k := len(z.order) - 1; k >= 0; k-- {
		i := z.order[k]
		f := fallingChain{head: float64(z.need(i)) / 1000}
		if z.load.Need[i] > 0 {
			f.head = z.net.Nodes[i].Elevation.Metres() + headOf(z.load.Need[i])
		}
		for _, c := range z.below[i] {
			f = f.plus(chains[c].behind(hull(z.options[c])))
		}
		if z.ceiling[i] < unlimited {
			f = f.notAbove(float64(z.ceiling[i]) / 1000)
		}
		chains[i] = f
	}
	return chains[0].from(float64(z.available) / 1000).cost
}

// hull returns the cost of a link by its loss: the lower convex hull of the
// ways to make it.
func hull(options []option) fallingChain {
	points := slices.Clone(options)
	slices.SortFunc(points, func(a, b option) int { return cmp.Or(cmp.Compare(a.exact, b.exact), cmp.Compare(a.cost, b.cost)) })
	f := fallingChain{head: points[0].exact, cost: float64(points[0].cost)}
	var at []option
	for _, p := range points {
		if len(at) > 0 && p.cost >= at[len(at)-1].cost {
			continue
		}
		for len(at) > 1 && saving(at[len(at)-2], at[len(at)-1]) <= saving(at[len(at)-1], p) {
			at = at[:len(at)-1]
		}
		at = append(at, p)
	}
	for i := 1; i < len(at); i++ {
		f.stretches = append(f.stretches, stretch{saving(at[i-1], at[i]), at[i].exact - at[i-1].exact})
	}
	return f
}

// saving is what each metre of loss saves between two ways.
func saving(a, b option) float64 { return float64(a.cost-b.cost) / (b.exact - a.exact) }

// behind returns f seen through a link: the stretches of both, steepest first.
func (f fallingChain) behind(link fallingChain) fallingChain {
	out := fallingChain{head: f.head + link.head, cost: f.cost + link.cost}
	out.stretches = append(slices.Clone(f.stretches), link.stretches...)
	slices.SortStableFunc(out.stretches, func(a, b stretch) int { return cmp.Compare(b.saves, a.saves) })
	return out
}

// from returns f for heads from h up.
func (f fallingChain) from(h float64) fallingChain {
	for len(f.stretches) > 0 && f.head < h {
		s := f.stretches[0]
		over := min(s.over, h-f.head)
		f.head, f.cost, f.stretches = f.head+over, f.cost-over*s.saves, f.stretches[1:]
		if over < s.over {
			f.stretches = append([]stretch{{s.saves, s.over - over}}, f.stretches...)
		}
	}
	f.head = max(f.head, h)
	return f
}

// notAbove returns f for heads of at most h: more saves nothing.
func (f fallingChain) notAbove(h float64) fallingChain {
	left := h - f.head
	for i, s := range f.stretches {
		if s.over >= left {
			f.stretches = append(slices.Clone(f.stretches[:i]), stretch{s.saves, max(left, 0)})
			break
		}
		left -= s.over
	}
	return f
}

// plus returns the sum of both at one head.
func (f fallingChain) plus(g fallingChain) fallingChain {
	head := max(f.head, g.head)
	f, g = f.from(head), g.from(head)
	out := fallingChain{head: head, cost: f.cost + g.cost}
	a, b := slices.Clone(f.stretches), slices.Clone(g.stretches)
	for len(a) > 0 && len(b) > 0 {
		over := min(a[0].over, b[0].over)
		out.stretches = append(out.stretches, stretch{a[0].saves + b[0].saves, over})
		a, b = shorten(a, over), shorten(b, over)
	}
	out.stretches = append(append(out.stretches, a...), b...)
	return out
}

// shorten takes so much off the first stretch.
func shorten(s []stretch, over float64) []stretch {
	if s[0].over -= over; s[0].over <= 0 {
		return s[1:]
	}
	return s
}
