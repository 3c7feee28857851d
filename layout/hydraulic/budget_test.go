package hydraulic_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

// TestBudget: what is required at the outlet, the elevation, the meter, the
// devices, and pipe and fittings add up to the pressure available (International
// Plumbing Code, appendix E, E103.2.2, items 1–5). 20 ft of height take 8.66 psi, that
// clause's own example.
func TestBudget(t *testing.T) {
	meter, _ := hydraulic.Meter("3/4 in")
	backflow, _ := hydraulic.GenericBackflow(hydraulic.PressureVacuumBreaker)
	n := chain(measured(75, 15, 55),
		hydraulic.Link{Label: "service", Kind: hydraulic.KindServiceLine, Element: pipe("1 in", 40).Element},
		hydraulic.Link{Label: "meter", Kind: hydraulic.KindMeter, Element: meter},
		hydraulic.Link{Label: "backflow", Kind: hydraulic.KindBackflow, Element: backflow},
		pipe("1 in", 60, hydraulic.FittingCount{Fitting: hydraulic.Ell90, Count: 2}))
	n.Nodes[4].Elevation = layout.Feet(20)
	n.Nodes[4].Emitter = nozzle(4)
	r := solve(t, n)
	rows := n.Budget(r, 4)
	var items []hydraulic.Item
	lost := layout.Pressure(0)
	for _, row := range rows {
		items = append(items, row.Item)
		lost += row.Loss
		assert.InDelta(t, (n.Source.Static - lost).PSI(), row.Left.PSI(), 1e-9)
		assert.GreaterOrEqual(t, row.Loss, layout.Pressure(0))
	}
	assert.Equal(t, []hydraulic.Item{"static", "supply", "service_line", "meter", "backflow", "pipe", "fittings", "elevation"}, items)
	assert.InDelta(t, r.Nodes[4].Pressure.PSI(), rows[len(rows)-1].Left.PSI(), 1e-9, "what is left is the pressure at the head")
	assert.InDelta(t, 8.66, rows[7].Loss.PSI(), 0.011)
	assert.InDelta(t, 2*2.62/60, float64(rows[6].Loss/rows[5].Loss), 1e-9, "two ells on 60 ft")
	assert.Empty(t, n.Budget(r, 9))
	assert.Empty(t, n.Budget(hydraulic.Result{}, 1))
}

// TestBudgetOfRandomNetworks: the rows lead from the static pressure to the
// pressure of whatever node.
func TestBudgetOfRandomNetworks(t *testing.T) {
	for seed := range uint64(200) {
		n := randomNetwork(rand.New(rand.NewPCG(seed, 5)))
		r := solve(t, n)
		for i := range n.Nodes {
			rows := n.Budget(r, i)
			require.NotEmpty(t, rows)
			assert.InDelta(t, r.Nodes[i].Pressure.KPa(), rows[len(rows)-1].Left.KPa(), 1e-6, "seed %d node %d", seed, i)
		}
	}
}
