package plat

import (
	"math"
	"slices"
)

// XY is a place on the plat in metres.
type XY struct{ X, Y float64 }

func (p XY) add(q XY) XY        { return XY{p.X + q.X, p.Y + q.Y} }
func (p XY) sub(q XY) XY        { return XY{p.X - q.X, p.Y - q.Y} }
func (p XY) times(f float64) XY { return XY{p.X * f, p.Y * f} }
func (p XY) norm() float64      { return math.Hypot(p.X, p.Y) }
func (p XY) dot(q XY) float64   { return p.X*q.X + p.Y*q.Y }
func (p XY) cross(q XY) float64 { return p.X*q.Y - p.Y*q.X }

// snapped returns p on the millimetre grid, so that places reached by two
// reckonings are one place.
func (p XY) snapped() XY {
	return XY{math.Round(p.X*1000) / 1000, math.Round(p.Y*1000) / 1000}
}

// turned returns p turned about the origin, counter-clockwise.
func (p XY) turned(deg float64) XY {
	d := direction(deg)
	return XY{p.X*d.X - p.Y*d.Y, p.X*d.Y + p.Y*d.X}
}

// direction returns the unit vector at an angle counter-clockwise from east.
func direction(deg float64) XY {
	s, c := math.Sincos(deg * math.Pi / 180)
	return XY{c, s}
}

// round is a circle.
type round struct {
	centre XY
	radius float64
}

// arc returns places along a circle from one angle to another, in equal steps
// of at most step degrees, both ends included.
func (r round) arc(fromDeg, toDeg, step float64) []XY {
	n := max(1, int(math.Ceil(math.Abs(toDeg-fromDeg)/step-1e-9)))
	out := make([]XY, n+1)
	for i := range out {
		deg := fromDeg + (toDeg-fromDeg)*float64(i)/float64(n)
		out[i] = r.centre.add(direction(deg).times(r.radius))
	}
	return out
}

// circle returns the corners of a regular polygon standing for a circle.
func circle(centre XY, radius float64, corners int) []XY {
	return round{centre, radius}.arc(0, 360, 360/float64(corners))[:corners]
}

// chain joins chains into one, a place met twice in a row taken once.
func chain(parts ...[]XY) []XY {
	out := slices.Concat(parts...)
	return slices.CompactFunc(out, func(a, b XY) bool { return a.snapped() == b.snapped() })
}

func backwards(ps []XY) []XY {
	out := slices.Clone(ps)
	slices.Reverse(out)
	return out
}

// onLine returns the place at the given X on the line through a and b.
func onLine(a, b XY, x float64) XY {
	return XY{x, a.Y + (b.Y-a.Y)*(x-a.X)/(b.X-a.X)}
}

// area returns the signed area of a ring in m², positive counter-clockwise.
func area(ring []XY) float64 {
	sum := 0.0
	for i, p := range ring {
		sum += p.sub(ring[0]).cross(ring[(i+1)%len(ring)].sub(ring[0]))
	}
	return sum / 2
}

// frame is a lot's own axes as a builder sets them out: U to the right and V
// into the lot, seen from the street.
type frame struct{ origin, v XY }

func (f frame) u() XY { return XY{f.v.Y, -f.v.X} }

func (f frame) at(u, v float64) XY {
	return f.origin.add(f.u().times(u)).add(f.v.times(v))
}

// all places several points given in the frame.
func (f frame) all(uv ...XY) []XY {
	out := make([]XY, len(uv))
	for i, p := range uv {
		out[i] = f.at(p.X, p.Y)
	}
	return out
}
