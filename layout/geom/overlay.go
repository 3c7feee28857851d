package geom

import (
	"cmp"
	"slices"
)

// Overlay works on the noded arrangement of all edges of the operands: the
// winding numbers on both sides of every fragment decide whether it bounds the
// result, and the bounding fragments are chained into rings. It is exact on
// the grid and cannot fail; noding moves an edge by less than a millimetre
// where it has to.

// Union returns the points that lie in any of the regions.
func Union(gs ...Region) Region {
	var frags []fragment
	for _, g := range gs {
		frags = appendEdges(frags, g, 0)
	}
	return assemble(frags, func(w windingOf) bool { return w[0] != 0 })
}

// Intersection returns the points that lie in both a and b.
func Intersection(a, b Region) Region {
	return assemble(appendEdges(appendEdges(nil, a, 0), b, 1),
		func(w windingOf) bool { return w[0] != 0 && w[1] != 0 })
}

// Difference returns the points that lie in a and not in b, and the edges
// between.
func Difference(a, b Region) Region {
	return assemble(appendEdges(appendEdges(nil, a, 0), b, 1),
		func(w windingOf) bool { return w[0] != 0 && w[1] == 0 })
}

// Normalize returns the region of the points around which the rings, taken
// together, wind a non-zero number of times. It accepts anything: crossing,
// touching, repeated and degenerate rings.
func Normalize(rings []Ring) Region {
	return assemble(appendRings(nil, rings), func(w windingOf) bool { return w[0] != 0 })
}

// NormalizePositive is [Normalize] for the points with a winding number above
// zero, the rule for offset curves: what was turned inside out is dropped.
func NormalizePositive(rings []Ring) Region {
	return assemble(appendRings(nil, rings), func(w windingOf) bool { return w[0] > 0 })
}

// NormalizeEvenOdd is [Normalize] for the points with an odd winding number.
func NormalizeEvenOdd(rings []Ring) Region {
	return assemble(appendRings(nil, rings), func(w windingOf) bool { return w[0]&1 != 0 })
}

func appendEdges(frags []fragment, g Region, operand int) []fragment {
	for s := range g.Edges() {
		frags = append(frags, canonical(s, operand))
	}
	return frags
}

func appendRings(frags []fragment, rings []Ring) []fragment {
	for _, r := range rings {
		for s := range r.Edges() {
			frags = append(frags, canonical(s, 0))
		}
	}
	return frags
}

// assemble nodes the fragments and returns the region of the points whose
// windings satisfy in.
func assemble(frags []fragment, in func(windingOf) bool) Region {
	frags = node(frags)
	strips := newStrips(frags)
	var edges []Segment
	for _, f := range frags {
		left, right := strips.sides(f)
		switch l, r := in(left), in(right); {
		case l && !r:
			edges = append(edges, Segment{f.A, f.B})
		case r && !l:
			edges = append(edges, Segment{f.B, f.A})
		}
	}
	return nest(traceRings(edges))
}

// strips sorts fragments into upright and level strips, so that a ray meets
// only those it can cross.
type strips struct {
	frags      []fragment
	box        Bounds
	w, h       int64 // strip widths in X and Y
	byX, byY   [][]int32
	stripCount int64
}

func newStrips(frags []fragment) *strips {
	s := &strips{frags: frags, box: EmptyBounds(), stripCount: int64(1 + len(frags)/4)}
	for _, f := range frags {
		s.box = s.box.Grow(f.A).Grow(f.B)
	}
	s.w = (s.box.Max.X-s.box.Min.X)/s.stripCount + 1
	s.h = (s.box.Max.Y-s.box.Min.Y)/s.stripCount + 1
	s.byX, s.byY = make([][]int32, s.stripCount), make([][]int32, s.stripCount)
	for i, f := range frags {
		for k := s.column(f.A.X); k <= s.column(f.B.X); k++ {
			s.byX[k] = append(s.byX[k], int32(i))
		}
		for k := s.row(min(f.A.Y, f.B.Y)); k <= s.row(max(f.A.Y, f.B.Y)); k++ {
			s.byY[k] = append(s.byY[k], int32(i))
		}
	}
	return s
}

func (s *strips) column(x int64) int64 { return (x - s.box.Min.X) / s.w }
func (s *strips) row(y int64) int64    { return (y - s.box.Min.Y) / s.h }

// sides returns the winding numbers just to the left and to the right of f.
// A ray is cast from the middle of f, which no other fragment touches: upward,
// or to the right when f is upright. Twice the coordinates keep it exact.
func (s *strips) sides(f fragment) (left, right windingOf) {
	m := f.A.Add(f.B)
	if f.A.X == f.B.X {
		for _, i := range s.byY[s.row(m.Y/2)] {
			right = right.plus(crossingRightward(s.frags[i], f, m))
		}
		return right.plus(f.w), right
	}
	for _, i := range s.byX[s.column(floorHalf(m.X))] {
		left = left.plus(crossingUpward(s.frags[i], f, m))
	}
	return left, left.minus(f.w)
}

// floorHalf returns v/2 rounded down.
func floorHalf(v int64) int64 { return v >> 1 }

func (w windingOf) plus(v windingOf) windingOf  { return windingOf{w[0] + v[0], w[1] + v[1]} }
func (w windingOf) minus(v windingOf) windingOf { return windingOf{w[0] - v[0], w[1] - v[1]} }

// crossingUpward returns what g adds to the winding number at m (doubled
// coordinates), the middle of f, by lying above it.
func crossingUpward(g, f fragment, m Point) windingOf {
	if g == f || (2*g.A.X > m.X) == (2*g.B.X > m.X) || !sideOfDoubled(g, m, -1) {
		return windingOf{}
	}
	return windingOf{}.minus(g.w) // g runs from left to right
}

// crossingRightward returns what g adds to the winding number at m, the middle
// of the upright fragment f, by lying to its right.
func crossingRightward(g, f fragment, m Point) windingOf {
	if g == f || (2*g.A.Y > m.Y) == (2*g.B.Y > m.Y) {
		return windingOf{}
	}
	if g.B.Y > g.A.Y {
		if sideOfDoubled(g, m, 1) {
			return g.w
		}
		return windingOf{}
	}
	if sideOfDoubled(g, m, -1) {
		return windingOf{}.minus(g.w)
	}
	return windingOf{}
}

// sideOfDoubled reports whether m, in doubled coordinates, lies on the given
// side (+1 left, −1 right) of g.
func sideOfDoubled(g fragment, m Point, side int) bool {
	a := Point{2 * g.A.X, 2 * g.A.Y}
	return sign(g.B.Sub(g.A).Cross(m.Sub(a))) == side
}

// traceRings chains edges that have the interior on their left into simple
// rings. At a vertex the interior is followed round: from the edge just
// walked, seen backwards, clockwise to the next edge that leaves. A ring that
// comes back to one of its own vertices is cut off there, so that rings touch
// only between one another.
func traceRings(edges []Segment) []Ring {
	slices.SortFunc(edges, func(s, t Segment) int {
		return cmp.Or(s.A.Compare(t.A), s.B.Compare(t.B))
	})
	used := make([]bool, len(edges))
	var rings []Ring
	for i := range edges {
		if used[i] {
			continue
		}
		var chain Ring
		for e := i; !used[e]; e = nextEdge(edges, used, e) {
			used[e] = true
			chain = append(chain, edges[e].A)
		}
		rings = append(rings, cutAtRepeats(chain)...)
	}
	return rings
}

// nextEdge returns the edge that continues the boundary after edge e: the
// first one clockwise from e's reverse. When the walk has come round it is an
// edge already used.
func nextEdge(edges []Segment, used []bool, e int) int {
	at, back := edges[e].B, edges[e].A.Sub(edges[e].B)
	first, _ := slices.BinarySearchFunc(edges, at, func(s Segment, p Point) int { return s.A.Compare(p) })
	best := -1
	for k := first; k < len(edges) && edges[k].A == at; k++ {
		if best < 0 || clockwiseBefore(back, edges[k].B.Sub(at), edges[best].B.Sub(at)) {
			best = k
		}
	}
	return best
}

// clockwiseBefore reports whether, turning clockwise from direction ref, u is
// met before v.
func clockwiseBefore(ref, u, v Point) bool {
	hu, hv := clockwiseHalf(ref, u), clockwiseHalf(ref, v)
	if hu != hv {
		return hu < hv
	}
	return u.Cross(v) < 0
}

// clockwiseHalf is 0 for directions up to half a turn clockwise from ref and 1
// for the rest; ref itself comes last.
func clockwiseHalf(ref, u Point) int {
	switch c := ref.Cross(u); {
	case c < 0, c == 0 && ref.Dot(u) < 0:
		return 0
	}
	return 1
}

// cutAtRepeats splits a closed chain into simple rings at the vertices it
// passes more than once.
func cutAtRepeats(chain Ring) []Ring {
	var rings []Ring
	at := make(map[Point]int, len(chain))
	var stack Ring
	for _, p := range chain {
		if k, ok := at[p]; ok {
			rings = append(rings, slices.Clone(stack[k:]))
			for _, q := range stack[k:] {
				delete(at, q)
			}
			stack = stack[:k]
		}
		at[p] = len(stack)
		stack = append(stack, p)
	}
	return append(rings, stack)
}

// nest drops needless vertices, brings every ring into canonical form and
// gives each hole to the smallest shell around it.
func nest(rings []Ring) Region {
	var shells, holes []Ring
	meets := ringsAt(rings)
	for _, r := range rings {
		r = r.withoutCollinear(meets).canonical()
		switch a := r.Area2(); {
		case a > 0:
			shells = append(shells, r)
		case a < 0:
			holes = append(holes, r)
		}
	}
	sortRings(shells)
	sortRings(holes)
	region := make(Region, 0, len(shells))
	for _, s := range shells {
		region = append(region, Polygon{s})
	}
	for _, h := range holes {
		if k := smallestAround(region, h); k >= 0 {
			region[k] = append(region[k], h)
		}
	}
	if len(region) == 0 {
		return nil
	}
	return region
}

func sortRings(rings []Ring) {
	slices.SortFunc(rings, func(r, s Ring) int {
		return slices.CompareFunc(r, s, Point.Compare)
	})
}

// smallestAround returns the index of the polygon with the smallest shell that
// holds hole h, or −1.
func smallestAround(region Region, h Ring) int {
	m := h[0].Add(h[1])
	best, bestArea := -1, int64(0)
	for k, poly := range region {
		if a := poly[0].Area2(); (best < 0 || a < bestArea) && poly[0].hasDoubled(m) {
			best, bestArea = k, a
		}
	}
	return best
}

// hasDoubled reports whether m, in doubled coordinates and on no edge of r,
// lies inside r.
func (r Ring) hasDoubled(m Point) bool {
	inside := false
	for s := range r.Edges() {
		if (2*s.A.Y > m.Y) == (2*s.B.Y > m.Y) {
			continue
		}
		o := sign(s.B.Sub(s.A).Cross(m.Sub(Point{2 * s.A.X, 2 * s.A.Y})))
		if s.A.Y < s.B.Y && o > 0 || s.A.Y > s.B.Y && o < 0 {
			inside = !inside
		}
	}
	return inside
}

// ringsAt counts how many rings come to each vertex; a ring alone comes to each
// of its own but once.
func ringsAt(rings []Ring) map[Point]int {
	if len(rings) < 2 {
		return nil
	}
	count := map[Point]int{}
	for _, r := range rings {
		for _, p := range r {
			count[p]++
		}
	}
	return count
}

// withoutCollinear drops the vertices at which r does not turn, unless another
// ring comes there: a contact in the middle of an edge would be lost as soon as
// coordinates are no longer whole numbers.
func (r Ring) withoutCollinear(meets map[Point]int) Ring {
	out := make(Ring, 0, len(r))
	for i, p := range r {
		prev, next := r[(i+len(r)-1)%len(r)], r[(i+1)%len(r)]
		if meets[p] > 1 || Orient(prev, p, next) != 0 {
			out = append(out, p)
		}
	}
	return out
}

// canonical returns r started at its least point.
func (r Ring) canonical() Ring {
	if len(r) == 0 {
		return r
	}
	k := 0
	for i, p := range r {
		if p.Compare(r[k]) < 0 {
			k = i
		}
	}
	return slices.Concat(r[k:], r[:k])
}
