package certify

import (
	"math/bits"

	"lotwright/layout/geom"
)

// Box is a square of ground: centre and half side, in whole millimetres.
type box struct {
	center geom.Point
	half   int64
}

func (b box) bounds() geom.Bounds { return geom.Bounds{Min: b.center, Max: b.center}.Pad(b.half) }

// quarters returns the four boxes b is cut into.
func (b box) quarters() [4]box {
	h := b.half / 2
	return [4]box{
		{geom.Pt(b.center.X-h, b.center.Y-h), h}, {geom.Pt(b.center.X-h, b.center.Y+h), h},
		{geom.Pt(b.center.X+h, b.center.Y-h), h}, {geom.Pt(b.center.X+h, b.center.Y+h), h},
	}
}

// least2 and most2 return the squares of the least and the largest distance
// between points of a and b.
func least2(a, b geom.Bounds) int64 {
	dx := max(0, a.Min.X-b.Max.X, b.Min.X-a.Max.X)
	dy := max(0, a.Min.Y-b.Max.Y, b.Min.Y-a.Max.Y)
	return dx*dx + dy*dy
}

func most2(a, b geom.Bounds) int64 {
	dx := max(a.Max.X-b.Min.X, b.Max.X-a.Min.X)
	dy := max(a.Max.Y-b.Min.Y, b.Max.Y-a.Min.Y)
	return dx*dx + dy*dy
}

// viewer tells what the heads of a box could wet.
type viewer struct {
	grid     *grid
	throwMM  int64
	blockers []geom.Segment

	view  view // the last, whose memory the next one takes over
	at    []int32
	value []float64
}

// halfPlane is the set of points with nx·x + ny·y > c.
type halfPlane struct{ nx, ny, c int64 }

// leftOf returns the points strictly to the left of the line from p to q.
func leftOf(p, q geom.Point) halfPlane {
	d := q.Sub(p)
	return halfPlane{nx: -d.Y, ny: d.X, c: d.X*p.Y - d.Y*p.X}
}

// holds reports whether all of b lies in h.
func (h halfPlane) holds(b geom.Bounds) bool {
	x, y := b.Min.X, b.Min.Y
	if h.nx < 0 {
		x = b.Max.X
	}
	if h.ny < 0 {
		y = b.Max.Y
	}
	return h.nx*x+h.ny*y > h.c
}

// borders reports whether both ends of s lie in h or on its edge.
func (h halfPlane) borders(s geom.Segment) bool {
	return h.nx*s.A.X+h.ny*s.A.Y >= h.c && h.nx*s.B.X+h.ny*s.B.Y >= h.c
}

// meets reports whether some of b lies in h.
func (h halfPlane) meets(b geom.Bounds) bool {
	x, y := b.Max.X, b.Max.Y
	if h.nx < 0 {
		x = b.Min.X
	}
	if h.ny < 0 {
		y = b.Min.Y
	}
	return h.nx*x+h.ny*y > h.c
}

// shadow is what one blocker hides from all of a box: the intersection of three
// half planes, behind the blocker and inside the lines from the box past its two
// ends.
type shadow [3]halfPlane

func (s *shadow) hides(b geom.Bounds) bool {
	return s[0].holds(b) && s[1].holds(b) && s[2].holds(b)
}

func (s *shadow) touches(b geom.Bounds) bool {
	return s[0].meets(b) && s[1].meets(b) && s[2].meets(b)
}

// view is what the heads of one box could wet. It holds until the next is made.
type view struct {
	*viewer
	box     geom.Bounds
	corners [4]geom.Point
	near    []geom.Segment // blockers in range
	shadows []shadow
}

// from prepares the view from a box, given the blockers in range of a box
// around it, or all of them. A blocker casts a shadow when the whole box lies
// strictly on one side of it.
func (v *viewer) from(b box, blockers []geom.Segment) *view {
	w := &v.view
	*w = view{viewer: v, box: b.bounds(), corners: corners(b.bounds()), near: w.near[:0], shadows: w.shadows[:0]}
	around := w.box.Pad(v.throwMM)
	for _, s := range blockers {
		if !s.Bounds().Overlaps(around) {
			continue
		}
		if w.shaded(s) {
			continue
		}
		w.near = append(w.near, s)
		if w.onLeft(s) {
			w.shadows = append(w.shadows, w.cast(s))
		} else if t := (geom.Segment{A: s.B, B: s.A}); w.onLeft(t) {
			w.shadows = append(w.shadows, w.cast(t))
		}
	}
	return w
}

// shaded reports whether one of the shadows cast so far holds all of s. Then s
// hides nothing that the blocker casting it does not hide, from this box and
// from any within it.
func (w *view) shaded(s geom.Segment) bool {
	for i := range w.shadows {
		u := &w.shadows[i]
		if u[0].borders(s) && u[1].borders(s) && u[2].borders(s) {
			return true
		}
	}
	return false
}

func (w *view) onLeft(s geom.Segment) bool {
	side := leftOf(s.A, s.B)
	return side.holds(w.box)
}

// cast returns the shadow of s, which has the box on its left. Seen from
// behind, the lines from the box's points past an end of s fan out; for points
// behind s the innermost line bounds what is hidden, and it starts at a corner.
func (w *view) cast(s geom.Segment) shadow {
	a, b := w.corners[0], w.corners[0]
	for _, g := range w.corners[1:] {
		if s.A.Sub(a).Cross(s.A.Sub(g)) > 0 {
			a = g
		}
		if s.B.Sub(b).Cross(s.B.Sub(g)) < 0 {
			b = g
		}
	}
	return shadow{leftOf(s.B, s.A), leftOf(a, s.A), leftOf(s.B, b)}
}

// wettable returns the mm² of lawn in cell i that heads of the box could wet.
func (w *view) wettable(i int32) int64 {
	c := &w.grid.cells[i]
	b, reach2 := w.grid.bounds(c.min), w.throwMM*w.throwMM
	if least2(w.box, b) > reach2 {
		return 0
	}
	wet := c.lawn
	if w.grid.atomsPerSide() > 1 && most2(w.box, b) > reach2 {
		wet &= w.within(c.min)
	}
	for k := range w.shadows {
		if wet == 0 {
			return 0
		}
		s := &w.shadows[k]
		if !s.touches(b) {
			continue
		}
		if s.hides(b) {
			w.shadows[0], w.shadows[k] = *s, w.shadows[0] // likely to hide the next cell too
			return 0
		}
		if w.grid.atomsPerSide() > 1 {
			wet &^= s.hidden(c.min, w.grid.atomMM)
		}
	}
	return c.areaOf(wet, w.grid.atomMM)
}

// areaOf returns the mm² of lawn in some of a cell's atoms.
func (c *cell) areaOf(atoms uint64, atomMM int64) int64 {
	switch {
	case atoms == c.lawn:
		return c.area
	case c.atoms == nil:
		return int64(bits.OnesCount64(atoms)) * atomMM * atomMM
	}
	sum := int64(0)
	for rest := atoms; rest != 0; rest &= rest - 1 {
		sum += c.atoms[bits.TrailingZeros64(rest)]
	}
	return sum
}

// atomsAlong is the number of atoms along the side of a cell that has several.
const atomsAlong = 8

// within marks the atoms of the cell at min that are within throw of the box.
func (w *view) within(min geom.Point) (mask uint64) {
	reach2, side := w.throwMM*w.throwMM, w.grid.atomMM
	var up [atomsAlong]int64 // squares of the gaps between rows and box
	for j := range up {
		y := min.Y + int64(j)*side
		gap := max(0, y-w.box.Max.Y, w.box.Min.Y-y-side)
		up[j] = gap * gap
	}
	for i := range atomsAlong {
		x := min.X + int64(i)*side
		gap := max(0, x-w.box.Max.X, w.box.Min.X-x-side)
		for j, u := range up {
			mask |= uint64(^(reach2 - gap*gap - u)) >> 63 << (i*atomsAlong + j) // unless negative
		}
	}
	return mask
}

// hidden marks the atoms of the cell at a corner that the shadow covers. A half plane
// holds an atom when it holds the corner that lies least far in it. Half planes
// that hold the whole cell, as most do, are passed over.
func (s *shadow) hidden(corner geom.Point, side int64) uint64 {
	mask := ^uint64(0)
	for _, h := range s {
		x, y := corner.X, corner.Y
		if h.nx < 0 {
			x += side
		}
		if h.ny < 0 {
			y += side
		}
		v, dx, dy := h.nx*x+h.ny*y-h.c-1, h.nx*side, h.ny*side // covered: not negative
		if v+(atomsAlong-1)*(min(dx, 0)+min(dy, 0)) >= 0 {
			continue
		}
		mask &= held(v, dx, dy)
	}
	return mask
}

// held marks where v grows from atom to atom, by dx across columns and by dy
// along them, to no less than nothing.
func held(v, dx, dy int64) (mask uint64) {
	for i := 0; i < atomsAlong*atomsAlong; i += atomsAlong {
		a := v
		column := uint64(^a) >> 63
		a += dy
		column |= uint64(^a) >> 63 << 1
		a += dy
		column |= uint64(^a) >> 63 << 2
		a += dy
		column |= uint64(^a) >> 63 << 3
		a += dy
		column |= uint64(^a) >> 63 << 4
		a += dy
		column |= uint64(^a) >> 63 << 5
		a += dy
		column |= uint64(^a) >> 63 << 6
		a += dy
		column |= uint64(^a) >> 63 << 7
		mask |= column << i
		v += dx
	}
	return mask
}
