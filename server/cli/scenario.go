package cli

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/geom"
)

// scenario is one of those compared: a pressure, or a coverage target with the
// pressure left as it is.
type scenario struct {
	pressure layout.Pressure
	target   float64 // share of the lawn; 0: the scenario is a pressure
}

// name is how people read it.
func (sc scenario) name() string {
	if sc.target > 0 {
		return sc.percent() + " %"
	}
	return shortPSI(sc.pressure) + " psi"
}

// column is how it names a column.
func (sc scenario) column() string {
	if sc.target > 0 {
		return sc.percent() + "pct"
	}
	return shortPSI(sc.pressure) + "psi"
}

// cells are pressure in both units and target, empty where it has none.
func (sc scenario) cells() []string {
	if sc.target > 0 {
		return []string{"", "", fmt.Sprintf("%.4f", sc.target)}
	}
	return []string{fmt.Sprintf("%.2f", sc.pressure.PSI()), fmt.Sprintf("%.2f", sc.pressure.KPa()), ""}
}

func (sc scenario) percent() string {
	return strconv.FormatFloat(math.Round(sc.target*1e6)/1e4, 'f', -1, 64)
}

// shortPSI writes a pressure to a tenth of a psi, without a zero after the point.
func shortPSI(p layout.Pressure) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", p.PSI()), ".0")
}

// of returns the lot and the settings as they are in the scenario.
func (sc scenario) of(item assemble.Item, s design.Settings) (assemble.Item, design.Settings) {
	if sc.target > 0 {
		s.CoverageTarget = sc.target
		if item.Lot != nil && s.Supply.HeadPressure != nil {
			lot := *item.Lot
			lot.Supply = s.Supply
			item.Lot = &lot
		}
		return item, s
	}
	if item.Lot != nil {
		lot := *item.Lot
		lot.Supply = atHeads(sc.pressure)
		if s.Supply != (layout.Supply{}) {
			lot.Supply = atStreet(item.Lot.Supply.Or(s.Supply), sc.pressure)
		}
		item.Lot = &lot
	}
	return item, s
}

// inScenarios designs one lot once a scenario, from the hardest to the easiest:
// of least pressure or most coverage first. What does in one does in the next,
// so its heads are tried there too.
func inScenarios(ctx context.Context, item assemble.Item, s design.Settings, scenarios []scenario) []*outcome {
	order := make([]int, len(scenarios))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(scenarios[b].target, scenarios[a].target), cmp.Compare(scenarios[a].pressure, scenarios[b].pressure))
	})
	out := make([]*outcome, len(scenarios))
	for _, i := range order {
		this, settings := scenarios[i].of(item, s)
		d := designLot(ctx, this, settings)
		out[i] = &outcome{item: this, design: d}
		if d != nil && d.Status == layout.StatusDesigned {
			s.Start = append(s.Start[:len(s.Start):len(s.Start)], headPlaces(d))
		}
	}
	return out
}

// headPlaces lists where the heads stand that are not pinned.
func headPlaces(d *layout.Design) (out []geom.Point) {
	for _, h := range d.Heads {
		if !h.Pinned {
			out = append(out, h.At)
		}
	}
	return out
}

// hazenWilliamsFlowExponent is how flow follows from the pressure spent on
// friction: the loss goes with flow to the power of 1.852 (Williams and Hazen).
const hazenWilliamsFlowExponent = 1 / 1.852

// atHeads is the supply when a gauge at the nozzle reads p.
func atHeads(p layout.Pressure) layout.Supply { return layout.Supply{HeadPressure: &p} }

// atStreet is the measured supply s as it would be with another static
// pressure: the pipe between street and tap stays what it was, so a flow still
// costs what it cost in the test. A lot that gives the pressure at its heads
// keeps it, since nothing is known of its street.
func atStreet(s layout.Supply, static layout.Pressure) layout.Supply {
	if s.StaticPressure == nil {
		return s
	}
	before := *s.StaticPressure
	s.StaticPressure = &static
	if s.FlowTest != nil {
		test := shifted(*s.FlowTest, before, static)
		s.FlowTest = &test
	}
	if s.Bucket != nil {
		bucket := *s.Bucket
		bucket.Volume *= layout.Volume(flowShare(static / before))
		s.Bucket = &bucket
	}
	return s
}

// shifted is a flow test at another static pressure. Where that does not carry
// the flow, it is what the fully open tap gives.
func shifted(t layout.FlowTest, before, static layout.Pressure) layout.FlowTest {
	loss := before - t.Pressure
	if static > loss {
		return layout.FlowTest{Flow: t.Flow, Pressure: static - loss}
	}
	return layout.FlowTest{Flow: t.Flow * layout.Flow(flowShare(static/loss))}
}

// flowShare is the flow left when the pressure to spend is a share of what it was.
func flowShare(pressure layout.Pressure) float64 {
	return math.Pow(float64(pressure), hazenWilliamsFlowExponent)
}
