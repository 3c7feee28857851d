package candidate_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/candidate"
	"lotwright/layout/geom"
)

var usual = candidate.LawnSettings{LeastStripMM: 600}

func TestIrrigatedByHand(t *testing.T) {
	parcel := rect(0, 0, 20, 30)
	house := rect(4, 10, 16, 20)
	cases := map[string]struct {
		lot          layout.Lot
		settings     candidate.LawnSettings
		kept, narrow float64
		pieces       int
	}{
		"bare lot": {layout.Lot{Parcel: parcel}, usual, 600, 0, 1},
		"roof over drive: united, not summed": {
			layout.Lot{Parcel: parcel, Building: house, Hardscape: rect(12, 0, 16, 12)}, usual, 600 - 120 - 40, 0, 1},
		"a house that reaches over the lot line": {
			layout.Lot{Parcel: parcel, Building: rect(15, 10, 25, 20)}, usual, 600 - 50, 0, 1},
		"pool in a patio": {
			layout.Lot{Parcel: parcel, Hardscape: rect(5, 5, 15, 15), Water: rect(7, 7, 13, 13)}, usual, 500, 0, 1},
		"lawn in the middle of paving": {
			layout.Lot{Parcel: parcel, Hardscape: geom.Difference(rect(5, 5, 15, 15), rect(9, 9, 11, 11))}, usual, 504, 0, 2},
		"turf, in part beyond the lot line": {
			layout.Lot{Parcel: parcel, HasTurf: true, Turf: rect(10, 10, 30, 20)}, usual, 100, 0, 1},
		"turf under a house": {
			layout.Lot{Parcel: parcel, HasTurf: true, Turf: rect(0, 8, 20, 22), Building: house}, usual, 280 - 120, 0, 1},
		"a turf layer with nothing in it": {layout.Lot{Parcel: parcel, HasTurf: true}, usual, 0, 0, 0},
		"turf without the layer is ignored": {
			layout.Lot{Parcel: parcel, Turf: rect(0, 0, 1, 1)}, usual, 600, 0, 1},
		"bed left out": {layout.Lot{Parcel: parcel, Bed: rect(0, 0, 20, 3)}, usual, 540, 0, 1},
		"bed watered": {layout.Lot{Parcel: parcel, Bed: rect(0, 0, 20, 3)},
			candidate.LawnSettings{LeastStripMM: 600, IrrigateBeds: true}, 600, 0, 1},
		"paving in a watered bed": {layout.Lot{Parcel: parcel, Bed: rect(0, 0, 20, 3), Hardscape: rect(9, 0, 11, 30)},
			candidate.LawnSettings{LeastStripMM: 600, IrrigateBeds: true}, 540, 0, 2},
		"half a metre on two sides of a house": {
			layout.Lot{Parcel: rect(0, 0, 20, 10), Building: rect(10, 0.5, 20, 9.5)}, usual, 100, 10, 1},
		"the same, strips wanted": {
			layout.Lot{Parcel: rect(0, 0, 20, 10), Building: rect(10, 0.5, 20, 9.5)}, candidate.LawnSettings{}, 110, 0, 1},
		"strip just wide enough": {
			layout.Lot{Parcel: rect(0, 0, 20, 10), Building: rect(10, 0.61, 20, 10)}, usual, 106.1, 0, 1},
		"a piece of 0.49 m²": {
			layout.Lot{Parcel: rect(0, 0, 10, 10), Hardscape: rect(0, 0.7, 10, 10)}, candidate.LawnSettings{}, 7, 0, 1},
		"pieces of 0.49 and 0.51 m²": {
			layout.Lot{Parcel: rect(0, 0, 4, 0.7), Hardscape: geom.Union(rect(0.7, 0, 1.7, 0.7), rect(2.43, 0, 4, 0.7))}, usual, 0.511, 0.49, 1},
		"wall across the lot": {
			layout.Lot{Parcel: parcel, Wall: rect(0, 10, 20, 10.1)}, usual, 598, 0, 2},
		"all house":          {layout.Lot{Parcel: parcel, Building: rect(-1, -1, 21, 31)}, usual, 0, 0, 0},
		"nothing but strips": {layout.Lot{Parcel: rect(0, 0, 20, 0.5)}, usual, 0, 10, 0},
		"no parcel":          {layout.Lot{Building: house}, usual, 0, 0, 0},
		"sharp corners stay": {layout.Lot{Parcel: geom.Region{{{m(0, 0), m(20, 0), m(20, 10)}}}}, usual, 100, 0, 1},
		"neck between two lawns": {layout.Lot{Parcel: parcel, Hardscape: geom.Union(rect(0, 10, 9.8, 20), rect(10.2, 10, 20, 20))},
			usual, 400, 4, 2},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			got, err := candidate.Irrigated(&c.lot, c.settings)
			require.NoError(t, err)
			// Rounding to the grid moves an edge by a millimetre: 0.01 m² in 10 m.
			assert.InDelta(t, c.kept, got.Region.AreaM2(), 0.05, "kept")
			assert.InDelta(t, c.narrow, got.Narrow.AreaM2(), 0.05, "narrow")
			assert.Len(t, got.Region, c.pieces)
		})
	}
}

// open is the ground before anything narrow is left out, put together another
// way: obstacle by obstacle.
func open(lot *layout.Lot, beds bool) geom.Region {
	g := lot.Parcel
	if lot.HasTurf {
		g = geom.Intersection(lot.Turf, g)
	}
	obstacles := []geom.Region{lot.Wall, lot.Water, lot.Hardscape, lot.Building}
	if !beds {
		obstacles = append(obstacles, lot.Bed)
	}
	for _, o := range obstacles {
		g = geom.Difference(g, o)
	}
	return g
}

func perimeterM(g geom.Region) float64 {
	sum := 0.0
	for s := range g.Edges() {
		sum += s.LengthMM() / 1000
	}
	return sum
}

func TestIrrigatedOnAnyLot(t *testing.T) {
	lost, deepest := 0, 0
	for seed := range uint64(150) {
		lot := clutteredLot(seed)
		s := candidate.LawnSettings{LeastStripMM: []int64{0, 300, 600, 1200}[seed%4], IrrigateBeds: seed%3 == 0}
		got, err := candidate.Irrigated(lot, s)
		require.NoError(t, err)
		all := open(lot, s.IrrigateBeds)
		slack := 0.003 * (perimeterM(all) + 1) // m²: 1 mm for each of three overlays
		require.InDelta(t, all.AreaM2(), got.Region.AreaM2()+got.Narrow.AreaM2(), slack, "seed %d: open = kept + narrow", seed)
		require.Less(t, geom.Intersection(got.Region, got.Narrow).AreaM2(), slack)
		require.Less(t, geom.Difference(got.Region, all).AreaM2(), slack)
		for _, piece := range got.Region {
			require.GreaterOrEqual(t, piece.AreaM2(), candidate.MinPieceM2)
		}
		if got.Narrow.AreaM2() > 0.1 {
			lost++
		}
		deepest += requireNarrow(t, all, got, s.LeastStripMM/2)
	}
	assert.Greater(t, lost, 15, "narrow ground must occur")
	assert.Greater(t, deepest, 2000, "wide ground must occur")
}

// requireNarrow looks at a grid of points: one deeper than half the strip width
// in the open ground is kept, unless its whole piece is small. It returns how
// many such points there were.
func requireNarrow(t *testing.T, all geom.Region, got candidate.Lawn, halfMM int64) int {
	t.Helper()
	deep := 0
	b := all.Bounds()
	for x := b.Min.X; x < b.Max.X; x += 410 {
		for y := b.Min.Y; y < b.Max.Y; y += 410 {
			p := geom.Pt(x, y)
			if !all.Has(p) || all.EdgeWithin(p, halfMM+3) {
				continue
			}
			deep++
			if !got.Region.Has(p) {
				piece := pieceAt(got.Narrow, p)
				require.Less(t, piece.AreaM2(), candidate.MinPieceM2+0.01, "%v is deep in the open and left out", p)
			}
		}
	}
	return deep
}

func pieceAt(g geom.Region, p geom.Point) geom.Polygon {
	for _, poly := range g {
		if (geom.Region{poly}).Has(p) {
			return poly
		}
	}
	return geom.Polygon{{}}
}
