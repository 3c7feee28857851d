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

func TestWorkingPointBalances(t *testing.T) {
	m := layout.GenericVariableThrow()
	w, short := hydraulic.AtHead(tested(75, 6, 60), m, hydraulic.Options{Allowance: layout.PSI(10), FlowShare: 1})
	require.Nil(t, short)
	assert.False(t, w.Regulated)
	row, _, ok := m.At(w.Pressure)
	require.True(t, ok)
	assert.Equal(t, row, w.PerformanceRow)
	curve, _ := hydraulic.NewCurve(tested(75, 6, 60))
	assert.InDelta(t, w.Pressure.PSI(), curve.At(w.Flow).PSI()-10, 1e-6, "what is held equals what the head takes")
}

func TestBandIsNeverLeft(t *testing.T) {
	m := layout.GenericVariableThrow()
	o := hydraulic.Options{Allowance: layout.PSI(10), FlowShare: 0.75}

	_, short := hydraulic.AtHead(layout.Supply{HeadPressure: ptr(layout.PSI(39))}, m, o)
	require.NotNil(t, short)
	assert.Equal(t, "supply.pressure_low", short.Rule)
	assert.Contains(t, short.Text, "40.0 psi")

	w, short := hydraulic.AtHead(layout.Supply{HeadPressure: ptr(layout.PSI(90))}, m, o)
	require.Nil(t, short)
	assert.True(t, w.Regulated)
	assert.InDelta(t, 35, w.Throw.Feet(), 1e-9)

	w, short = hydraulic.AtHead(layout.Supply{HeadPressure: ptr(layout.PSI(55))}, m, o)
	require.Nil(t, short)
	assert.InDelta(t, 30, w.Throw.Feet(), 1e-9)
	assert.Equal(t, int64(9144), w.Throw.Millimetres())

	_, short = hydraulic.AtHead(tested(50, 8, 45), m, o)
	require.NotNil(t, short)
	lack := 10 + 40 - (50 - 5*0.2773) // 0.5^(1/0.54) = 0.2771; at 4 gpm half the test's flow
	assert.Contains(t, short.Text, "more static pressure")
	assert.InDelta(t, 1.4, lack, 0.1)
	assert.Contains(t, short.Text, "1.4 psi")
}

func TestFlowIsKeptInReserve(t *testing.T) {
	m := layout.GenericVariableThrow()
	s := layout.Supply{StaticPressure: ptr(layout.PSI(100)), Bucket: &layout.BucketTest{Volume: layout.Gallons(5.3), Time: time.Minute}}
	_, short := hydraulic.AtHead(s, m, hydraulic.Options{FlowShare: 0.75})
	require.NotNil(t, short)
	assert.Equal(t, "supply.flow_low", short.Rule)
}

func TestSupplyThatSaysTooLittle(t *testing.T) {
	for rule, s := range map[string]layout.Supply{
		"supply.static_missing": {},
		"supply.flow_missing":   {StaticPressure: ptr(layout.PSI(60))},
		"supply.contradiction":  tested(60, 5, 60),
	} {
		_, short := hydraulic.AtHead(s, layout.GenericVariableThrow(), hydraulic.Options{FlowShare: 1})
		require.NotNil(t, short, rule)
		assert.Equal(t, rule, short.Rule)
	}
}
