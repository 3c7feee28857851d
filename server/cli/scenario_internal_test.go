package cli

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"lotwright/layout"
)

func TestStreetPressureShiftsTheFlowTest(t *testing.T) {
	static := layout.PSI(60)
	s := layout.Supply{StaticPressure: &static, FlowTest: &layout.FlowTest{Flow: layout.GPM(6), Pressure: layout.PSI(50)}}

	// The pipe cost 10 psi at 6 gpm, and still does.
	at45 := atStreet(s, layout.PSI(45))
	assert.InDelta(t, 35, at45.FlowTest.Pressure.PSI(), 1e-9)
	assert.InDelta(t, 6, at45.FlowTest.Flow.GPM(), 1e-9)
	assert.InDelta(t, 45, at45.StaticPressure.PSI(), 1e-9)

	// 2.5 psi cannot carry 6 gpm any more: a quarter of the loss, so the flow
	// is 0.25^(1/1.852) = 0.4731 of it.
	at2 := atStreet(s, layout.PSI(2.5))
	assert.Zero(t, at2.FlowTest.Pressure)
	assert.InDelta(t, 6*0.4731, at2.FlowTest.Flow.GPM(), 1e-3)

	assert.InDelta(t, 60, s.StaticPressure.PSI(), 1e-9, "the measurement itself stays")
	assert.InDelta(t, 50, s.FlowTest.Pressure.PSI(), 1e-9)
}

func TestStreetPressureScalesTheBucket(t *testing.T) {
	static := layout.PSI(60)
	s := layout.Supply{StaticPressure: &static, Bucket: &layout.BucketTest{Volume: layout.Gallons(5), Time: 30 * time.Second}}
	half := atStreet(s, layout.PSI(30))
	assert.InDelta(t, 10*0.6878, half.Bucket.Flow().GPM(), 1e-3) // 0.5^(1/1.852)
	assert.InDelta(t, 10, s.Bucket.Flow().GPM(), 1e-9)
}

func TestStreetPressureLeavesAHeadPressure(t *testing.T) {
	s := atHeads(layout.PSI(50))
	assert.Equal(t, s, atStreet(s, layout.PSI(30)))
}
