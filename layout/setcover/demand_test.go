package setcover_test

import (
	"context"
	"math/bits"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/setcover"
)

func TestDemandByHand(t *testing.T) {
	ones := func(n int) []int64 { return slices.Repeat([]int64{1}, n) }
	cases := map[string]struct {
		p      setcover.Problem
		status setcover.Status
		size   int
	}{
		"a column counts once": {setcover.Problem{
			Columns: [][]int32{{0}, {0}, {0}}, Weights: ones(1), Demand: []int32{2}}, setcover.Optimal, 2},
		"too few columns": {setcover.Problem{
			Columns: [][]int32{{0}}, Weights: ones(1), Demand: []int32{2}}, setcover.Infeasible, 0},
		"too few columns, spared": {setcover.Problem{
			Columns: [][]int32{{0, 1}}, Weights: ones(2), Demand: []int32{2, 1}, Spare: 1}, setcover.Optimal, 1},
		"a column within another is needed beside it": {setcover.Problem{
			Columns: [][]int32{{0, 1}, {0}}, Weights: ones(2), Demand: []int32{2, 1}}, setcover.Optimal, 2},
		"covered alike, demanded unlike": {setcover.Problem{
			Columns: [][]int32{{0, 1}, {0, 1}, {0, 1}}, Weights: ones(2), Demand: []int32{1, 3}}, setcover.Optimal, 3},
		"the row that asks for much is spared": {setcover.Problem{
			Columns: [][]int32{{0, 1}, {0, 1}, {0, 1}}, Weights: []int64{9, 1}, Demand: []int32{1, 3}, Spare: 1}, setcover.Optimal, 1},
		"odd cycle twice over takes every column": {setcover.Problem{
			Columns: [][]int32{{0, 1}, {1, 2}, {2, 3}, {3, 4}, {0, 4}}, Weights: ones(5), Demand: []int32{2, 2, 2, 2, 2}},
			setcover.Optimal, 5},
		"odd cycle twice over with one row to spare": {setcover.Problem{
			Columns: [][]int32{{0, 1}, {1, 2}, {2, 3}, {3, 4}, {0, 4}}, Weights: ones(5), Demand: []int32{2, 2, 2, 2, 2}, Spare: 2},
			setcover.Optimal, 4},
		// A point is on three of the seven lines, and two left out meet in
		// a point that is then on one only.
		"the Fano plane, its points on two chosen lines": {setcover.Problem{
			Columns: fano, Weights: ones(7), Demand: []int32{2, 2, 2, 2, 2, 2, 2}}, setcover.Optimal, 6},
		"the Fano plane, once": {setcover.Problem{Columns: fano, Weights: ones(7)}, setcover.Optimal, 3},
		"the Fano plane, three times": {setcover.Problem{
			Columns: fano, Weights: ones(7), Demand: []int32{3, 3, 3, 3, 3, 3, 3}}, setcover.Optimal, 7},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			r, err := setcover.Solve(context.Background(), c.p, setcover.Settings{})
			require.NoError(t, err)
			assert.Equal(t, c.status, r.Status)
			assert.Len(t, r.Chosen, c.size)
			if c.status == setcover.Optimal {
				assert.Equal(t, c.size, r.Bound)
				assert.LessOrEqual(t, uncoveredBySets(c.p, r.Chosen), c.p.Spare)
			}
		})
	}
}

// fano holds the lines of the plane of seven points.
var fano = [][]int32{{0, 1, 2}, {0, 3, 4}, {0, 5, 6}, {1, 3, 5}, {1, 4, 6}, {2, 3, 6}, {2, 4, 5}}

func TestMalformedDemand(t *testing.T) {
	for name, demand := range map[string][]int32{
		"too few": {1}, "none": {}, "zero": {1, 0}, "negative": {-1, 1}, "absurd": {1, 1 << 20},
	} {
		p := setcover.Problem{Columns: [][]int32{{0, 1}}, Weights: []int64{1, 1}, Demand: demand}
		_, err := setcover.Solve(context.Background(), p, setcover.Settings{})
		assert.ErrorContains(t, err, "demand", name)
	}
}

// uncoveredBySets is Uncovered worked out another way: from a set of columns for
// every row.
func uncoveredBySets(p setcover.Problem, chosen []int) int64 {
	by := map[int32]map[int]bool{}
	for _, c := range chosen {
		for _, r := range p.Columns[c] {
			if by[r] == nil {
				by[r] = map[int]bool{}
			}
			by[r][c] = true
		}
	}
	left := int64(0)
	for r, w := range p.Weights {
		need := 1
		if p.Demand != nil {
			need = int(p.Demand[r])
		}
		if len(by[int32(r)]) < need {
			left += w
		}
	}
	return left
}

// TestDemandAgainstEnumeration compares with trying every choice on small random
// problems whose rows demand one to three columns, whole and partial.
func TestDemandAgainstEnumeration(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 55))
	feasible := 0
	for range 600 {
		p := randomDemand(rng, randomProblem(rng, 2+rng.IntN(11), 2+rng.IntN(16)), 3)
		r, err := setcover.Solve(context.Background(), p, setcover.Settings{Nodes: 5000, Pivots: 100_000})
		require.NoError(t, err)
		want, ok := enumerateBySets(p)
		require.Equal(t, ok, r.Status != setcover.Infeasible, "%+v", p)
		if !ok {
			continue
		}
		feasible++
		require.Len(t, r.Chosen, want, "%+v", p)
		require.LessOrEqual(t, uncoveredBySets(p, r.Chosen), p.Spare)
		require.Equal(t, r.Uncovered, uncoveredBySets(p, r.Chosen))
		require.Equal(t, setcover.Optimal, r.Status, "%+v", p)
		require.Equal(t, want, r.Bound)
	}
	assert.Greater(t, feasible, 150)
}

func randomDemand(rng *rand.Rand, p setcover.Problem, most int32) setcover.Problem {
	p.Demand = make([]int32, len(p.Weights))
	for r := range p.Demand {
		p.Demand[r] = 1 + rng.Int32N(most)
	}
	return p
}

// enumerateBySets tries every set of columns, each a number whose bits are its
// columns, and so are those of the columns that cover a row.
func enumerateBySets(p setcover.Problem) (int, bool) {
	by := make([]uint, len(p.Weights))
	for c, col := range p.Columns {
		for _, r := range col {
			by[r] |= 1 << c
		}
	}
	best, ok := 0, false
	for set := range uint(1) << len(p.Columns) {
		left := int64(0)
		for r, w := range p.Weights {
			if bits.OnesCount(set&by[r]) < int(p.Demand[r]) {
				left += w
			}
		}
		if n := bits.OnesCount(set); left <= p.Spare && (!ok || n < best) {
			best, ok = n, true
		}
	}
	return best, ok
}

// TestDemandOfOne: demanding one column everywhere is demanding nothing special,
// to the last count of work.
func TestDemandOfOne(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 66))
	for range 100 {
		p := randomProblem(rng, 10+rng.IntN(40), 10+rng.IntN(40))
		plain, err := setcover.Solve(context.Background(), p, setcover.Settings{})
		require.NoError(t, err)
		p.Demand = slices.Repeat([]int32{1}, len(p.Weights))
		same, err := setcover.Solve(context.Background(), p, setcover.Settings{})
		require.NoError(t, err)
		require.Equal(t, plain, same)
	}
}

// TestDemandOnSquare: discs on a square, two or more over every point, are valid
// by separate code, never fewer than discs that cover once, and the same again.
func TestDemandOnSquare(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 77))
	for _, spare := range []float64{0, 0.03, 0.10} {
		p := discs(20, 6, spare)
		once, err := setcover.Solve(context.Background(), p, setcover.Settings{})
		require.NoError(t, err)
		for _, p := range []setcover.Problem{randomDemand(rng, p, 3), twice(p)} {
			r, err := setcover.Solve(context.Background(), p, setcover.Settings{Nodes: 20})
			require.NoError(t, err)
			assert.LessOrEqual(t, uncoveredBySets(p, r.Chosen), p.Spare)
			assert.LessOrEqual(t, len(r.Chosen), r.Greedy)
			assert.LessOrEqual(t, once.Bound, len(r.Chosen))
			assert.GreaterOrEqual(t, r.Bound, len(r.Chosen)-2)
			if r.Near != nil {
				assert.Len(t, r.Near, len(r.Chosen)-1)
			}
			again, err := setcover.Solve(context.Background(), p, setcover.Settings{Nodes: 20})
			require.NoError(t, err)
			assert.Equal(t, r, again)
			t.Logf("spare %.2f: greedy %d, chosen %d, bound %d, %+v", spare, r.Greedy, len(r.Chosen), r.Bound, r.Work)
		}
	}
}

// twice is p with every row demanding two columns.
func twice(p setcover.Problem) setcover.Problem {
	p.Demand = slices.Repeat([]int32{2}, len(p.Weights))
	return p
}

// TestDemandStartIsKept: as TestStartIsKept, with demands.
func TestDemandStartIsKept(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 88))
	kept := 0
	for range 300 {
		p := randomDemand(rng, randomProblem(rng, 6+rng.IntN(10), 4+rng.IntN(10)), 3)
		full, err := setcover.Solve(context.Background(), p, setcover.Settings{})
		require.NoError(t, err)
		if full.Status == setcover.Infeasible {
			continue
		}
		kept++
		again, err := setcover.Solve(context.Background(), p, setcover.Settings{Start: full.Chosen, Pivots: -1, Moves: 1})
		require.NoError(t, err)
		assert.LessOrEqual(t, len(again.Chosen), len(full.Chosen))
		assert.LessOrEqual(t, uncoveredBySets(p, again.Chosen), p.Spare)
		every := make([]int, len(p.Columns)) // dominated and useless ones included
		for c := range every {
			every[c] = c
		}
		again, err = setcover.Solve(context.Background(), p, setcover.Settings{Start: every})
		require.NoError(t, err)
		assert.Len(t, again.Chosen, len(full.Chosen))
	}
	assert.Greater(t, kept, 50)
}
