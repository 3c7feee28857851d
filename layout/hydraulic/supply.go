package hydraulic

import (
	"fmt"
	"math"

	"lotwright/layout"
)

// FlowExponent relates flow to the pressure it costs, Q ∝ Δp^0.54: the
// Hazen–Williams exponent as the two-point method of hydrant testing uses it
// (NFPA 291).
const FlowExponent = 0.54

// Curve is the pressure a supply holds at a flow, through its static pressure
// and one working point. Without a working point it holds its static pressure
// at any flow.
type Curve struct {
	Static layout.Pressure
	Test   layout.FlowTest
}

// Held returns the supply that holds p whatever is drawn.
func Held(p layout.Pressure) Curve { return Curve{Static: p} }

// tested reports whether the supply has a working point.
func (c Curve) tested() bool { return c.Test.Flow > 0 }

// law returns what the supply loses of its static head as it runs.
func (c Curve) law() law {
	if !c.tested() {
		return power{0, 1}
	}
	return power{headOf(c.Static-c.Test.Pressure) / math.Pow(cubicMetres(c.Test.Flow), 1/FlowExponent), 1 / FlowExponent}
}

// At returns the pressure held at flow q; it turns negative beyond what the
// supply can give.
func (c Curve) At(q layout.Flow) layout.Pressure {
	if !c.tested() {
		return c.Static
	}
	ratio := float64(q / c.Test.Flow)
	return c.Static - (c.Static-c.Test.Pressure)*layout.Pressure(math.Pow(ratio, 1/FlowExponent))
}

// FlowAt returns the flow at which the supply holds pressure p: the two-point
// formula Q = Q₁·((Pₛ−P)/(Pₛ−P₁))^0.54. It is zero at or above the static
// pressure, and without bound below it where there is no working point.
func (c Curve) FlowAt(p layout.Pressure) layout.Flow {
	switch {
	case p >= c.Static:
		return 0
	case !c.tested():
		return layout.Flow(math.Inf(1))
	}
	return c.Test.Flow * layout.Flow(math.Pow(float64((c.Static-p)/(c.Static-c.Test.Pressure)), FlowExponent))
}

// Shortfall is a supply that cannot serve a head, in words a user can act on.
type Shortfall struct {
	Rule string // dotted code of what is missing
	Text string
}

func (s *Shortfall) Error() string { return s.Text }

// NewCurve returns the supply curve of what was measured. A bucket filled from
// the open tap gives the flow at no pressure. A shortfall says what is
// missing or contradictory.
func NewCurve(s layout.Supply) (Curve, *Shortfall) {
	if s.StaticPressure == nil {
		return Curve{}, &Shortfall{"supply.static_missing", "the static pressure was not measured"}
	}
	c := Curve{Static: *s.StaticPressure}
	switch {
	case s.FlowTest != nil:
		c.Test = *s.FlowTest
	case s.Bucket != nil:
		c.Test = layout.FlowTest{Flow: s.Bucket.Flow()}
	default:
		return Curve{}, &Shortfall{"supply.flow_missing",
			"no flow was measured: give a flow held at a pressure, or a timed bucket"}
	}
	if c.Test.Flow <= 0 {
		return Curve{}, &Shortfall{"supply.flow_missing", "the measured flow is zero"}
	}
	if c.Test.Pressure >= c.Static {
		return Curve{}, &Shortfall{"supply.contradiction", fmt.Sprintf(
			"the pressure held while water ran, %v, is not below the static pressure, %v", c.Test.Pressure, c.Static)}
	}
	return c, nil
}

// WorkingPoint is how a single head runs.
type WorkingPoint struct {
	layout.PerformanceRow
	Regulated bool // the pressure is above the rated band: a regulator is needed
}

// Gauged is the working point at a pressure read at the head itself. Below the
// rated band there is a shortfall and no working point: nothing is extrapolated.
func Gauged(p layout.Pressure, m layout.HeadModel) (WorkingPoint, *Shortfall) {
	row, regulated, ok := m.At(p)
	if !ok {
		low, _ := m.Band()
		return WorkingPoint{}, &Shortfall{"supply.pressure_low", fmt.Sprintf(
			"%v at the head is below the rated band of the %s head; it needs at least %v", p, m.Name, low)}
	}
	return WorkingPoint{row, regulated}, nil
}

// The rule of thumb: 5 gal within 45 s from the open tap, and at least 40 psi.
// Common practice, no source.
const (
	thumbGallons = 5
	thumbSeconds = 45
	thumbPSI     = 40
)

// soundTest is the share of the static pressure a flow test must fall below to
// say much (NFPA 291 §4.4.6 asks for a drop of a tenth).
const soundTest = 0.9

// Notes reports the rule of thumb, a weak test and an open-tap flow.
func (c Curve) Notes() []layout.Note {
	var out []layout.Note
	open := c.FlowAt(0)
	if enough := layout.GPM(thumbGallons * 60.0 / thumbSeconds); open < enough || c.Static < layout.PSI(thumbPSI) {
		out = append(out, layout.Note{Rule: "supply.rule_of_thumb", Severity: layout.SeverityWarning, Text: fmt.Sprintf(
			"the open tap gives about %v and the static pressure is %v; the rule of thumb asks for 5 gal within 45 s (%v) and at least 40 psi",
			open, c.Static, enough)})
	}
	if c.Test.Pressure > soundTest*c.Static {
		out = append(out, layout.Note{Rule: "supply.weak_test", Severity: layout.SeverityWarning, Text: fmt.Sprintf(
			"the flow test lowered the pressure only from %v to %v; a tenth of the static pressure at least makes a sound test",
			c.Static, c.Test.Pressure)})
	}
	if c.Test.Pressure == 0 {
		out = append(out, layout.Note{Rule: "supply.open_tap", Severity: layout.SeverityInfo,
			Text: "the open tap shows the flow at no pressure; a flow held at a pressure would be surer"})
	}
	return out
}
