package uniformity

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
)

// CountRule says how many of n readings make up the lowest quarter or half
// when n does not divide evenly. The published worked examples that the tests
// hold (15, 16 and 46 cans) come out the same under both.
type CountRule int8

const (
	// RoundUp takes ⌈n/4⌉ and ⌈n/2⌉ readings.
	RoundUp CountRule = iota
	// RoundNearest takes the nearest whole number, halves going to the even
	// one, and at least one reading, as the R library spreval counts (G.
	// Grabow, North Carolina State University). For 17 or 50 cans it differs
	// from RoundUp.
	RoundNearest
)

// of returns how many of n readings make up the lowest 1/parts.
func (c CountRule) of(n, parts int) float64 {
	share := float64(n) / float64(parts)
	if c == RoundNearest {
		return max(1, math.RoundToEven(share))
	}
	return math.Ceil(share)
}

// Statistics tell how even a set of readings is. CU and DU are shares; times
// 100 they are the percentages of the trade. Of readings that are all zero
// they are zero by convention.
type Statistics struct {
	Count   int
	Mean    float64 // in the unit of the readings, like Lowest and Highest
	Lowest  float64
	Highest float64

	// CU is Christiansen's coefficient of uniformity, 1 − Σ|x−m|/(n·m)
	// (J. E. Christiansen, Irrigation by Sprinkling, California Agricultural
	// Experiment Station Bulletin 670, 1942). Very uneven readings make it
	// negative.
	CU float64
	// DULowQuarter is the mean of the lowest quarter over the mean of all
	// (J. L. Merriam and J. Keller, Farm Irrigation System Evaluation, 1978).
	DULowQuarter float64
	// DULowHalf is the mean of the lower half over the mean of all.
	DULowHalf float64
}

// SchedulingCoefficient is the mean over the lowest reading: how much longer
// than by the mean rate water must run until the driest spot has its due. It is
// +Inf when that spot gets nothing.
func (s Statistics) SchedulingCoefficient() float64 {
	if s.Lowest == 0 {
		return math.Inf(1)
	}
	return s.Mean / s.Lowest
}

// RunTimeMultiplier is 1/DU_lh, the auditors' rule for how much longer than by
// the mean rate water must run. It is +Inf when the lower half gets nothing.
func (s Statistics) RunTimeMultiplier() float64 {
	if s.DULowHalf == 0 {
		return math.Inf(1)
	}
	return 1 / s.DULowHalf
}

// Evaluate returns the statistics of readings that stand for equal areas:
// catch cans or cells of a grid. Readings are depths, volumes of like cans or
// rates; they must be finite and not negative, and there must be one.
func Evaluate(readings []float64, rule CountRule) (Statistics, error) {
	if err := checkReadings(readings); err != nil {
		return Statistics{}, err
	}
	s := sample{readings: slices.Clone(readings)}
	slices.Sort(s.readings)
	return s.describe(rule.of(len(readings), 4), rule.of(len(readings), 2)), nil
}

// EvaluateByArea returns the statistics of readings that stand for the given
// areas, in any one unit, all positive. The lowest quarter is the quarter of
// the area with the lowest readings; one that straddles it counts in part.
func EvaluateByArea(readings, areas []float64) (Statistics, error) {
	if len(readings) != len(areas) {
		return Statistics{}, fmt.Errorf("%d readings but %d areas", len(readings), len(areas))
	}
	if err := checkReadings(readings); err != nil {
		return Statistics{}, err
	}
	order, total := make([]int, len(readings)), 0.0
	for i, a := range areas {
		if !(a > 0) || math.IsInf(a, 1) {
			return Statistics{}, fmt.Errorf("area %d of %d, %v, is not positive and finite", i+1, len(areas), a)
		}
		order[i] = i
		total += a
	}
	slices.SortFunc(order, func(i, j int) int {
		return cmp.Or(cmp.Compare(readings[i], readings[j]), cmp.Compare(areas[i], areas[j]))
	})
	var s sample
	for _, i := range order {
		s.readings, s.areas = append(s.readings, readings[i]), append(s.areas, areas[i])
	}
	return s.describe(total/4, total/2), nil
}

func checkReadings(readings []float64) error {
	if len(readings) == 0 {
		return errors.New("no readings to evaluate")
	}
	for i, r := range readings {
		if !(r >= 0) || math.IsInf(r, 1) {
			return fmt.Errorf("reading %d of %d, %v, is negative or not finite", i+1, len(readings), r)
		}
	}
	return nil
}

// sample is a set of readings from the lowest up, with the areas they stand
// for; without areas each counts as 1.
type sample struct{ readings, areas []float64 }

func (s sample) area(i int) float64 {
	if s.areas == nil {
		return 1
	}
	return s.areas[i]
}

// describe works out the statistics of a sample whose lowest quarter and half
// have the given areas.
func (s sample) describe(quarter, half float64) Statistics {
	n := len(s.readings)
	out := Statistics{Count: n, Mean: s.meanOfLowest(math.Inf(1)), Lowest: s.readings[0], Highest: s.readings[n-1]}
	if out.Mean > 0 {
		out.CU = 1 - s.meanDistance(out.Mean)/out.Mean
		out.DULowQuarter = s.meanOfLowest(quarter) / out.Mean
		out.DULowHalf = s.meanOfLowest(half) / out.Mean
	}
	return out
}

// meanOfLowest returns the mean of the lowest readings that make up the area,
// or of all when they are less.
//
// Products are rounded before they are added, here and below, so that machines
// that would fuse the two operations give the same result.
func (s sample) meanOfLowest(area float64) float64 {
	sum, taken := 0.0, 0.0
	for i, r := range s.readings {
		a := min(s.area(i), area-taken)
		if a <= 0 {
			break
		}
		sum += float64(a * r)
		taken += a
	}
	return sum / taken
}

// meanDistance returns how far the readings lie from m on average.
func (s sample) meanDistance(m float64) float64 {
	sum, total := 0.0, 0.0
	for i, r := range s.readings {
		sum += float64(s.area(i) * math.Abs(r-m))
		total += s.area(i)
	}
	return sum / total
}
