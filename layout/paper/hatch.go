package paper

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
func (h Hatch) across(chains [][]Vec, clip Box) [][]Vec {
	level := turnAll(chains, -h.Angle)
	low, high := heights(level)
	clipLow, clipHigh := heights(turnAll([][]Vec{clip.Corners().List()}, -h.Angle))
	first := math.Ceil(max(low, clipLow) / h.Spacing)
	last := math.Floor(min(high, clipHigh) / h.Spacing)
	var out [][]Vec
	for k := first; k <= last; k++ {
		y := k * h.Spacing
		xs := crossings(level, y)
		for i := 1; i < len(xs); i += 2 {
			a, b := Vec{xs[i-1], y}, Vec{xs[i], y}
			out = append(out, []Vec{a.Turned(h.Angle), b.Turned(h.Angle)})
		}
	}
	return out
}

func turnAll(chains [][]Vec, deg float64) [][]Vec {
	out := make([][]Vec, len(chains))
	for i, chain := range chains {
		for _, v := range chain {
			out[i] = append(out[i], v.Turned(deg))
		}
	}
	return out
}

func heights(chains [][]Vec) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, chain := range chains {
		for _, v := range chain {
			low, high = min(low, v.Y), max(high, v.Y)
		}
	}
	return low, high
}

// crossings returns where the level line at y meets the edges of closed
// chains, from left to right. Lower ends count and upper ones do not, so the
// number is even.
func crossings(chains [][]Vec, y float64) []float64 {
	var xs []float64
	for _, chain := range chains {
		for i, a := range chain {
			b := chain[(i+1)%len(chain)]
			if (a.Y > y) != (b.Y > y) {
				xs = append(xs, a.X+(b.X-a.X)*(y-a.Y)/(b.Y-a.Y))
			}
		}
	}
	slices.Sort(xs)
	return xs
}
