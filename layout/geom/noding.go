package geom

import (
	"cmp"
	"math/bits"
	"slices"
)

// Noding turns an arbitrary set of segments into one whose members meet only
// at common end points, all on the grid, by iterated snap rounding (Hobby 1999;
// Halperin and Packer 2002): wherever two segments cross, both are bent through
// the grid point nearest to the crossing, and every segment is bent through any
// vertex that lies within half a grid cell's diagonal of it. No vertex of the
// input moves; an edge moves by less than 1 mm a round, and two or three rounds
// are usual. The squared lengths are whole numbers and every piece is strictly
// shorter than what it was cut from, so it ends.

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
// whose windings are all zero.
func node(in []fragment) []fragment {
	frags := merge(in)
	for {
		cuts, found := findCuts(frags)
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

// findCuts returns for every fragment the points it must be bent through. The
// fragments come sorted by A.X, so a forward scan meets every pair whose
// extents in X overlap.
func findCuts(frags []fragment) (cuts [][]Point, found bool) {
	cuts = make([][]Point, len(frags))
	for i, f := range frags {
		lo, hi := min(f.A.Y, f.B.Y)-1, max(f.A.Y, f.B.Y)+1
		for j := i + 1; j < len(frags) && frags[j].A.X <= f.B.X+1; j++ {
			g := frags[j]
			if max(g.A.Y, g.B.Y) < lo || min(g.A.Y, g.B.Y) > hi {
				continue
			}
			n := len(cuts[i]) + len(cuts[j])
			cuts[i], cuts[j] = cutPair(f, g, cuts[i], cuts[j])
			found = found || len(cuts[i])+len(cuts[j]) > n
		}
	}
	return cuts, found
}

// cutPair appends to fc and gc the points through which f and g must be bent
// because of each other.
func cutPair(f, g fragment, fc, gc []Point) ([]Point, []Point) {
	s, t := Segment{f.A, f.B}, Segment{g.A, g.B}
	if s.Crosses(t) {
		p := s.meet(t)
		return appendCut(fc, s, p), appendCut(gc, t, p)
	}
	for _, p := range [2]Point{t.A, t.B} {
		if s.passesPixelOf(p) {
			fc = appendCut(fc, s, p)
		}
	}
	for _, p := range [2]Point{s.A, s.B} {
		if t.passesPixelOf(p) {
			gc = appendCut(gc, t, p)
		}
	}
	return fc, gc
}

func appendCut(cuts []Point, s Segment, p Point) []Point {
	if p == s.A || p == s.B {
		return cuts
	}
	return append(cuts, p)
}

// passesPixelOf reports whether s passes p between its ends nearer than √½
// grid cells, the half diagonal of a cell.
func (s Segment) passesPixelOf(p Point) bool {
	d, v := s.B.Sub(s.A), p.Sub(s.A)
	along, len2 := v.Dot(d), d.Norm2()
	if along <= 0 || along >= len2 {
		return false
	}
	c := absInt(d.Cross(v))
	// c²/len2 < 1/2, strictly, or the diagonals of a cell would cut each other
	// for ever. A c beyond MaxCoord cannot pass, and below it c² stays in range.
	return c <= 4*MaxCoord && 2*c*c < len2
}

// meet returns the grid point nearest to where s and t cross, exactly rounded.
func (s Segment) meet(t Segment) Point {
	d, e := s.B.Sub(s.A), t.B.Sub(t.A)
	den := d.Cross(e)
	num := t.A.Sub(s.A).Cross(e)
	if den < 0 {
		den, num = -den, -num
	}
	return Point{s.A.X + mulDivRound(d.X, num, den), s.A.Y + mulDivRound(d.Y, num, den)}
}

// mulDivRound returns v·num/den rounded half away from zero, for
// 0 ≤ num ≤ den, without overflow.
func mulDivRound(v, num, den int64) int64 {
	hi, lo := bits.Mul64(uint64(absInt(v)), uint64(num))
	lo, carry := bits.Add64(lo, uint64(den)/2, 0)
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
