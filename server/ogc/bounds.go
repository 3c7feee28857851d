package ogc

import "math"

// perDegree is how many units bounds have in a degree: a unit is a centimetre.
const perDegree = 1e7

// bounds are those of a geometry, rounded outwards; the zero value is those of
// none. They are kept small: there is one for every feature of a batch.
type bounds struct {
	west, south, east, north int32
	known                    bool
}

func (b bounds) some() bool { return b.known }

func (b bounds) with(c bounds) bounds {
	switch {
	case !c.known:
		return b
	case !b.known:
		return c
	}
	return bounds{min(b.west, c.west), min(b.south, c.south), max(b.east, c.east), max(b.north, c.north), true}
}

// degrees are no narrower than the geometry.
func (b bounds) degrees() (west, south, east, north float64) {
	return float64(b.west) / perDegree, float64(b.south) / perDegree, float64(b.east) / perDegree, float64(b.north) / perDegree
}

// boundsOf are those of a geometry as it is written.
func boundsOf(e encoded) (bounds, error) {
	if e.null() {
		return bounds{}, nil
	}
	w := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	err := eachPosition(e.geometry, func(x, y float64, _, _ int) { w = w.grown(x, y) })
	switch {
	case err != nil || w.minX > w.maxX:
		return bounds{}, err
	case w.minX < -180 || w.maxX > 180 || w.minY < -90 || w.maxY > 90:
		return bounds{}, errPositions
	}
	down := func(v float64) int32 { return int32(math.Floor(v * perDegree)) }
	return bounds{down(w.minX), down(w.minY), -down(-w.maxX), -down(-w.maxY), true}, nil
}

// box is a rectangle in the axes of a system.
type box struct{ minX, minY, maxX, maxY float64 }

func (b box) grown(x, y float64) box {
	return box{min(b.minX, x), min(b.minY, y), max(b.maxX, x), max(b.maxY, y)}
}

func (b box) holds(x, y float64) bool {
	return x >= b.minX && x <= b.maxX && y >= b.minY && y <= b.maxY
}

func (b box) apart(c box) bool {
	return b.maxX < c.minX || b.minX > c.maxX || b.maxY < c.minY || b.minY > c.maxY
}

func (b box) around(c box) bool {
	return b.minX <= c.minX && b.maxX >= c.maxX && b.minY <= c.minY && b.maxY >= c.maxY
}
