package drawing

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lotwright/layout"
)

func scenarios() Chart {
	return Chart{Title: "Larkenfold at four pressures", Axis: "Static pressure", Points: []ChartPoint{
		{Pressure: layout.PSI(60), Heads: 151, Designed: 24},
		{Pressure: layout.PSI(45), Heads: 141, Designed: 18, Infeasible: 6},
		{Pressure: layout.PSI(50), Heads: 172, Designed: 23, Infeasible: 1},
		{Pressure: layout.PSI(70), Heads: 128, Designed: 24},
	}}
}

func TestScenarioChart(t *testing.T) {
	p := scenarioChart(scenarios())
	out := checkPage(t, p)
	for _, want := range []string{"45 psi", "310 kPa", "70 psi", "483 kPa", "141", "172", "151", "128", "6", "1", "Static pressure", "Heads in all", "Infeasible lots"} {
		assert.Contains(t, out.texts, want)
	}
	golden(t, "chart.svg", p)

	shuffled := scenarios()
	shuffled.Points[0], shuffled.Points[3] = shuffled.Points[3], shuffled.Points[0]
	assert.Equal(t, render(t, p), render(t, scenarioChart(shuffled)), "order of points does not matter")
	assert.Equal(t, layout.PSI(70), shuffled.Points[0].Pressure, "and is left as it was")
}

// TestMarksStandForTheirNumbers reads the marks back: equal steps of heads are
// equal heights, and hollow marks are those with lots left out.
func TestMarksStandForTheirNumbers(t *testing.T) {
	out := checkPage(t, scenarioChart(scenarios()))
	var x, y []float64
	var hollow []bool
	for _, m := range out.marks {
		if m.name == "circle" && len(y) < 4 {
			cx, _ := strconv.ParseFloat(m.attributes["cx"], 64)
			cy, _ := strconv.ParseFloat(m.attributes["cy"], 64)
			x, y, hollow = append(x, cx), append(y, cy), append(hollow, m.attributes["fill"] == white)
		}
	}
	require.Len(t, y, 4)
	assert.Equal(t, []bool{true, true, false, false}, hollow)
	heads, psi := []float64{141, 172, 151, 128}, []float64{45, 50, 60, 70}
	for i := 1; i < 4; i++ {
		assert.InDelta(t, (heads[i]-heads[0])/(heads[3]-heads[0]), (y[i]-y[0])/(y[3]-y[0]), 0.01)
		assert.InDelta(t, (psi[i]-psi[0])/(psi[3]-psi[0]), (x[i]-x[0])/(x[3]-x[0]), 0.001)
	}
	assert.Less(t, y[1], y[0], "more heads stand higher")
}

func TestChartRefusesNonsense(t *testing.T) {
	for _, pt := range []ChartPoint{{Pressure: 0}, {Pressure: layout.Pressure(math.NaN())}, {Pressure: layout.Pressure(math.Inf(1))}, {Pressure: 300, Heads: -1}, {Pressure: 300, Infeasible: -2}} {
		var b bytes.Buffer
		err := ScenarioChart(&b, Chart{Points: []ChartPoint{{Pressure: 300}, pt}})
		require.ErrorContains(t, err, "chart point 2")
		assert.Zero(t, b.Len())
	}
}

func TestChartsOfFewPoints(t *testing.T) {
	out := checkPage(t, scenarioChart(Chart{}))
	assert.Contains(t, out.texts, "No scenarios to compare")
	checkPage(t, scenarioChart(Chart{Points: []ChartPoint{{Pressure: 300}}}))
	checkPage(t, scenarioChart(Chart{Points: []ChartPoint{{Pressure: 300, Heads: 5}, {Pressure: 300, Heads: 5}}}))
}

func TestChartOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := Chart{Title: rapid.String().Draw(t, "title"), Axis: rapid.String().Draw(t, "axis")}
		for range rapid.IntRange(0, 40).Draw(t, "n") {
			c.Points = append(c.Points, ChartPoint{
				Pressure: layout.Pressure(rapid.Float64Range(1, 2000).Draw(t, "kPa")),
				Heads:    rapid.IntRange(0, 2000000).Draw(t, "heads"), Infeasible: rapid.IntRange(0, 300000).Draw(t, "out"),
			})
		}
		out := checkPage(t, scenarioChart(c))
		if len(c.Points) == 1 && !strings.Contains(strings.Join(out.texts, "\n"), Decimal(float64(c.Points[0].Heads), 0)) {
			t.Fatal("the number is missing")
		}
	})
}

// TestCoverageChart: targets stand where their shares put them, named in per
// cent.
func TestCoverageChart(t *testing.T) {
	c := Chart{Title: "Larkenfold, five targets", Axis: "Share of the lawn to reach"}
	for i, target := range []float64{0.9, 1, 0.95, 0.97, 0.99} {
		c.Points = append(c.Points, ChartPoint{Target: target, Heads: 130 + 10*i, Designed: 24})
	}
	out := checkPage(t, scenarioChart(c))
	for _, words := range []string{"90 %", "95 %", "97 %", "99 %", "100 %"} {
		assert.Contains(t, out.texts, words)
	}
	assert.NotContains(t, strings.Join(out.texts, " "), "psi")
	var b strings.Builder
	assert.ErrorContains(t, ScenarioChart(&b, Chart{Points: []ChartPoint{{Target: 1.2}}}), "coverage target 1.2")
}
