package cli

import (
	"math"

	"lotwright/layout"
)

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
