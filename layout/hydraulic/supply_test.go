package hydraulic_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

func ptr[T any](v T) *T { return &v }

func tested(static, flow, held float64) layout.Supply {
	return layout.Supply{StaticPressure: ptr(layout.PSI(static)),
		FlowTest: &layout.FlowTest{Flow: layout.GPM(flow), Pressure: layout.PSI(held)}}
}

// TestTwoPointCurve holds the curve against worked values of the two-point
// method (NFPA 291, exponent 0.54), and against its own inverse.
func TestTwoPointCurve(t *testing.T) {
	for _, c := range []struct{ static, held, flow, at, want float64 }{
		{60, 50, 6.667, 40, 9.69},
		{65, 50, 10, 45, 11.68},
		{80, 60, 1178, 20, 2132},
	} {
		curve, short := hydraulic.NewCurve(tested(c.static, c.flow, c.held))
		require.Nil(t, short)
		got := curve.FlowAt(layout.PSI(c.at))
		assert.InEpsilon(t, c.want, got.GPM(), 0.001)
		assert.InDelta(t, c.at, curve.At(got).PSI(), 1e-9)
		assert.InDelta(t, c.static, curve.At(0).PSI(), 1e-9)
		assert.Zero(t, curve.FlowAt(layout.PSI(c.static)))
	}
}

// TestBucket: Q = 60·V/t. 5 gal in 23 s is the worked example of a public
// gardening page (13 gpm); 5 gal in 45 s is arithmetic.
func TestBucket(t *testing.T) {
	for seconds, gpm := range map[int]float64{23: 13.04, 45: 6.667} {
		b := layout.BucketTest{Volume: layout.Gallons(5), Time: time.Duration(seconds) * time.Second}
		assert.InDelta(t, gpm, b.Flow().GPM(), 0.005)
	}
	assert.Zero(t, layout.BucketTest{Volume: 1}.Flow())
}

// TestHeadOfWater: 1 ft of water is 0.433 psi, and 20 ft 8.66 psi (plumbing
// code, Appendix E, E103.2.2).
func TestHeadOfWater(t *testing.T) {
	psi := func(feet float64) float64 {
		return layout.Pressure(layout.Feet(feet).Metres() * layout.KPaPerMetreHead).PSI()
	}
	assert.InEpsilon(t, 0.433, psi(1), 0.0015)
	assert.InDelta(t, 8.66, psi(20), 0.011)
}

// workingPoint finds by bisection the pressure at which what the supply holds, less
// an allowance, is what a head takes at its flow: what the supply holds falls with
// the flow, and that rises with the pressure.
func workingPoint(c hydraulic.Curve, m layout.HeadModel, allowance layout.Pressure) layout.PerformanceRow {
	low, high := m.Band()
	for range 60 {
		mid := (low + high) / 2
		if row, _, _ := m.At(mid); c.At(row.Flow)-allowance >= mid {
			low = mid
		} else {
			high = mid
		}
	}
	row, _, _ := m.At(low)
	return row
}

func TestBandIsNeverLeft(t *testing.T) {
	m := layout.GenericVariableThrow()
	_, short := hydraulic.Gauged(layout.PSI(39), m)
	require.NotNil(t, short)
	assert.Equal(t, "supply.pressure_low", short.Rule)
	assert.Contains(t, short.Text, "40.0 psi")

	w, short := hydraulic.Gauged(layout.PSI(90), m)
	require.Nil(t, short)
	assert.True(t, w.Regulated)
	assert.InDelta(t, 35, w.Throw.Feet(), 1e-9)

	w, short = hydraulic.Gauged(layout.PSI(55), m)
	require.Nil(t, short)
	assert.InDelta(t, 30, w.Throw.Feet(), 1e-9)
	assert.Equal(t, int64(9144), w.Throw.Millimetres())
}

func TestSupplyThatSaysTooLittle(t *testing.T) {
	for rule, s := range map[string]layout.Supply{
		"supply.static_missing": {},
		"supply.flow_missing":   {StaticPressure: ptr(layout.PSI(60))},
		"supply.contradiction":  tested(60, 5, 60),
	} {
		_, short := hydraulic.NewCurve(s)
		require.NotNil(t, short, rule)
		assert.Equal(t, rule, short.Rule)
	}
}
