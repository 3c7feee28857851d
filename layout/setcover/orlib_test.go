package setcover_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/setcover"
)

// orlib reads a unicost instance of the OR-Library: rows and columns, then for
// each row how many columns cover it and which, from 1.
func orlib(t *testing.T, path string) setcover.Problem {
	t.Helper()
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	lines := bufio.NewScanner(file)
	numbers := func() (out []int) {
		require.True(t, lines.Scan())
		for _, field := range strings.Fields(lines.Text()) {
			v, err := strconv.Atoi(field)
			require.NoError(t, err)
			out = append(out, v)
		}
		return out
	}
	size := numbers()
	p := setcover.Problem{Columns: make([][]int32, size[1])}
	for r := range size[0] {
		row := numbers()
		require.Len(t, row, 1+row[0])
		p.Weights = append(p.Weights, 1)
		for _, c := range row[1:] {
			p.Columns[c-1] = append(p.Columns[c-1], int32(r))
		}
	}
	return p
}

// TestOrLibrary: the best known unicost cover of problem 4.1 has 38 columns
// (Gao, Weise and Li 2015). The default effort, meant for lots, comes
// within two; eight times as many moves find it.
func TestOrLibrary(t *testing.T) {
	p := orlib(t, "../../testdata/reference/orlib/scp41-unicost.txt")
	require.Len(t, p.Weights, 200)
	require.Len(t, p.Columns, 1000)
	for _, c := range []struct{ moves, most int }{{0, 40}, {2 * setcover.DefaultMoves, 39}, {8 * setcover.DefaultMoves, 38}} {
		r, err := setcover.Solve(context.Background(), p, setcover.Settings{Moves: c.moves, Nodes: -1})
		require.NoError(t, err)
		assert.Zero(t, p.Uncovered(r.Chosen))
		assert.LessOrEqual(t, len(r.Chosen), c.most)
		assert.GreaterOrEqual(t, len(r.Chosen), 38, "fewer than ever published")
		assert.LessOrEqual(t, r.Bound, 38)
		assert.GreaterOrEqual(t, r.Bound, 33)
		t.Logf("%d moves: found %d, bound %d, greedy %d, %+v", c.moves, len(r.Chosen), r.Bound, r.Greedy, r.Work)
	}
}

// TestBestKnown: with [setcover.ThoroughMoves] the best covers that are known of
// instances of the OR-Library, some copied and the others made again from what they
// are about. Where ours is larger, that is what the table says. The partial ones
// are of the study of partial covers by TAU-AUTOlab (repository PSCP, 2025).
func TestBestKnown(t *testing.T) {
	cases := []struct {
		name       string
		p          setcover.Problem
		best, ours int
	}{
		{"4.1", orlib(t, "../../testdata/reference/orlib/scp41-unicost.txt"), 38, 38},
		{"4.2", orlib(t, "../../testdata/reference/orlib/scp42-unicost.txt"), 37, 37},
		{"5.1", orlib(t, "../../testdata/reference/orlib/scp51-unicost.txt"), 34, 35},
		{"6.1", orlib(t, "../../testdata/reference/orlib/scp61-unicost.txt"), 21, 21},
		{"CLR10", foursOfOneColour(10), 25, 25},
		{"CLR11", foursOfOneColour(11), 23, 23},
		{"CLR12", foursOfOneColour(12), 23, 23},
		{"CYC6", squaresOfCube(6), 60, 60},
		{"CYC7", squaresOfCube(7), 144, 144},
		{"CYC8", squaresOfCube(8), 342, 344},
		{"STS A81", linesOfThree(4), 61, 61},
		{"STS A243", linesOfThree(5), 198, 198},
		{"CYC6, 95 per cent", partial(squaresOfCube(6), 95), 55, 55},
		{"CYC7, 95 per cent", partial(squaresOfCube(7), 95), 128, 129},
		{"CYC6, 90 per cent", partial(squaresOfCube(6), 90), 48, 50},
		{"CYC7, 90 per cent", partial(squaresOfCube(7), 90), 119, 120},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r, err := setcover.Solve(context.Background(), c.p,
				setcover.Settings{Moves: setcover.ThoroughMoves, Pivots: -1, Goal: c.best})
			require.NoError(t, err)
			assert.LessOrEqual(t, uncoveredBySets(c.p, r.Chosen), c.p.Spare)
			assert.LessOrEqual(t, len(r.Chosen), c.ours)
			assert.GreaterOrEqual(t, len(r.Chosen), c.best, "fewer than ever published")
			t.Logf("%d rows, %d columns: best known %d, found %d in %d moves, greedy %d",
				len(c.p.Weights), len(c.p.Columns), c.best, len(r.Chosen), r.Work.Moves, r.Greedy)
		})
	}
}

// TestBestKnownOfFive: problem 5.1 takes longer. Of ten seeds seven find its best
// known 34 columns in half a million moves, which take under a second; this is
// the second of them.
func TestBestKnownOfFive(t *testing.T) {
	p := orlib(t, "../../testdata/reference/orlib/scp51-unicost.txt")
	r, err := setcover.Solve(context.Background(), p, setcover.Settings{Moves: 500_000, Pivots: -1, Goal: 34, Seed: 1})
	require.NoError(t, err)
	assert.Zero(t, uncoveredBySets(p, r.Chosen))
	assert.Len(t, r.Chosen, 34)
}

// partial is p with so many per cent of the rows to be covered.
func partial(p setcover.Problem, percent int) setcover.Problem {
	p.Spare = int64(len(p.Weights) * (100 - percent) / 100)
	return p
}

// BenchmarkShapes solves random instances of the sizes of the OR-Library's sets
// 4 to 6 and A to D with [setcover.ThoroughMoves]. Beside the time it reports the
// columns of the greedy and of the final choice, and how far the bound of the
// relaxation is below.
func BenchmarkShapes(b *testing.B) {
	for _, s := range shapes {
		p := s.random(1)
		b.Run(fmt.Sprintf("%s/%dx%d/density=%.2f", s.set, s.rows, s.columns, s.density), func(b *testing.B) {
			var r setcover.Result
			for b.Loop() {
				var err error
				if r, err = setcover.Solve(context.Background(), p, setcover.Settings{Moves: setcover.ThoroughMoves, Nodes: -1}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(r.Greedy), "greedy")
			b.ReportMetric(float64(len(r.Chosen)), "columns")
			b.ReportMetric(float64(len(r.Chosen)-r.Bound), "gap")
		})
	}
}
