package geom

import (
	"iter"
	"slices"
)

// Ring is a closed chain of straight edges; the edge from its last point back
// to its first is implied.
type Ring []Point

// Line is an open chain of straight edges.
type Line []Point

// Polygon is a shell (the first ring, counter-clockwise) and its holes (the
// others, clockwise).
type Polygon []Ring

// Region is a set of polygons whose interiors are disjoint. The nil Region is
// the empty set.
type Region []Polygon

// Bounds is an axis-parallel box, edges included. The zero Bounds is the
// single point (0,0); use [EmptyBounds] to start a union.
type Bounds struct{ Min, Max Point }

// EmptyBounds holds no point at all and is the neutral element of [Bounds.Grow].
func EmptyBounds() Bounds {
	return Bounds{Min: Pt(MaxCoord*2, MaxCoord*2), Max: Pt(-MaxCoord*2, -MaxCoord*2)}
}

// Empty reports whether b holds no point.
func (b Bounds) Empty() bool { return b.Min.X > b.Max.X || b.Min.Y > b.Max.Y }

// Grow returns the smallest box that holds b and p.
func (b Bounds) Grow(p Point) Bounds {
	return Bounds{
		Min: Pt(min(b.Min.X, p.X), min(b.Min.Y, p.Y)),
		Max: Pt(max(b.Max.X, p.X), max(b.Max.Y, p.Y)),
	}
}

// Pad returns b enlarged by mm on every side.
func (b Bounds) Pad(mm int64) Bounds {
	return Bounds{Min: Pt(b.Min.X-mm, b.Min.Y-mm), Max: Pt(b.Max.X+mm, b.Max.Y+mm)}
}

// Has reports whether p lies in b, edges included.
func (b Bounds) Has(p Point) bool {
	return b.Min.X <= p.X && p.X <= b.Max.X && b.Min.Y <= p.Y && p.Y <= b.Max.Y
}

// Overlaps reports whether b and c have a point in common.
func (b Bounds) Overlaps(c Bounds) bool {
	return b.Min.X <= c.Max.X && c.Min.X <= b.Max.X && b.Min.Y <= c.Max.Y && c.Min.Y <= b.Max.Y
}

// Bounds returns the box around s.
func (s Segment) Bounds() Bounds { return EmptyBounds().Grow(s.A).Grow(s.B) }

// Edges yields the edges of r in order.
func (r Ring) Edges() iter.Seq[Segment] {
	return func(yield func(Segment) bool) {
		for i, a := range r {
			if !yield(Segment{a, r[(i+1)%len(r)]}) {
				return
			}
		}
	}
}

// Edges yields the edges of l in order; there is none from the end to the start.
func (l Line) Edges() iter.Seq[Segment] {
	return func(yield func(Segment) bool) {
		for i := 1; i < len(l); i++ {
			if !yield(Segment{l[i-1], l[i]}) {
				return
			}
		}
	}
}

// LengthMM returns the length of l in millimetres.
func (l Line) LengthMM() float64 {
	sum := 0.0
	for s := range l.Edges() {
		sum += s.LengthMM()
	}
	return sum
}

// Area2 returns twice the signed area of r in mm²: positive when r runs
// counter-clockwise.
func (r Ring) Area2() int64 {
	if len(r) == 0 {
		return 0
	}
	o, sum := r[0], int64(0)
	for s := range r.Edges() {
		sum += s.A.Sub(o).Cross(s.B.Sub(o))
	}
	return sum
}

// Bounds returns the box around r.
func (r Ring) Bounds() Bounds {
	b := EmptyBounds()
	for _, p := range r {
		b = b.Grow(p)
	}
	return b
}

// Reversed returns r run the other way round, from the same first point.
func (r Ring) Reversed() Ring {
	out := slices.Clone(r)
	if len(out) > 1 {
		slices.Reverse(out[1:])
	}
	return out
}

// Rings yields every ring of g, shells and holes.
func (g Region) Rings() iter.Seq[Ring] {
	return func(yield func(Ring) bool) {
		for _, poly := range g {
			for _, ring := range poly {
				if !yield(ring) {
					return
				}
			}
		}
	}
}

// Edges yields every edge of g. The interior is on the left of each.
func (g Region) Edges() iter.Seq[Segment] {
	return func(yield func(Segment) bool) {
		for ring := range g.Rings() {
			for s := range ring.Edges() {
				if !yield(s) {
					return
				}
			}
		}
	}
}

// Area2 returns twice the area of g in mm².
func (g Region) Area2() int64 {
	sum := int64(0)
	for ring := range g.Rings() {
		sum += ring.Area2()
	}
	return sum
}

// AreaM2 returns the area of g in square metres.
func (g Region) AreaM2() float64 {
	return float64(g.Area2()) / (2 * MillimetresPerMetre * MillimetresPerMetre)
}

// AreaM2 returns the area of p in square metres.
func (p Polygon) AreaM2() float64 { return Region{p}.AreaM2() }

// Bounds returns the box around g.
func (g Region) Bounds() Bounds {
	b := EmptyBounds()
	for _, poly := range g {
		for _, p := range poly[0] {
			b = b.Grow(p)
		}
	}
	return b
}

// Place says where a point lies with respect to a region.
type Place int8

// The three possible places.
const (
	Outside  Place = -1
	Boundary Place = 0
	Interior Place = 1
)

// Locate says, exactly, where p lies with respect to g.
func (g Region) Locate(p Point) Place {
	inside := false
	for _, poly := range g {
		for _, ring := range poly {
			on, odd := ring.parity(p)
			if on {
				return Boundary
			}
			inside = inside != odd
		}
	}
	if inside {
		return Interior
	}
	return Outside
}

// parity reports whether p lies on r, and whether the ray from p in direction
// +X crosses r an odd number of times.
func (r Ring) parity(p Point) (on, odd bool) {
	if len(r) == 0 {
		return false, false
	}
	a := r[len(r)-1]
	for _, b := range r {
		s := Segment{a, b}
		a = b
		if max(s.A.Y, s.B.Y) < p.Y || min(s.A.Y, s.B.Y) > p.Y || max(s.A.X, s.B.X) < p.X {
			continue
		}
		if s.Has(p) {
			return true, false
		}
		if passesRightOf(s, p) {
			odd = !odd
		}
	}
	return false, odd
}

// Has reports whether p lies in g, edges included.
func (g Region) Has(p Point) bool { return g.Locate(p) != Outside }

// passesRightOf reports whether the ray from p in direction +X crosses s,
// counting an edge's lower end and not its upper one.
func passesRightOf(s Segment, p Point) bool {
	if (s.A.Y > p.Y) == (s.B.Y > p.Y) {
		return false
	}
	o := Orient(s.A, s.B, p)
	return s.A.Y < s.B.Y && o > 0 || s.A.Y > s.B.Y && o < 0
}

// DistanceMM returns the distance from p to the nearest edge of g, in
// millimetres, whichever side p is on; +Inf for the empty region.
func (g Region) DistanceMM(p Point) float64 {
	_, d := g.NearestEdge(p)
	return d
}
