package uniformity_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lotwright/layout/uniformity"
)

// The published catch-can tests, as given on the reference pages and articles
// of the R library spreval (G. Grabow, North Carolina State University).
var (
	// fifteenCans is the example of its pages on CU, DU and DU.lh, in ml.
	fifteenCans = []float64{47, 42, 45, 24, 13, 26, 33, 34, 27, 30, 40, 44, 32, 12, 12}
	// sixteenCans is a solid-set test, in inches: four sprinklers at 80 × 80 ft
	// for 2.25 h (after Merriam and Keller 1978).
	sixteenCans = []float64{.57, .69, .83, .65, .61, .38, .27, .64, .51, .26, .36, .52, .79, .65, .61, .86}
	// lawnAudit is a test on a real lawn, in ml.
	lawnAudit = []float64{9, 11, 11, 13, 17, 14, 15, 15, 3, 15, 13, 6, 14, 11, 7, 11, 14, 17, 9, 6, 4, 8, 9,
		12, 26, 17, 8, 4, 6, 10, 14, 16, 14, 9, 6, 7, 10, 6, 16, 11, 3, 16, 10, 2, 5, 11}
)

func TestPublishedCatchCanTests(t *testing.T) {
	cases := map[string]struct {
		cans                    []float64
		mean, cu, quarter, half float64 // the last three in percent
		meanTolerance, percent  float64 // tolerances
	}{
		"fifteen cans": {fifteenCans, 30.7333, 69.13955, 49.62039, 71.58351, 1e-4, 1e-4},
		"sixteen cans": {sixteenCans, 0.575, 74.89, 55.22, 75.65, 1e-9, 0.01},
		"lawn audit":   {lawnAudit, 10.674, 64.2, 45.3, 64.4, 1e-3, 0.1},
	}
	for name, c := range cases {
		for _, rule := range []uniformity.CountRule{uniformity.RoundUp, uniformity.RoundNearest} {
			t.Run(name, func(t *testing.T) {
				s, err := uniformity.Evaluate(c.cans, rule)
				require.NoError(t, err)
				assert.Equal(t, len(c.cans), s.Count)
				assert.InDelta(t, c.mean, s.Mean, c.meanTolerance)
				assert.InDelta(t, c.cu, 100*s.CU, c.percent)
				assert.InDelta(t, c.quarter, 100*s.DULowQuarter, c.percent)
				assert.InDelta(t, c.half, 100*s.DULowHalf, c.percent)
			})
		}
	}
}

// TestCountRules holds the number of readings in the lowest quarter and half.
// Of n readings 0 for those counted and 1 for the rest, DU tells the number.
func TestCountRules(t *testing.T) {
	cases := []struct{ n, upQuarter, upHalf, nearQuarter, nearHalf int }{
		{1, 1, 1, 1, 1}, {2, 1, 1, 1, 1}, {3, 1, 2, 1, 2}, {5, 2, 3, 1, 2},
		{15, 4, 8, 4, 8},     // published: quarter 4 cans, half 8
		{16, 4, 8, 4, 8},     // published
		{46, 12, 23, 12, 23}, // published: quarter 12 cans
		{17, 5, 9, 4, 8},     // 4.25 and 8.5
		{18, 5, 9, 4, 9},     // 4.5, to the even one
		{50, 13, 25, 12, 25}, // 12.5, to the even one
	}
	for _, c := range cases {
		quarter, half := countsUnder(t, c.n, uniformity.RoundUp)
		assert.Equal(t, [2]int{c.upQuarter, c.upHalf}, [2]int{quarter, half}, "%d readings, rounded up", c.n)
		quarter, half = countsUnder(t, c.n, uniformity.RoundNearest)
		assert.Equal(t, [2]int{c.nearQuarter, c.nearHalf}, [2]int{quarter, half}, "%d readings, to the nearest", c.n)
	}
}

// countsUnder finds how many readings a rule counts: with readings 1 to n the
// mean of the lowest k is (k+1)/2.
func countsUnder(t *testing.T, n int, rule uniformity.CountRule) (quarter, half int) {
	readings := make([]float64, n)
	for i := range readings {
		readings[i] = float64(n - i)
	}
	s, err := uniformity.Evaluate(readings, rule)
	require.NoError(t, err)
	count := func(du float64) int { return int(math.Round(2*du*s.Mean - 1)) }
	return count(s.DULowQuarter), count(s.DULowHalf)
}

func TestSchedulingCoefficient(t *testing.T) {
	s, err := uniformity.Evaluate([]float64{7, 12, 17}, uniformity.RoundUp)
	require.NoError(t, err)
	// avidgreen.com, Irrigate5: 12 mm/h on average and 7 mm/h at the lowest
	// give 1.7, and a need of 9 mm is met in 1.3 h.
	assert.InDelta(t, 1.714, s.SchedulingCoefficient(), 1e-3)
	assert.InEpsilon(t, 1.3, 9.0/12*s.SchedulingCoefficient(), 0.03)

	s, err = uniformity.Evaluate([]float64{10, 18, 26}, uniformity.RoundUp)
	require.NoError(t, err)
	// California State University, Fresno, irrigation note 880802: 30 min by
	// the mean rate and a coefficient of 1.8 make 54 min.
	assert.InDelta(t, 54, 30*s.SchedulingCoefficient(), 1e-12)
}

func TestRunTimeMultiplier(t *testing.T) {
	s, err := uniformity.Evaluate([]float64{8, 8, 12, 12}, uniformity.RoundUp)
	require.NoError(t, err)
	assert.InDelta(t, 0.8, s.DULowHalf, 1e-12)
	// The auditors' rule as restated in lawnsite.com post 4657662: DU_lh of
	// 80 % gives 1.25.
	assert.InDelta(t, 1.25, s.RunTimeMultiplier(), 1e-12)
}

func TestDryReadings(t *testing.T) {
	s, err := uniformity.Evaluate([]float64{0, 0, 0}, uniformity.RoundUp)
	require.NoError(t, err)
	assert.Equal(t, uniformity.Statistics{Count: 3}, s)
	assert.True(t, math.IsInf(s.SchedulingCoefficient(), 1))
	assert.True(t, math.IsInf(s.RunTimeMultiplier(), 1))

	s, err = uniformity.Evaluate([]float64{0, 0, 0, 8}, uniformity.RoundUp)
	require.NoError(t, err)
	assert.InDelta(t, -0.5, s.CU, 1e-12, "very uneven readings make CU negative")
}

func TestByAreaWorkedByHand(t *testing.T) {
	// 8 m² in all: the quarter is the 1 m² at 2 and 1 m² of the 3 m² at 4.
	s, err := uniformity.EvaluateByArea([]float64{4, 2, 10}, []float64{3, 1, 4})
	require.NoError(t, err)
	mean := (4*3 + 2*1 + 10*4) / 8.0
	assert.InDelta(t, mean, s.Mean, 1e-12)
	assert.InDelta(t, 3/mean, s.DULowQuarter, 1e-12)
	assert.InDelta(t, 3.5/mean, s.DULowHalf, 1e-12)
	assert.InDelta(t, 1-((mean-4)*3+(mean-2)*1+(10-mean)*4)/8/mean, s.CU, 1e-12)
	assert.Equal(t, [2]float64{2, 10}, [2]float64{s.Lowest, s.Highest})
}

func TestBadReadings(t *testing.T) {
	for name, c := range map[string]struct {
		readings []float64
		message  string
	}{
		"none":         {nil, "no readings"},
		"negative":     {[]float64{1, -2}, "reading 2 of 2, -2,"},
		"not a number": {[]float64{math.NaN(), 1, 1}, "reading 1 of 3, NaN,"},
		"infinite":     {[]float64{math.Inf(1)}, "reading 1 of 1, +Inf,"},
	} {
		_, err := uniformity.Evaluate(c.readings, uniformity.RoundUp)
		assert.ErrorContains(t, err, c.message, name)
		_, err = uniformity.EvaluateByArea(c.readings, make([]float64, len(c.readings)))
		assert.ErrorContains(t, err, c.message, name)
	}
	for name, c := range map[string]struct {
		areas   []float64
		message string
	}{
		"too few":  {[]float64{1}, "2 readings but 1 areas"},
		"zero":     {[]float64{1, 0}, "area 2 of 2, 0,"},
		"NaN":      {[]float64{math.NaN(), 1}, "area 1 of 2, NaN,"},
		"infinite": {[]float64{1, math.Inf(1)}, "area 2 of 2, +Inf,"},
	} {
		_, err := uniformity.EvaluateByArea([]float64{1, 2}, c.areas)
		assert.ErrorContains(t, err, c.message, name)
	}
}

func TestStatisticsLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := rapid.SliceOfN(rapid.Float64Range(0, 100), 1, 60).Draw(t, "readings")
		readings = append(readings, 1) // never all dry
		s, err := uniformity.Evaluate(readings, uniformity.RoundUp)
		require.NoError(t, err)
		assert.InDelta(t, plainCU(readings), s.CU, 1e-9)
		assert.InDelta(t, plainDU(readings, 4), s.DULowQuarter, 1e-9)
		assert.InDelta(t, plainDU(readings, 2), s.DULowHalf, 1e-9)
		assert.LessOrEqual(t, s.Lowest/s.Mean, s.DULowQuarter+1e-12)
		assert.LessOrEqual(t, s.DULowQuarter, s.DULowHalf+1e-12)
		assert.LessOrEqual(t, s.DULowHalf, 1+1e-12)
		assert.LessOrEqual(t, s.CU, 1.0)

		before := slices.Clone(readings)
		shuffled := rapid.Permutation(readings).Draw(t, "shuffled")
		again, err := uniformity.Evaluate(shuffled, uniformity.RoundUp)
		require.NoError(t, err)
		assert.Equal(t, s, again, "the order of the readings must not matter")
		assert.Equal(t, before, readings, "readings must not be altered")
	})
}

// plainCU and plainDU restate the definitions, the lowest found one by one.
func plainCU(readings []float64) float64 {
	n, sum, off := float64(len(readings)), 0.0, 0.0
	for _, r := range readings {
		sum += r
	}
	for _, r := range readings {
		off += math.Abs(r - sum/n)
	}
	return 1 - off/sum
}

func plainDU(readings []float64, parts int) float64 {
	left, sum, low := slices.Clone(readings), 0.0, 0.0
	for _, r := range readings {
		sum += r
	}
	take := (len(readings) + parts - 1) / parts
	for range take {
		i := slices.Index(left, slices.Min(left))
		low += left[i]
		left = slices.Delete(left, i, i+1)
	}
	return low / float64(take) / (sum / float64(len(readings)))
}

func TestAreaLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		quarters := rapid.SliceOfN(rapid.Float64Range(0.01, 100), 1, 15).Draw(t, "readings")
		var readings []float64
		for i, r := range quarters {
			readings = append(readings, r, r+1, r/2, float64(i))
		}
		area := rapid.Float64Range(0.1, 10).Draw(t, "area")
		areas := slices.Repeat([]float64{area}, len(readings))
		byArea, err := uniformity.EvaluateByArea(readings, areas)
		require.NoError(t, err)
		byCount, err := uniformity.Evaluate(readings, uniformity.RoundUp)
		require.NoError(t, err)
		same(t, byCount, byArea, "equal areas, a number of readings that divides by four")

		cut := rapid.IntRange(0, len(readings)-1).Draw(t, "cut")
		share := rapid.Float64Range(0.01, 0.99).Draw(t, "share") * area
		readings = append(readings, readings[cut])
		areas = append(areas, area-share)
		areas[cut] = share
		inTwo, err := uniformity.EvaluateByArea(readings, areas)
		require.NoError(t, err)
		same(t, byArea, inTwo, "one area cut in two")
	})
}

func same(t require.TestingT, a, b uniformity.Statistics, why string) {
	assert.InDelta(t, a.Mean, b.Mean, 1e-9, why)
	assert.InDelta(t, a.CU, b.CU, 1e-9, why)
	assert.InDelta(t, a.DULowQuarter, b.DULowQuarter, 1e-9, why)
	assert.InDelta(t, a.DULowHalf, b.DULowHalf, 1e-9, why)
	assert.Equal(t, [2]float64{a.Lowest, a.Highest}, [2]float64{b.Lowest, b.Highest}, why)
}
