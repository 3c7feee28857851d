package hydraulic_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

// across returns the pressure a device loses at a flow, in psi, through a solved
// network.
func across(t *testing.T, e hydraulic.Element, gpm float64) float64 {
	n := chain(hydraulic.Held(layout.PSI(100)), hydraulic.Link{Kind: hydraulic.KindMeter, Element: e})
	n.Nodes[1].Demand = layout.GPM(gpm)
	return 100 - solve(t, n).Nodes[1].Pressure.PSI()
}

// TestMeters: the AWWA standard pressure losses of disc meters, as a published
// sheet gives them. The square law through the largest flow holds within 5 %
// from half of it up; below, the sheet rounds to a tenth of a psi.
func TestMeters(t *testing.T) {
	for size, rows := range map[string][][2]float64{
		"5/8 in":   {{10, 3.7}, {15, 8.3}, {20, 15.0}},
		"3/4 in":   {{10, 1.6}, {15, 3.6}, {20, 6.5}, {30, 15.0}},
		"1 in":     {{10, 0.7}, {20, 2.2}, {30, 5.3}, {50, 15.0}},
		"1-1/2 in": {{20, 0.8}, {50, 4.9}, {100, 20.0}},
	} {
		m, ok := hydraulic.Meter(size)
		require.True(t, ok)
		for _, r := range rows {
			if r[0] >= m.At.GPM()/2 {
				assert.InEpsilon(t, r[1], across(t, m, r[0]), 0.05, "%s at %v gpm", size, r[0])
			} else {
				assert.InDelta(t, r[1], across(t, m, r[0]), 0.25, "%s at %v gpm", size, r[0])
			}
		}
	}
	five8, _ := hydraulic.Meter("5/8 in")
	assert.InDelta(t, 3.75, across(t, five8, 10), 1e-6)
	_, ok := hydraulic.Meter("9 in")
	assert.False(t, ok)
}

// TestMeterIsNotOverrun: beyond its largest flow a meter's loss is not known.
func TestMeterIsNotOverrun(t *testing.T) {
	m, _ := hydraulic.Meter("5/8 in")
	n := chain(hydraulic.Held(layout.PSI(100)), hydraulic.Link{Label: "meter", Kind: hydraulic.KindMeter, Element: m})
	n.Nodes[1].Demand = layout.GPM(20.1)
	r := solve(t, n)
	assert.Equal(t, hydraulic.Beyond, r.Status)
	assert.Contains(t, r.Reason, "meter carries 20.10 gpm")
}

// TestBackflowCurve: springs first, then straight lines, and nothing beyond.
func TestBackflowCurve(t *testing.T) {
	c := hydraulic.LossCurve{Offset: layout.PSI(3), Points: []hydraulic.LossPoint{
		{Flow: layout.GPM(10), Loss: layout.PSI(4)}, {Flow: layout.GPM(20), Loss: layout.PSI(7)}}}
	for gpm, psi := range map[float64]float64{0: 3, 5: 3.5, 10: 4, 15: 5.5, 20: 7} {
		assert.InDelta(t, psi, across(t, c, gpm), 1e-6, "%v gpm", gpm)
	}
	n := chain(hydraulic.Held(layout.PSI(100)), hydraulic.Link{Label: "backflow", Kind: hydraulic.KindBackflow, Element: c})
	n.Nodes[1].Demand = layout.GPM(21)
	assert.Equal(t, hydraulic.Beyond, solve(t, n).Status)
}

// TestGenericBackflow: what designers allow at residential flows, 3–5 psi for a
// pressure vacuum breaker, 4–6 for a double check, 10–14 for a reduced pressure
// assembly (common practice, no source), marked as a judgement.
func TestGenericBackflow(t *testing.T) {
	for kind, psi := range map[hydraulic.BackflowKind][2]float64{
		hydraulic.PressureVacuumBreaker: {3, 5}, hydraulic.DoubleCheck: {4, 6}, hydraulic.ReducedPressure: {10, 14}} {
		c, ok := hydraulic.GenericBackflow(kind)
		require.True(t, ok)
		assert.True(t, c.Judged)
		assert.InDelta(t, psi[0], across(t, c, 0), 1e-6)
		assert.InDelta(t, psi[1], across(t, c, 25), 1e-6)
	}
	_, ok := hydraulic.GenericBackflow("none")
	assert.False(t, ok)
}

func TestValve(t *testing.T) {
	assert.InDelta(t, 2, across(t, hydraulic.GenericValve(), 10), 1e-9)
	assert.InDelta(t, 0.5, across(t, hydraulic.GenericValve(), 5), 1e-9)
	assert.InDelta(t, 0, across(t, hydraulic.SquareLoss{}, 5), 1e-9)
}
