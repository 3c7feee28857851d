package zoning

import (
	"cmp"
	"math/bits"
	"slices"
)

// zone is heads of a problem on one valve, in the order of labels.
type zone struct {
	heads []int
	flow  int64 // µL/min
	value
}

// value is what a grouping is judged by: the smaller, the better.
type value struct {
	zones   int
	length  int64 // mm
	squares int64 // of flows, (mL/min)²
}

func (v value) plus(w value) value {
	return value{v.zones + w.zones, v.length + w.length, v.squares + w.squares}
}

func (v value) compare(w value) int {
	return cmp.Or(cmp.Compare(v.zones, w.zones), cmp.Compare(v.length, w.length), cmp.Compare(v.squares, w.squares))
}

// newZone measures heads as a zone. No heads are no zone.
func (p *problem) newZone(heads []int) zone {
	if len(heads) == 0 {
		return zone{}
	}
	z := zone{heads: slices.Sorted(slices.Values(heads))}
	for _, h := range heads {
		z.flow += p.flow[h]
	}
	z.value = value{1, p.tree(z.heads), squared(z.flow)}
	return z
}

// squared returns the square of a flow, in (mL/min)².
func squared(flow int64) int64 {
	ml := flow / 1000
	return ml * ml
}

// tree returns the length of the tree of a zone.
func (p *problem) tree(heads []int) int64 {
	p.moves++
	p.ids = p.ids[:0]
	for _, h := range heads {
		p.ids = append(p.ids, p.heads[h])
	}
	return p.measure.length(p.ids)
}

func total(zones []zone) (v value) {
	for _, z := range zones {
		v = v.plus(z.value)
	}
	return v
}

// divided returns the best grouping of a few heads, by a program over their
// subsets: the zone with the first head left is one of all that have it, and the
// rest is divided in the best way. Of equal groupings it takes the one found
// first, so heads must come in order.
func (p *problem) divided(heads []int) []zone {
	n := len(heads)
	alone := p.subsets(heads)
	best := make([]value, 1<<n)
	chosen := make([]int, 1<<n)
	for set := 1; set < 1<<n; set++ {
		first := set & -set
		rest := set ^ first
		for others := rest; ; others = (others - 1) & rest {
			if z := alone[first|others]; z.zones > 0 {
				if v := z.plus(best[rest^others]); chosen[set] == 0 || v.compare(best[set]) < 0 {
					best[set], chosen[set] = v, first|others
				}
			}
			if others == 0 {
				break
			}
		}
	}
	var out []zone
	for set := 1<<n - 1; set > 0; set ^= chosen[set] {
		out = append(out, p.newZone(members(heads, chosen[set])))
	}
	return out
}

// subsets values each set of heads as a zone; sets that take too much have no
// value.
func (p *problem) subsets(heads []int) []value {
	out := make([]value, 1<<len(heads))
	flow := make([]int64, len(out))
	for set := 1; set < len(out); set++ {
		flow[set] = flow[set&(set-1)] + p.flow[heads[bits.TrailingZeros(uint(set))]]
		if flow[set] <= p.limit {
			out[set] = value{1, p.tree(members(heads, set)), squared(flow[set])}
		}
	}
	return out
}

// members returns the heads whose bits are set.
func members(heads []int, set int) []int {
	var out []int
	for ; set > 0; set &= set - 1 {
		out = append(out, heads[bits.TrailingZeros(uint(set))])
	}
	return out
}
