package candidate_test

import (
	"cmp"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/candidate"
	"lotwright/layout/geom"
)

func TestWitnessesByHand(t *testing.T) {
	got := candidate.Witnesses(rect(0, 0, 2, 1), 1000)
	assert.Equal(t, []candidate.Witness{
		{At: geom.Pt(500, 500), AreaMM2: 1e6}, {At: geom.Pt(1500, 500), AreaMM2: 1e6}}, got)
	got = candidate.Witnesses(rect(-0.5, -0.5, 0.5, 0.5), 1000)
	assert.Equal(t, []candidate.Witness{
		{At: geom.Pt(-250, -250), AreaMM2: 250_000}, {At: geom.Pt(-250, 250), AreaMM2: 250_000},
		{At: geom.Pt(250, -250), AreaMM2: 250_000}, {At: geom.Pt(250, 250), AreaMM2: 250_000}}, got)
	// A cell whose lawn is a frame has its centroid in the hole: a corner will do.
	frame := geom.Difference(rect(0, 0, 1, 1), rect(0.2, 0.2, 0.8, 0.8))
	got = candidate.Witnesses(frame, 1000)
	require.Len(t, got, 1)
	assert.Equal(t, int64(640_000), got[0].AreaMM2)
	assert.True(t, frame.Has(got[0].At))
	assert.Empty(t, candidate.Witnesses(nil, 1000))
	assert.Empty(t, candidate.Witnesses(rect(0, 0, 0.009, 0.009), 1000), "a scrap under 1 cm²")
}

// TestWitnessesStandForTheLawn cuts the lawn into cells a second way, by
// intersecting it with every cell, and compares the areas cell by cell.
func TestWitnessesStandForTheLawn(t *testing.T) {
	cells := 0
	for seed := range uint64(50) {
		lot := clutteredLot(seed)
		lawn, err := candidate.Irrigated(lot, usual)
		require.NoError(t, err)
		spacing := []int64{500, 1000, 1700}[seed%3]
		got := candidate.Witnesses(lawn.Region, spacing)
		sum := int64(0)
		for i, w := range got {
			require.True(t, lawn.Region.Has(w.At), "seed %d: %v", seed, w)
			require.Positive(t, w.AreaMM2)
			require.LessOrEqual(t, w.AreaMM2, spacing*spacing)
			sum += w.AreaMM2
			if i > 0 {
				require.LessOrEqual(t, got[i-1].At.Compare(w.At), 0, "sorted by place: placement searches by X")
			}
			if w.AreaMM2 == spacing*spacing {
				require.Zero(t, (w.At.X-spacing/2)%spacing, "the middle of a full cell")
				require.Zero(t, (w.At.Y-spacing/2)%spacing)
			}
		}
		area := float64(lawn.Region.Area2()) / 2
		// Each area is rounded to 1 mm², and scraps under 1 cm² are left out.
		require.InDelta(t, area, float64(sum), 1e-6*area+100*float64(len(got)/20+1), "seed %d", seed)
		want := cellAreas(lawn.Region, spacing)
		cells += len(want)
		requireSameAreas(t, want, got, spacing)
	}
	assert.Greater(t, cells, 5000)
}

// cellAreas returns the areas, in mm², of the lawn in each grid cell that has any.
func cellAreas(lawn geom.Region, spacing int64) []float64 {
	var out []float64
	b := lawn.Bounds()
	if b.Empty() {
		return nil
	}
	for x := (b.Min.X/spacing - 1) * spacing; x < b.Max.X; x += spacing {
		for y := (b.Min.Y/spacing - 1) * spacing; y < b.Max.Y; y += spacing {
			cell := geom.Region{{{geom.Pt(x, y), geom.Pt(x+spacing, y), geom.Pt(x+spacing, y+spacing), geom.Pt(x, y+spacing)}}}
			if a := geom.Intersection(lawn, cell).Area2(); a > 0 {
				out = append(out, float64(a)/2)
			}
		}
	}
	return out
}

// requireSameAreas compares the areas in order of size: one witness a cell.
// Cutting on the millimetre grid bends an edge by up to a millimetre, so that
// areas differ by a cell's side; scraps smaller than that are not compared.
func requireSameAreas(t *testing.T, want []float64, got []candidate.Witness, spacing int64) {
	t.Helper()
	slices.SortFunc(want, func(a, b float64) int { return cmp.Compare(b, a) })
	slices.SortFunc(got, func(a, b candidate.Witness) int { return cmp.Compare(b.AreaMM2, a.AreaMM2) })
	slack := 2 * float64(spacing)
	for i := range max(len(want), len(got)) {
		w, g := 0.0, 0.0
		if i < len(want) {
			w = want[i]
		}
		if i < len(got) {
			g = float64(got[i].AreaMM2)
		}
		require.InDelta(t, w, g, slack)
	}
}
