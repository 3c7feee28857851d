package hydraulic

import (
	"lotwright/layout"
	"lotwright/layout/geom"
)

// HeightAt returns the height of the ground at a place: the mean of the spot
// heights, each weighted by the inverse square of its distance (Shepard 1968).
// At a spot height it is that height, nowhere is it above the highest or below
// the lowest, and without any it is 0.
func HeightAt(heights []layout.SpotHeight, p geom.Point) layout.Length {
	var sum, weights float64
	for _, h := range heights {
		dx, dy := float64(h.At.X-p.X), float64(h.At.Y-p.Y)
		square := dx*dx + dy*dy
		if square == 0 {
			return h.Height
		}
		sum += h.Height.Metres() / square
		weights += 1 / square
	}
	if weights == 0 {
		return 0
	}
	return layout.Length(sum / weights)
}
