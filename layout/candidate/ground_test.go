package candidate_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/candidate"
	"lotwright/layout/geom"
)

var customary = candidate.Clearances{EdgeMM: 100, BuildingMM: 300}

// groundOf works out the lawn of a lot and where heads may stand on it.
func groundOf(t *testing.T, lot *layout.Lot, s candidate.LawnSettings, c candidate.Clearances) (geom.Region, *candidate.Ground) {
	t.Helper()
	lawn, err := candidate.Irrigated(lot, s)
	require.NoError(t, err)
	g, err := candidate.NewGround(lot, lawn.Region, c)
	require.NoError(t, err)
	return lawn.Region, g
}

func TestAllowsByHand(t *testing.T) {
	lot := &layout.Lot{
		Parcel: rect(0, 0, 20, 30), Building: rect(4, 10, 16, 20), Hardscape: rect(12, 0, 16, 10),
		Water: rect(2, 24, 6, 28), Wall: rect(10, 25, 18, 25.1), Bed: rect(0, 0, 3, 1),
	}
	_, g := groundOf(t, lot, usual, customary)
	for p, want := range map[geom.Point]bool{
		geom.Pt(100, 5000):    true,  // 4 in from the lot line
		geom.Pt(99, 5000):     false, // a millimetre less
		geom.Pt(11900, 5000):  true,  // from paving
		geom.Pt(11901, 5000):  false,
		geom.Pt(14000, 5000):  false, // on it
		geom.Pt(3700, 15000):  true,  // 12 in from the house
		geom.Pt(3701, 15000):  false,
		geom.Pt(10000, 20300): true,
		geom.Pt(10000, 20299): false,
		geom.Pt(10000, 15000): false, // indoors
		geom.Pt(3760, 9820):   true,  // 240 and 180 from its corner: 300
		geom.Pt(3760, 9821):   false,
		geom.Pt(14000, 24700): true, // from the wall
		geom.Pt(14000, 24701): false,
		geom.Pt(4000, 23900):  true, // from the pool
		geom.Pt(4000, 23901):  false,
		geom.Pt(1500, 1001):   true,  // beds ask for no distance
		geom.Pt(1500, 1000):   false, // but are no lawn, nor is their edge
		geom.Pt(-5, 5000):     false,
		geom.Pt(25000, 5000):  false,
	} {
		assert.Equal(t, want, g.Allows(p), "%v", p)
	}
}

// TestClearanceOnASlant: distances from an edge in the direction (4, 3) are
// fifths of a millimetre, so that the limit itself and what lies just below it
// are both on the grid.
// TestNoHeadWhereNobodyMayDig: an easement is lawn to water, and no place for a
// head, which stands in a hole.
func TestNoHeadWhereNobodyMayDig(t *testing.T) {
	lot := &layout.Lot{Parcel: rect(0, 0, 20, 30), NoDig: rect(0, 20, 20, 25)}
	lawn, g := groundOf(t, lot, usual, customary)
	assert.InDelta(t, 600, lawn.AreaM2(), 0.01)
	assert.True(t, g.Allows(geom.Pt(5000, 19_999)))
	assert.False(t, g.Allows(geom.Pt(5000, 20_000)), "on its edge")
	assert.False(t, g.Allows(geom.Pt(5000, 22_000)))
	assert.NotEmpty(t, g.Spots(1000))
	for _, p := range g.Spots(1000) {
		assert.False(t, lot.NoDig.Has(p), "%v", p)
	}
}

func TestClearanceOnASlant(t *testing.T) {
	slope := geom.Region{{{geom.Pt(0, 0), geom.Pt(40_000, 30_000), geom.Pt(40_000, 0)}}}
	lot := &layout.Lot{Parcel: geom.Union(rect(-50, -50, 50, 50), nil), Hardscape: slope}
	_, g := groundOf(t, lot, usual, customary)
	house := &layout.Lot{Parcel: lot.Parcel, Building: slope}
	_, h := groundOf(t, house, usual, customary)
	at := func(fifths int64) geom.Point { // 4·y − 3·x = fifths, near the middle of the edge
		x := int64(20_000)
		for (fifths+3*x)%4 != 0 {
			x++
		}
		return geom.Pt(x, (fifths+3*x)/4)
	}
	for _, c := range []struct {
		fifths int64
		want   bool
		ground *candidate.Ground
	}{{500, true, g}, {499, false, g}, {496, false, g}, {501, true, g}, {1500, true, h}, {1499, false, h}, {1496, false, h}} {
		assert.Equal(t, c.want, c.ground.Allows(at(c.fifths)), "%.1f mm", float64(c.fifths)/5)
	}
}

func TestClearancesSwitchedOff(t *testing.T) {
	lot := &layout.Lot{Parcel: rect(0, 0, 20, 30), Building: rect(4, 10, 16, 20)}
	lawn, g := groundOf(t, lot, usual, candidate.Clearances{})
	assert.True(t, g.Allows(geom.Pt(1, 1)))
	assert.False(t, g.Allows(geom.Pt(0, 1)), "the edge itself is no place to stand")
	assert.InDelta(t, lawn.AreaM2(), g.Legal.AreaM2(), 0.002*(perimeterM(lawn)+1))
	assert.Empty(t, g.MiddleLine)
	_, g = groundOf(t, lot, usual, candidate.Clearances{BuildingMM: 300})
	assert.True(t, g.Allows(geom.Pt(1, 1)))
	assert.False(t, g.Allows(geom.Pt(3900, 15_000)))
}

// clearOf is the distance to the nearest edge of the given outlines, in
// floating millimetres, by projection on every edge.
func clearOf(p geom.Point, regions ...geom.Region) float64 {
	least := math.Inf(1)
	for _, g := range regions {
		for s := range g.Edges() {
			ax, ay := float64(s.A.X), float64(s.A.Y)
			dx, dy := float64(s.B.X)-ax, float64(s.B.Y)-ay
			t := ((float64(p.X)-ax)*dx + (float64(p.Y)-ay)*dy) / (dx*dx + dy*dy)
			t = max(0, min(1, t))
			least = min(least, math.Hypot(ax+t*dx-float64(p.X), ay+t*dy-float64(p.Y)))
		}
	}
	return least
}

// TestAllowsAgainstDistances compares with distances to the outlines as given,
// before any of them were united.
func TestAllowsAgainstDistances(t *testing.T) {
	const unsure = 1.5 // mm: uniting overlapping outlines may bend an edge that far
	yes, no := 0, 0
	for seed := range uint64(60) {
		lot := clutteredLot(seed)
		lawn, g := groundOf(t, lot, usual, customary)
		rng := rand.New(rand.NewPCG(seed, 23))
		b := lot.Parcel.Bounds()
		for range 400 {
			p := geom.Pt(b.Min.X+rng.Int64N(b.Max.X-b.Min.X), b.Min.Y+rng.Int64N(b.Max.Y-b.Min.Y))
			soft, hard := clearOf(p, lot.Parcel, lot.Hardscape, lot.Water), clearOf(p, lot.Building, lot.Wall)
			switch room := min(soft-100, hard-300); {
			case lawn.Locate(p) != geom.Interior, room < -unsure:
				assert.False(t, g.Allows(p) && !slices.Contains(g.MiddleLine, p), "seed %d: %v has %.1f and %.1f mm", seed, p, soft, hard)
				no++
			case room > unsure:
				assert.True(t, g.Allows(p), "seed %d: %v has %.1f and %.1f mm", seed, p, soft, hard)
				yes++
			}
		}
	}
	assert.Greater(t, yes, 3000)
	assert.Greater(t, no, 3000)
}

// TestLegalIsAllowed: what is drawn as legal is legal, to the corners, and what
// is left out of the drawing lies within millimetres of its edge, the mitres at
// re-entrant corners of the lot line excepted.
func TestLegalIsAllowed(t *testing.T) {
	drawn, missed, allowed := 0, 0, 0
	for seed := range uint64(60) {
		lot := clutteredLot(seed)
		lawn, g := groundOf(t, lot, usual, customary)
		for s := range g.Legal.Edges() {
			for _, p := range []geom.Point{s.A, s.A.Vec().Add(s.B.Vec()).Scale(0.5).Round()} {
				require.True(t, g.Allows(p), "seed %d: %v on the edge of the legal ground", seed, p)
				drawn++
			}
		}
		b := lawn.Bounds()
		for x := b.Min.X; x <= b.Max.X; x += 173 {
			for y := b.Min.Y; y <= b.Max.Y; y += 173 {
				p := geom.Pt(x, y)
				switch legal, ok := g.Legal.Has(p), g.Allows(p); {
				case legal:
					require.True(t, ok, "seed %d: %v", seed, p)
					drawn++
				case ok:
					missed++
				}
				if g.Allows(p) {
					allowed++
				}
			}
		}
	}
	assert.Greater(t, drawn, 50_000)
	assert.Less(t, float64(missed), 0.003*float64(allowed), "legal ground left out of the drawing")
}

// corridor is two lots' worth of lawn joined by a passage between two houses,
// whose width in metres changes from west to east.
func corridor(west, east float64) *layout.Lot {
	south := geom.Region{{{m(10, 0), m(22, 0), m(22, 10-east/2), m(10, 10-west/2)}}}
	north := geom.Region{{{m(10, 20), m(10, 10+west/2), m(22, 10+east/2), m(22, 20)}}}
	return &layout.Lot{Parcel: rect(0, 0, 32, 20), Building: geom.Union(south, north)}
}

func TestMiddleLineBetweenHouses(t *testing.T) {
	lot := corridor(0.5, 0.5)
	_, g := groundOf(t, lot, candidate.LawnSettings{LeastStripMM: 300}, customary)
	inside := inCorridor(g.MiddleLine)
	require.NotEmpty(t, inside)
	for _, p := range inside {
		assert.InDelta(t, 10_000, p.Y, 1, "%v stands in the middle", p)
		assert.True(t, g.Allows(p))
		assert.False(t, g.Allows(geom.Pt(p.X, p.Y+40)))
		assert.False(t, g.Legal.Has(p))
	}
	requireAllAlong(t, inside)
	spots := g.Spots(1000)
	for _, p := range inside {
		assert.Contains(t, spots, p)
	}
	// With the usual strip width nobody waters there, and nobody stands there.
	_, g = groundOf(t, lot, usual, customary)
	assert.Empty(t, inCorridor(g.MiddleLine))
	// Where the clearances fit, the middle line is not needed.
	_, g = groundOf(t, corridor(0.7, 0.7), candidate.LawnSettings{LeastStripMM: 300}, customary)
	assert.Empty(t, g.MiddleLine)
	assert.True(t, g.Allows(m(16, 10)))
}

// inCorridor returns the spots well within the passage.
func inCorridor(spots []geom.Point) []geom.Point {
	var out []geom.Point
	for _, p := range spots {
		if p.X > 10_700 && p.X < 21_300 {
			out = append(out, p)
		}
	}
	return out
}

// requireAllAlong wants spots all along the passage, none farther than a metre
// from the next.
func requireAllAlong(t *testing.T, spots []geom.Point) {
	t.Helper()
	last := int64(10_700)
	for _, p := range append(spots, geom.Pt(21_300, 10_000)) {
		require.LessOrEqual(t, p.X-last, int64(1000), "a gap before %v", p)
		last = p.X
	}
}

func TestSpots(t *testing.T) {
	total := 0
	for seed := range uint64(40) {
		lot := clutteredLot(seed)
		_, g := groundOf(t, lot, candidate.LawnSettings{LeastStripMM: 300}, customary)
		spots := g.Spots(1000)
		total += len(spots)
		for i, p := range spots {
			require.True(t, g.Allows(p), "seed %d: %v", seed, p)
			if i > 0 {
				require.Negative(t, spots[i-1].Compare(p), "sorted, no repeats")
			}
		}
		has := func(p geom.Point) bool {
			_, ok := slices.BinarySearchFunc(spots, p, geom.Point.Compare)
			return ok
		}
		for s := range g.Legal.Edges() {
			require.True(t, has(s.A), "seed %d: corner %v of the legal ground", seed, s.A)
		}
		b := g.Legal.Bounds()
		for x := b.Min.X / 1000 * 1000; x <= b.Max.X; x += 1000 {
			for y := b.Min.Y / 1000 * 1000; y <= b.Max.Y; y += 1000 {
				if p := geom.Pt(x, y); g.Legal.Has(p) {
					require.True(t, has(p), "seed %d: grid point %v", seed, p)
				}
			}
		}
		require.Equal(t, spots, g.Spots(1000))
	}
	assert.Greater(t, total, 5000)
}

func TestNowhereToStand(t *testing.T) {
	// A lawn 0.15 m across in every direction from paving: no head fits, but its
	// middle will do.
	ring := geom.Difference(rect(0, 0, 20, 20), rect(9.925, 5, 10.075, 15))
	_, g := groundOf(t, &layout.Lot{Parcel: rect(0, 0, 20, 20), Hardscape: ring}, candidate.LawnSettings{}, customary)
	assert.Empty(t, g.Legal)
	require.NotEmpty(t, g.Spots(1000))
	for _, p := range g.Spots(1000) {
		assert.InDelta(t, 10_000, p.X, 1)
	}
	none, err := candidate.NewGround(&layout.Lot{Parcel: rect(0, 0, 20, 20)}, nil, customary)
	require.NoError(t, err)
	assert.Empty(t, none.Spots(1000))
	assert.False(t, none.Allows(m(10, 10)))
}

// TestMiddleLineOfATaperingStrip: in a passage that widens to the east there is
// still somewhere to stand at every metre, not only at its widest.
func TestMiddleLineOfATaperingStrip(t *testing.T) {
	_, g := groundOf(t, corridor(0.4, 0.55), candidate.LawnSettings{LeastStripMM: 300}, customary)
	inside := inCorridor(g.MiddleLine)
	requireAllAlong(t, inside)
	for _, p := range inside {
		assert.InDelta(t, 10_000, p.Y, 2, "%v stands in the middle", p)
	}
}
