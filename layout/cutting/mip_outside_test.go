//go:build outside

package cutting_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/cutting"
)

// TestAgainstGeneralSolver: on random instances of up to 14 pieces,
// with one and several lengths of stick and with a kerf, COIN-OR CBC finds the
// kernel's optimum in the integer program of all patterns (Gilmore and Gomory
// 1961).
func TestAgainstGeneralSolver(t *testing.T) {
	rng := rand.New(rand.NewPCG(50, 5))
	proven := 0
	const rounds = 40
	for i := range rounds {
		p := cutting.Problem{Kerf: 3 * rng.Int64N(2), Stocks: one(6096)}
		if i%2 == 1 {
			p.Stocks = append(p.Stocks, cutting.Stock{Length: 3048, Cost: 3048 + 100*rng.Int64N(5)})
		}
		if i%4 == 3 {
			p.Stocks = append(p.Stocks, cutting.Stock{Length: 4000})
		}
		for range 6 + rng.IntN(9) {
			p.Pieces = append(p.Pieces, 900+rng.Int64N(4000))
		}
		r, err := cutting.Solve(p, cutting.Settings{})
		require.NoError(t, err)
		check(t, p, r)
		want := solveCBC(t, patternProgram(p))
		assert.LessOrEqual(t, r.Bound, want)
		assert.GreaterOrEqual(t, r.Cost, want)
		if r.Status == cutting.Optimal {
			proven++
			assert.Equal(t, want, r.Cost, "%+v", p)
		}
	}
	t.Logf("%d of %d proven", proven, rounds)
	assert.GreaterOrEqual(t, proven, rounds*9/10)
}

// patternProgram writes the integer program: how many sticks of each pattern, so
// that every piece is cut.
func patternProgram(p cutting.Problem) string {
	objective, rows := []string{}, make([][]string, len(p.Pieces))
	var names []string
	add := func(s cutting.Stock, pieces []int) {
		name := fmt.Sprintf("x%d", len(names))
		names = append(names, name)
		objective = append(objective, fmt.Sprintf("%d %s", costOf(s), name))
		for _, i := range pieces {
			rows[i] = append(rows[i], name)
		}
	}
	for _, s := range p.Stocks {
		var extend func(from int, used int64, pieces []int)
		extend = func(from int, used int64, pieces []int) {
			if len(pieces) > 0 {
				add(s, pieces)
			}
			for i := from; i < len(p.Pieces); i++ {
				more := p.Pieces[i]
				if len(pieces) > 0 {
					more += p.Kerf
				}
				if used+more <= s.Length {
					extend(i+1, used+more, append(slices.Clone(pieces), i))
				}
			}
		}
		extend(0, 0, nil)
	}
	var lp strings.Builder
	fmt.Fprintf(&lp, "Minimize\n cost: %s\nSubject To\n", strings.Join(objective, "\n + "))
	for i, r := range rows {
		fmt.Fprintf(&lp, " p%d: %s >= 1\n", i, strings.Join(r, "\n + "))
	}
	fmt.Fprintf(&lp, "Binary\n %s\nEnd\n", strings.Join(names, "\n "))
	return lp.String()
}

func costOf(s cutting.Stock) int64 {
	if s.Cost == 0 {
		return s.Length
	}
	return s.Cost
}

var cbcObjective = regexp.MustCompile(`(?m)^Optimal[^\n]* - objective value ([-0-9.e+]+)`)

// solveCBC returns the optimum that COIN-OR CBC finds and proves.
func solveCBC(t *testing.T, lp string) int64 {
	file := filepath.Join(t.TempDir(), "cut.lp")
	require.NoError(t, os.WriteFile(file, []byte(lp), 0o666))
	run, err := exec.Command("cbc", file, "solve", "solution", file+".out").CombinedOutput()
	require.NoError(t, err, "%s", run)
	text, err := os.ReadFile(file + ".out")
	require.NoError(t, err)
	found := cbcObjective.FindSubmatch(text)
	require.NotNil(t, found, "%s", text)
	v, err := strconv.ParseFloat(string(found[1]), 64)
	require.NoError(t, err)
	return int64(math.Round(v))
}
