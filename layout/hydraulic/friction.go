package hydraulic

import (
	"fmt"
	"math"

	"lotwright/layout"
)

// Formula is how the friction of water in a pipe is reckoned.
type Formula int

// The formulas. The trade's tables follow the first; the second holds for
// any liquid and pipe.
const (
	HazenWilliams Formula = iota
	DarcyWeisbach
)

// Hazen–Williams as EPANET reckons it (EPANET 2.2 User Manual, table 3.1,
// 4.727·L·Q^1.852/(C^1.852·d^4.871) in feet and cubic feet a second), in metres
// and cubic metres a second.
const (
	hazenWilliams         = 10.6668
	hazenWilliamsFlow     = 1.852
	hazenWilliamsDiameter = 4.871
)

// DefaultC is the Hazen–Williams coefficient of plastic pipe (NRCS conservation
// practice standard 430: no less than 150).
const DefaultC = 150

// Figures for Darcy–Weisbach.
const (
	gravity = layout.KPaPerMetreHead // m/s², the same figure

	// DefaultRoughness is that of plastic pipe, 0.0015 mm (EPANET 2.2 User
	// Manual, table 3.2: 0.005·10⁻³ ft).
	DefaultRoughness layout.Length = 1.5e-6

	// viscosity is the kinematic viscosity of water at 20 °C in m²/s (EPANET
	// takes 1.1e-5 ft²/s).
	viscosity = 1.022e-6

	// Below laminarEnd flow is laminar, above turbulentStart turbulent. Between
	// the two the friction factor is not determined; it is taken in a straight
	// line of the Reynolds number.
	laminarEnd     = 2000
	turbulentStart = 4000
)

// Velocity is a speed of water in metres per second.
type Velocity float64

// FeetPerSecond returns the velocity of v feet per second.
func FeetPerSecond(v float64) Velocity { return Velocity(v * layout.MetresPerFoot) }

// FeetPerSecond returns v in feet per second.
func (v Velocity) FeetPerSecond() float64 { return float64(v) / layout.MetresPerFoot }

// String writes v in both systems, for messages.
func (v Velocity) String() string {
	return fmt.Sprintf("%.2f ft/s (%.2f m/s)", v.FeetPerSecond(), float64(v))
}

// DefaultVelocityLimit is the fastest that water may run in plastic pipe, 5 ft/s
// (Florida Building Code, Plumbing, Appendix F, part II, as amended by Broward
// County: 1524 mm/s).
const DefaultVelocityLimit Velocity = 5 * layout.MetresPerFoot

// litresPerMinute in one m³/s.
const litresPerMinute = 60_000

func cubicMetres(q layout.Flow) float64      { return float64(q) / litresPerMinute }
func flowOf(cubicMetres float64) layout.Flow { return layout.Flow(cubicMetres * litresPerMinute) }
func headOf(p layout.Pressure) float64       { return float64(p) / layout.KPaPerMetreHead }
func pressureOf(headMetres float64) layout.Pressure {
	return layout.Pressure(headMetres * layout.KPaPerMetreHead)
}

// Velocity returns how fast water runs in the pipe at flow q.
func (s PipeSize) Velocity(q layout.Flow) Velocity {
	return Velocity(cubicMetres(q) / s.area())
}

// FlowAt returns the flow at which water runs at velocity v.
func (s PipeSize) FlowAt(v Velocity) layout.Flow { return flowOf(float64(v) * s.area()) }

// Holds returns the water in a length of the pipe.
func (s PipeSize) Holds(l layout.Length) layout.Volume {
	return layout.Volume(1000 * s.area() * l.Metres())
}

// area of the bore in m².
func (s PipeSize) area() float64 { d := s.Inside.Metres(); return math.Pi / 4 * d * d }

// Loss returns the pressure lost to friction along a length of the pipe.
func (s PipeSize) Loss(f Formula, l layout.Length, q layout.Flow) layout.Pressure {
	h, _ := s.friction(f, l).loss(cubicMetres(q))
	return pressureOf(h)
}

// friction returns the law of a length of the pipe.
func (s PipeSize) friction(f Formula, l layout.Length) law {
	if f == DarcyWeisbach {
		return newDarcy(s, l)
	}
	c := s.C
	if c == 0 {
		c = DefaultC
	}
	return power{
		factor:   hazenWilliams * l.Metres() / (math.Pow(c, hazenWilliamsFlow) * math.Pow(s.Inside.Metres(), hazenWilliamsDiameter)),
		exponent: hazenWilliamsFlow,
	}
}

// law is the head, in m, that a link loses at a flow in m³/s, and its slope. It
// rises with the flow and is defined for any, negative too, so that a solver
// may pass there on its way.
type law interface {
	loss(q float64) (head, slope float64)
}

// power is loss = factor·q^exponent, odd in q.
type power struct{ factor, exponent float64 }

func (p power) loss(q float64) (head, slope float64) {
	size := math.Abs(q)
	if size == 0 {
		return 0, 0
	}
	head = p.factor * math.Pow(size, p.exponent)
	return math.Copysign(head, q), p.exponent * head / size
}

// darcy is loss = factor·f·q², odd in q, with the friction factor f.
type darcy struct {
	factor   float64 // of f·q²
	reynolds float64 // number per m³/s
	relative float64 // roughness over diameter
}

func newDarcy(s PipeSize, l layout.Length) darcy {
	d, rough := s.Inside.Metres(), s.Roughness
	if rough == 0 {
		rough = DefaultRoughness
	}
	return darcy{
		factor:   8 * l.Metres() / (math.Pi * math.Pi * gravity * math.Pow(d, 5)),
		reynolds: 4 / (math.Pi * d * viscosity),
		relative: rough.Metres() / d,
	}
}

func (d darcy) loss(q float64) (head, slope float64) {
	size := math.Abs(q)
	if size == 0 {
		return 0, 64 * d.factor / d.reynolds
	}
	f, df := frictionFactor(d.reynolds*size, d.relative)
	head = d.factor * f * size * size
	return math.Copysign(head, q), d.factor * size * (2*f + df*d.reynolds*size)
}

// FrictionFactor is Darcy's, for a Reynolds number and the roughness over the
// diameter: 64/Re in laminar flow, Colebrook and White's in turbulent flow.
func FrictionFactor(reynolds, relativeRoughness float64) float64 {
	f, _ := frictionFactor(reynolds, relativeRoughness)
	return f
}

// frictionFactor returns the factor and its derivative by the Reynolds number.
func frictionFactor(re, rough float64) (f, slope float64) {
	switch {
	case re <= laminarEnd:
		return 64 / re, -64 / (re * re)
	case re >= turbulentStart:
		return colebrook(re, rough)
	}
	low := 64.0 / laminarEnd
	high, _ := colebrook(turbulentStart, rough)
	slope = (high - low) / (turbulentStart - laminarEnd)
	return low + slope*(re-laminarEnd), slope
}

// colebrookSteps reach the last bit from Swamee and Jain's value: each gains
// at least one decimal, since the right side is nearly flat in x.
const colebrookSteps = 24

// colebrook solves x = −2·log₁₀(ε/3.7 + 2.51·x/Re), x = 1/√f, by substitution
// from Swamee and Jain's explicit value (1976), and differentiates it.
func colebrook(re, rough float64) (f, slope float64) {
	a, b := rough/3.7, 2.51/re
	x := -2 * math.Log10(a+5.74/math.Pow(re, 0.9))
	for range colebrookSteps {
		next := -2 * math.Log10(a+b*x)
		if next == x {
			break
		}
		x = next
	}
	t := 2 / (math.Ln10 * (a + b*x)) // −dx/d(argument)
	dx := t * b * x / re / (1 + t*b)
	return 1 / (x * x), -2 * dx / (x * x * x)
}
