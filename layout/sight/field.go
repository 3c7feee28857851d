// Package sight works out what a head reaches: the points of the irrigated
// region within its throw that it can see without leaving the region.
//
// The region's own edges are what blocks a view, so buildings and walls shade
// the lawn behind them and paving ends the throw (contract 4.4). Which edge is
// met first in which direction is decided in integers; the circle's range test
// too. Floats are used for areas and outlines only.
package sight

import (
	"cmp"
	"slices"

	"lotwright/layout/geom"
)

// Field is an irrigated region prepared for many views. It is read-only and
// safe for concurrent use.
type Field struct {
	region geom.Region
	edges  []geom.Segment

	// See NewFieldAcross.
	passable []geom.Segment
	acrossMM float64
}

// NewField prepares the region p.
func NewField(p geom.Region) *Field {
	return &Field{region: p, edges: slices.Collect(p.Edges())}
}

// Region returns the region the field was made from.
func (f *Field) Region() geom.Region { return f.region }

// noEdge marks a wedge in which nothing is met within the throw.
const noEdge = -1

// wedge is the set of directions from dir up to, not including, the next
// wedge's; the same edge is met first in all of them.
type wedge struct {
	dir  geom.Point // from the head to the vertex where the wedge begins
	edge int32      // index of the first edge met, or noEdge
}

// Reach is the set of points a head wets: star-shaped about the head, limited
// by the throw, less the disc nearer than the least throw. Unless throws may
// cross paving it lies in the region.
type Reach struct {
	field    *Field
	Head     geom.Point
	ThrowMM  int64
	LeastMM  int64
	wedges   []wedge // by direction, counter-clockwise from east; empty: nothing is met
	outsider bool    // the head does not stand inside the region
}

// From returns what a head at h reaches with the given throw and least throw
// in millimetres. A head that does not stand in the interior of the region
// reaches nothing.
//
// Seen from inside, the edge met first always has the head on its left, so
// only such edges matter. Each spans less than half a turn; over every wedge
// between two neighbouring vertex directions the nearest edge wins.
func (f *Field) From(h geom.Point, throwMM, leastMM int64) Reach {
	r := Reach{field: f, Head: h, ThrowMM: throwMM, LeastMM: leastMM}
	if f.region.Locate(h) != geom.Interior {
		r.outsider = true
		return r
	}
	if f.acrossMM > 0 {
		f.across(&r)
		return r
	}
	facing := f.facing(h, throwMM)
	r.wedges = directions(facing, f.edges, h)
	for _, e := range facing {
		first, last := r.wedgeAt(f.edges[e].A.Sub(h)), r.wedgeAt(f.edges[e].B.Sub(h))
		for w := first; w != last; w = (w + 1) % len(r.wedges) {
			if at := &r.wedges[w].edge; *at == noEdge || f.nearer(e, *at) {
				*at = e
			}
		}
	}
	return r
}

// facing returns the edges within range that have h strictly on their left.
func (f *Field) facing(h geom.Point, throwMM int64) []int32 {
	around := geom.Bounds{Min: h, Max: h}.Pad(throwMM)
	var out []int32
	for i, s := range f.edges {
		if s.Bounds().Overlaps(around) && geom.Orient(s.A, s.B, h) > 0 && s.WithinOf(h, throwMM) {
			out = append(out, int32(i))
		}
	}
	return out
}

// directions returns one empty wedge for every distinct direction from h to an
// end of the given edges, in order.
func directions(facing []int32, edges []geom.Segment, h geom.Point) []wedge {
	out := make([]wedge, 0, 2*len(facing))
	for _, e := range facing {
		out = append(out, wedge{edges[e].A.Sub(h), noEdge}, wedge{edges[e].B.Sub(h), noEdge})
	}
	return distinct(out)
}

// distinct sorts wedges by direction and keeps one of each.
func distinct(ws []wedge) []wedge {
	slices.SortFunc(ws, func(v, w wedge) int { return compareDirections(v.dir, w.dir) })
	return slices.CompactFunc(ws, func(v, w wedge) bool { return compareDirections(v.dir, w.dir) == 0 })
}

// compareDirections orders vectors by their angle from east, counter-clockwise,
// whatever their lengths.
func compareDirections(u, v geom.Point) int {
	if c := cmp.Compare(half(u), half(v)); c != 0 {
		return c
	}
	return cmp.Compare(0, u.Cross(v))
}

// half is 0 for angles in [0°, 180°) and 1 for the rest.
func half(v geom.Point) int {
	if v.Y > 0 || v.Y == 0 && v.X > 0 {
		return 0
	}
	return 1
}

// wedgeAt returns the index of the wedge that holds direction v.
func (r *Reach) wedgeAt(v geom.Point) int {
	lo, hi := 0, len(r.wedges) // the first wedge that begins after v is in [lo, hi]
	for lo < hi {
		if mid := (lo + hi) / 2; compareDirections(r.wedges[mid].dir, v) <= 0 {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return (lo + len(r.wedges) - 1) % len(r.wedges)
}

// wedgeBeside is wedgeAt for a direction near the wedge w.
func (r *Reach) wedgeBeside(w int, v geom.Point) int {
	n := len(r.wedges)
	for _, i := range [...]int{w, (w + 1) % n, (w + n - 1) % n} {
		if r.within(i, v) {
			return i
		}
	}
	return r.wedgeAt(v)
}

// within reports whether direction v lies in wedge i.
func (r *Reach) within(i int, v geom.Point) bool {
	from, to := r.wedges[i].dir, r.wedges[(i+1)%len(r.wedges)].dir
	if from.Cross(to) > 0 { // less than half a turn
		return from.Cross(v) >= 0 && v.Cross(to) > 0
	}
	return r.wedgeAt(v) == i
}

// nearer reports whether edge e is met before edge o in directions both span.
// Edges of a region do not cross, so one of the two lies wholly on one side of
// the other's line; the head is on the left of both.
func (f *Field) nearer(e, o int32) bool {
	s, t := f.edges[e], f.edges[o]
	sa, sb := geom.Orient(t.A, t.B, s.A), geom.Orient(t.A, t.B, s.B)
	switch {
	case sa >= 0 && sb >= 0:
		return true
	case sa <= 0 && sb <= 0:
		return false
	}
	return geom.Orient(s.A, s.B, t.A) <= 0 && geom.Orient(s.A, s.B, t.B) <= 0
}

// Sees reports, exactly, whether the head wets p, a point of the region. Edges
// count as seen, and so does what is seen past a single point where two
// obstacles touch.
func (r *Reach) Sees(p geom.Point) bool {
	if !r.inRange(p) {
		return false
	}
	v := p.Sub(r.Head)
	return len(r.wedges) == 0 || v == (geom.Point{}) || r.seesIn(r.wedgeAt(v), p)
}

// SeesEach calls f for the index of every one of the given points that the
// head wets, as Sees decides. Points in the order of a grid are quickest: the
// next is mostly seen in the same direction or beside it.
func (r *Reach) SeesEach(points []geom.Point, f func(i int)) {
	var o outlook
	for i, p := range points {
		if !r.inRange(p) {
			continue
		}
		if v := p.Sub(r.Head); len(r.wedges) > 0 && v != (geom.Point{}) {
			within := o.strictlyHolds(v)
			if !within {
				o = r.outlookAt(r.wedgeBeside(o.wedge, v))
			}
			if !o.clear(p) && (within || !r.seesIn(o.wedge, p)) {
				continue
			}
		}
		f(i)
	}
}

// outlook is what matters of a wedge for points near one another.
type outlook struct {
	wedge    int
	from, to geom.Point   // where it begins and ends; nothing if it is half a turn or more
	edge     geom.Segment // met first; of no length if none is
}

func (r *Reach) outlookAt(w int) outlook {
	o := outlook{wedge: w, from: r.wedges[w].dir, to: r.wedges[(w+1)%len(r.wedges)].dir}
	if o.from.Cross(o.to) <= 0 {
		o.from, o.to = geom.Point{}, geom.Point{}
	}
	if e := r.wedges[w].edge; e != noEdge {
		o.edge = r.field.edges[e]
	}
	return o
}

// strictlyHolds reports whether v lies between the two ends of a wedge of less
// than half a turn.
func (o *outlook) strictlyHolds(v geom.Point) bool { return o.from.Cross(v) > 0 && v.Cross(o.to) > 0 }

// clear reports whether p, in a direction of the wedge, lies before or on the
// edge met there.
func (o *outlook) clear(p geom.Point) bool { return geom.Orient(o.edge.A, o.edge.B, p) >= 0 }

// inRange reports whether p is neither too far from the head nor too near.
func (r *Reach) inRange(p geom.Point) bool {
	d2 := p.Sub(r.Head).Norm2()
	return !r.outsider && d2 <= r.ThrowMM*r.ThrowMM && d2 >= r.LeastMM*r.LeastMM
}

// seesIn reports whether nothing hides p, in a direction of wedge w.
func (r *Reach) seesIn(w int, p geom.Point) bool {
	if r.clear(w, p) {
		return true
	}
	onBorder := compareDirections(r.wedges[w].dir, p.Sub(r.Head)) == 0
	return onBorder && r.clear((w+len(r.wedges)-1)%len(r.wedges), p)
}

// clear reports whether p, in a direction of wedge w, lies before or on the
// edge met there.
func (r *Reach) clear(w int, p geom.Point) bool {
	e := r.wedges[w].edge
	if e == noEdge {
		return true
	}
	s := r.field.edges[e]
	return geom.Orient(s.A, s.B, p) >= 0
}
