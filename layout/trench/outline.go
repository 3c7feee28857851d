package trench

import (
	"cmp"
	"slices"

	"lotwright/layout/geom"
)

// outline is a region laid out for quick questions about straight trenches.
type outline struct {
	region geom.Region
	parts  []part // one for each polygon
}

type part struct {
	edges []boxed
	box   geom.Bounds
}

type boxed struct {
	geom.Segment
	box geom.Bounds
}

func newOutline(g geom.Region) *outline {
	o := &outline{region: g}
	for _, polygon := range g {
		p := part{box: polygon[0].Bounds()}
		for e := range (geom.Region{polygon}).Edges() {
			p.edges = append(p.edges, boxed{e, e.Bounds()})
		}
		o.parts = append(o.parts, p)
	}
	return o
}

// obstructs reports whether an edge of o crosses s or a corner of o lies on s
// between its ends. A segment that is not obstructed and sets out into o stays
// in it.
func (o *outline) obstructs(s geom.Segment) bool {
	box := s.Bounds()
	for i := range o.parts {
		if p := &o.parts[i]; p.box.Overlaps(box) && p.obstructs(s, box) {
			return true
		}
	}
	return false
}

func (p *part) obstructs(s geom.Segment, box geom.Bounds) bool {
	for i := range p.edges {
		e := &p.edges[i]
		if !e.box.Overlaps(box) {
			continue
		}
		a, b := geom.Orient(s.A, s.B, e.A), geom.Orient(s.A, s.B, e.B)
		if a == 0 && between(s, e.A) {
			return true
		}
		if a*b < 0 && geom.Orient(e.A, e.B, s.A)*geom.Orient(e.A, e.B, s.B) < 0 {
			return true
		}
	}
	return false
}

// between reports whether p, known to be in line with s, lies strictly between
// its ends.
func between(s geom.Segment, p geom.Point) bool {
	return p.Sub(s.A).Dot(p.Sub(s.B)) < 0
}

// span is a stretch of a segment, from lo to hi as shares of its length.
type span struct{ lo, hi float64 }

// covered returns the stretches of s that run through the inside of o, in
// order and apart, in spans if there is room. Along an edge of o, s is outside.
//
// The line of s is moved to one side by less than any distance, so that it
// meets no corner, and the edges it then crosses are taken in pairs. If a
// corner lies on the line itself, the other side is asked too: inside is what
// is inside from both. The shares are quotients of exact integers, so the same
// corner gives the same number by either of its edges.
func (o *outline) covered(s geom.Segment, spans []span) []span {
	spans = spans[:0]
	box := s.Bounds()
	parts := 0
	for i := range o.parts {
		if p := &o.parts[i]; p.box.Overlaps(box) {
			n := len(spans)
			spans = p.covered(s, spans)
			if len(spans) > n {
				parts++
			}
		}
	}
	if parts > 1 {
		slices.SortFunc(spans, func(a, b span) int { return cmp.Compare(a.lo, b.lo) })
		in := spans
		spans = spans[:0]
		for _, w := range in {
			spans = appendSpan(spans, w.lo, w.hi)
		}
	}
	return spans
}

// covered appends the spans of s in one polygon.
func (p *part) covered(s geom.Segment, spans []span) []span {
	own, corner := p.pass(s, 1, spans[len(spans):])
	if corner && len(own) > 0 {
		left, _ := p.pass(s, -1, nil)
		own = common(own, left)
	}
	return append(spans, own...)
}

// pass is covered for s moved to the right (level +1) or to the left (−1): a
// corner on the line is then to its left or right. It reports whether there
// was one. The spans are appended to those given.
func (p *part) pass(s geom.Segment, level int, spans []span) (_ []span, corner bool) {
	var buf [16]float64
	at, d := buf[:0], s.B.Sub(s.A)
	for i := range p.edges {
		e := &p.edges[i]
		a, b := geom.Orient(s.A, s.B, e.A), geom.Orient(s.A, s.B, e.B)
		if a == 0 {
			a, corner = level, true
		}
		if b == 0 {
			b = level
		}
		if a != b {
			v := e.B.Sub(e.A)
			at = append(at, float64(e.A.Sub(s.A).Cross(v))/float64(d.Cross(v)))
		}
	}
	slices.Sort(at)
	for i := 0; i+1 < len(at); i += 2 {
		spans = appendSpan(spans, max(at[i], 0), min(at[i+1], 1))
	}
	return spans, corner
}

// appendSpan appends the span from lo to hi, unless it is empty; a span that
// begins where the last one ends prolongs it.
func appendSpan(spans []span, lo, hi float64) []span {
	n := len(spans)
	switch {
	case lo >= hi:
		return spans
	case n > 0 && spans[n-1].hi >= lo:
		spans[n-1].hi = max(spans[n-1].hi, hi)
		return spans
	}
	return append(spans, span{lo, hi})
}

// common returns what lies in both lists of spans.
func common(a, b []span) []span {
	var out []span
	for i, j := 0, 0; i < len(a) && j < len(b); {
		out = appendSpan(out, max(a[i].lo, b[j].lo), min(a[i].hi, b[j].hi))
		if a[i].hi < b[j].hi {
			i++
		} else {
			j++
		}
	}
	return out
}

// total returns the sum of the lengths of the spans.
func total(spans []span) float64 {
	sum := 0.0
	for _, s := range spans {
		sum += s.hi - s.lo
	}
	return sum
}

// fan says in which directions from a point a region lies.
type fan struct {
	place geom.Place
	rays  []ray // where place is Boundary: the edges that meet at the point
}

// ray is the direction of an edge as seen from the point. The region is to the
// left of one that opens, to the right of the others.
type ray struct {
	dir   geom.Point
	opens bool
}

// around returns the fan of o at p.
func (o *outline) around(p geom.Point) fan {
	f := fan{place: o.region.Locate(p)}
	if f.place != geom.Boundary {
		return f
	}
	for e := range o.region.Edges() {
		if !e.Has(p) {
			continue
		}
		if e.B != p {
			f.rays = append(f.rays, ray{e.B.Sub(p), true})
		}
		if e.A != p {
			f.rays = append(f.rays, ray{e.A.Sub(p), false})
		}
	}
	return f
}

// toward says where a step in direction d leads: it is the first edge clockwise
// from d that decides.
func (f fan) toward(d geom.Point) geom.Place {
	if f.place != geom.Boundary {
		return f.place
	}
	first := f.rays[0]
	for _, r := range f.rays {
		if d.Cross(r.dir) == 0 && d.Dot(r.dir) > 0 {
			return geom.Boundary
		}
		if clockwiseBefore(d, r.dir, first.dir) {
			first = r
		}
	}
	if first.opens {
		return geom.Interior
	}
	return geom.Outside
}

// clockwiseBefore reports whether, turning clockwise from d, u is met before v;
// neither points along d.
func clockwiseBefore(d, u, v geom.Point) bool {
	pu, pv := d.Cross(u) > 0, d.Cross(v) > 0 // past half a turn
	if pu != pv {
		return pv
	}
	return u.Cross(v) < 0
}
