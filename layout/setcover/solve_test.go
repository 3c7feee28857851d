package setcover_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/setcover"
)

func TestSolveByHand(t *testing.T) {
	ones := func(n int) []int64 { return slices.Repeat([]int64{1}, n) }
	cases := map[string]struct {
		p      setcover.Problem
		status setcover.Status
		size   int
	}{
		"nothing to cover": {setcover.Problem{}, setcover.Optimal, 0},
		"one column does": {setcover.Problem{Columns: [][]int32{{0, 1}, {0, 1, 2}}, Weights: ones(3)},
			setcover.Optimal, 1},
		"greedy is led astray": {setcover.Problem{
			Columns: [][]int32{{0, 1, 2, 3}, {0, 1, 4}, {2, 3, 5}}, Weights: ones(6)}, setcover.Optimal, 2},
		"odd cycle: the relaxation stops at 2.5": {setcover.Problem{
			Columns: [][]int32{{0, 1}, {1, 2}, {2, 3}, {3, 4}, {0, 4}}, Weights: ones(5)}, setcover.Optimal, 3},
		"odd cycle with one row to spare": {setcover.Problem{
			Columns: [][]int32{{0, 1}, {1, 2}, {2, 3}, {3, 4}, {0, 4}}, Weights: ones(5), Spare: 1}, setcover.Optimal, 2},
		"a heavy row cannot be spared": {setcover.Problem{
			Columns: [][]int32{{0}, {1}}, Weights: []int64{1, 5}, Spare: 4}, setcover.Optimal, 1},
		"everything may be spared": {setcover.Problem{
			Columns: [][]int32{{0}}, Weights: ones(2), Spare: 2}, setcover.Optimal, 0},
		"a row no column covers": {setcover.Problem{
			Columns: [][]int32{{0}}, Weights: ones(2)}, setcover.Infeasible, 0},
		"the same, spared": {setcover.Problem{
			Columns: [][]int32{{0}}, Weights: ones(2), Spare: 1}, setcover.Optimal, 1},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			r, err := setcover.Solve(context.Background(), c.p, setcover.Settings{})
			require.NoError(t, err)
			assert.Equal(t, c.status, r.Status)
			assert.Len(t, r.Chosen, c.size)
			if c.status == setcover.Optimal {
				assert.Equal(t, c.size, r.Bound)
			}
		})
	}
}

func TestMalformedProblems(t *testing.T) {
	for name, p := range map[string]setcover.Problem{
		"row out of range":  {Columns: [][]int32{{1}}, Weights: []int64{1}},
		"rows not sorted":   {Columns: [][]int32{{1, 0}}, Weights: []int64{1, 1}},
		"row twice":         {Columns: [][]int32{{0, 0}}, Weights: []int64{1}},
		"weight zero":       {Weights: []int64{0}},
		"weights too large": {Weights: []int64{1 << 39, 1 << 39}},
		"negative spare":    {Spare: -1},
	} {
		_, err := setcover.Solve(context.Background(), p, setcover.Settings{})
		assert.Error(t, err, name)
	}
}

// TestAgainstEnumeration compares with trying every choice on small random
// problems, whole and partial.
func TestAgainstEnumeration(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 3))
	optimal, feasible := 0, 0
	for range 400 {
		p := randomProblem(rng, 2+rng.IntN(14), 2+rng.IntN(20))
		r, err := setcover.Solve(context.Background(), p, setcover.Settings{})
		require.NoError(t, err)
		want, ok := enumerate(p)
		require.Equal(t, ok, r.Status != setcover.Infeasible)
		if !ok {
			continue
		}
		feasible++
		require.Len(t, r.Chosen, want, "%+v", p)
		require.LessOrEqual(t, r.Bound, want)
		require.LessOrEqual(t, p.Uncovered(r.Chosen), p.Spare)
		require.Equal(t, r.Uncovered, p.Uncovered(r.Chosen))
		if r.Status == setcover.Optimal {
			optimal++
		}
	}
	assert.Greater(t, feasible, 150)
	assert.Equal(t, feasible, optimal, "problems this small are always closed")
}

func randomProblem(rng *rand.Rand, columns, rows int) setcover.Problem {
	p := setcover.Problem{Weights: make([]int64, rows)}
	total := int64(0)
	for r := range p.Weights {
		p.Weights[r] = 1 + rng.Int64N(9)
		total += p.Weights[r]
	}
	density := 0.1 + 0.4*rng.Float64()
	for range columns {
		var col []int32
		for r := range rows {
			if rng.Float64() < density {
				col = append(col, int32(r))
			}
		}
		p.Columns = append(p.Columns, col)
	}
	if rng.IntN(2) == 0 {
		p.Spare = total * rng.Int64N(30) / 100
	}
	return p
}

func enumerate(p setcover.Problem) (int, bool) {
	best, ok := 0, false
	for mask := range 1 << len(p.Columns) {
		var chosen []int
		for c := range p.Columns {
			if mask>>c&1 == 1 {
				chosen = append(chosen, c)
			}
		}
		if (!ok || len(chosen) < best) && p.Uncovered(chosen) <= p.Spare {
			best, ok = len(chosen), true
		}
	}
	return best, ok
}

// TestDiscsOnSquare checks validity and repeatability on problems of the kind
// the package exists for: discs over the points of a square.
func TestDiscsOnSquare(t *testing.T) {
	for _, spare := range []float64{0, 0.03, 0.10} {
		p := discs(30, 8, spare)
		r, err := setcover.Solve(context.Background(), p, setcover.Settings{})
		require.NoError(t, err)
		require.LessOrEqual(t, p.Uncovered(r.Chosen), p.Spare)
		require.LessOrEqual(t, len(r.Chosen), r.Greedy)
		require.GreaterOrEqual(t, r.Bound, len(r.Chosen)-1)
		again, err := setcover.Solve(context.Background(), p, setcover.Settings{})
		require.NoError(t, err)
		require.Equal(t, r, again)
		t.Logf("spare %.2f: greedy %d, chosen %d, bound %d, %+v", spare, r.Greedy, len(r.Chosen), r.Bound, r.Work)
	}
}

// discs is a square of n by n points to be covered by discs of the given
// radius about them.
func discs(n, radius int, spareShare float64) setcover.Problem {
	p := setcover.Problem{Weights: slices.Repeat([]int64{10}, n*n), Spare: int64(spareShare * float64(10*n*n))}
	for x := range n {
		for y := range n {
			var col []int32
			for u := range n {
				for v := range n {
					if (u-x)*(u-x)+(v-y)*(v-y) <= radius*radius {
						col = append(col, int32(u*n+v))
					}
				}
			}
			p.Columns = append(p.Columns, col)
		}
	}
	return p
}

func BenchmarkSolveDiscs(b *testing.B) {
	for _, n := range []int{20, 30, 40} {
		p := discs(n, 8, 0.03)
		b.Run("n="+string(rune('0'+n/10))+"0", func(b *testing.B) {
			for b.Loop() {
				if _, err := setcover.Solve(context.Background(), p, setcover.Settings{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// TestStartIsKept: a choice to begin with is at least as good as what comes
// out, dominated columns and useless ones included; and with no effort for a
// bound none but the trivial one is claimed.
func TestStartIsKept(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 33))
	for range 200 {
		p := randomProblem(rng, 6+rng.IntN(10), 4+rng.IntN(10))
		full, err := setcover.Solve(context.Background(), p, setcover.Settings{})
		require.NoError(t, err)
		if full.Status == setcover.Infeasible {
			continue
		}
		start := slices.Clone(full.Chosen)
		again, err := setcover.Solve(context.Background(), p, setcover.Settings{Start: start, Pivots: -1, Moves: 1})
		require.NoError(t, err)
		assert.LessOrEqual(t, len(again.Chosen), len(full.Chosen))
		assert.LessOrEqual(t, p.Uncovered(again.Chosen), p.Spare)
		assert.LessOrEqual(t, again.Bound, 1)
	}
	p := setcover.Problem{Columns: [][]int32{{0}}, Weights: []int64{1}}
	_, err := setcover.Solve(context.Background(), p, setcover.Settings{Start: []int{1}})
	assert.ErrorContains(t, err, "column 1")
}
