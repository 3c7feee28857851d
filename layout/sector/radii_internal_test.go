package sector

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout"
)

// The steps of a radius end at the least one, rounded up to the millimetre, and
// stay within the throw and above a smaller nozzle.
func TestRadiiOf(t *testing.T) {
	for _, c := range []struct {
		z       Nozzle
		smaller layout.Length
		step    float64
		want    []int64
	}{
		{Nozzle{Throw: 8}, 0, 1. / 16, []int64{8000}},
		{Nozzle{Throw: 8, TurnedDown: 6}, 0, 1. / 8, []int64{8000, 7000, 6000}},
		{Nozzle{Throw: 8, TurnedDown: 6}, 6.5, 1. / 8, []int64{8000, 7000}},
		{Nozzle{Throw: 3.6576, TurnedDown: 2.7432}, 0, 1. / 8, []int64{3657, 3201, 2744}},
		{Nozzle{Throw: 2.4384, TurnedDown: 2.4384}, 0, 1. / 8, []int64{2438}},
	} {
		assert.Equal(t, c.want, radiiOf(c.z, c.smaller, c.step), "%+v", c)
	}
}

func TestNthAgainstSorting(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		v := make([]int32, 1+rng.IntN(200))
		for i := range v {
			v[i] = rng.Int32N(int32(1 + rng.IntN(100)))
		}
		sorted := slices.Sorted(slices.Values(v))
		k := rng.IntN(len(v))
		assert.Equal(t, sorted[k], nth(v, k))
	}
}

// The driest quarter's mean by the running formula is that of the sorted depths.
func TestDUOfField(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 200 {
		n := 4 * (1 + rng.IntN(50)) // quarters come out even
		f := &field{on: make([]water, n), depths: make([]int32, n)}
		var depths []int32
		for i := range f.on {
			f.on[i].depth = 1 + rng.Int32N(1000)
			f.sum += int64(f.on[i].depth)
			depths = append(depths, f.on[i].depth)
		}
		f.relevel()
		slices.Sort(depths)
		low := 0.0
		for _, d := range depths[:n/4] {
			low += float64(d)
		}
		assert.InDelta(t, low/float64(n/4)/(float64(f.sum)/float64(n)), f.du(), 1e-12)
		exact := f.du()
		f.setLevel(f.level + rng.Int32N(400) - 200)
		assert.LessOrEqual(t, f.du(), exact+1e-12, "a level out of date never flatters")
	}
}

func TestArcSums(t *testing.T) {
	var marked [turn]bool
	arc{350, 20}.mark(&marked)
	for b, got := range marked {
		assert.Equal(t, b >= 350 || b < 10, got, b)
	}
	left := countFalse(&marked)
	assert.EqualValues(t, 0, arc{350, 20}.total(&left))
	assert.EqualValues(t, 340, arc{0, 360}.total(&left))
	assert.EqualValues(t, 30, arc{340, 60}.total(&left)-10)
	assert.True(t, arc{350, 90}.like(arc{0, 90}))
	assert.False(t, arc{350, 90}.like(arc{60, 90}))
}
