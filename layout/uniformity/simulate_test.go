package uniformity_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/uniformity"
)

func simulate(t require.TestingT, lawn geom.Region, heads []uniformity.Sprinkler, cell layout.Length) *uniformity.Result {
	r, err := uniformity.Simulate(lawn, heads, uniformity.Settings{Cell: cell})
	require.NoError(t, err)
	return r
}

// viewOf makes a view of a function.
type viewOf func(geom.Point) bool

func (f viewOf) Sees(p geom.Point) bool { return f(p) }

// cone is a fixed-arc head with a conical profile whose rate at the head is
// peak mm/h: the cone over a full circle holds π·R²·peak/3.
func cone(x, y int64, throw layout.Length, start, sweep, peak float64) uniformity.Sprinkler {
	h := fixedArc(x, y, throw, start, sweep)
	h.Head.Flow = layout.Flow(math.Pi * throw.Metres() * throw.Metres() * peak / 3 / 60 * sweep / 360)
	return h
}

// cornerCones are the four heads of R. von Bernuth and B. Mecham, Defining the
// Run Time Multiplier, example 1: perfect cones of 10 at the head in the
// corners of a rectangle of R × 1.4 R, each turning over the quarter inside.
func cornerCones(throwMM int64) []uniformity.Sprinkler {
	throw, w, l := layout.Length(throwMM)/1000, throwMM, throwMM*14/10
	return []uniformity.Sprinkler{cone(0, 0, throw, 0, 90, 10), cone(0, l, throw, 90, 90, 10),
		cone(w, l, throw, 180, 90, 10), cone(w, 0, throw, 270, 90, 10)}
}

func TestPublishedExampleOnFineGrid(t *testing.T) {
	r := simulate(t, box(0, 0, 5000, 7000), cornerCones(5000), 0.02)
	s := r.Statistics
	require.Equal(t, 250*350, s.Count)

	// The limit of ever finer cells, from the same formulas. The rate is lowest
	// half-way up, where the heads of the far side begin to reach.
	nearX := 1 - math.Sqrt(1-0.7*0.7)
	assert.InEpsilon(t, 10*math.Pi/(3*1.4), s.Mean, 1e-4)
	assert.InDelta(t, 20*(1-math.Hypot(nearX, 0.7)), s.Lowest, 0.015)
	assert.InDelta(t, 4.88, s.Lowest, 0.05)
	assert.InDelta(t, 0.799, s.CU, 0.001)
	assert.InDelta(t, 0.800, s.DULowHalf, 0.001)
	assert.InDelta(t, 0.747, s.DULowQuarter, 0.001)
	// The paper's own figures, from a coarse grid.
	assert.InDelta(t, 0.805, s.CU, 0.02)
	assert.InDelta(t, 0.810, s.DULowHalf, 0.02)
	assert.InDelta(t, 0.772, s.DULowQuarter, 0.03)
	// It finds two lowest spots; here the axis between rows halves each.
	west, east := geom.Pt(int64(5000*nearX), 3500), geom.Pt(int64(5000*(1-nearX)), 3500)
	spots := 0
	for i, rate := range r.Rates {
		if rate < s.Lowest+1e-9 {
			spots++
			assert.True(t, r.At[i].Within(west, 20) || r.At[i].Within(east, 20), "lowest at %v", r.At[i])
		}
	}
	assert.Equal(t, 4, spots)
	assert.Equal(t, r.At[slices.Index(r.Rates, s.Lowest)], r.LowestAt)

	all := r.Total
	assert.InEpsilon(t, float64(all.Flow), float64(all.OnLawn), 1e-4, "every sector lies on the lawn")
	assert.Zero(t, all.OffLawn)
	assert.Zero(t, all.Blocked)
}

// TestPublishedExampleOnCoarseGrid lays cells of R/5 with their centres on the
// edges as well, in the manner of the paper, whose mean is 7.8, lowest 5.4 and
// CU 0.805; the paper does not give its grid.
func TestPublishedExampleOnCoarseGrid(t *testing.T) {
	s := simulate(t, box(-500, -500, 5500, 7500), cornerCones(5000), 1).Statistics
	require.Equal(t, 6*8, s.Count)
	assert.InDelta(t, 7.8, s.Mean, 0.2)
	assert.InDelta(t, 5.4, s.Lowest, 0.3)
	assert.InDelta(t, 0.805, s.CU, 0.02)
}

// TestPublishedExampleOnEdges lays one row of cells along an edge, where the
// rates are known exactly.
func TestPublishedExampleOnEdges(t *testing.T) {
	short := simulate(t, box(-5, -5, 5005, 5), cornerCones(5000), 0.01)
	require.Len(t, short.Rates, 501)
	for i, rate := range short.Rates {
		assert.InDelta(t, 10, rate, 1e-9, "on the 50 %% edge at %v", short.At[i])
	}
	long := simulate(t, box(-5, -5, 5, 7005), cornerCones(5000), 0.01)
	require.Len(t, long.Rates, 701)
	require.Equal(t, geom.Pt(0, 3500), long.At[350])
	assert.InDelta(t, 6, long.Rates[350], 1e-9, "in the middle of the 70 % edge")
}

// lattice returns full-circle heads at the points of a lattice given by two
// steps, all that can reach the box from the origin to far.
func lattice(stepA, stepB, far geom.Point, throw layout.Length, p uniformity.Profile) []uniformity.Sprinkler {
	var heads []uniformity.Sprinkler
	reach := geom.Bounds{Max: far}.Pad(throw.Millimetres())
	for i := int64(-12); i <= 12; i++ {
		for j := int64(-12); j <= 12; j++ {
			at := geom.Pt(i*stepA.X+j*stepB.X, i*stepA.Y+j*stepB.Y)
			if reach.Has(at) {
				h := cone(at.X, at.Y, throw, 0, 360, 1)
				h.Profile = p
				heads = append(heads, h)
			}
		}
	}
	return heads
}

// squareLattice waters one mesh of a square lattice of spacing S.
func squareLattice(t *testing.T, spacingMM int64, throw layout.Length, p uniformity.Profile, cells int64) *uniformity.Result {
	far := geom.Pt(spacingMM, spacingMM)
	heads := lattice(geom.Pt(spacingMM, 0), geom.Pt(0, spacingMM), far, throw, p)
	return simulate(t, box(0, 0, far.X, far.Y), heads, layout.Length(spacingMM)/layout.Length(1000*cells))
}

// TestConesOnLattices holds infinite lattices of the cone against values worked
// out by another program on 160 × 160 cell centres.
func TestConesOnLattices(t *testing.T) {
	const throwMM, cells = 16_000, 160
	square := []struct{ percent, cu, quarter, sc float64 }{
		{50, 96.4, 95.0, 1.08}, {55, 97.4, 95.7, 1.11}, {60, 90.6, 84.7, 1.30}, {65, 83.3, 70.8, 1.99}, {70, 76.0, 58.1, 13.3}}
	for _, c := range square {
		spacing := int64(c.percent * throwMM / 50)
		s := squareLattice(t, spacing, throwMM/1000, uniformity.Cone(), cells).Statistics
		require.Equal(t, cells*cells, s.Count)
		assert.InDelta(t, c.cu, 100*s.CU, 0.06, "CU, square, %v %%", c.percent)
		assert.InDelta(t, c.quarter, 100*s.DULowQuarter, 0.06, "DU_lq, square, %v %%", c.percent)
		assert.InEpsilon(t, c.sc, s.SchedulingCoefficient(), 0.006, "SC, square, %v %%", c.percent)
	}
	equilateral := []struct{ percent, cu, quarter float64 }{
		{50, 96.6, 93.6}, {55, 95.3, 92.4}, {60, 95.4, 94.4}, {65, 94.7, 94.0}, {70, 88.8, 87.7}}
	for _, c := range equilateral {
		spacing := int64(c.percent * throwMM / 50)
		s := equilateralLattice(t, spacing, throwMM/1000, cells).Statistics
		assert.InDelta(t, c.cu, 100*s.CU, 0.3, "CU, equilateral, %v %%", c.percent)
		assert.InDelta(t, c.quarter, 100*s.DULowQuarter, 0.3, "DU_lq, equilateral, %v %%", c.percent)
	}
}

// equilateralLattice waters the rectangle that two meshes fill.
func equilateralLattice(t *testing.T, spacingMM int64, throw layout.Length, cells int64) *uniformity.Result {
	row := int64(math.Round(float64(spacingMM) * math.Sqrt(3) / 2))
	far := geom.Pt(spacingMM, 2*row)
	heads := lattice(geom.Pt(spacingMM, 0), geom.Pt(spacingMM/2, row), far, throw, uniformity.Cone())
	return simulate(t, box(0, 0, far.X, far.Y), heads, layout.Length(spacingMM)/layout.Length(1000*cells))
}

// TestLatticeMeansAreExact holds the mean of cones at 50 % of the diameter,
// the volume of one over the mesh: π/3 and 2π/(3·√3) times the peak.
func TestLatticeMeansAreExact(t *testing.T) {
	assert.InEpsilon(t, math.Pi/3, squareLattice(t, 16_000, 16, uniformity.Cone(), 160).Statistics.Mean, 1e-5)
	assert.InDelta(t, 1.2092, equilateralLattice(t, 16_000, 16, 160).Statistics.Mean, 1e-3)
}

// TestHalvingTheSpacing holds what is true of every profile: a lattice of half
// the spacing is four of the old one laid over each other, and the lowest
// quarter of a sum is no lower than the sum of the lowest quarters, nor its mean
// deviation larger than their sum. (Between other spacings there is no such
// law: cones on squares water more evenly at 55 % of the diameter than at 50 %.)
func TestHalvingTheSpacing(t *testing.T) {
	const cells = 48
	for _, p := range uniformity.GenericProfiles() {
		for _, spacing := range []int64{4800, 9600, 14_400} {
			wide, close := squareLattice(t, spacing, 8, p, cells), squareLattice(t, spacing/2, 8, p, cells/2)
			assert.InEpsilon(t, 4*wide.Statistics.Mean, close.Statistics.Mean, 1e-9)
			assert.GreaterOrEqual(t, close.Statistics.DULowQuarter, wide.Statistics.DULowQuarter-1e-12, "%s at %d mm", p.Name, spacing)
			assert.GreaterOrEqual(t, close.Statistics.DULowHalf, wide.Statistics.DULowHalf-1e-12, "%s at %d mm", p.Name, spacing)
			assert.GreaterOrEqual(t, close.Statistics.CU, wide.Statistics.CU-1e-12, "%s at %d mm", p.Name, spacing)
		}
	}
}

// TestWiderIsWorse holds that beyond 55 % of the diameter cones on squares
// water the worse the wider they stand.
func TestWiderIsWorse(t *testing.T) {
	last := uniformity.Statistics{CU: 1, DULowQuarter: 1, DULowHalf: 1}
	for spacing := int64(8800); spacing <= 13_600; spacing += 400 {
		s := squareLattice(t, spacing, 8, uniformity.Cone(), 40).Statistics
		assert.Less(t, s.CU, last.CU, "at %d mm", spacing)
		assert.Less(t, s.DULowQuarter, last.DULowQuarter, "at %d mm", spacing)
		assert.Less(t, s.DULowHalf, last.DULowHalf, "at %d mm", spacing)
		last = s
	}
}

func TestVolumeInIsVolumeOut(t *testing.T) {
	lawn := box(-6000, -6000, 6000, 6000)
	for _, p := range uniformity.GenericProfiles() {
		for _, c := range []struct{ start, sweep float64 }{{0, 360}, {17, 123}, {200, 300}} {
			h := fixedArc(13, -7, 5, c.start, c.sweep)
			h.Profile, h.LeastThrow = p, 0.7
			r := simulate(t, lawn, []uniformity.Sprinkler{h}, 0.04)
			// Cells along a side or a sudden edge are in or out as a whole.
			assert.InDelta(t, 0, r.Total.GridError(), 4e-3, "%s over %v°", p.Name, c.sweep)
			onLawn := 0.0
			for _, rate := range r.Rates {
				onLawn += rate * 0.04 * 0.04 / 60
			}
			assert.InEpsilon(t, onLawn, r.Total.OnLawn.LPM(), 1e-9)
			assert.Zero(t, r.Total.OffLawn)
		}
	}
	// Without sides or sudden edges the grid is far better than that.
	r := simulate(t, box(-3000, -3000, 3000, 3000), []uniformity.Sprinkler{fixedArc(0, 0, 3, 0, 360)}, 0.01)
	assert.InDelta(t, 0, r.Total.GridError(), 1e-6)
}

// TestMatchedPrecipitation holds the definition of 30 TAC §344.1(32): heads
// whose flow is in proportion to their arc apply water at the same rate.
func TestMatchedPrecipitation(t *testing.T) {
	lawn := box(0, 0, 5000, 5000)
	full := simulate(t, lawn, []uniformity.Sprinkler{matched(360, 4)}, 0)
	require.Greater(t, full.Statistics.Mean, 0.0)
	for _, c := range []struct{ sweep, gpm float64 }{{180, 2}, {120, 4.0 / 3}, {90, 1}} {
		r := simulate(t, lawn, []uniformity.Sprinkler{matched(c.sweep, c.gpm)}, 0)
		require.Equal(t, full.At, r.At)
		for i := range r.Rates {
			assert.InDelta(t, full.Rates[i], r.Rates[i], 1e-9, "sweep %v° at %v", c.sweep, r.At[i])
		}
	}
}

func matched(sweep, gpm float64) uniformity.Sprinkler {
	h := fixedArc(0, 0, 5, 0, sweep)
	h.Head.Flow = layout.GPM(gpm)
	return h
}

func TestEvenQuarterByHand(t *testing.T) {
	h := fixedArc(0, 0, 3, 0, 90)
	h.Profile, h.Head.Flow = uniformity.Even(), 2
	r := simulate(t, box(0, 0, 3000, 3000), []uniformity.Sprinkler{h}, 0.05)
	rate := 2 * 60 / (math.Pi * 9 / 4) // L/h over the quarter circle
	dry := 0
	for i, got := range r.Rates {
		if r.At[i].Within(h.Head.At, 3000) {
			assert.InDelta(t, rate, got, 1e-9)
		} else {
			assert.Zero(t, got)
			dry++
		}
	}
	assert.InDelta(t, 1-math.Pi/4, float64(dry)/float64(len(r.Rates)), 2e-3)
	assert.InDelta(t, float64(r.MeanRate()), 2*60/9.0, 0.02)
	assert.Zero(t, r.Statistics.Lowest)
	assert.Zero(t, r.HeadToHead)
}

func TestHalfTheCircleOffTheLawn(t *testing.T) {
	h := fixedArc(0, 0, 4, 0, 360)
	r := simulate(t, box(0, -5000, 5000, 5000), []uniformity.Sprinkler{h}, 0.05)
	assert.InDelta(t, 0.5, r.Total.OversprayShare(), 1e-3)
	assert.Zero(t, r.Total.BlockedShare())
	assert.InEpsilon(t, 5.0, r.Total.OnLawn.LPM(), 1e-3)
}

// TestWallTakesWaterAndGivesNoneBack holds the model of blockers: nothing
// changes where the head sees, and the rest of its water is lost.
func TestWallTakesWaterAndGivesNoneBack(t *testing.T) {
	lawn := box(-5000, -5000, 5000, 5000)
	open := fixedArc(0, 0, 4, 0, 360)
	walled := open
	walled.View = eastOf(0)
	before, after := simulate(t, lawn, []uniformity.Sprinkler{open}, 0.1), simulate(t, lawn, []uniformity.Sprinkler{walled}, 0.1)
	for i, p := range before.At {
		if p.X >= 0 {
			assert.Equal(t, before.Rates[i], after.Rates[i])
		} else {
			assert.Zero(t, after.Rates[i])
		}
	}
	assert.InDelta(t, 0.5, after.Total.BlockedShare(), 1e-3)
	assert.InDelta(t, before.Total.GridError(), after.Total.GridError(), 1e-12)
}

func TestVariableThrowIsEvenOverWhatItReaches(t *testing.T) {
	reach := box(3000, 0, 10_000, 8000)
	h := uniformity.Sprinkler{View: viewOf(reach.Has), Head: layout.Head{At: geom.Pt(4000, 5000),
		Kind: layout.VariableThrow, Throw: 20, Flow: 12}}
	r := simulate(t, box(0, 0, 10_000, 10_000), []uniformity.Sprinkler{h}, 0)
	for i, p := range r.At {
		want := 0.0
		if reach.Has(p) {
			want = 12 * 60 / (7.0 * 8)
		}
		assert.InDelta(t, want, r.Rates[i], 1e-9, "at %v", p)
	}
	assert.InDelta(t, 12, r.Total.OnLawn.LPM(), 1e-9)
	assert.Equal(t, uniformity.Balance{Flow: 12, OnLawn: r.Total.OnLawn}, r.Total)

	onto := simulate(t, box(0, 0, 10_000, 4000), []uniformity.Sprinkler{h}, 0)
	assert.InDelta(t, 0.5, onto.Total.OversprayShare(), 1e-9, "what it reaches beyond the lawn is overspray")
	assert.InDelta(t, 0, onto.Total.GridError(), 1e-12)
}

func TestHeadThatReachesNoCell(t *testing.T) {
	lawn := box(0, 0, 1000, 1000)
	small := fixedArc(0, 0, 0.1, 0, 90)
	nowhere := small
	nowhere.Head.Kind = layout.VariableThrow
	for _, h := range []uniformity.Sprinkler{small, nowhere} {
		r := simulate(t, lawn, []uniformity.Sprinkler{h}, 0)
		assert.Zero(t, r.Statistics.Mean)
		assert.Equal(t, 1.0, r.Total.GridError(), "%s: the water must be missed", h.Head.Kind)
	}
}

func TestHeadToHeadByHand(t *testing.T) {
	// Two circles of radius 4 m, 4 m apart, in a lawn of 12 × 8 m: both reach
	// the lens of area r²·(2π/3 − √3/2).
	heads := []uniformity.Sprinkler{fixedArc(4000, 4000, 4, 0, 360), fixedArc(8000, 4000, 4, 0, 360)}
	r := simulate(t, box(0, 0, 12_000, 8000), heads, 0.05)
	assert.InDelta(t, 16*(2*math.Pi/3-math.Sqrt(3)/2)/96, r.HeadToHead, 1e-3)
	require.Len(t, r.Heads, 2)
	assert.InDelta(t, 1, r.Heads[0].OnLawn.LPM()/r.Heads[1].OnLawn.LPM(), 1e-12)
	assert.Equal(t, r.Heads[0].Flow+r.Heads[1].Flow, r.Total.Flow)
}

// TestNeighboursShareNoCell parts a lawn along a line of cell centres, which
// go to the eastern part. A strip without a centre keeps its cells in place.
func TestNeighboursShareNoCell(t *testing.T) {
	west, east, strip := box(0, 0, 1125, 1000), box(1125, 0, 2000, 1000), box(0, 0, 100, 1000)
	all := simulate(t, box(0, 0, 2000, 1000), nil, 0).At
	assert.Len(t, all, 8*4)
	assert.Equal(t, all, simulate(t, append(slices.Clone(west), east...), nil, 0).At)
	assert.Len(t, simulate(t, west, nil, 0).At, 4*4)
	assert.Len(t, simulate(t, append(slices.Clone(strip), east...), nil, 0).At, 4*4)
}

func TestCountRuleOfASimulation(t *testing.T) {
	lawn, heads := box(0, 0, 4250, 250), []uniformity.Sprinkler{fixedArc(0, 0, 5, 0, 90)} // 17 cells
	up := simulate(t, lawn, heads, 0).Statistics
	near, err := uniformity.Simulate(lawn, heads, uniformity.Settings{Rule: uniformity.RoundNearest})
	require.NoError(t, err)
	assert.Greater(t, up.DULowQuarter, near.Statistics.DULowQuarter, "five readings against four")
}

func TestNoHeads(t *testing.T) {
	r := simulate(t, box(0, 0, 1000, 1000), nil, 0)
	assert.Equal(t, uniformity.Statistics{Count: 16}, r.Statistics)
	assert.Equal(t, geom.Pt(125, 125), r.LowestAt)
	assert.Equal(t, layout.Length(0.25), r.Cell)
	assert.Zero(t, r.Total.OversprayShare())
}
