package zoning_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/graph"
	"lotwright/layout/zoning"
)

// at is a head at a place in metres.
func at(label string, x, y int64, flow layout.Flow) zoning.Head {
	return zoning.Head{Label: label, At: geom.Pt(1000*x, 1000*y), Flow: flow}
}

func labels(r zoning.Result) (out [][]string) {
	for _, z := range r.Zones {
		out = append(out, z.Labels)
	}
	return out
}

// Four equal heads, two on either side of the tap, two to a valve: a valve a
// side takes 10 m of pipe each; mixed, each would take 19 or 21.
func TestASideAValve(t *testing.T) {
	heads := []zoning.Head{at("H1", -9, 0, 5), at("H2", 10, 0, 5), at("H3", -10, 0, 5), at("H10", 9, 0, 5)}
	r, err := zoning.Group(heads, zoning.Settings{DesignFlow: 10})
	require.NoError(t, err)
	assert.Equal(t, [][]string{{"H1", "H3"}, {"H2", "H10"}}, labels(r))
	assert.Equal(t, []int{1, 3}, r.Zones[1].Heads)
	assert.Equal(t, zoning.Optimal, r.Status)
	assert.InDelta(t, 20, r.Pipe.Metres(), 1e-9)
	assert.InDelta(t, 10, r.Zones[0].Lateral.Metres(), 1e-9)
	assert.Zero(t, r.Main)
	assert.Equal(t, "POC", r.Zones[0].Valve.Name)
}

// The fewest valves come before the shortest pipe: 6, 4, 4, 3 and 3 fit two
// valves of 10 in one way only.
func TestValvesBeforePipe(t *testing.T) {
	heads := []zoning.Head{at("a", 1, 0, 6), at("b", -9, 0, 4), at("c", 1, 1, 4), at("d", 1, 2, 3), at("e", -9, 1, 3)}
	r, err := zoning.Group(heads, zoning.Settings{DesignFlow: 10})
	require.NoError(t, err)
	assert.Len(t, r.Zones, 2)
	for _, z := range r.Zones {
		assert.InDelta(t, 10, z.Flow.LPM(), 1e-9)
	}
	assert.Equal(t, []string{"a", "c"}, r.Zones[0].Labels)
}

// All heads in one place need as much pipe in any grouping: evenness decides.
func TestEvenFlows(t *testing.T) {
	heads := []zoning.Head{at("a", 3, 0, 1), at("b", 3, 0, 2), at("c", 3, 0, 3), at("d", 3, 0, 4)}
	r, err := zoning.Group(heads, zoning.Settings{DesignFlow: 7})
	require.NoError(t, err)
	assert.Equal(t, [][]string{{"a", "d"}, {"b", "c"}}, labels(r))
}

// Heads of different classes never share a valve, though all would fit one.
func TestClassesStayApart(t *testing.T) {
	heads := []zoning.Head{at("H1", 1, 0, 1), at("H2", 1, 0, 1), at("H3", 1, 0, 1), at("H4", 1, 0, 1)}
	heads[1].Class.Exposure = "shade"
	heads[2].Class.Soil = "clay"
	r, err := zoning.Group(heads, zoning.Settings{DesignFlow: 10})
	require.NoError(t, err)
	assert.Equal(t, [][]string{{"H1", "H4"}, {"H2"}, {"H3"}}, labels(r))
	assert.Equal(t, 3, r.Bound)
}

// A head above the design flow is named with both figures, and the others are
// grouped without it.
func TestThirstyHead(t *testing.T) {
	heads := []zoning.Head{at("H1", 1, 0, 12), at("H2", 1, 0, 4)}
	r, err := zoning.Group(heads, zoning.Settings{DesignFlow: 10})
	require.NoError(t, err)
	require.Len(t, r.Refused, 1)
	assert.Equal(t, zoning.Refusal{Head: 0, Label: "H1", Rule: "zone.flow_over_limit", Flow: 12, Limit: 10,
		Reason: "head H1 takes 3.17 gpm (12.0 L/min) by itself and one valve may draw 2.64 gpm (10.0 L/min)"}, r.Refused[0])
	assert.Equal(t, [][]string{{"H2"}}, labels(r))
}

// Thirds of a design flow fill it, whatever the last digits of their sum.
func TestFlowsThatFillTheLimit(t *testing.T) {
	for n := 1; n <= 12; n++ {
		var heads []zoning.Head
		for i := range n {
			heads = append(heads, at(fmt.Sprint(i), 1, 0, layout.GPM(4.1)/layout.Flow(n)))
		}
		r, err := zoning.Group(heads, zoning.Settings{DesignFlow: layout.GPM(4.1)})
		require.NoError(t, err)
		assert.Len(t, r.Zones, 1, "%d heads", n)
	}
}

// network is a trench: POC –10 m– T1; T1 –4– H1 –1– H2; T1 –5– H3, of which 2 m
// under paving.
func network() layout.Network {
	run := func(from, to string, length layout.Length, path ...geom.Point) layout.TrenchRun {
		return layout.TrenchRun{From: from, To: to, Length: length, Path: path}
	}
	p, t1, mid := geom.Pt(0, 0), geom.Pt(0, 10_000), geom.Pt(3000, 10_000)
	h1, h2, h3 := geom.Pt(-4000, 10_000), geom.Pt(-5000, 10_000), geom.Pt(5000, 10_000)
	return layout.Network{POC: p, Runs: []layout.TrenchRun{
		run("H1", "H2", 1, h1, h2), run("POC", "T1", 10, p, t1), run("T1", "H1", 4, t1, h1),
		run("T1", "H3", 3, t1, mid), run("T1", "H3", 2, mid, h3)}}
}

// In a trench the pipe follows it, and the trunk counts once a zone.
func TestAlongTheTrench(t *testing.T) {
	trench, err := zoning.NewTrench(network())
	require.NoError(t, err)
	heads := []zoning.Head{at("H1", -4, 10, 5), at("H2", -5, 10, 5), at("H3", 5, 10, 5)}
	s := zoning.Settings{DesignFlow: 10, Trench: trench}
	r, err := zoning.Group(heads, s)
	require.NoError(t, err)
	require.Equal(t, [][]string{{"H1", "H2"}, {"H3"}}, labels(r))
	assert.InDelta(t, 15, r.Zones[0].Pipe.Metres(), 1e-9)
	assert.InDelta(t, 15, r.Zones[1].Pipe.Metres(), 1e-9)
	assert.Equal(t, zoning.Place{Name: "POC"}, r.Zones[0].Valve)

	s.ValvesAtBranches = true
	r, err = zoning.Group(heads, s)
	require.NoError(t, err)
	assert.Equal(t, "H1", r.Zones[0].Valve.Name)
	assert.InDelta(t, 1, r.Zones[0].Lateral.Metres(), 1e-9)
	assert.Equal(t, "T1", r.Zones[1].Valve.Name)
	assert.InDelta(t, 5, r.Zones[1].Lateral.Metres(), 1e-9)
	assert.InDelta(t, 14, r.Main.Metres(), 1e-9)

	s.DesignFlow = 20
	r, err = zoning.Group(heads, s)
	require.NoError(t, err)
	require.Len(t, r.Zones, 1)
	assert.InDelta(t, 20, r.Pipe.Metres(), 1e-9)
	assert.Equal(t, "T1", r.Zones[0].Valve.Name)
}

func TestHeadOffTheTrench(t *testing.T) {
	trench, err := zoning.NewTrench(network())
	require.NoError(t, err)
	r, err := zoning.Group([]zoning.Head{at("H7", 1, 1, 5)}, zoning.Settings{DesignFlow: 10, Trench: trench})
	require.NoError(t, err)
	require.Len(t, r.Refused, 1)
	assert.Equal(t, "zone.no_way", r.Refused[0].Rule)

	none := func(i, j int) int64 { return graph.Unreachable }
	r, err = zoning.Group([]zoning.Head{at("H7", 1, 1, 5)}, zoning.Settings{DesignFlow: 10, Distance: none})
	require.NoError(t, err)
	assert.Len(t, r.Refused, 1)
}

func TestTrenchesThatAreNoTree(t *testing.T) {
	path := geom.Line{geom.Pt(0, 0), geom.Pt(1, 1)}
	for _, c := range []struct {
		runs []layout.TrenchRun
		want string
	}{
		{[]layout.TrenchRun{{From: "T1", To: "H1", Path: path}}, "the runs from T1 do not hang"},
		{[]layout.TrenchRun{{From: "POC", To: "H1", Path: path}, {From: "T1", To: "H1", Path: path}}, "two stretches of trench lead to H1"},
		{[]layout.TrenchRun{{From: "H1", To: "POC", Path: path}}, "two stretches of trench lead to POC"},
		{[]layout.TrenchRun{{From: "T1", To: "T2", Path: path}, {From: "T2", To: "T1", Path: path}}, "the runs from T1 do not hang"},
		{[]layout.TrenchRun{{From: "POC", To: "T2"}}, "has no path"},
	} {
		_, err := zoning.NewTrench(layout.Network{Runs: c.runs})
		assert.ErrorContains(t, err, c.want)
	}
}

// randomTrench is a random tree whose nodes are named N1…, with the distance of
// each from its parent, and a head at some of them.
func randomTrench(rng *rand.Rand, nodes int) (layout.Network, []int, []int64) {
	net := layout.Network{POC: geom.Pt(0, 0)}
	parent, up := []int{-1}, []int64{0}
	name := func(k int) string { return fmt.Sprintf("N%d", k) }
	for k := 1; k < nodes; k++ {
		parent, up = append(parent, rng.IntN(k)), append(up, 500+rng.Int64N(9000))
		from := "POC"
		if parent[k] > 0 {
			from = name(parent[k])
		}
		net.Runs = append(net.Runs, layout.TrenchRun{From: from, To: name(k), Length: layout.Length(up[k]) / 1000,
			Path: geom.Line{geom.Pt(int64(parent[k]), 0), geom.Pt(int64(k), 0)}})
	}
	rng.Shuffle(len(net.Runs), func(i, j int) { net.Runs[i], net.Runs[j] = net.Runs[j], net.Runs[i] })
	return net, parent, up
}

// Along random trenches too, the grouping is the best of all partitions.
func TestAgainstAllPartitionsInATrench(t *testing.T) {
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 9))
		net, parent, up := randomTrench(rng, 14)
		trench, err := zoning.NewTrench(net)
		require.NoError(t, err)
		heads := randomHeads(rng, 1+rng.IntN(7), 1)
		places := rng.Perm(14)
		for i := range heads {
			heads[i].At = geom.Pt(int64(places[i]), 0)
		}
		length := func(zone []int) int64 {
			used := make([]bool, len(parent))
			for _, i := range zone {
				for k := places[i]; k > 0; k = parent[k] {
					used[k] = true
				}
			}
			sum := int64(0)
			for k := range used {
				if used[k] {
					sum += up[k]
				}
			}
			return sum
		}
		s := zoning.Settings{DesignFlow: layout.Flow(14 + 8*rng.Float64()), Trench: trench, ValvesAtBranches: true}
		r, err := zoning.Group(heads, s)
		require.NoError(t, err)
		checkValid(t, heads, s, r, length)
		assertValue(t, enumerate(heads, s.DesignFlow, length), r, "seed %d", seed)
		for _, z := range r.Zones {
			assert.LessOrEqual(t, z.Lateral, z.Pipe)
			assert.LessOrEqual(t, z.Pipe-z.Lateral, r.Main+1e-9, "the main leads to every valve")
		}
	}
}

// A yard of 120 heads, in three classes, with a matrix of distances of its own.
func TestLargeYard(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 10))
	heads := randomHeads(rng, 120, 3)
	manhattan := func(i, j int) int64 {
		p, q := geom.Pt(0, 0), heads[max(i, j)].At
		if min(i, j) >= 0 {
			p = heads[min(i, j)].At
		}
		return max(p.X-q.X, q.X-p.X) + max(p.Y-q.Y, q.Y-p.Y)
	}
	s := zoning.Settings{DesignFlow: 45, Distance: manhattan, Moves: 20_000}
	r, err := zoning.Group(heads, s)
	require.NoError(t, err)
	assert.Equal(t, zoning.Optimal, r.Status)
	assert.False(t, r.PipeShortest)
	start := s
	start.Moves = -1
	unsearched, err := zoning.Group(heads, start)
	require.NoError(t, err)
	t.Logf("%d zones, %.0f m of pipe; as packed %.0f m", len(r.Zones), r.Pipe, unsearched.Pipe)
	assert.Less(t, r.Pipe, 0.8*unsearched.Pipe)
}

func TestNothingKnownOrNothingThere(t *testing.T) {
	r, err := zoning.Group([]zoning.Head{at("H1", 0, 0, 5)}, zoning.Settings{})
	require.NoError(t, err)
	assert.Equal(t, zoning.FlowUnknown, r.Status)
	r, err = zoning.Group(nil, zoning.Settings{DesignFlow: 5})
	require.NoError(t, err)
	assert.Equal(t, zoning.Result{Status: zoning.Optimal, PipeShortest: true}, r)
}

func TestInputThatMakesNoSense(t *testing.T) {
	ok := []zoning.Head{at("H1", 0, 0, 5), at("H2", 0, 0, 5)}
	with := func(change func(h *zoning.Head)) []zoning.Head {
		heads := slices.Clone(ok)
		change(&heads[1])
		return heads
	}
	fine := zoning.Settings{DesignFlow: 10}
	for _, c := range []struct {
		heads []zoning.Head
		s     zoning.Settings
		want  string
	}{
		{ok, zoning.Settings{DesignFlow: -1}, "design flow"},
		{ok, zoning.Settings{DesignFlow: layout.Flow(math.NaN())}, "design flow"},
		{with(func(h *zoning.Head) { h.Label = "" }), fine, "head 1 has no label"},
		{with(func(h *zoning.Head) { h.Label = "H1" }), fine, "two heads are labelled H1"},
		{with(func(h *zoning.Head) { h.Flow = 0 }), fine, "head H2: flow"},
		{with(func(h *zoning.Head) { h.Flow = layout.Flow(math.Inf(1)) }), fine, "head H2: flow"},
		{ok, zoning.Settings{DesignFlow: 10, Distance: func(i, j int) int64 { return int64(j - i) }}, "distances between head H1 and place -1"},
		{make([]zoning.Head, 401), fine, "at most 400"},
	} {
		_, err := zoning.Group(c.heads, c.s)
		assert.ErrorContains(t, err, c.want)
	}
}
