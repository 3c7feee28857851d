package trench

import (
	"math"

	"lotwright/layout/geom"
)

// cornerStep is the most a widened outline turns at once, in radians: at 30°
// it stands off at most 1/cos 15°, 3.5 %, further than asked, and a square
// corner is walked round with 11 mm more than the true arc of 0.3 m would
// take, on three corner points where the arc has sixteen.
const cornerStep = math.Pi / 6

// widened returns g and all that is within mm of it, bounded by straight lines
// that touch the true outline from outside. Points are rounded to the grid.
func widened(g geom.Region, mm int64) geom.Region {
	if len(g) == 0 || mm <= 0 {
		return g
	}
	parts := []geom.Region{g}
	for ring := range g.Rings() {
		for i, b := range ring {
			a, c := ring[(i+len(ring)-1)%len(ring)], ring[(i+1)%len(ring)]
			parts = append(parts, geom.Region{{skirt(b, c, float64(mm))}})
			if geom.Orient(a, b, c) > 0 {
				parts = append(parts, geom.Region{{wedge(a, b, c, float64(mm))}})
			}
		}
	}
	return geom.Union(parts...)
}

// skirt is the rectangle along the right side of the edge from a to b.
func skirt(a, b geom.Point, mm float64) geom.Ring {
	n := outward(a, b).Scale(mm).Round()
	return geom.Ring{a, a.Add(n), b.Add(n), b}
}

// wedge fills the gap between the skirts before and after the corner b.
func wedge(a, b, c geom.Point, mm float64) geom.Ring {
	n, m := outward(a, b), outward(b, c)
	turn := math.Atan2(n.Cross(m), n.Dot(m))
	steps := max(1, math.Ceil(turn/cornerStep-1e-9))
	half := turn / steps / 2
	ring := geom.Ring{b, b.Add(n.Scale(mm).Round())}
	for k := range int(steps) {
		sin, cos := math.Sincos(half * float64(2*k+1))
		dir := geom.Vec{X: float64(n.X*cos) - float64(n.Y*sin), Y: float64(n.X*sin) + float64(n.Y*cos)}
		ring = append(ring, b.Add(dir.Scale(mm/math.Cos(half)).Round()))
	}
	return append(ring, b.Add(m.Scale(mm).Round()))
}

// outward returns the unit vector to the right of the edge from a to b.
func outward(a, b geom.Point) geom.Vec {
	d := b.Sub(a).Vec()
	return geom.Vec{X: d.Y, Y: -d.X}.Scale(1 / a.DistanceMM(b))
}
