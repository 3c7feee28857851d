package sector

import (
	"cmp"
	"math"
	"slices"

	"lotwright/layout/geom"
)

// Bearings run clockwise from north. A bin is one degree of them, from its
// number to the next; rays run through the middles of half bins.
const (
	turn             = 360
	raysPerBin       = 2
	rays             = turn * raysPerBin
	radiansPerDegree = math.Pi / 180
)

// rayScale is the length of the whole-numbered ray directions: long enough to
// be true to a millionth, short enough for exact cross products with vectors of
// twice [geom.MaxCoord].
const rayScale = 1 << 20

// rayDirections are whole numbers so that which side of a ray a point is on is
// decided without rounding, the same on every machine.
var rayDirections = func() (d [rays]geom.Point) {
	for i := range d {
		sin, cos := math.Sincos((float64(i) + 0.5) / raysPerBin * radiansPerDegree)
		d[i] = geom.Vec{X: sin, Y: cos}.Scale(rayScale).Round()
	}
	return d
}()

// nextRay returns the first ray at or clockwise of the direction v. The guess is
// good to one ray; cross products settle it.
func nextRay(v geom.Point) int {
	guess := math.Atan2(float64(v.X), float64(v.Y)) / radiansPerDegree * raysPerBin
	i := (int(math.Round(guess)) + rays) % rays
	for v.Cross(rayDirections[i]) > 0 { // v is clockwise of ray i
		i = (i + 1) % rays
	}
	for before := (i + rays - 1) % rays; v.Cross(rayDirections[before]) <= 0; before = (i + rays - 1) % rays {
		i = before
	}
	return i
}

// looker measures what lies around spots. It is used again from spot to spot.
type looker struct {
	lawn, blockers []geom.Segment
	reachMM        int64

	// Of the spot last looked from:
	meets   []meeting       // with edges of the lawn, by ray and then distance
	of      [rays + 1]int32 // where each ray's meetings begin
	blocked [rays]float64   // distance of the first blocker in mm; +Inf for none
}

// meeting is where a ray meets an edge of the lawn.
type meeting struct {
	ray    int32
	distMM float64
}

// look measures around h.
func (l *looker) look(h geom.Point) {
	l.meets = l.meets[:0]
	l.cross(l.lawn, h, func(ray int, distMM float64) {
		l.meets = append(l.meets, meeting{int32(ray), distMM})
	})
	slices.SortFunc(l.meets, func(a, b meeting) int {
		return cmp.Or(cmp.Compare(a.ray, b.ray), cmp.Compare(a.distMM, b.distMM))
	})
	clear(l.of[:])
	for _, m := range l.meets {
		l.of[m.ray+1]++
	}
	for i := range rays {
		l.of[i+1] += l.of[i]
		l.blocked[i] = math.Inf(1)
	}
	l.cross(l.blockers, h, func(ray int, distMM float64) {
		l.blocked[ray] = min(l.blocked[ray], distMM)
	})
}

// cross calls meet for every ray from h and every edge it meets within reach.
// Where two edges share a corner a ray through it meets exactly one of them,
// so that meetings always lead in and out by turns.
func (l *looker) cross(edges []geom.Segment, h geom.Point, meet func(ray int, distMM float64)) {
	around := geom.Bounds{Min: h, Max: h}.Pad(l.reachMM)
	for _, e := range edges {
		if !e.Bounds().Overlaps(around) || !e.WithinOf(h, l.reachMM) {
			continue
		}
		a, b := e.A.Sub(h), e.B.Sub(h)
		if a.Cross(b) > 0 { // seen anticlockwise
			a, b = b, a
		}
		area := a.Cross(b)
		if area == 0 {
			continue
		}
		d := b.Sub(a)
		for i, last := nextRay(a), nextRay(b); i != last; i = (i + 1) % rays {
			dist := float64(area) / float64(rayDirections[i].Cross(d)) * rayScale
			if dist <= float64(l.reachMM) {
				meet(i, dist)
			}
		}
	}
}

// areas returns, bin by bin, the area in m² wetted with the given radius and
// how much of it lies off the lawn. The head stands on the lawn.
func (l *looker) areas(radiusMM float64) (wet, over [turn]float64) {
	const perSquareMM = radiansPerDegree / raysPerBin / 2 / (geom.MillimetresPerMetre * geom.MillimetresPerMetre)
	for i := range rays {
		end := min(radiusMM, l.blocked[i])
		in := l.onLawn(i, end)
		wet[i/raysPerBin] += float64(float64(end*end) * perSquareMM)
		over[i/raysPerBin] += float64((float64(end*end) - in) * perSquareMM)
	}
	return wet, over
}

// onLawn returns the sum of the squared distances where ray i leaves the lawn
// less those where it comes back to it, up to the distance end.
func (l *looker) onLawn(i int, end float64) float64 {
	sum, inside := 0.0, true
	for _, m := range l.meets[l.of[i]:l.of[i+1]] {
		if m.distMM >= end {
			break
		}
		if inside {
			sum += float64(m.distMM * m.distMM)
		} else {
			sum -= float64(m.distMM * m.distMM)
		}
		inside = !inside
	}
	if inside {
		sum += float64(end * end)
	}
	return sum
}
