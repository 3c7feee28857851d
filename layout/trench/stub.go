package trench

import (
	"cmp"
	"slices"

	"lotwright/layout/geom"
)

// gridSlack is how far, in mm, a head may stand outside the ground it belongs
// to: both it and the edge are rounded to the grid.
const gridSlack = 2

// stubs returns the straight pieces by which terminals and sleeve ends that do
// not stand in free ground get there. One in the clearance of a building, as a
// tap on its wall, leaves by the shortest way; two of them that see each other,
// as heads in a strip too narrow for the clearance, may also be joined. A point
// of connection in forbidden ground, as a tap drawn inside the house, and a
// sleeve's end a hand's breadth inside, first come straight out of it; a head
// there stays unreached.
func (c *chart) stubs(sleeves []geom.Line) []geom.Segment {
	var out []geom.Segment
	var close []geom.Point
	leave := func(p geom.Point, most int64) {
		if c.ground.free.region.Has(p) {
			return
		}
		q, ok := c.ground.comeOut(p)
		if !ok || !p.Within(q, most) {
			return
		}
		if p != q {
			out = append(out, geom.Segment{A: p, B: q})
		}
		if !c.ground.free.region.Has(q) {
			close = append(close, q)
		}
	}
	for _, t := range c.terminals {
		if t.poc {
			leave(t.at, geom.MaxCoord)
		} else {
			leave(t.at, gridSlack)
		}
	}
	for _, s := range sleeves {
		if len(s) > 1 {
			leave(s[0], sleeveSlack)
			leave(s[len(s)-1], sleeveSlack)
		}
	}
	slices.SortFunc(close, geom.Point.Compare)
	out = append(out, c.ground.leave(slices.Compact(close))...)
	slices.SortFunc(out, func(s, t geom.Segment) int { return cmp.Or(s.A.Compare(t.A), s.B.Compare(t.B)) })
	return slices.Compact(out)
}

// leave returns the stubs from points in the clearance.
func (g *ground) leave(close []geom.Point) []geom.Segment {
	var out []geom.Segment
	for i, p := range close {
		if q, ok := g.gate(p); ok {
			out = append(out, geom.Segment{A: p, B: q})
		}
		for _, q := range close[:i] {
			if g.clear(p, q) {
				out = append(out, geom.Segment{A: q, B: p})
			}
		}
	}
	return out
}

// comeOut returns the nearest point to p that is not forbidden ground; none
// when all is.
func (g *ground) comeOut(p geom.Point) (geom.Point, bool) {
	if g.hard.region.Has(p) {
		return p, true
	}
	for q := range g.hard.nearest(p) {
		return q, true
	}
	return p, false
}

// gate returns the point of free ground that the shortest straight stub from p
// leads to; none when forbidden ground lies before all of it.
func (g *ground) gate(p geom.Point) (geom.Point, bool) {
	for q := range g.free.nearest(p) {
		if g.clear(p, q) {
			return q, true
		}
	}
	return p, false
}

// clear reports whether the straight line from p to q avoids forbidden ground.
func (g *ground) clear(p, q geom.Point) bool {
	return g.hard.around(p).toward(q.Sub(p)) != geom.Outside && !g.hard.obstructs(geom.Segment{A: p, B: q})
}

// nearest yields the points of o nearest to p on each of its edges, the nearest
// first, for a p outside o. Each is a grid point of o, up to a millimetre and a
// half from the edge.
func (o *outline) nearest(p geom.Point) func(yield func(geom.Point) bool) {
	var feet []geom.Point
	for e := range o.region.Edges() {
		feet = append(feet, e.Nearest(p))
	}
	nearer := func(a, b geom.Point) int {
		return cmp.Or(cmp.Compare(a.Sub(p).Norm2(), b.Sub(p).Norm2()), a.Compare(b))
	}
	slices.SortFunc(feet, nearer)
	return func(yield func(geom.Point) bool) {
		for _, foot := range slices.Compact(feet) {
			if q, ok := o.pull(foot, nearer); ok && !yield(q) {
				return
			}
		}
	}
}

// pull returns the first point of o, by the given order, among foot and the
// eight grid points round it. A foot that is rounded may lie just outside.
func (o *outline) pull(foot geom.Point, order func(a, b geom.Point) int) (geom.Point, bool) {
	if o.region.Has(foot) {
		return foot, true
	}
	var in []geom.Point
	for dx := int64(-1); dx <= 1; dx++ {
		for dy := int64(-1); dy <= 1; dy++ {
			if q := foot.Add(geom.Pt(dx, dy)); o.region.Has(q) {
				in = append(in, q)
			}
		}
	}
	if len(in) == 0 {
		return foot, false
	}
	return slices.MinFunc(in, order), true
}
