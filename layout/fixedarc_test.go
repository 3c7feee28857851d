package layout_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
)

// Matched precipitation: every nozzle of a family, at every rated pressure and
// any arc, waters at the rate the family states (30 TAC §344.1(32)).
func TestGenericFamiliesAreMatched(t *testing.T) {
	const inchesPerHour = 96.25 // of 1 gpm on 1 ft²
	want := map[string]float64{"generic spray": 1.5, "generic multi-stream": 0.5, "generic rotor": 0.5}
	for _, f := range layout.GenericFixedArc() {
		require.NoError(t, f.Validate())
		for _, m := range f.Nozzles {
			for _, row := range m.Rows {
				for _, sweep := range []float64{45, 90, 180, 270, 360} {
					throw := row.Throw.Metres() / layout.MetresPerFoot
					gpm := layout.ArcFlow(row.Flow, sweep) / layout.GPM(1)
					area := throw * throw * sweep / 360
					assert.InDelta(t, want[f.Name], inchesPerHour*float64(gpm)/area, 1e-9, "%s %v %v°", m.Name, row.Pressure, sweep)
				}
			}
		}
	}
}

func TestFixedArcFamilyAt(t *testing.T) {
	f := layout.GenericSpray()
	rows, ok, regulated := f.At(layout.PSI(30))
	require.Len(t, rows, 4)
	assert.Equal(t, []bool{true, true, true, true}, ok)
	assert.False(t, regulated)
	assert.InDelta(t, 15*layout.MetresPerFoot, rows[3].Throw.Metres(), 1e-9)
	_, ok, _ = f.At(layout.PSI(19))
	assert.NotContains(t, ok, true, "below the band nothing is extrapolated")
	rows, _, regulated = f.At(layout.PSI(80))
	assert.True(t, regulated)
	assert.Equal(t, layout.PSI(40), rows[0].Pressure)
}

func TestFixedArcFamilyFaults(t *testing.T) {
	for want, spoil := range map[string]func(*layout.FixedArcFamily){
		"no nozzles":            func(f *layout.FixedArcFamily) { f.Nozzles = nil },
		"is not a fixed-arc":    func(f *layout.FixedArcFamily) { f.Nozzles[0].Kind = layout.VariableThrow },
		"no performance rows":   func(f *layout.FixedArcFamily) { f.Nozzles[0].Rows = nil },
		"are not steps of 5°":   func(f *layout.FixedArcFamily) { f.LeastSweepDeg = 44 },
		"least radius share":    func(f *layout.FixedArcFamily) { f.LeastRadiusShare = 0 },
		"uniformity target":     func(f *layout.FixedArcFamily) { f.UniformityTarget = 1 },
		"overspray limit":       func(f *layout.FixedArcFamily) { f.OversprayLimit = -0.1 },
		"least strip width":     func(f *layout.FixedArcFamily) { f.LeastStrip = -1 },
		"must run from share 0": func(f *layout.FixedArcFamily) { f.Profile = []layout.RadialRate{{Share: 0, Rate: 1}, {Share: 0.9}} },
		"profile point 2":       func(f *layout.FixedArcFamily) { f.Profile = []layout.RadialRate{{Rate: 1}, {Rate: 1}, {Share: 1}} },
		"profile has no water":  func(f *layout.FixedArcFamily) { f.Profile = []layout.RadialRate{{}, {Share: 1}} },
	} {
		t.Run(want, func(t *testing.T) {
			f := layout.GenericSpray()
			spoil(&f)
			assert.ErrorContains(t, f.Validate(), want)
		})
	}
}
