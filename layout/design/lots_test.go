package design_test

import (
	"fmt"
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

// suburban is a lot of 20 m by 32 m with a house, a drive, a walk and a patio
// partly under the house's roof.
func suburban() *layout.Lot {
	tap := m(10, 9.9)
	return &layout.Lot{
		ID: "suburban", Parcel: rect(0, 0, 20, 32), Building: rect(4, 10, 16, 20),
		Hardscape: geom.Union(rect(12, 0, 15.5, 10), rect(8, 5, 9.2, 10), rect(9.2, 5, 12, 6.2), rect(6, 18, 11, 24)),
		Source:    &tap,
	}
}

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

// randomLot is a random lot on which everything may overlap everything, and
// stick out, as in real data.
func randomLot(seed uint64) *layout.Lot {
	rng := rand.New(rand.NewPCG(seed, 31))
	at := func(spread float64) float64 { return spread * (2*rng.Float64() - 1) }
	lot := &layout.Lot{ID: fmt.Sprintf("random %d", seed), Parcel: polygon(rng, 0, 0, 9000+8000*rng.Float64())}
	scatter := func(most int, spread, radius float64) (g geom.Region) {
		for range rng.IntN(most + 1) {
			g = geom.Union(g, polygon(rng, at(spread), at(spread), radius))
		}
		return g
	}
	lot.Building = scatter(2, 6000, 4000)
	lot.Hardscape = scatter(3, 12_000, 3500)
	lot.Water = scatter(1, 8000, 2500)
	lot.Wall = scatter(1, 8000, 1500)
	lot.Bed = scatter(2, 9000, 2000)
	lot.RootZone = scatter(2, 9000, 2000)
	lot.NoDig = scatter(1, 9000, 1500)
	if rng.IntN(4) == 0 {
		lot.HasTurf, lot.Turf = true, scatter(3, 6000, 12_000)
	}
	if rng.IntN(2) == 0 {
		p := geom.Pt(int64(at(6000)), int64(at(6000)))
		lot.Source = &p
	}
	if rng.IntN(4) == 0 {
		lot.Pinned = layout.PinsAt(geom.Pt(int64(at(5000)), int64(at(5000))))
	}
	return lot
}
