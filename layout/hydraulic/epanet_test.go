package hydraulic_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/hydraulic"
)

const referenceDir = "../../testdata/reference/epanet"

// referenceNetwork is a random network without dead ends: in those EPANET finds
// some 1e-5 L/s where there is no flow.
func referenceNetwork(seed uint64) hydraulic.Network {
	r := rand.New(rand.NewPCG(seed, 2))
	return withoutDeadEnds(r, randomNetwork(r))
}

// works reports whether every nozzle has the 15 psi that some head could run on.
// Below, a few cm of pressure left over from tens of metres of loss tell the
// roundings of two programs apart and nothing else.
func works(n hydraulic.Network, r hydraulic.Result) bool {
	for _, i := range n.Emitters() {
		if r.Nodes[i].Pressure.PSI() < 15 {
			return false
		}
	}
	return r.Status == hydraulic.Solved
}

// references are the networks whose files and answers are kept: six random ones
// and a drawn trench with one head running and with both.
func references(t testing.TB) map[string]hydraulic.Network {
	out := map[string]hydraulic.Network{}
	for seed := uint64(0); len(out) < 6 && seed < 1000; seed++ {
		if n := referenceNetwork(seed); works(n, solve(t, n)) {
			out[fmt.Sprintf("random_%03d.inp", seed)] = n
		}
	}
	plan := tee()
	backflow, _ := hydraulic.GenericBackflow(hydraulic.PressureVacuumBreaker)
	meter, _ := hydraulic.Meter("3/4 in")
	plan.Feed = []hydraulic.Device{{Label: "meter", Kind: hydraulic.KindMeter, Element: meter}, {Label: "backflow", Kind: hydraulic.KindBackflow, Element: backflow}}
	n, heads, err := hydraulic.Draw(plan)
	require.NoError(t, err)
	one, _, err := n.Running(heads[1]).Trimmed()
	require.NoError(t, err)
	out["trench_one.inp"] = renamed(one)
	out["trench_both.inp"] = renamed(n.Running(heads[:2]...))
	return out
}

// renamed gives a network the labels that EPANET's names will be.
func renamed(n hydraulic.Network) hydraulic.Network {
	for i, v := range n.Nodes {
		n.Nodes[i].Label = strings.ReplaceAll(v.Label, " ", "_")
	}
	n.Links = append([]hydraulic.Link(nil), n.Links...)
	for i, l := range n.Links {
		n.Links[i].Label = strings.ReplaceAll(l.Label, " ", "_")
	}
	return n
}

// TestStoredEPANETAnswers checks the files and the flows and heads that EPANET
// found in them, without EPANET.
func TestStoredEPANETAnswers(t *testing.T) {
	var a epanetAnswers
	stored, err := os.ReadFile(filepath.Join(referenceDir, "answers.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(stored, &a))
	networks := references(t)
	require.Len(t, a.Answers, len(networks))
	for name, n := range networks {
		off, where := a.compare(t, name, n, solve(t, n))
		assert.Less(t, off, 1e-5, where)
		text, err := os.ReadFile(filepath.Join(referenceDir, name))
		require.NoError(t, err)
		assertAlike(t, sections(t, string(text)), sections(t, inp(t, name, n)))
	}
}

// assertAlike compares input files cell by cell, numbers but for their last
// bits, which differ from machine to machine.
func assertAlike(t testing.TB, want, got map[string][][]string) {
	require.Len(t, got, len(want))
	for section, rows := range want {
		require.Len(t, got[section], len(rows), section)
		for i, cells := range rows {
			require.Len(t, got[section][i], len(cells))
			for k, cell := range cells {
				w, errWant := strconv.ParseFloat(cell, 64)
				g, errGot := strconv.ParseFloat(got[section][i][k], 64)
				if errWant == nil && errGot == nil {
					assert.InDelta(t, w, g, 1e-9*(1+math.Abs(w)), "%s %v", section, cells)
				} else {
					assert.Equal(t, cell, got[section][i][k])
				}
			}
		}
	}
}

// epanetAnswers is what solve.mjs prints.
type epanetAnswers struct {
	Engine  int
	Answers map[string]struct {
		Error string
		Nodes map[string]struct{ Head, Outflow float64 }
		Links map[string]struct{ Flow float64 }
	}
}

// compare returns the largest relative difference of a network's heads and flows
// from EPANET's, and where it is. Heads are counted from the lowest ground; flows below a ten
// thousandth of the whole are compared with that.
func (a epanetAnswers) compare(t testing.TB, name string, n hydraulic.Network, r hydraulic.Result) (worst float64, where string) {
	answer, ok := a.Answers[name]
	require.True(t, ok, name)
	require.Empty(t, answer.Error, name)
	drawn, lowest := 0.0, math.Inf(1)
	for i, v := range r.Nodes {
		drawn, lowest = drawn+float64(v.Outflow)/60, min(lowest, float64(n.Nodes[i].Elevation))
	}
	off := func(what, label string, got, want, least float64) {
		if d := math.Abs(got-want) / max(math.Abs(want), least); d > worst {
			worst, where = d, fmt.Sprintf("%s: %s %s is %v and EPANET's %v", name, what, label, got, want)
		}
	}
	for i, v := range n.Nodes {
		e, ok := answer.Nodes[v.Label]
		require.True(t, ok, v.Label)
		off("head at", v.Label, float64(r.Nodes[i].Head)-lowest, e.Head-lowest, 1)
		if i > 0 { // the first node may be EPANET's reservoir, whose outflow is the whole, backwards
			off("outflow at", v.Label, float64(r.Nodes[i].Outflow)/60, e.Outflow, drawn*1e-4)
		}
	}
	for i, l := range n.Links {
		if _, ok := l.Element.(hydraulic.Regulator); ok {
			continue // open, EPANET's has next to no resistance, and its flow some 1e-6 L/s of rounding
		}
		off("flow in", l.Label, float64(r.Links[i].Flow)/60, answer.Links[l.Label].Flow, drawn*1e-4)
	}
	return worst, where
}
