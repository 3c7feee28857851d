package packing_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"

	"lotwright/layout/packing"
)

// jitter is how far tie-breaking may move an optimum of these sizes.
const jitter = 1e-4

func value(s *packing.Solver, n int) float64 {
	sum := 0.0
	for j := range n {
		sum += s.Value(j)
	}
	return sum
}

func TestByHand(t *testing.T) {
	s := packing.New(3)
	require.True(t, s.Solve(100))
	assert.InDelta(t, 3, value(s, 3), jitter, "no rows: every y at its bound")

	s.Add(0, packing.Row{At: []int32{0, 1}})
	s.Add(1, packing.Row{At: []int32{1, 2}})
	require.True(t, s.Solve(100))
	assert.InDelta(t, 2, value(s, 3), jitter, "y0 and y2, without y1")

	s.Add(2, packing.Row{At: []int32{0, 2}})
	require.True(t, s.Solve(100))
	assert.InDelta(t, 1.5, value(s, 3), jitter, "an odd cycle: a half each")
	for id := range int32(3) {
		assert.InDelta(t, 0.5, s.Price(id), jitter)
	}

	s.SetUpper(1, 0)
	require.True(t, s.Solve(100))
	assert.InDelta(t, 1, value(s, 3), jitter)
	s.SetUpper(1, 1)
	s.SetRHS(2, 100)
	require.True(t, s.Solve(100))
	assert.InDelta(t, 2, value(s, 3), jitter, "the third row switched off")

	s.SetRHS(2, 1)
	s.Add(3, packing.Row{At: []int32{0}, Value: []float64{4}})
	require.True(t, s.Solve(100))
	assert.InDelta(t, 1.25, value(s, 3), jitter, "y0 held to a quarter")
}

func TestBudgetIsKept(t *testing.T) {
	s := packing.New(3)
	for id, at := range [][]int32{{0, 1}, {1, 2}, {0, 2}} {
		s.Add(int32(id), packing.Row{At: at})
	}
	assert.False(t, s.Solve(1))
	assert.Equal(t, 1, s.Pivots())
	assert.True(t, s.Solve(100))
}

// TestAgainstGonum compares optima with gonum's simplex on random programs
// that grow, whose bounds move, and whose slack rows are let go.
func TestAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 9))
	for range 150 {
		n, m := 3+rng.IntN(20), 2+rng.IntN(25)
		upper := make([]float64, n)
		s := packing.New(n)
		for j := range upper {
			upper[j] = 1
		}
		var rows []packing.Row
		for id := range m {
			rows = append(rows, randomRow(rng, n))
			s.Add(int32(id), rows[id])
			if rng.IntN(3) == 0 {
				require.True(t, s.Solve(1_000_000))
				require.InDelta(t, reference(t, rows, upper), value(s, n), jitter)
			}
		}
		for j := range upper {
			upper[j] = rng.Float64()
			s.SetUpper(j, upper[j])
		}
		require.True(t, s.Solve(1_000_000))
		want := reference(t, rows, upper)
		require.InDelta(t, want, value(s, n), jitter)
		s.Purge(0)
		require.True(t, s.Solve(1_000_000))
		require.InDelta(t, want, value(s, n), jitter, "rows with room to spare do not bind")
		checkDual(t, s, rows, upper, want)
	}
}

// checkDual: prices and gains bound the optimum from above (weak duality), and
// meet it.
func checkDual(t *testing.T, s *packing.Solver, rows []packing.Row, upper []float64, want float64) {
	t.Helper()
	bound := 0.0
	for _, id := range s.Active() {
		require.GreaterOrEqual(t, s.Price(id), -1e-9)
		bound += s.Price(id)
	}
	for j, u := range upper {
		bound += u * s.Gain(j)
	}
	require.InDelta(t, want, bound, jitter)
	for _, row := range rows {
		held := 0.0
		for k, j := range row.At {
			held += row.Value[k] * s.Value(int(j))
		}
		require.LessOrEqual(t, held, 1+1e-6)
	}
}

func randomRow(rng *rand.Rand, n int) packing.Row {
	var row packing.Row
	for j := range n {
		if rng.IntN(3) == 0 {
			row.At = append(row.At, int32(j))
			row.Value = append(row.Value, 0.1+rng.Float64())
		}
	}
	if row.At == nil {
		row = packing.Row{At: []int32{0}, Value: []float64{1}}
	}
	return row
}

// reference solves the program in standard form: y and a slack for every row
// and every bound.
func reference(t *testing.T, rows []packing.Row, upper []float64) float64 {
	t.Helper()
	n, m := len(upper), len(rows)
	a := mat.NewDense(m+n, 2*n+m, nil)
	b, c := make([]float64, m+n), make([]float64, 2*n+m)
	for i, row := range rows {
		for k, j := range row.At {
			a.Set(i, int(j), row.Value[k])
		}
		a.Set(i, n+i, 1)
		b[i] = 1
	}
	for j, u := range upper {
		a.Set(m+j, j, 1)
		a.Set(m+j, n+m+j, 1)
		b[m+j] = u
		c[j] = -1
	}
	opt, _, err := lp.Simplex(c, a, b, 1e-10, nil)
	require.NoError(t, err)
	return -opt
}

func BenchmarkSolve(b *testing.B) {
	for name, n := range map[string]int{"n=200": 200, "n=800": 800} {
		b.Run(name, func(b *testing.B) {
			rng := rand.New(rand.NewPCG(1, 1))
			var rows []packing.Row
			for range n / 4 {
				rows = append(rows, randomRow(rng, n))
			}
			for b.Loop() {
				s := packing.New(n)
				for id, row := range rows {
					s.Add(int32(id), row)
				}
				s.Solve(1_000_000)
			}
		})
	}
}
