package geom

import (
	"cmp"
	"math/bits"
	"slices"
)

// Noding turns an arbitrary set of segments into one whose members meet only
// at common end points, all on the grid, by iterated snap rounding (Hobby 1999;
// Halperin and Packer 2002). Every end of a segment and every crossing of two
// lies in a grid cell, and those cells are hot: every segment that passes
// through a hot cell is bent through its middle, until none does that has not
// been. No vertex of the input moves; an edge moves by less than 1 mm a round,
// and two or three rounds are usual.
//
// The hot cells are found once, from the segments as they come: bending creates
// no crossings (Guibas and Marimont 1998), provided that a cell holds its lower
// and left border and not the others. Bending pair by pair instead, through
// ever new crossings of what has been bent already, may run along two nearly
// parallel edges like a zip.

// windingOf counts, for each of up to two operands of an overlay, how often
// its rings run along a fragment from A to B, less the times they run from B
// to A.
type windingOf [2]int32

// fragment is an undirected noded edge with A before B in point order.
type fragment struct {
	A, B Point
	w    windingOf
}

// node splits the fragments until they meet only at end points, and merges
// those that coincide. The result is sorted by (A, B) and has no fragment
// whose windings are all zero. The squared lengths are whole numbers and every
// piece is strictly shorter than what it was cut from, so it ends.
func node(in []fragment) []fragment {
	frags := merge(in)
	hot := hotCells(frags)
	for {
		cuts, found := findCuts(frags, hot)
		if !found {
			return frags
		}
		frags = merge(split(frags, cuts))
	}
}

// canonical returns the fragment of a directed edge with winding +1 for the
// given operand.
func canonical(s Segment, operand int) fragment {
	f := fragment{A: s.A, B: s.B}
	f.w[operand] = 1
	return f.ordered()
}

func (f fragment) ordered() fragment {
	if f.A.Compare(f.B) > 0 {
		f.A, f.B = f.B, f.A
		f.w[0], f.w[1] = -f.w[0], -f.w[1]
	}
	return f
}

// merge sorts the fragments, adds up those with the same ends and drops what
// cancels or has no length.
func merge(in []fragment) []fragment {
	slices.SortFunc(in, func(f, g fragment) int {
		return cmp.Or(f.A.Compare(g.A), f.B.Compare(g.B))
	})
	out := in[:0]
	for _, f := range in {
		switch n := len(out); {
		case f.A == f.B:
		case n > 0 && out[n-1].A == f.A && out[n-1].B == f.B:
			out[n-1].w[0] += f.w[0]
			out[n-1].w[1] += f.w[1]
		default:
			out = append(out, f)
		}
	}
	return slices.DeleteFunc(out, func(f fragment) bool { return f.w == windingOf{} })
}

// hotCells returns, sorted, the ends of the fragments and the cells in which
// two cross. The fragments come sorted by A.X, so a forward scan meets every
// pair whose extents in X overlap.
func hotCells(frags []fragment) []Point {
	hot := make([]Point, 0, 2*len(frags))
	for i, f := range frags {
		hot = append(hot, f.A, f.B)
		lo, hi := min(f.A.Y, f.B.Y), max(f.A.Y, f.B.Y)
		for j := i + 1; j < len(frags) && frags[j].A.X <= f.B.X; j++ {
			g := frags[j]
			if max(g.A.Y, g.B.Y) < lo || min(g.A.Y, g.B.Y) > hi {
				continue
			}
			if s, t := (Segment{f.A, f.B}), (Segment{g.A, g.B}); s.Crosses(t) {
				hot = append(hot, s.meet(t))
			}
		}
	}
	slices.SortFunc(hot, Point.Compare)
	return slices.Compact(hot)
}

// findCuts returns for every fragment the hot cells it passes through between
// its ends. Both lists come sorted by X, so the first hot cell in reach of a
// fragment only moves on.
func findCuts(frags []fragment, hot []Point) (cuts [][]Point, found bool) {
	cuts = make([][]Point, len(frags))
	first := 0
	for i, f := range frags {
		for hot[first].X < f.A.X {
			first++
		}
		s := Segment{f.A, f.B}
		for _, p := range hot[first:] {
			if p.X > f.B.X {
				break
			}
			if p != f.A && p != f.B && s.passesCellOf(p) {
				cuts[i], found = append(cuts[i], p), true
			}
		}
	}
	return cuts, found
}

// passesCellOf reports whether s passes through the grid cell about p, which is
// p ± ½ in X and Y with its lower and left border and without the others. That
// is to say: whether s, moved by (ε, ε), has a point inside.
func (s Segment) passesCellOf(p Point) bool {
	if !s.spans(p) {
		return false
	}
	// Twice the side of p from s, and of the cell's outermost corners from p.
	d := s.B.Sub(s.A)
	middle, corner := 2*d.Cross(p.Sub(s.A)), absInt(d.X)+absInt(d.Y)
	tie := d.Y - d.X // which way ε moves a corner that lies on s
	return (middle+corner > 0 || middle+corner == 0 && tie > 0) &&
		(middle-corner < 0 || middle-corner == 0 && tie < 0)
}

// meet returns the middle of the grid cell in which s and t cross.
func (s Segment) meet(t Segment) Point {
	d, e := s.B.Sub(s.A), t.B.Sub(t.A)
	den := d.Cross(e)
	num := t.A.Sub(s.A).Cross(e)
	if den < 0 {
		den, num = -den, -num
	}
	return Point{s.A.X + mulDivRound(d.X, num, den), s.A.Y + mulDivRound(d.Y, num, den)}
}

// mulDivRound returns v·num/den rounded to the nearest whole number, halves
// upward, for 0 ≤ num ≤ den, without overflow.
func mulDivRound(v, num, den int64) int64 {
	half := den / 2
	if v < 0 {
		half = (den - 1) / 2
	}
	hi, lo := bits.Mul64(uint64(absInt(v)), uint64(num))
	lo, carry := bits.Add64(lo, uint64(half), 0)
	q, _ := bits.Div64(hi+carry, lo, uint64(den))
	if v < 0 {
		return -int64(q)
	}
	return int64(q)
}

// split bends every fragment through its cuts.
func split(frags []fragment, cuts [][]Point) []fragment {
	out := make([]fragment, 0, len(frags)*2)
	for i, f := range frags {
		d := f.B.Sub(f.A)
		slices.SortFunc(cuts[i], func(p, q Point) int {
			return cmp.Or(cmp.Compare(p.Sub(f.A).Dot(d), q.Sub(f.A).Dot(d)), p.Compare(q))
		})
		from := f.A
		for _, p := range append(slices.Compact(cuts[i]), f.B) {
			out = append(out, fragment{A: from, B: p, w: f.w}.ordered())
			from = p
		}
	}
	return out
}
