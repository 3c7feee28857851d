package sight

import (
	"cmp"
	"math"
	"slices"

	"lotwright/layout/geom"
)

// NewFieldAcross prepares the lawn p for heads whose throw may cross paving, up
// to acrossMM millimetres of it in all on the way from head to point. The
// passable region is the lawn together with that paving; whatever bounds it
// blocks the throw.
//
// What such a head reaches is the part of the lawn within a star about it:
// along every ray the star ends with the last stretch of lawn before which no
// more paving lies than is allowed. Here floats decide; they are good to a
// micrometre.
func NewFieldAcross(p, passable geom.Region, acrossMM int64) *Field {
	f := NewField(p)
	if acrossMM > 0 {
		f.passable, f.acrossMM = slices.Collect(passable.Edges()), float64(acrossMM)
	}
	return f
}

// sameMM is the distance, in millimetres, within which an edge of the lawn and
// one of the passable region are taken to be the same: noding may have moved
// one of them by a millimetre.
const sameMM = 3

// angularSamples is how finely a wedge is searched for the directions in which
// the allowance of paving is used up.
const angularSamples = 16

// across fills in the wedges of a reach that may cross paving.
func (f *Field) across(r *Reach) {
	within := func(edges []geom.Segment) []geom.Segment {
		return slices.DeleteFunc(slices.Clone(edges), func(s geom.Segment) bool { return !s.WithinOf(r.Head, r.ThrowMM) })
	}
	lawn, stops := f.withinIndices(r), within(f.passable)
	var dirs []wedge
	for _, i := range lawn {
		dirs = append(dirs, wedge{f.edges[i].A.Sub(r.Head), noEdge}, wedge{f.edges[i].B.Sub(r.Head), noEdge})
	}
	for _, s := range stops {
		dirs = append(dirs, wedge{s.A.Sub(r.Head), noEdge}, wedge{s.B.Sub(r.Head), noEdge})
	}
	dirs = distinct(dirs)
	for i, w := range dirs {
		next := dirs[(i+1)%len(dirs)].dir
		r.wedges = append(r.wedges, f.splitWedge(r, w.dir, next, lawn, stops)...)
	}
	slices.SortFunc(r.wedges, func(v, w wedge) int { return compareDirections(v.dir, w.dir) })
}

func (f *Field) withinIndices(r *Reach) []int32 {
	var out []int32
	for i, s := range f.edges {
		if s.WithinOf(r.Head, r.ThrowMM) {
			out = append(out, int32(i))
		}
	}
	return out
}

// splitWedge cuts the directions from u to v, between which no vertex lies,
// wherever the edge that ends the reach changes, and returns the parts.
func (f *Field) splitWedge(r *Reach, u, v geom.Point, lawn []int32, stops []geom.Segment) []wedge {
	angle := turn(u.Vec(), v.Vec())
	end := func(t float64) int32 { return f.lastEdge(r, rotated(u, angle*t), lawn, stops) }
	out := []wedge{{u, end(0.5 / angularSamples)}}
	for k := 1; k < angularSamples; k++ {
		lo, hi := (float64(k)-0.5)/angularSamples, (float64(k)+0.5)/angularSamples
		before := out[len(out)-1].edge
		after := end(hi)
		if before == after {
			continue
		}
		for range 30 {
			if mid := (lo + hi) / 2; end(mid) == before {
				lo = mid
			} else {
				hi = mid
			}
		}
		out = append(out, wedge{rotated(u, angle*hi).Round(), after})
	}
	return out
}

// directionLength makes rounded directions exact to a millionth of a radian.
const directionLength = 1 << 20

func rotated(u geom.Point, angle float64) geom.Vec {
	sin, cos := math.Sincos(angle)
	d := u.Vec().Scale(directionLength / u.Vec().Norm())
	return geom.Vec{X: d.X*cos - d.Y*sin, Y: d.X*sin + d.Y*cos}
}

// lastEdge returns the lawn edge at which the reach ends in direction d, or
// noEdge if it goes on to the throw. The ray leaves the lawn at the first lawn
// edge, comes back at the second and so on, until something stops it.
func (f *Field) lastEdge(r *Reach, d geom.Vec, lawn []int32, stops []geom.Segment) int32 {
	h, throw := r.Head.Vec(), float64(r.ThrowMM)
	stop := throw
	for _, s := range stops {
		if t, ok := hit(h, d, s); ok && geom.Orient(s.A, s.B, r.Head) > 0 {
			stop = math.Min(stop, t)
		}
	}
	type crossing struct {
		at   float64
		edge int32
	}
	var met []crossing
	for _, i := range lawn {
		if t, ok := hit(h, d, f.edges[i]); ok && t < throw {
			met = append(met, crossing{t, i})
		}
	}
	slices.SortFunc(met, func(a, b crossing) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.edge, b.edge)) })
	paving := 0.0
	for k := 0; k < len(met); k += 2 {
		if k+1 >= len(met) || met[k].at > stop-sameMM || met[k+1].at > stop-sameMM {
			return met[k].edge
		}
		if paving += met[k+1].at - met[k].at; paving > f.acrossMM {
			return met[k].edge
		}
	}
	return noEdge
}

// hit returns the distance at which the ray from h in direction d meets s.
func hit(h, d geom.Vec, s geom.Segment) (float64, bool) {
	a, b := s.A.Vec().Sub(h), s.B.Vec().Sub(h)
	ca, cb := d.Cross(a), d.Cross(b)
	if (ca > 0) == (cb > 0) {
		return 0, false
	}
	t := a.Add(b.Sub(a).Scale(ca/(ca-cb))).Dot(d) / d.Norm()
	return t, t > 0
}
