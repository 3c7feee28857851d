package paper

// Box is an upright rectangle on the page.
type Box struct{ Left, Top, Right, Bottom float64 }

// Width returns the length of the level sides.
func (b Box) Width() float64 { return b.Right - b.Left }

// Height returns the length of the upright sides.
func (b Box) Height() float64 { return b.Bottom - b.Top }

// Centre returns the middle.
func (b Box) Centre() Vec { return Vec{(b.Left + b.Right) / 2, (b.Top + b.Bottom) / 2} }

// Inset returns b made smaller by d on every side.
func (b Box) Inset(d float64) Box { return Box{b.Left + d, b.Top + d, b.Right - d, b.Bottom - d} }

// Has reports whether a place lies in b, edges included.
func (b Box) Has(v Vec) bool {
	return b.Left <= v.X && v.X <= b.Right && b.Top <= v.Y && v.Y <= b.Bottom
}

// Meets reports whether b and c have a point in common.
func (b Box) Meets(c Box) bool {
	return b.Left <= c.Right && c.Left <= b.Right && b.Top <= c.Bottom && c.Top <= b.Bottom
}

// Span returns the box of which a and b are opposite corners.
func Span(a, b Vec) Box {
	return Box{min(a.X, b.X), min(a.Y, b.Y), max(a.X, b.X), max(a.Y, b.Y)}
}

// Corners returns b as a Quad.
func (b Box) Corners() Quad {
	return Quad{{b.Left, b.Top}, {b.Right, b.Top}, {b.Right, b.Bottom}, {b.Left, b.Bottom}}
}

// Around returns the box of a given size about its centre.
func Around(c Vec, width, height float64) Box {
	return Box{c.X - width/2, c.Y - height/2, c.X + width/2, c.Y + height/2}
}

// Quad is a rectangle in any position, its corners in order.
type Quad [4]Vec

// Turned returns q turned about a place.
func (q Quad) Turned(about Vec, deg float64) Quad {
	for i, v := range q {
		q[i] = about.Add(v.Sub(about).Turned(deg))
	}
	return q
}

// Bounds returns the upright box around q.
func (q Quad) Bounds() Box {
	return Box{min(q[0].X, q[1].X, q[2].X, q[3].X), min(q[0].Y, q[1].Y, q[2].Y, q[3].Y),
		max(q[0].X, q[1].X, q[2].X, q[3].X), max(q[0].Y, q[1].Y, q[2].Y, q[3].Y)}
}

// Within reports whether all of q lies in b.
func (q Quad) Within(b Box) bool {
	return b.Has(q[0]) && b.Has(q[1]) && b.Has(q[2]) && b.Has(q[3])
}

// Overlaps reports whether q and r have area in common: no side of either
// separates them.
func (q Quad) Overlaps(r Quad) bool {
	return !q.separates(r) && !r.separates(q)
}

// touching is the overlap, in page units, that is still taken as touching.
const touching = 1e-6

// separates reports whether some side of q has all of r beyond it.
func (q Quad) separates(r Quad) bool {
	c := q[0].Add(q[2]).Times(0.5)
	for i, a := range q {
		side := q[(i+1)%4].Sub(a)
		if allBeyond(a, side, r[:], side.Cross(c.Sub(a)) < 0) {
			return true
		}
	}
	return false
}

// allBeyond reports whether all places lie on the far side of a line, the
// inner side being the right-hand one or not.
func allBeyond(a, side Vec, places []Vec, innerRight bool) bool {
	slack := touching * side.Norm()
	for _, v := range places {
		d := side.Cross(v.Sub(a))
		if innerRight {
			d = -d
		}
		if d > slack {
			return false
		}
	}
	return true
}

// CrossedBy reports whether the straight piece from a to b meets q.
func (q Quad) CrossedBy(a, b Vec) bool {
	along := b.Sub(a)
	if allBeyond(a, along, q[:], true) || allBeyond(a, along, q[:], false) {
		return false
	}
	return !q.separates(Quad{a, b, b, a})
}

// List returns the corners in order.
func (q Quad) List() []Vec { return q[:] }
