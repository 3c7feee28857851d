package cutting

import (
	"cmp"
	"maps"
	"math/rand/v2"
	"slices"
)

// Repacking takes a few sticks apart at a time. The figures are judgements:
// small enough to be searched through as a rule, large enough to free a stick.
const (
	repackPieces = 24
	repackSteps  = 2000
	repackDraws  = 100
)

// improve repacks a few sticks at a time: the one with the most to spare and
// others drawn at random, fuller ones less often. At the same cost a packing is
// better that has its slack on fewer sticks, which in the end frees one. It ends
// at the bound or when the steps are spent.
func (in *instance) improve(best packing, bound int64, steps int, seed uint64) (packing, int) {
	rng := rand.New(rand.NewPCG(seed, 1))
	best.fills = slices.Clone(best.fills)
	slices.SortStableFunc(best.fills, in.compareSlack)
	left := steps
	for left > 0 && best.cost > bound && len(best.fills) > 1 {
		chosen := in.draw(best.fills, rng)
		part, origin := in.only(best.fills, chosen)
		now := pick(best.fills, chosen, in)
		better := part.leastSlack(0, len(part.stocks))
		left -= part.pieces()
		if !part.betters(better, now) {
			found, spent, _ := part.exact(packing{cost: now.cost}, part.cover(part.total), min(left, repackSteps))
			left -= spent
			better = found
		}
		if better.fills != nil {
			best = in.replaced(best, chosen, better, origin)
		}
	}
	return best, steps - left
}

// compareSlack puts the sticks with most to spare first.
func (in *instance) compareSlack(a, b fill) int {
	return cmp.Compare(in.stocks[b.stock].Length-b.used, in.stocks[a.stock].Length-a.used)
}

// draw picks the first stick and others, in order, up to [repackPieces] pieces.
func (in *instance) draw(fills []fill, rng *rand.Rand) []int {
	chosen, pieces := []int{0}, fills[0].pieces()
	for range repackDraws {
		u := rng.Float64()
		i := int(u * u * float64(len(fills)))
		if n := fills[i].pieces(); !slices.Contains(chosen, i) && pieces+n <= repackPieces {
			chosen, pieces = append(chosen, i), pieces+n
		}
		if len(chosen) == len(fills) || len(chosen) == repackPieces/2 {
			break
		}
	}
	slices.Sort(chosen)
	return chosen
}

func (f fill) pieces() (n int) {
	for _, c := range f.cuts {
		n += c.n
	}
	return n
}

// only returns the instance of the pieces on the chosen sticks, and where its
// sizes come from.
func (in *instance) only(fills []fill, chosen []int) (*instance, []int) {
	counts := make(map[int]int)
	part := &instance{stocks: in.stocks, covers: in.covers, longest: in.longest, unit: in.unit}
	for _, i := range chosen {
		for _, c := range fills[i].cuts {
			counts[c.size] += c.n
		}
		part.total += fills[i].used
	}
	origin := slices.Sorted(maps.Keys(counts))
	for _, k := range origin {
		part.sizes, part.counts = append(part.sizes, in.sizes[k]), append(part.counts, counts[k])
	}
	return part, origin
}

// pick returns the chosen sticks.
func pick(fills []fill, chosen []int, in *instance) (k packing) {
	for _, i := range chosen {
		k.add(in, fills[i])
	}
	return k
}

// betters reports whether k costs less than l, or as much with its slack on
// fewer sticks, as told by the sum of the squares.
func (in *instance) betters(k, l packing) bool {
	return k.cost < l.cost || k.cost == l.cost && in.slackSquares(k) > in.slackSquares(l)
}

func (in *instance) slackSquares(k packing) (sum float64) {
	for _, f := range k.fills {
		slack := float64(in.stocks[f.stock].Length - f.used)
		sum += slack * slack
	}
	return sum
}

func (in *instance) pieces() (n int) {
	for _, c := range in.counts {
		n += c
	}
	return n
}

// replaced returns the packing with the chosen sticks replaced by others, whose
// sizes have the given origin.
func (in *instance) replaced(k packing, chosen []int, by packing, origin []int) packing {
	var out packing
	for i, f := range k.fills {
		if !slices.Contains(chosen, i) {
			out.add(in, f)
		}
	}
	for _, f := range by.fills {
		f.cuts = slices.Clone(f.cuts)
		for i := range f.cuts {
			f.cuts[i].size = origin[f.cuts[i].size]
		}
		out.add(in, f)
	}
	slices.SortStableFunc(out.fills, in.compareSlack)
	return out
}
