package trench_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/trench"
)

// polygon is a random simple polygon of 3 to 9 corners within radius of (x, y),
// in mm.
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

// clutteredLot is a random lot on which everything may overlap everything, as
// in real data, with up to eight heads anywhere but in buildings.
func clutteredLot(seed uint64) (*layout.Lot, []layout.Head) {
	rng := rand.New(rand.NewPCG(seed, 5))
	lot := &layout.Lot{ID: fmt.Sprintf("random %d", seed), Parcel: polygon(rng, 0, 0, 12000+8000*rng.Float64())}
	within := lot.Parcel.Bounds()
	spot := func() geom.Point {
		return geom.Pt(within.Min.X+rng.Int64N(within.Max.X-within.Min.X), within.Min.Y+rng.Int64N(within.Max.Y-within.Min.Y))
	}
	scatter := func(most int, radius float64) geom.Region {
		var g geom.Region
		for range rng.IntN(most + 1) {
			p := spot()
			g = geom.Union(g, geom.Intersection(polygon(rng, float64(p.X), float64(p.Y), radius), lot.Parcel))
		}
		return g
	}
	lot.Building = scatter(2, 6000)
	lot.Hardscape = scatter(4, 5000)
	lot.Water = scatter(1, 3000)
	lot.RootZone = scatter(2, 3000)
	lot.NoDig = scatter(1, 2000)
	lot.Wall = scatter(1, 2000)
	if rng.IntN(2) == 0 {
		p := spot()
		lot.Source = &p
	}
	for range rng.IntN(3) {
		lot.Sleeves = append(lot.Sleeves, geom.Line{spot(), spot()})
	}
	var heads []layout.Head
	for range rng.IntN(8) + 1 {
		if p := spot(); lot.Parcel.Has(p) && lot.Building.Locate(p) == geom.Outside {
			heads = append(heads, headsAt(p)...)
			heads[len(heads)-1].Label = fmt.Sprintf("H%d", len(heads))
		}
	}
	return lot, heads
}

func TestAnyLot(t *testing.T) {
	reached, unreached, shared := 0, 0, 0
	seeds := []uint64{513, 1224} // a tee would make them cheaper, but longer
	for seed := range uint64(300) {
		seeds = append(seeds, seed)
	}
	for _, seed := range seeds {
		lot, heads := clutteredLot(seed)
		net := route(t, lot, heads, trench.Settings{})
		reached += len(heads) - len(net.Unreached)
		unreached += len(net.Unreached)
		if net.TrenchLength < net.SpanningTreeLength {
			shared++
		}
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
	}
	// The draw must try all of it.
	assert.Greater(t, reached, 500)
	assert.Greater(t, unreached, 20)
	assert.Greater(t, shared, 10)
}

// turned returns the same region told in another way: polygons in another
// order, rings from another start.
func turned(rng *rand.Rand, g geom.Region) geom.Region {
	out := make(geom.Region, len(g))
	for i, k := range rng.Perm(len(g)) {
		for _, ring := range g[k] {
			n := rng.IntN(len(ring))
			out[i] = append(out[i], slices.Concat(ring[n:], ring[:n]))
		}
	}
	return out
}

func TestTheOrderOfTheInputDoesNotMatter(t *testing.T) {
	for seed := range uint64(100) {
		lot, heads := clutteredLot(seed)
		want := route(t, lot, heads, trench.Settings{})
		rng := rand.New(rand.NewPCG(seed, 6))
		other := *lot
		for _, g := range []*geom.Region{&other.Parcel, &other.Building, &other.Hardscape, &other.Water,
			&other.RootZone, &other.NoDig, &other.Wall} {
			*g = turned(rng, *g)
		}
		other.Sleeves = slices.Clone(lot.Sleeves)
		slices.Reverse(other.Sleeves)
		for i, s := range other.Sleeves {
			other.Sleeves[i] = slices.Clone(s)
			slices.Reverse(other.Sleeves[i])
		}
		heads = slices.Clone(heads)
		rng.Shuffle(len(heads), func(i, j int) { heads[i], heads[j] = heads[j], heads[i] })
		assert.Equal(t, want, route(t, &other, heads, trench.Settings{}), "seed %d", seed)
	}
}

func TestTheInputIsLeftAlone(t *testing.T) {
	for seed := range uint64(20) {
		lot, heads := clutteredLot(seed)
		same, _ := clutteredLot(seed)
		route(t, lot, heads, trench.Settings{})
		assert.Equal(t, same, lot, "seed %d", seed)
	}
}
