package sight

import (
	"math"
	"slices"

	"lotwright/layout/geom"
)

// piece is a stretch of the outline of a reach: straight from A to B, or an
// arc about the head, counter-clockwise when radius is positive.
type piece struct {
	A, B   geom.Vec
	center geom.Vec
	radius float64 // 0: straight
}

// outlines returns the closed outlines of the reach in order, the outer one
// first and the rim of the least throw, if any, second. The reach winds once
// round the inside of the outer one; the rim is a hole in it.
func (r *Reach) outlines() [][]piece {
	if r.outsider {
		return nil
	}
	var d drawing
	outer := r.outlineAt(&d, float64(r.ThrowMM))
	if r.LeastMM == 0 {
		return [][]piece{outer}
	}
	d.closed = nil
	return [][]piece{outer, r.outlineAt(&d, float64(r.LeastMM))}
}

// drawing is room to draw an outline in.
type drawing struct{ far, closed []piece }

// outlineAt draws the outline of what is seen within the given radius. It stays
// until the next is drawn in the same room.
func (r *Reach) outlineAt(d *drawing, radius float64) []piece {
	h := r.Head.Vec()
	if len(r.wedges) == 0 {
		circle := fullCircle(h, radius)
		d.closed = append(d.closed[:0], circle[:]...)
		return d.closed
	}
	d.far = slices.Grow(d.far[:0], 2*len(r.wedges)+8)
	for i := range r.wedges {
		d.far = r.appendWedge(d.far, i, radius)
	}
	d.closed = closeRadials(slices.Grow(d.closed[:0], len(d.far)+len(d.far)/2), d.far)
	return d.closed
}

// fullCircle returns the circle as four quarters.
func fullCircle(h geom.Vec, radius float64) (out [4]piece) {
	rim := [4]geom.Vec{{X: radius}, {Y: radius}, {X: -radius}, {Y: -radius}}
	for i := range rim {
		out[i] = piece{h.Add(rim[i]), h.Add(rim[(i+1)%4]), h, radius}
	}
	return out
}

// appendWedge appends the far side of wedge i: the edge met there, clipped to
// the circle, and the arcs beside it.
func (r *Reach) appendWedge(out []piece, i int, radius float64) []piece {
	h := r.Head.Vec()
	from, to := r.wedges[i].dir.Vec(), r.wedges[(i+1)%len(r.wedges)].dir.Vec()
	onRim := func(d geom.Vec) geom.Vec { return h.Add(d.Scale(radius / d.Norm())) }
	e := r.wedges[i].edge
	if e == noEdge {
		return appendArc(out, piece{onRim(from), onRim(to), h, radius}, turn(from, to))
	}
	s := r.field.edges[e]
	a, b := meetRay(h, from, s), meetRay(h, to, s)
	lo, hi, cut := chord(h, a, b, radius)
	if !cut {
		return appendArc(out, piece{onRim(from), onRim(to), h, radius}, turn(from, to))
	}
	enter, leave := lerp(a, b, lo), lerp(a, b, hi)
	if lo > 0 {
		out = appendArc(out, piece{onRim(from), enter, h, radius}, turn(from, enter.Sub(h)))
	}
	out = append(out, piece{A: enter, B: leave})
	if hi < 1 {
		out = appendArc(out, piece{leave, onRim(to), h, radius}, turn(leave.Sub(h), to))
	}
	return out
}

// turn returns the counter-clockwise angle from u to v in (0, 2π]; a wedge is
// never empty.
func turn(u, v geom.Vec) float64 {
	phi := math.Atan2(u.Cross(v), u.Dot(v))
	if phi <= 0 {
		phi += 2 * math.Pi
	}
	return phi
}

// appendArc appends an arc of the given angle, cut in two when it is half a
// turn or more, so that every arc is determined by its ends.
func appendArc(out []piece, p piece, angle float64) []piece {
	if angle < 3 { // rad; safely below π
		return append(out, p)
	}
	sin, cos := math.Sincos(angle / 2)
	d := p.A.Sub(p.center)
	mid := p.center.Add(geom.Vec{X: d.X*cos - d.Y*sin, Y: d.X*sin + d.Y*cos})
	out = appendArc(out, piece{p.A, mid, p.center, p.radius}, angle/2)
	return appendArc(out, piece{mid, p.B, p.center, p.radius}, angle/2)
}

// meetRay returns where the ray from h in direction d meets the line of s.
func meetRay(h, d geom.Vec, s geom.Segment) geom.Vec {
	a := s.A.Vec().Sub(h)
	e := s.B.Vec().Sub(s.A.Vec())
	t := a.Cross(e) / d.Cross(e)
	return h.Add(d.Scale(t))
}

// chord returns the part [lo, hi] of the segment a–b within the circle, as
// shares of its length, and whether there is any.
func chord(h, a, b geom.Vec, radius float64) (lo, hi float64, cut bool) {
	d, v := b.Sub(a), a.Sub(h)
	qa, qb, qc := d.Dot(d), v.Dot(d), v.Dot(v)-radius*radius
	disc := qb*qb - qa*qc
	if disc <= 0 || qa == 0 {
		return 0, 0, false
	}
	root := math.Sqrt(disc)
	lo, hi = math.Max(0, (-qb-root)/qa), math.Min(1, (-qb+root)/qa)
	return lo, hi, lo < hi
}

func lerp(a, b geom.Vec, t float64) geom.Vec { return a.Add(b.Sub(a).Scale(t)) }

// jointMM is the gap, in millimetres, below which two pieces are taken to meet.
const jointMM = 1e-6

// closeRadials appends the far sides of neighbouring wedges, joined by the
// straight piece along their common ray wherever they lie at different distances.
func closeRadials(out, far []piece) []piece {
	for i, p := range far {
		out = append(out, p)
		next := far[0].A
		if i+1 < len(far) {
			next = far[i+1].A
		}
		if p.B.Sub(next).Norm() > jointMM {
			out = append(out, piece{A: p.B, B: next})
		}
	}
	return out
}

// AreaM2 returns the area the head wets, in square metres.
func (r *Reach) AreaM2() float64 {
	sum := 0.0
	for i, outline := range r.outlines() {
		a := 0.0
		for _, p := range outline {
			a += p.area2(r.Head.Vec())
		}
		if i > 0 {
			a = -a
		}
		sum += a
	}
	return sum / (2 * geom.MillimetresPerMetre * geom.MillimetresPerMetre)
}

// area2 returns twice the signed area swept by p as seen from h.
func (p piece) area2(h geom.Vec) float64 {
	u, v := p.A.Sub(h), p.B.Sub(h)
	if p.radius == 0 {
		return u.Cross(v)
	}
	return p.radius * p.radius * math.Atan2(u.Cross(v), u.Dot(v))
}

// Outline returns the outer outline as a chain of points, arcs replaced by
// chords with a sagitta of at most the given millimetres. It is open: the last
// point is not the first one again. A head with a least throw is drawn without
// its dry middle.
func (r *Reach) Outline(sagittaMM float64) []geom.Vec {
	all := r.outlines()
	if len(all) == 0 {
		return nil
	}
	var out []geom.Vec
	for _, p := range all[0] {
		out = append(out, p.A)
		out = p.appendChords(out, sagittaMM)
	}
	return out
}

// appendChords appends the inner points of the chords that replace p, if p is
// an arc.
func (p piece) appendChords(out []geom.Vec, sagittaMM float64) []geom.Vec {
	if p.radius == 0 {
		return out
	}
	u, v := p.A.Sub(p.center), p.B.Sub(p.center)
	angle := math.Atan2(u.Cross(v), u.Dot(v))
	step := 2 * math.Acos(1-math.Min(sagittaMM/p.radius, 1))
	n := int(math.Ceil(angle / step))
	for i := 1; i < n; i++ {
		sin, cos := math.Sincos(angle * float64(i) / float64(n))
		out = append(out, p.center.Add(geom.Vec{X: u.X*cos - u.Y*sin, Y: u.X*sin + u.Y*cos}))
	}
	return out
}
