package drawing

import (
	"math"
	"slices"
)

// across returns the pieces of the hatch's lines that lie inside closed chains
// (even-odd) and, roughly, within clip.
//
// The chains are turned so that the lines run level; each line is cut where it
// meets an edge and its pieces are inside in turn. Lines lie at whole multiples
// of the spacing on the page, so that adjoining areas hatch alike.
func (h hatch) across(chains [][]vec, clip box) [][]vec {
	level := turnAll(chains, -h.angle)
	low, high := heights(level)
	clipLow, clipHigh := heights(turnAll([][]vec{clip.corners().list()}, -h.angle))
	first := math.Ceil(max(low, clipLow) / h.spacing)
	last := math.Floor(min(high, clipHigh) / h.spacing)
	var out [][]vec
	for k := first; k <= last; k++ {
		y := k * h.spacing
		xs := crossings(level, y)
		for i := 1; i < len(xs); i += 2 {
			a, b := vec{xs[i-1], y}, vec{xs[i], y}
			out = append(out, []vec{a.turned(h.angle), b.turned(h.angle)})
		}
	}
	return out
}

func turnAll(chains [][]vec, deg float64) [][]vec {
	out := make([][]vec, len(chains))
	for i, chain := range chains {
		for _, v := range chain {
			out[i] = append(out[i], v.turned(deg))
		}
	}
	return out
}

func heights(chains [][]vec) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, chain := range chains {
		for _, v := range chain {
			low, high = min(low, v.y), max(high, v.y)
		}
	}
	return low, high
}

// crossings returns where the level line at y meets the edges of closed
// chains, from left to right. Lower ends count and upper ones do not, so the
// number is even.
func crossings(chains [][]vec, y float64) []float64 {
	var xs []float64
	for _, chain := range chains {
		for i, a := range chain {
			b := chain[(i+1)%len(chain)]
			if (a.y > y) != (b.y > y) {
				xs = append(xs, a.x+(b.x-a.x)*(y-a.y)/(b.y-a.y))
			}
		}
	}
	slices.Sort(xs)
	return xs
}
