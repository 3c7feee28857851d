package setcover_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/setcover"
)

// linesOfThree asks for the fewest points of the affine space of n dimensions
// over the field of three elements that meet every line. What they leave is a
// cap set, so the fewest are 3^n less the largest cap: 4, 9 and 20 in two,
// three and four dimensions (Pellegrino 1970). They are the Steiner triple
// covering problems A9, A27 and A81 of Fulkerson, Nemhauser and Trotter (1974),
// with the optima 5, 18 and 61.
func linesOfThree(n int) setcover.Problem {
	points := 1
	for range n {
		points *= 3
	}
	p := setcover.Problem{Columns: make([][]int32, points)}
	for a := range points {
		for b := a + 1; b < points; b++ {
			if c := third(a, b, n); c > b {
				row := int32(len(p.Weights))
				p.Weights = append(p.Weights, 1)
				for _, col := range []int{a, b, c} {
					p.Columns[col] = append(p.Columns[col], row)
				}
			}
		}
	}
	return p
}

// third is the point on the line through a and b, whose digits in base 3 are
// coordinates: those of the three add up to nothing.
func third(a, b, n int) int {
	c, unit := 0, 1
	for range n {
		c += (6 - a%3 - b%3) % 3 * unit
		a, b, unit = a/3, b/3, unit*3
	}
	return c
}

// squaresOfCube asks for the fewest edges of the cube of n dimensions that meet
// every square of it: its edges less the most that hold no square, which are
// 9 of 12, 24 of 32, 56 of 80 and 132 of 192 (Emamy, Guan and Rivera-Vega 1992;
// Harborth and Nienborg 1994). In six dimensions it is the problem CYC6 of
// Grossman and Wool (1997).
func squaresOfCube(n int) setcover.Problem {
	p := setcover.Problem{Columns: make([][]int32, n<<(n-1))}
	edge := func(from, axis int) int { // numbered by axis, then by the end with that bit clear
		low := from & (1<<axis - 1)
		return axis<<(n-1) + from>>(axis+1)<<axis + low
	}
	for corner := range 1 << n {
		for u := range n {
			for v := range u {
				if corner>>u&1 == 1 || corner>>v&1 == 1 {
					continue
				}
				row := int32(len(p.Weights))
				p.Weights = append(p.Weights, 1)
				for _, e := range []int{edge(corner, u), edge(corner, v), edge(corner|1<<u, v), edge(corner|1<<v, u)} {
					p.Columns[e] = append(p.Columns[e], row)
				}
			}
		}
	}
	return p
}

// TestProblemsWithKnownOptima: the optimum is found with the default effort. In
// these problems all rows are alike and all columns are, so that by symmetry
// the linear relaxation is the number of columns over the columns of a row; the
// bound is no worse than that, even where branching cannot close the gap.
func TestProblemsWithKnownOptima(t *testing.T) {
	cases := map[string]struct {
		p                   setcover.Problem
		rows, best, relaxed int
	}{
		"points on the lines of AG(2,3)": {linesOfThree(2), 12, 5, 3},
		"points on the lines of AG(3,3)": {linesOfThree(3), 117, 18, 9},
		"points on the lines of AG(4,3)": {linesOfThree(4), 1080, 61, 27},
		"edges of the squares of Q3":     {squaresOfCube(3), 6, 3, 3},
		"edges of the squares of Q4":     {squaresOfCube(4), 24, 8, 8},
		"edges of the squares of Q5":     {squaresOfCube(5), 80, 24, 20},
		"edges of the squares of Q6":     {squaresOfCube(6), 240, 60, 48},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			require.Len(t, c.p.Weights, c.rows)
			r, err := setcover.Solve(context.Background(), c.p, setcover.Settings{})
			require.NoError(t, err)
			assert.Zero(t, c.p.Uncovered(r.Chosen))
			assert.Len(t, r.Chosen, c.best)
			assert.GreaterOrEqual(t, r.Greedy, c.best)
			assert.LessOrEqual(t, r.Bound, c.best)
			assert.GreaterOrEqual(t, r.Bound, c.relaxed)
			assert.Equal(t, r.Bound == c.best, r.Status == setcover.Optimal)
			t.Logf("found %d of %d, bound %d, greedy %d, %+v", len(r.Chosen), c.best, r.Bound, r.Greedy, r.Work)
		})
	}
}

// TestMoreEffortClosesMore: branching proves the optimum, given the nodes.
func TestMoreEffortClosesMore(t *testing.T) {
	r, err := setcover.Solve(context.Background(), linesOfThree(3), setcover.Settings{Pivots: 400_000, Nodes: 20_000})
	require.NoError(t, err)
	assert.Equal(t, setcover.Optimal, r.Status)
	assert.Len(t, r.Chosen, 18)
	assert.Equal(t, 18, r.Bound)
}
