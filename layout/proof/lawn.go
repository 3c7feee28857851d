package proof

import (
	"cmp"
	"fmt"
	"slices"

	"lotwright/layout/geom"
)

// lawn is the region to water. Its edges have the interior on their left and
// nothing of it on their right.
type lawn struct {
	edges []segment
	area2 int64 // twice its area, in mm²
}

// newLawn takes over a region.
func newLawn(g geom.Region) (*lawn, error) {
	edges, err := edgesOf(g)
	if err != nil {
		return nil, err
	}
	return lawnWithin(edges)
}

// lawnWithin makes sure that the edges, which must form closed rings, bound a
// lawn on their left.
func lawnWithin(edges []segment) (*lawn, error) {
	l := &lawn{edges: edges}
	for _, e := range edges {
		if err := l.checkEdge(e); err != nil {
			return nil, err
		}
		l.area2 += e.a.minus(edges[0].a).cross(e.b.minus(edges[0].a))
	}
	return l, nil
}

// checkEdge makes sure that an edge crosses no other, and that all along it the
// rings wind once about the points just left of it and not at all about those
// just right of it. The corners of other edges cut it into stretches; along
// one, nothing changes, so its middle decides.
//
// Where that holds of all edges, the rings wind once or not at all about every
// point, since something bounds it on its left. So no two edges overlap: of
// such that run the same way the two sides would differ by two, and such that
// run opposite ways want opposite things of one side.
func (l *lawn) checkEdge(e segment) error {
	if k := slices.IndexFunc(l.edges, e.crosses); k >= 0 {
		return fmt.Errorf("its edges %v and %v cross", e, l.edges[k])
	}
	// Of what a ray to the right meets, e and what overlaps it are left out, as
	// for a point just to the right on the page: none of the lawn beside an edge
	// that runs up, lawn beside one that runs down. Level edges are not met; the
	// ray runs just above them.
	want := 0
	if e.b.y < e.a.y || e.b.y == e.a.y && e.b.x > e.a.x {
		want = 1
	}
	stops := l.cornersOn(e)
	for k := 1; k < len(stops); k++ {
		if l.winding(stops[k-1].plus(stops[k])) != want {
			return fmt.Errorf("it does not lie on the left, and only there, of its edge %v", e)
		}
	}
	return nil
}

// cornersOn returns the ends of s and the corners of the lawn that lie on s,
// in order along it.
func (l *lawn) cornersOn(s segment) []point {
	stops := []point{s.a, s.b}
	for _, e := range l.edges {
		if s.holdsWithin(e.a) {
			stops = append(stops, e.a)
		}
	}
	d := s.b.minus(s.a)
	slices.SortFunc(stops, func(p, q point) int { return cmp.Compare(d.dot(p), d.dot(q)) })
	return slices.Compact(stops)
}

// winding returns how often the rings go round p, a place on the
// half-millimetre grid, or, if p lies on an edge, round the places just right
// of p and above. It counts what a ray from there to the right meets.
func (l *lawn) winding(p point) int {
	n := 0
	for _, e := range l.edges {
		switch e := e.doubled(); {
		case e.a.y <= p.y && p.y < e.b.y && e.side(p) > 0:
			n++
		case e.b.y <= p.y && p.y < e.a.y && e.side(p) < 0:
			n--
		}
	}
	return n
}

// place says where a point lies.
type place int8

const (
	outside place = iota
	onEdge
	inside
)

// place locates p, on the half-millimetre grid.
func (l *lawn) place(p point) place {
	for _, e := range l.edges {
		if e.doubled().holds(p) {
			return onEdge
		}
	}
	if l.winding(p) != 0 {
		return inside
	}
	return outside
}

// enteredBy reports whether some point of s other than its ends lies in the
// interior of the lawn. A crossing with an edge leads inside unless a corner
// lies just there. Between corners, s is then all inside, all outside or all
// along an edge, so the middle decides.
func (l *lawn) enteredBy(s segment) bool {
	stops := l.cornersOn(s)
	for _, e := range l.edges {
		if s.crosses(e) && !slices.ContainsFunc(stops, e.holds) {
			return true
		}
	}
	for k := 1; k < len(stops); k++ {
		if l.place(stops[k-1].plus(stops[k])) == inside {
			return true
		}
	}
	return false
}

// bounds returns the box around the lawn.
func (l *lawn) bounds() box {
	b := box{l.edges[0].a, l.edges[0].a}
	for _, e := range l.edges {
		b.min = point{min(b.min.x, e.a.x), min(b.min.y, e.a.y)}
		b.max = point{max(b.max.x, e.a.x), max(b.max.y, e.a.y)}
	}
	return b
}
