package project

import (
	"math"
	"slices"

	"lotwright/importer"
)

// Centroid returns the area centroid of a polygon's shell, worked out in the
// plane of equal degrees, longitudes shrunk by the cosine of the latitude. A
// ring without area has the middle of its bounds. The result does not depend
// on where the ring starts, which way it runs or how often a position repeats,
// since the ring is brought into one form first.
func Centroid(ring []importer.Position) importer.Position {
	r := OneForm(ring)
	if len(r) == 0 {
		return importer.Position{}
	}
	o := r[0]
	var area, cx, cy float64
	for i, p := range r {
		q := r[(i+1)%len(r)]
		px, py, qx, qy := p[0]-o[0], p[1]-o[1], q[0]-o[0], q[1]-o[1]
		cross := float64(px*qy) - float64(py*qx)
		area += cross
		cx += float64((px + qx) * cross)
		cy += float64((py + qy) * cross)
	}
	c := importer.Position{o[0] + cx/(3*area), o[1] + cy/(3*area)}
	if b := bounds(r); !within(b, c) {
		return b.Center()
	}
	return c
}

func bounds(ring []importer.Position) importer.Bounds {
	b := importer.EmptyBounds()
	for _, p := range ring {
		b = b.Grow(p)
	}
	return b
}

// within reports whether p lies in b; false for what is not a number.
func within(b importer.Bounds, p importer.Position) bool {
	return b.Min[0] <= p[0] && p[0] <= b.Max[0] && b.Min[1] <= p[1] && p[1] <= b.Max[1]
}

// OneForm returns a ring in one form: without repeated positions, started at
// its least position and run the way that has the lesser of its two neighbours
// first.
func OneForm(ring []importer.Position) []importer.Position {
	r := slices.Compact(slices.Clone(ring))
	for len(r) > 1 && r[0] == r[len(r)-1] {
		r = r[:len(r)-1]
	}
	if len(r) < 2 {
		return r
	}
	k := 0
	for i, p := range r {
		if comparePositions(p, r[k]) < 0 {
			k = i
		}
	}
	r = slices.Concat(r[k:], r[:k])
	if comparePositions(r[1], r[len(r)-1]) > 0 {
		slices.Reverse(r[1:])
	}
	return r
}

func comparePositions(p, q importer.Position) int { return slices.Compare(p[:], q[:]) }

// earthMean is the mean radius of the Earth in metres (IUGG), for rough
// lengths only.
const earthMean = 6371008.8

// DegreesAround returns how many degrees of longitude and latitude make up the
// given metres at a latitude, roughly.
func DegreesAround(lat, metres float64) (dLon, dLat float64) {
	dLat = degrees(metres / earthMean)
	return dLat / max(math.Cos(radians(lat)), 1e-6), dLat
}
