package sight

import (
	"lotwright/layout/geom"
)

// Dry is a patch of the region that no head reaches.
type Dry struct {
	At      geom.Point // in its middle, rounded to the grid
	AreaMM2 float64
}

// Dry returns patches that together make up what the reaches leave dry of the
// field's region: upright strips between neighbouring curves, from left to
// right and upward. Patches that touch are not joined.
func (f *Field) Dry(reaches []Reach) []Dry {
	s := newSweep(f.edges, reaches)
	var out []Dry
	for i := 1; i < len(s.cuts); i++ {
		a, b := s.cuts[i-1], s.cuts[i]
		s.enter(a, b)
		out = s.appendDry(out, a, b)
	}
	return out
}

// appendDry appends the dry stretches of a slab whose active curves are sorted
// upward.
func (s *sweep) appendDry(out []Dry, a, b float64) []Dry {
	clear(s.inside)
	bounding := len(s.inside) - 1
	open, mid := 0, a+(b-a)/2
	var below *curve // lower side of a dry stretch
	for _, r := range s.active {
		c := &s.curves[r.curve]
		open += s.pass(c)
		if below != nil {
			if area := c.integral(a, b) - below.integral(a, b); area > 0 {
				at := geom.Vec{X: mid, Y: (below.at(mid) + c.at(mid)) / 2}
				out = append(out, Dry{At: at.Round(), AreaMM2: area})
			}
		}
		if below = nil; open == 0 && s.inside[bounding] {
			below = c
		}
	}
	return out
}
