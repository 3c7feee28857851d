package certify

import "lotwright/layout/geom"

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
	scratch  []*shadow
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

// shadow is what one blocker hides from a box: umbra from all of it, penumbra
// from some of it. Each is the intersection of three half planes: behind the
// blocker, and inside the lines from the box past its two ends.
type shadow struct{ umbra, penumbra [3]halfPlane }

func (s *shadow) hides(b geom.Bounds) bool {
	return s.umbra[0].holds(b) && s.umbra[1].holds(b) && s.umbra[2].holds(b)
}

func (s *shadow) touches(b geom.Bounds) bool {
	return s.penumbra[0].meets(b) && s.penumbra[1].meets(b) && s.penumbra[2].meets(b)
}

// view is what the heads of one box could wet.
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
	w := &view{viewer: v, box: b.bounds(), corners: corners(b.bounds())}
	around := w.box.Pad(v.throwMM)
	for _, s := range blockers {
		if !s.Bounds().Overlaps(around) {
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

func (w *view) onLeft(s geom.Segment) bool {
	side := leftOf(s.A, s.B)
	return side.holds(w.box)
}

// cast returns the shadow of s, which has the box on its left. Seen from
// behind, the lines from the box's points past an end of s fan out; for points
// behind s the innermost line bounds the umbra and the outermost the penumbra,
// and both start at corners.
func (w *view) cast(s geom.Segment) shadow {
	inA, outA := w.extremes(s.A)
	outB, inB := w.extremes(s.B)
	behind := leftOf(s.B, s.A)
	return shadow{
		umbra:    [3]halfPlane{behind, leftOf(inA, s.A), leftOf(s.B, inB)},
		penumbra: [3]halfPlane{behind, leftOf(outA, s.A), leftOf(s.B, outB)},
	}
}

// extremes returns the corners of the box from which the direction to p is the
// farthest counter-clockwise and the farthest clockwise.
func (w *view) extremes(p geom.Point) (ccw, cw geom.Point) {
	ccw, cw = w.corners[0], w.corners[0]
	for _, g := range w.corners[1:] {
		if p.Sub(ccw).Cross(p.Sub(g)) > 0 {
			ccw = g
		}
		if p.Sub(cw).Cross(p.Sub(g)) < 0 {
			cw = g
		}
	}
	return ccw, cw
}

// hidden reports whether one of the shadows covers all of the target.
func hidden(target geom.Bounds, shadows []*shadow) bool {
	for _, s := range shadows {
		if s.hides(target) {
			return true
		}
	}
	return false
}

// shading returns the shadows that fall on the target at least in part; only
// they can hide any atom in it.
func (w *view) shading(target geom.Bounds) []*shadow {
	w.scratch = w.scratch[:0]
	for i := range w.shadows {
		if s := &w.shadows[i]; s.touches(target) {
			w.scratch = append(w.scratch, s)
		}
	}
	return w.scratch
}

// wettable returns the mm² of lawn in cell i that heads of the box could wet.
func (w *view) wettable(i int32) int64 {
	c := &w.grid.cells[i]
	b, reach2 := c.bounds(), w.throwMM*w.throwMM
	if least2(w.box, b) > reach2 {
		return 0
	}
	shading := w.shading(b)
	inRange := most2(w.box, b) <= reach2
	if len(shading) == 0 && inRange {
		return c.area
	}
	if len(shading) > 0 && hidden(b, shading) {
		return 0
	}
	sum := int64(0)
	for k, area := range c.atoms {
		if area == 0 {
			continue
		}
		a := c.atom(k)
		if (inRange || least2(w.box, a) <= reach2) && !hidden(a, shading) {
			sum += area
		}
	}
	return sum
}

// eachCell calls f with every cell within throw of the box.
func (w *view) eachCell(f func(i int32)) {
	g := w.grid
	lo, hi := w.box.Min.Sub(g.origin), w.box.Max.Sub(g.origin)
	for x := max(0, (lo.X-w.throwMM)/cellMM); x <= min(g.cols-1, (hi.X+w.throwMM)/cellMM); x++ {
		for y := max(0, (lo.Y-w.throwMM)/cellMM); y <= min(g.rows-1, (hi.Y+w.throwMM)/cellMM); y++ {
			if i := g.index[x*g.rows+y]; i >= 0 {
				f(i)
			}
		}
	}
}
