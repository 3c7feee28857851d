package cutting

import "sort"

// maxCoverTable is the largest sum of pieces, in mm, for which the cost of
// covering a length is tabled: 1 km of pipe, 8 MB.
const maxCoverTable = 1 << 20

// tableCovers works out, for several lengths of stick, the least cost of sticks
// whose lengths add up to at least t, for every t.
func (in *instance) tableCovers() {
	if len(in.stocks) < 2 || in.total > maxCoverTable {
		return
	}
	in.covers = make([]int64, in.total+1)
	for t := int64(1); t <= in.total; t++ {
		best := int64(-1)
		for _, s := range in.stocks {
			if c := s.Cost + in.covers[max(0, t-s.Length)]; best < 0 || c < best {
				best = c
			}
		}
		in.covers[t] = best
	}
}

// bound returns what no packing of the counted pieces, of total length t, can
// cost less than: a multiple of what all costs are multiples of.
func (in *instance) bound(counts []int, t int64) int64 {
	return ceilDiv(max(in.cover(t), in.dual(counts)), in.unit) * in.unit
}

// cover returns what no sticks that hold t mm can cost less than. For one length
// of stick that is L1, the sum of the pieces over the stick, rounded up.
func (in *instance) cover(t int64) int64 {
	if in.covers != nil {
		return in.covers[t]
	}
	return in.priced(t, func(stick int64) int64 { return stick })
}

// dual bounds by superadditive functions: where u(a) + u(b) ≤ u(a+b), the pieces
// on a stick L have Σu ≤ u(L), so that Σu over all pieces has its price at the
// stick with the least cost for its u. With C the longest stick these are, for
// every K ≤ C/2, one that takes pieces longer than C−K for whole sticks and those
// shorter than K for none (Fekete and Schepers, Mathematical Programming 91,
// 2001), and one that gives a stick to each piece longer than C/2. For one
// length of stick the best of them is the bound L2 of Martello and Toth.
func (in *instance) dual(counts []int) int64 {
	n := len(in.sizes)
	number, sum := make([]int64, n+1), make([]int64, n+1) // of the first k sizes
	for k, w := range in.sizes {
		number[k+1] = number[k] + int64(counts[k])
		sum[k+1] = sum[k] + w*int64(counts[k])
	}
	upTo := func(limit int64) int { // the first size that is no longer
		return sort.Search(n, func(k int) bool { return in.sizes[k] <= limit })
	}
	c := in.longest
	half := upTo(c / 2)
	best := in.priced(number[half], func(stick int64) int64 {
		if 2*stick > c {
			return 1
		}
		return 0
	})
	for end := n; end > half; end-- {
		k := in.sizes[end-1]
		alone := upTo(c - k)
		u := number[alone]*c + sum[end] - sum[alone]
		best = max(best, in.priced(u, func(stick int64) int64 {
			switch {
			case stick > c-k:
				return c
			case stick < k:
				return 0
			}
			return stick
		}))
	}
	return best
}

// priced returns what sticks that hold so much cost at least, given how much of
// it each length of stick holds.
func (in *instance) priced(amount int64, holds func(stick int64) int64) int64 {
	best := int64(-1)
	for _, s := range in.stocks {
		h := holds(s.Length)
		if h == 0 {
			continue
		}
		// amount·cost may be beyond 63 bits: whole sticks are split off first.
		if c := amount/h*s.Cost + ceilDiv(amount%h*s.Cost, h); best < 0 || c < best {
			best = c
		}
	}
	return max(0, best)
}

// ceilDiv returns a/b rounded up, and 0 for a ≤ 0; b must be positive.
func ceilDiv(a, b int64) int64 {
	if a <= 0 {
		return 0
	}
	return (a + b - 1) / b
}
