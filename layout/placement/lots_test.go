package placement_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/candidate"
	"lotwright/layout/geom"
	"lotwright/layout/placement"
	"lotwright/layout/sight"
)

// rect is an upright rectangle, in metres.
func rect(x0, y0, x1, y1 float64) geom.Region {
	return geom.Region{{{m(x0, y0), m(x1, y0), m(x1, y1), m(x0, y1)}}}
}

// m is a point given in metres.
func m(x, y float64) geom.Point { return geom.Vec{X: x * 1000, Y: y * 1000}.Round() }

// feet is a length in millimetres, rounded down to the grid.
func feet(v float64) int64 { return layout.Feet(v).Millimetres() }

// square is an upright square with a corner in the origin, its side in feet.
func square(side float64) geom.Region {
	mm := float64(feet(side)) / 1000
	return rect(0, 0, mm, mm)
}

// yard is a lot under placement: what a head sees of it, and where one may stand.
type yard struct {
	site   placement.Site
	lawn   geom.Region
	ground *candidate.Ground
}

const spacing = 1000 // mm, of spots and witnesses

func newYard(t *testing.T, lot *layout.Lot, throwMM int64) yard {
	t.Helper()
	lawn, err := candidate.Irrigated(lot, candidate.LawnSettings{LeastStripMM: 600})
	require.NoError(t, err)
	ground, err := candidate.NewGround(lot, lawn.Region, candidate.Clearances{EdgeMM: 100, BuildingMM: 300})
	require.NoError(t, err)
	field := sight.NewField(lawn.Region)
	y := yard{lawn: lawn.Region, ground: ground, site: placement.Site{
		Spots: ground.Spots(spacing), ThrowMM: throwMM, LawnAreaM2: lawn.Region.AreaM2(),
		Pinned: lot.PinnedAt(), Allows: ground.Allows,
		ReachFrom: func(p geom.Point) placement.Reach {
			r := field.From(p, throwMM, 0)
			return &r
		},
		AreaReached: func(reaches []placement.Reach) float64 {
			var all []sight.Reach
			for _, r := range reaches {
				all = append(all, *r.(*sight.Reach))
			}
			return sight.CoveredM2(all)
		},
		DryAt: func(reaches []placement.Reach) (out []placement.Dry) {
			var all []sight.Reach
			for _, r := range reaches {
				all = append(all, *r.(*sight.Reach))
			}
			for _, d := range field.Dry(all) {
				out = append(out, placement.Dry{At: d.At, AreaMM2: int64(d.AreaMM2)})
			}
			return out
		},
	}}
	for _, w := range candidate.Witnesses(lawn.Region, spacing) {
		y.site.WitnessAt = append(y.site.WitnessAt, w.At)
		y.site.WitnessMM2 = append(y.site.WitnessMM2, w.AreaMM2)
	}
	return y
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

// randomLot is a random lot with a house or two, paving and now and then a wall
// and heads that stand already.
func randomLot(seed uint64) *layout.Lot {
	rng := rand.New(rand.NewPCG(seed, 29))
	at := func(spread float64) float64 { return spread * (2*rng.Float64() - 1) }
	lot := &layout.Lot{ID: "random", Parcel: polygon(rng, 0, 0, 9000+9000*rng.Float64())}
	for range 1 + rng.IntN(2) {
		lot.Building = geom.Union(lot.Building, polygon(rng, at(6000), at(6000), 2000+3000*rng.Float64()))
	}
	for range rng.IntN(3) {
		lot.Hardscape = geom.Union(lot.Hardscape, polygon(rng, at(12_000), at(12_000), 3500))
	}
	for range rng.IntN(2) {
		lot.Wall = geom.Union(lot.Wall, rect(at(8), at(8), at(8)+0.1, at(8)+3))
	}
	if rng.IntN(4) == 0 {
		lot.Pinned = layout.PinsAt(geom.Pt(-5000+rng.Int64N(3000), rng.Int64N(4000)), geom.Pt(2000+rng.Int64N(3000), rng.Int64N(4000)))
	}
	return lot
}

// sampledShare estimates the share of the lawn the heads reach from n by n
// points over its bounds, by the definition: near enough, and nothing of the
// lawn's outline crosses the line between.
func sampledShare(lawn geom.Region, heads []geom.Point, throwMM int64, n int) float64 {
	all, wet := 0, 0
	b := lawn.Bounds()
	size := b.Max.Sub(b.Min).Vec()
	for i := range n {
		for j := range n {
			p := b.Min.Vec().Add(geom.Vec{X: size.X * (float64(i) + 0.5) / float64(n), Y: size.Y * (float64(j) + 0.5) / float64(n)}).Round()
			if lawn.Locate(p) != geom.Interior {
				continue
			}
			all++
			if slices.ContainsFunc(heads, func(h geom.Point) bool { return reaches(lawn, h, p, throwMM) }) {
				wet++
			}
		}
	}
	return float64(wet) / float64(all)
}

func reaches(lawn geom.Region, h, p geom.Point, throwMM int64) bool {
	if !h.Within(p, throwMM) || lawn.Locate(h) != geom.Interior {
		return false
	}
	for e := range lawn.Edges() {
		if e.Crosses(geom.Segment{A: h, B: p}) {
			return false
		}
	}
	return true
}
