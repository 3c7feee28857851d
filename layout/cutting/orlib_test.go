package cutting_test

import (
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/cutting"
)

// TestORLibrary packs instances of the OR-Library, of 120 items each, into as
// few bins as are known to be enough, and proves for each that fewer are not.
func TestORLibrary(t *testing.T) {
	text, err := os.ReadFile("../../testdata/reference/orlib/binpack1-part.txt")
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	require.Len(t, lines, 14)
	for i := 0; i < len(lines); i += 2 {
		head := strings.Fields(lines[i])
		t.Run(head[0], func(t *testing.T) {
			capacity, n, bins := whole(t, head[1]), whole(t, head[2]), whole(t, head[3])
			p := cutting.Problem{Stocks: one(capacity)}
			for _, w := range strings.Fields(lines[i+1]) {
				p.Pieces = append(p.Pieces, whole(t, w))
			}
			require.Len(t, p.Pieces, int(n))
			r, err := cutting.Solve(p, cutting.Settings{})
			require.NoError(t, err)
			check(t, p, r)
			assert.Len(t, r.Sticks, int(bins))
			assert.Equal(t, cutting.Optimal, r.Status)
			t.Logf("%d nodes", r.Nodes)
		})
	}
}

func whole(t *testing.T, s string) int64 {
	v, err := strconv.ParseInt(s, 10, 64)
	require.NoError(t, err)
	return v
}
