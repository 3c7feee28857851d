package drawing

// box is an upright rectangle on the page.
type box struct{ left, top, right, bottom float64 }

func (b box) width() float64  { return b.right - b.left }
func (b box) height() float64 { return b.bottom - b.top }
func (b box) centre() vec     { return vec{(b.left + b.right) / 2, (b.top + b.bottom) / 2} }

// inset returns b made smaller by d on every side.
func (b box) inset(d float64) box { return box{b.left + d, b.top + d, b.right - d, b.bottom - d} }

func (b box) has(v vec) bool {
	return b.left <= v.x && v.x <= b.right && b.top <= v.y && v.y <= b.bottom
}

// meets reports whether b and c have a point in common.
func (b box) meets(c box) bool {
	return b.left <= c.right && c.left <= b.right && b.top <= c.bottom && c.top <= b.bottom
}

// span returns the box of which a and b are opposite corners.
func span(a, b vec) box {
	return box{min(a.x, b.x), min(a.y, b.y), max(a.x, b.x), max(a.y, b.y)}
}

func (b box) corners() quad {
	return quad{{b.left, b.top}, {b.right, b.top}, {b.right, b.bottom}, {b.left, b.bottom}}
}

// around returns the box of a given size about its centre.
func around(c vec, width, height float64) box {
	return box{c.x - width/2, c.y - height/2, c.x + width/2, c.y + height/2}
}

// quad is a rectangle in any position, its corners in order.
type quad [4]vec

// turned returns q turned about a place.
func (q quad) turned(about vec, deg float64) quad {
	for i, v := range q {
		q[i] = about.add(v.sub(about).turned(deg))
	}
	return q
}

// bounds returns the upright box around q.
func (q quad) bounds() box {
	return box{min(q[0].x, q[1].x, q[2].x, q[3].x), min(q[0].y, q[1].y, q[2].y, q[3].y),
		max(q[0].x, q[1].x, q[2].x, q[3].x), max(q[0].y, q[1].y, q[2].y, q[3].y)}
}

// within reports whether all of q lies in b.
func (q quad) within(b box) bool {
	return b.has(q[0]) && b.has(q[1]) && b.has(q[2]) && b.has(q[3])
}

// overlaps reports whether q and r have area in common: no side of either
// separates them.
func (q quad) overlaps(r quad) bool {
	return !q.separates(r) && !r.separates(q)
}

// touching is the overlap, in page units, that is still taken as touching.
const touching = 1e-6

// separates reports whether some side of q has all of r beyond it.
func (q quad) separates(r quad) bool {
	c := q[0].add(q[2]).times(0.5)
	for i, a := range q {
		side := q[(i+1)%4].sub(a)
		if allBeyond(a, side, r[:], side.cross(c.sub(a)) < 0) {
			return true
		}
	}
	return false
}

// allBeyond reports whether all places lie on the far side of a line, the
// inner side being the right-hand one or not.
func allBeyond(a, side vec, places []vec, innerRight bool) bool {
	slack := touching * side.norm()
	for _, v := range places {
		d := side.cross(v.sub(a))
		if innerRight {
			d = -d
		}
		if d > slack {
			return false
		}
	}
	return true
}

// crossedBy reports whether the straight piece from a to b meets q.
func (q quad) crossedBy(a, b vec) bool {
	along := b.sub(a)
	if allBeyond(a, along, q[:], true) || allBeyond(a, along, q[:], false) {
		return false
	}
	return !q.separates(quad{a, b, b, a})
}
