package certify

import (
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
}

// facing is a blocker turned so that the whole box lies strictly on its left.
type view struct {
	*viewer
	box     geom.Bounds
	corners [4]geom.Point
	facing  []geom.Segment
}

// from prepares the view from a box: the blockers in range that have the whole
// box strictly on one side.
func (v *viewer) from(b box) *view {
	w := &view{viewer: v, box: b.bounds(), corners: corners(b.bounds())}
	around := w.box.Pad(v.throwMM)
	for _, s := range v.blockers {
		if !s.Bounds().Overlaps(around) {
			continue
		}
		if w.onLeft(s) {
			w.facing = append(w.facing, s)
		} else if t := (geom.Segment{A: s.B, B: s.A}); w.onLeft(t) {
			w.facing = append(w.facing, t)
		}
	}
	return w
}

func (w *view) onLeft(s geom.Segment) bool {
	for _, c := range w.corners {
		if geom.Orient(s.A, s.B, c) <= 0 {
			return false
		}
	}
	return true
}

// hidden reports whether some one blocker among those given hides all of the
// target from all of the box: from every corner of the box every corner of the
// target lies strictly behind it and strictly between its ends.
func (w *view) hidden(target geom.Bounds, among []geom.Segment) bool {
	ts := corners(target)
	for _, s := range among {
		if w.hides(s, ts) {
			return true
		}
	}
	return false
}

func (w *view) hides(s geom.Segment, target [4]geom.Point) bool {
	for _, p := range target {
		if geom.Orient(s.A, s.B, p) >= 0 {
			return false
		}
		for _, g := range w.corners {
			if geom.Orient(g, s.A, p) <= 0 || geom.Orient(g, s.B, p) >= 0 {
				return false
			}
		}
	}
	return true
}

// shading returns the blockers that hide at least a corner of the target from
// at least a corner of the box; only they can hide any atom in it.
func (w *view) shading(target geom.Bounds) []geom.Segment {
	var out []geom.Segment
	ts := corners(target)
	for _, s := range w.facing {
		if w.shades(s, ts) {
			out = append(out, s)
		}
	}
	return out
}

func (w *view) shades(s geom.Segment, target [4]geom.Point) bool {
	for _, p := range target {
		if geom.Orient(s.A, s.B, p) >= 0 {
			continue
		}
		for _, g := range w.corners {
			if geom.Orient(g, s.A, p) > 0 && geom.Orient(g, s.B, p) < 0 {
				return true
			}
		}
	}
	return false
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
	if len(shading) > 0 && w.hidden(b, shading) {
		return 0
	}
	sum := int64(0)
	for k, area := range c.atoms {
		if area == 0 {
			continue
		}
		a := c.atom(k)
		if (inRange || least2(w.box, a) <= reach2) && !w.hidden(a, shading) {
			sum += area
		}
	}
	return sum
}

// near calls f with every cell within throw of the box.
func (w *view) near(f func(i int32)) {
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
