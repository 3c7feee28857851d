package candidate_test

import (
	"math"
	"math/rand/v2"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// rect is an upright rectangle, in metres.
func rect(x0, y0, x1, y1 float64) geom.Region {
	return geom.Region{{{m(x0, y0), m(x1, y0), m(x1, y1), m(x0, y1)}}}
}

// m is a point given in metres.
func m(x, y float64) geom.Point { return geom.Vec{X: x * 1000, Y: y * 1000}.Round() }

// polygon is a random polygon of 3 to 9 corners, in millimetres.
func polygon(rng *rand.Rand, x, y, radius float64) geom.Region {
	n := 3 + rng.IntN(7)
	var ring geom.Ring
	for i := range n {
		r := radius * (0.4 + 0.6*rng.Float64())
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.8*rng.Float64()) / float64(n))
		ring = append(ring, geom.Vec{X: x + r*cos, Y: y + r*sin}.Round())
	}
	return geom.Normalize([]geom.Ring{ring})
}

// clutteredLot is a random lot on which everything may overlap everything, and
// stick out, as in real data.
func clutteredLot(seed uint64) *layout.Lot {
	rng := rand.New(rand.NewPCG(seed, 17))
	lot := &layout.Lot{ID: "cluttered", Parcel: polygon(rng, 0, 0, 8000+9000*rng.Float64())}
	scatter := func(most int, radius float64) geom.Region {
		var g geom.Region
		for range rng.IntN(most + 1) {
			x, y := 14_000*(2*rng.Float64()-1), 14_000*(2*rng.Float64()-1)
			g = geom.Union(g, polygon(rng, x, y, radius))
		}
		return g
	}
	lot.Building = scatter(2, 6000)
	lot.Hardscape = scatter(4, 4000)
	lot.Water = scatter(1, 3000)
	lot.Wall = scatter(1, 2000)
	lot.Bed = scatter(2, 2500)
	if rng.IntN(4) == 0 {
		lot.HasTurf, lot.Turf = true, scatter(3, 12_000)
	}
	return lot
}
