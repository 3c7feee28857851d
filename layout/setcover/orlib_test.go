package setcover_test

import (
	"bufio"
	"context"
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
