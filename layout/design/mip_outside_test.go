//go:build outside

package design_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer/assemble"
	"lotwright/layout/candidate"
	"lotwright/layout/geom"
	"lotwright/layout/setcover"
	"lotwright/layout/sight"
)

// mipSpacingMM is the grid of the instances given to general solvers: coarse
// enough for them to finish in seconds.
const mipSpacingMM = 2500

// mipEffort is enough for the kernel to prove nearly all optima.
var mipEffort = setcover.Settings{Moves: 20_000, Pivots: 100_000, Nodes: 5000}

// TestAgainstGeneralSolvers: on the cover problems of surveyed lots, whole and
// partial, once over and twice over, and on random ones, two general integer programming solvers (COIN-OR
// CBC and GLPK) find the same optimum as the set-cover kernel, and the kernel
// knows that it is one, except in one case that is named.
func TestAgainstGeneralSolvers(t *testing.T) {
	instances := mipInstances(t)
	require.GreaterOrEqual(t, len(instances), 140)
	require.GreaterOrEqual(t, demanding(instances), 40)
	for name, p := range instances {
		t.Run(name, func(t *testing.T) {
			r, err := setcover.Solve(context.Background(), p, mipEffort)
			require.NoError(t, err)
			if name != "A-023 twice over, 3 per cent dry" { // the bound stays at 9 for 10
				require.Equal(t, setcover.Optimal, r.Status)
			}
			file := filepath.Join(t.TempDir(), "cover.lp")
			f, err := os.Create(file)
			require.NoError(t, err)
			require.NoError(t, setcover.WriteLP(f, p))
			require.NoError(t, f.Close())
			assert.Equal(t, len(r.Chosen), solveCBC(t, file), "CBC")
			assert.Equal(t, len(r.Chosen), solveGLPK(t, file), "GLPK")
		})
	}
}

// BenchmarkAgainstCBC solves every instance to the end, with the kernel and with
// COIN-OR CBC, and reports the processor time of each and the ratio. CBC's
// includes starting and reading the file, a few milliseconds each.
func BenchmarkAgainstCBC(b *testing.B) {
	if _, err := exec.LookPath("cbc"); err != nil {
		b.Skip("COIN-OR CBC is not installed (Debian package coinor-cbc)")
	}
	instances := mipInstances(b)
	for b.Loop() {
		var ours, theirs time.Duration
		for _, p := range instances {
			start := processorTime(b)
			_, err := setcover.Solve(context.Background(), p, mipEffort)
			require.NoError(b, err)
			ours += processorTime(b) - start
			theirs += timeCBC(b, p)
		}
		n := float64(len(instances))
		b.ReportMetric(ours.Seconds()*1000/n, "ours-ms/instance")
		b.ReportMetric(theirs.Seconds()*1000/n, "cbc-ms/instance")
		b.ReportMetric(theirs.Seconds()/ours.Seconds(), "cbc/ours")
	}
}

// processorTime is what this process has used so far.
func processorTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// timeCBC returns the processor time that CBC takes to the proven optimum of p.
func timeCBC(b *testing.B, p setcover.Problem) time.Duration {
	file := filepath.Join(b.TempDir(), "cover.lp")
	f, err := os.Create(file)
	require.NoError(b, err)
	require.NoError(b, setcover.WriteLP(f, p))
	require.NoError(b, f.Close())
	run := exec.Command("cbc", file, "solve", "solution", file+".cbc")
	require.NoError(b, run.Run())
	objective(b, cbcObjective, file+".cbc")
	return run.ProcessState.UserTime() + run.ProcessState.SystemTime()
}

// demanding counts the instances whose rows demand more than one column.
func demanding(instances map[string]setcover.Problem) (n int) {
	for _, p := range instances {
		if p.Demand != nil {
			n++
		}
	}
	return n
}

func mipInstances(t testing.TB) map[string]setcover.Problem {
	out := map[string]setcover.Problem{}
	batch, err := assemble.Open(context.Background(),
		[]assemble.Input{{Path: "../../testdata/reference/lots_A.geojson"}}, assemble.Options{})
	require.NoError(t, err)
	defer batch.Close()
	for i := range batch.Len() {
		lot := batch.Lot(i).Lot
		if lot.Parcel.AreaM2() > 900 {
			continue
		}
		lawn, err := candidate.Irrigated(lot, candidate.LawnSettings{LeastStripMM: 600})
		require.NoError(t, err)
		ground, err := candidate.NewGround(lot, lawn.Region, benchClearances)
		require.NoError(t, err)
		for _, dryPercent := range []int64{0, 3, 5} {
			out[fmt.Sprintf("%s, %d per cent dry", lot.ID, dryPercent)] = coverAt(lawn.Region, ground, mipSpacingMM, dryPercent)
		}
		if lot.Parcel.AreaM2() < twiceBelowM2 {
			for _, dryPercent := range []int64{0, 3} {
				out[fmt.Sprintf("%s twice over, %d per cent dry", lot.ID, dryPercent)] =
					twiceOver(coverAt(lawn.Region, ground, mipSpacingMM, dryPercent))
			}
		}
	}
	rng := rand.New(rand.NewPCG(40, 4))
	for i := range 20 {
		out[fmt.Sprintf("random %d", i)] = randomCover(rng)
	}
	for i := range 20 {
		out[fmt.Sprintf("random %d, twice over", i)] = twiceOver(randomCoverOf(rng, 20+rng.IntN(25), 30+rng.IntN(30)))
	}
	return out
}

// twiceBelowM2 is the area of the largest lots that are given to general solvers
// twice over, which takes them longer.
const twiceBelowM2 = 800

// twiceOver is p with two columns demanded for every row; the weight of rows
// that only one column covers is spared.
func twiceOver(p setcover.Problem) setcover.Problem {
	p.Demand = slices.Repeat([]int32{2}, len(p.Weights))
	columns := make([]int, len(p.Weights))
	for _, rows := range p.Columns {
		for _, r := range rows {
			columns[r]++
		}
	}
	for r, n := range columns {
		if n == 1 {
			p.Spare += p.Weights[r]
		}
	}
	return p
}

// coverAt is the cover problem on a grid of the given spacing. Of rows that no
// column covers the weight is spared.
func coverAt(lawn geom.Region, ground *candidate.Ground, spacing, dryPercent int64) setcover.Problem {
	var p setcover.Problem
	witnesses := candidate.Witnesses(lawn, spacing)
	total := int64(0)
	for _, w := range witnesses {
		p.Weights = append(p.Weights, w.AreaMM2)
		total += w.AreaMM2
	}
	field := sight.NewField(lawn)
	seen := make([]bool, len(witnesses))
	for _, s := range ground.Spots(spacing) {
		reach := field.From(s, benchThrowMM, 0)
		rows := []int32{}
		for i, w := range witnesses {
			if reach.Sees(w.At) {
				rows = append(rows, int32(i))
				seen[i] = true
			}
		}
		p.Columns = append(p.Columns, rows)
	}
	p.Spare = total * dryPercent / 100
	for i, s := range seen {
		if !s {
			p.Spare += p.Weights[i]
		}
	}
	return p
}

// randomCover is a random cover problem, some of them partial.
func randomCover(rng *rand.Rand) setcover.Problem {
	return randomCoverOf(rng, 30+rng.IntN(40), 40+rng.IntN(60))
}

func randomCoverOf(rng *rand.Rand, rows, columns int) setcover.Problem {
	p := setcover.Problem{Columns: make([][]int32, columns)}
	total := int64(0)
	for r := range rows {
		w := 1 + rng.Int64N(1000)
		p.Weights, total = append(p.Weights, w), total+w
		always := rng.IntN(columns)
		for c := range columns {
			if c == always || rng.IntN(12) == 0 {
				p.Columns[c] = append(p.Columns[c], int32(r))
			}
		}
	}
	p.Spare = total * rng.Int64N(3) * 4 / 100
	return p
}

var (
	cbcObjective  = regexp.MustCompile(`(?m)^Optimal[^\n]* - objective value ([-0-9.e+]+)`)
	glpkObjective = regexp.MustCompile(`(?ms)^Status:\s+INTEGER OPTIMAL$.*^Objective:\s+\S+ = (\S+) `)
)

// solveCBC returns the optimum that COIN-OR CBC finds and proves.
func solveCBC(t *testing.T, file string) int {
	out := file + ".cbc"
	run, err := exec.Command("cbc", file, "solve", "solution", out).CombinedOutput()
	require.NoError(t, err, "%s", run)
	return objective(t, cbcObjective, out)
}

// solveGLPK returns the optimum that GLPK finds and proves.
func solveGLPK(t *testing.T, file string) int {
	out := file + ".glpk"
	run, err := exec.Command("glpsol", "--lp", file, "--cuts", "-o", out).CombinedOutput()
	require.NoError(t, err, "%s", run)
	return objective(t, glpkObjective, out)
}

func objective(t testing.TB, pattern *regexp.Regexp, file string) int {
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	found := pattern.FindSubmatch(text)
	require.NotNil(t, found, "no proven optimum in %s", text[:min(len(text), 300)])
	v, err := strconv.ParseFloat(string(found[1]), 64)
	require.NoError(t, err)
	return int(v + 0.5)
}
