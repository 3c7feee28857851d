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

// Options steer [AtHead].
type Options struct {
	Allowance layout.Pressure // lost between the tap and the head, at any flow
	FlowShare float64         // share of the measured flow that may be used
}

// WorkingPoint is how a single head runs on a supply.
type WorkingPoint struct {
	layout.PerformanceRow
	Regulated bool // the supply holds more than the rated band: a regulator is needed
	Notes     []layout.Note
}

// AtHead returns the working point of one head running alone: the pressure at
// which what the supply holds, less the allowance, equals what the head takes
// at its flow. A given head pressure is taken as it is. Below the rated band
// there is a shortfall and no working point: nothing is extrapolated.
func AtHead(s layout.Supply, m layout.HeadModel, o Options) (WorkingPoint, *Shortfall) {
	if s.HeadPressure != nil {
		return gauged(*s.HeadPressure, m)
	}
	curve, short := NewCurve(s)
	if short != nil {
		return WorkingPoint{}, short
	}
	p, short := balance(curve, m, o.Allowance)
	if short != nil {
		return WorkingPoint{}, short
	}
	w := at(m, p)
	w.Notes = curve.Notes()
	if limit := curve.Test.Flow * layout.Flow(o.FlowShare); w.Flow > limit {
		return WorkingPoint{}, &Shortfall{"supply.flow_low", fmt.Sprintf(
			"one head takes %v and %.0f %% of the measured %v is %v: at least %v must be measured",
			w.Flow, 100*o.FlowShare, curve.Test.Flow, limit, w.Flow/layout.Flow(o.FlowShare))}
	}
	return w, nil
}

// gauged is the working point at a pressure read at the head itself.
func gauged(p layout.Pressure, m layout.HeadModel) (WorkingPoint, *Shortfall) {
	if low, _ := m.Band(); p < low {
		return WorkingPoint{}, &Shortfall{"supply.pressure_low", fmt.Sprintf(
			"%v at the head is below the rated band of the %s head; it needs at least %v", p, m.Name, low)}
	}
	return at(m, p), nil
}

func at(m layout.HeadModel, p layout.Pressure) WorkingPoint {
	row, regulated, _ := m.At(p)
	return WorkingPoint{PerformanceRow: row, Regulated: regulated}
}

// bisections settle a pressure within the band to less than a pascal.
const bisections = 50

// balance returns the pressure at the head. What the supply holds falls with
// the flow, and the flow rises with the pressure, so the surplus over the
// head's own pressure falls steadily: bisection finds its zero.
func balance(c Curve, m layout.HeadModel, allowance layout.Pressure) (layout.Pressure, *Shortfall) {
	surplus := func(p layout.Pressure) layout.Pressure {
		row, _, _ := m.At(p)
		return c.At(row.Flow) - allowance - p
	}
	low, high := m.Band()
	if lack := -surplus(low); lack > 0 {
		return 0, &Shortfall{"supply.pressure_low", fmt.Sprintf(
			"the supply holds %v at the head, after %v lost on the way, and the %s head needs at least %v: "+
				"%v more static pressure would be needed",
			low-lack, allowance, m.Name, low, lack)}
	}
	if s := surplus(high); s >= 0 {
		return high + s, nil
	}
	for range bisections {
		if mid := (low + high) / 2; surplus(mid) >= 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return low, nil
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
