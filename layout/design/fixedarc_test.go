package design_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/geom"
)

// yard is an open lawn of 12 m by 9 m.
func yard() *layout.Lot { return &layout.Lot{ID: "yard", Parcel: rect(0, 0, 12, 9)} }

func fixedArc(f layout.FixedArcFamily, psi float64) design.Settings {
	s := gauged(psi)
	s.Family, s.Effort.SectorMoves = &f, 40_000
	return s
}

func TestFixedArcDesign(t *testing.T) {
	f := layout.GenericRotor()
	d := run(t, yard(), fixedArc(f, 45))
	require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
	assert.Equal(t, layout.FixedArc, d.HeadKind)
	assert.GreaterOrEqual(t, d.Coverage, 0.97)
	require.NotNil(t, d.Uniformity)
	assert.GreaterOrEqual(t, d.Uniformity.DULowQuarter, 0.65)
	assert.Greater(t, d.Uniformity.CU, d.Uniformity.DULowQuarter)
	assert.Equal(t, layout.ProofDiscrete, d.Proof.Kind)
	assert.LessOrEqual(t, d.Proof.Bound, len(d.Heads))
	assert.InDelta(t, 108*(1-d.Coverage), d.DryArea, 1e-6)
	for _, h := range d.Heads {
		assert.Equal(t, layout.FixedArc, h.Kind)
		assert.Zero(t, h.Zone, "no flow was measured, so nothing says how many run together")
		assert.InDelta(t, h.WettedArea, geom.Region{{rounded(h.Wetted)}}.AreaM2(), 0.01)
		assert.LessOrEqual(t, h.OversprayArea, 0.05*h.WettedArea)
		assert.InDelta(t, geom.Difference(geom.Region{{rounded(h.Wetted)}}, d.Irrigated).AreaM2(), h.OversprayArea, 0.01)
	}
}

func rounded(line []geom.Vec) (out geom.Ring) {
	for _, v := range line {
		out = append(out, v.Round())
	}
	return out
}

// Below the band there is no design; with a measured flow heads are dealt out
// to valves, none of which draws more than the design flow.
func TestFixedArcWater(t *testing.T) {
	d := run(t, yard(), fixedArc(layout.GenericRotor(), 30))
	assert.Equal(t, layout.StatusInfeasible, d.Status)
	assert.Contains(t, d.Reason, "at least 35.0 psi")
	assert.Empty(t, d.Heads)

	s := fixedArc(layout.GenericSpray(), 0)
	s.Supply = layout.Supply{StaticPressure: pressure(60), FlowTest: &layout.FlowTest{Flow: layout.GPM(12), Pressure: layout.PSI(45)}}
	d = run(t, yard(), s)
	require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
	drawn := map[int]layout.Flow{}
	for _, h := range d.Heads {
		require.Positive(t, h.Zone)
		drawn[h.Zone] += h.Flow
	}
	for zone, flow := range drawn {
		assert.LessOrEqual(t, flow.GPM(), 0.75*12+1e-9, "zone %d", zone)
	}
}

// A strip of 1 m between two walks gets no spray and is reported as narrow,
// unless sprays are asked for there.
func TestPavedStripGetsNoSpray(t *testing.T) {
	lot := yard()
	lot.Hardscape = geom.Union(rect(0, 4, 12, 4.5), rect(0, 5.5, 12, 6))
	d := run(t, lot, fixedArc(layout.GenericSpray(), 30))
	assert.InDelta(t, 12, d.NarrowArea, 0.3)
	assert.InDelta(t, 12*(4+3), d.IrrigatedArea, 0.3)
	s := fixedArc(layout.GenericSpray(), 30)
	s.SprayNarrowStrips = true
	d = run(t, lot, s)
	assert.InDelta(t, 12*(4+1+3), d.IrrigatedArea, 0.3)
}

// The choice keeps what does with the fewest heads, and tells the figures of all.
func TestChoiceOfHeads(t *testing.T) {
	s := gauged(45)
	s.Choice, s.Effort.SectorMoves = layout.GenericFixedArc(), 20_000
	d := run(t, yard(), s)
	assert.Equal(t, layout.VariableThrow, d.HeadKind)
	note := d.Notes[len(d.Notes)-1]
	assert.Equal(t, "head.compared", note.Rule)
	for _, name := range []string{"generic variable-throw chosen", "generic spray: ", "generic multi-stream: ", "generic rotor: "} {
		assert.Contains(t, note.Text, name)
	}
	// At 32 psi the variable-throw head and the rotors are out of their band.
	s.Supply.HeadPressure = pressure(32)
	d = run(t, yard(), s)
	assert.Equal(t, layout.FixedArc, d.HeadKind)
	assert.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
}

func TestFixedArcSettings(t *testing.T) {
	s := fixedArc(layout.GenericRotor(), 45)
	s.Margin = 0.1
	assert.ErrorContains(t, s.Validate(), "variable-throw heads only")
	s = fixedArc(layout.GenericRotor(), 45)
	s.CrossPaving = 1
	assert.ErrorContains(t, s.Validate(), "throw across paving anyway")
	s = gauged(45)
	s.Choice = []layout.FixedArcFamily{{Name: "empty"}}
	assert.ErrorContains(t, s.Validate(), `head family "empty"`)
}
