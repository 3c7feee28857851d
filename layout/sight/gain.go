package sight

import (
	"cmp"
	"math"
	"slices"

	"lotwright/layout/geom"
)

// Union is what several reaches wet together, kept as the curves that bound
// it: far fewer than bound the reaches, so that what one more would add is
// quickly told. It keeps room to work in: one caller at a time.
type Union struct {
	curves []curve // by x0; owned by unionOwner
	own    []curve // of the reach held against the union
	sweep  sweep
	room   drawing
}

// Owners of the curves where a reach is held against a union.
const (
	unionOwner = iota
	reachOwner
)

// NewUnion works out the union of the reaches.
func NewUnion(reaches []Reach) *Union {
	s := newSweep(nil, reaches)
	u := &Union{}
	piece := make([]int, len(s.curves)) // index of the last piece of each curve, plus one
	for i := 1; i < len(s.cuts); i++ {
		a, b := s.cuts[i-1], s.cuts[i]
		s.enter(a, b)
		s.eachBorder(func(c int32) { u.extend(&piece[c], s.curves[c], a, b) })
	}
	sortCurves(u.curves)
	return u
}

// eachBorder calls f for the active curves, upward, at which the union begins
// or ends.
func (s *sweep) eachBorder(f func(c int32)) {
	clear(s.inside)
	open := 0
	for _, r := range s.active {
		owner := s.curves[r.curve].owner
		s.inside[owner] = !s.inside[owner]
		before := open
		if s.inside[owner] {
			open++
		} else {
			open--
		}
		if (before > 0) != (open > 0) {
			f(r.curve)
		}
	}
}

// extend adds c between a and b to the border, by making its last piece longer
// where that ends at a.
func (u *Union) extend(last *int, c curve, a, b float64) {
	if *last > 0 && u.curves[*last-1].x1 == a {
		u.curves[*last-1].x1 = b
		return
	}
	if c.radius == 0 {
		c.y0 = c.at(a)
	}
	c.x0, c.x1, c.owner = a, b, unionOwner
	u.curves = append(u.curves, c)
	*last = len(u.curves)
}

// GainM2 returns the area, in square metres, that r wets and the union does
// not: a sweep as in [CoveredM2] over what of the border is abreast of r.
func (u *Union) GainM2(r *Reach) float64 {
	u.own = r.appendCurves(u.own[:0], &u.room, reachOwner)
	if len(u.own) == 0 {
		return 0
	}
	sortCurves(u.own)
	lo, hi := u.own[0].x0, math.Inf(-1)
	for i := range u.own {
		hi = math.Max(hi, u.own[i].x1)
	}
	s := &u.sweep
	s.curves = u.abreast(s.curves[:0], lo, hi, float64(r.Head.Y+r.ThrowMM))
	s.cuts = slabCuts(s.cuts[:0], s.curves)
	s.active, s.next, s.inside = s.active[:0], 0, append(s.inside[:0], false, false)
	sum := 0.0
	for i := 1; i < len(s.cuts); i++ {
		if a, b := s.cuts[i-1], s.cuts[i]; b > lo && a < hi {
			s.enter(a, b)
			sum += s.gained(a, b)
		}
	}
	return sum / (geom.MillimetresPerMetre * geom.MillimetresPerMetre)
}

// abreast appends the reach's own curves and those of the border that count
// between lo and hi and below top, merged in order.
func (u *Union) abreast(out []curve, lo, hi, top float64) []curve {
	own := u.own
	for i := range u.curves {
		c := &u.curves[i]
		if c.x0 >= hi {
			break
		}
		if c.x1 <= lo || c.lowest() >= top {
			continue
		}
		for len(own) > 0 && compareCurves(&own[0], c) < 0 {
			out, own = append(out, own[0]), own[1:]
		}
		out = append(out, *c)
	}
	return append(out, own...)
}

// lowest returns a height the curve does not go below.
func (c *curve) lowest() float64 {
	if c.radius != 0 {
		return c.center.Y - c.radius
	}
	return math.Min(c.y0, c.at(c.x1))
}

// gained sums, for a slab whose active curves are sorted upward, what lies in
// the reach and not in the union.
func (s *sweep) gained(a, b float64) float64 {
	clear(s.inside)
	sum, counting := 0.0, false
	for _, r := range s.active {
		c := &s.curves[r.curve]
		s.inside[c.owner] = !s.inside[c.owner]
		switch now := s.inside[reachOwner] && !s.inside[unionOwner]; {
		case now && !counting:
			sum -= c.integral(a, b)
			counting = true
		case !now && counting:
			sum += c.integral(a, b)
			counting = false
		}
	}
	return sum
}

// compareCurves orders curves by where they begin and end.
func compareCurves(a, b *curve) int {
	if a.x0 != b.x0 {
		return cmp.Compare(a.x0, b.x0)
	}
	return cmp.Or(cmp.Compare(a.x1, b.x1), cmp.Compare(a.owner, b.owner))
}

func sortCurves(curves []curve) {
	slices.SortFunc(curves, func(a, b curve) int { return compareCurves(&a, &b) })
}
