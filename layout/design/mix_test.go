package design_test

import (
	"context"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/geom"
)

// passage is an open lawn of 14 m by 14 m with a passage of 2.4 m by 12 m beside
// a paved yard: rotors leave the passage dry, since they throw onto the paving,
// and sprays take many heads for the open lawn.
func passage() *layout.Lot {
	tap := m(2.5, 13)
	return &layout.Lot{ID: "passage", Parcel: rect(0, 0, 14, 26), Hardscape: rect(2.4, 14, 14, 26), Source: &tap}
}

// mixable lets the families be mixed, with little effort.
func mixable(psi float64) design.Settings {
	s := gauged(psi)
	s.Choice, s.FixedArcOnly, s.Effort.SectorMoves = []layout.FixedArcFamily{layout.GenericSpray(), layout.GenericRotor()}, true, 15_000
	return s
}

// nookM2 is what rays may miss beside corners of buildings.
const nookM2 = 0.1

// checkMix judges a mixed design by what it must keep, area by area.
func checkMix(t *testing.T, d *layout.Design) {
	t.Helper()
	ground, heads, area := map[string]geom.Region{}, 0, 0.0
	for i, a := range d.Areas {
		for _, b := range d.Areas[:i] {
			assert.Less(t, geom.Intersection(a.Region, b.Region).AreaM2(), 0.01)
			assert.NotEqual(t, a.Family, b.Family)
		}
		assert.NotEmpty(t, a.Why)
		ground[a.Family], heads, area = a.Region, heads+a.Heads, area+a.Area
		if d.Status == layout.StatusDesigned {
			assert.GreaterOrEqual(t, a.DULowQuarter, a.Target, a.Label)
		}
	}
	assert.Len(t, d.Heads, heads)
	assert.InDelta(t, d.IrrigatedArea, area, 0.05)
	family := map[int]string{}
	for _, h := range d.Heads {
		assert.True(t, ground[h.Family].Has(h.At), "%s of %s stands on the ground of another", h.Label, h.Family)
		assert.Contains(t, h.Model, h.Family)
		assert.LessOrEqual(t, h.OversprayArea, 0.05*h.WettedArea+nookM2, h.Label)
		if h.Zone > 0 {
			if f, ok := family[h.Zone]; ok {
				assert.Equal(t, f, h.Family, "zone %d", h.Zone)
			}
			family[h.Zone] = h.Family
		}
	}
}

// Rotors alone cannot, and rotors with sprays take fewer heads than sprays alone.
func TestFamiliesMixedByArea(t *testing.T) {
	s := mixable(45)
	d := run(t, passage(), s)
	require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
	require.Len(t, d.Areas, 2, d.HeadChoice)
	checkMix(t, d)
	assert.Positive(t, d.Areas[1].Heads)
	assert.Equal(t, []string{"generic rotor", "generic spray"}, []string{d.Areas[0].Family, d.Areas[1].Family})
	assert.InDelta(t, 2.4*12, d.Areas[1].Area, 3, "the passage is the strip")
	assert.InDelta(t, 1./3, d.Areas[1].Runs, 0.02, "sprays give three times the rate of rotors")
	assert.LessOrEqual(t, d.Proof.Bound, len(d.Heads))
	assert.GreaterOrEqual(t, d.Uniformity.DULowQuarter, d.Uniformity.Target)
	assert.Contains(t, d.HeadChoice, "generic rotor with generic spray chosen, fewest heads")

	rotor := layout.GenericRotor()
	s.Choice, s.Family = nil, &rotor
	assert.Equal(t, layout.StatusInfeasible, run(t, passage(), s).Status)
	spray := layout.GenericSpray()
	s.Family = &spray
	assert.Greater(t, len(run(t, passage(), s).Heads), len(d.Heads))

	again := run(t, passage(), mixable(45))
	assert.Equal(t, d.Heads, again.Heads, "the same input, the same design")
}

// With a measured flow heads of two families never share a valve, whose pipe is
// reckoned with the nozzles of each; what was designed is what an audit of it as
// drawn finds.
func TestMixOnValves(t *testing.T) {
	rotor := layout.GenericRotor()
	s := gauged(0)
	s.Family, s.Effort.SectorMoves = &rotor, 15_000
	s.Supply = layout.Supply{StaticPressure: pressure(75), FlowTest: &layout.FlowTest{Flow: layout.GPM(16), Pressure: layout.PSI(62)}}
	lot := passage()
	lot.HeadWishes = []layout.HeadWish{{Heads: "spray", Ground: rect(0, 14, 2.4, 26)}}
	d := run(t, lot, s)
	require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
	require.Len(t, d.Areas, 2)
	checkMix(t, d)
	require.GreaterOrEqual(t, len(d.Water.Zones), 2)
	flow := map[int]layout.Flow{}
	for _, h := range d.Heads {
		require.Positive(t, h.Zone)
		flow[h.Zone] += h.Flow
	}
	for zone, q := range flow {
		assert.LessOrEqual(t, q.GPM(), 0.75*16+1e-6, "zone %d", zone)
	}
	var built layout.AsBuilt
	for _, h := range d.Heads {
		built.Heads = append(built.Heads, layout.BuiltHead{Label: h.Label, At: h.At})
	}
	after, _, err := design.Audit(context.Background(), lot, d, built, s)
	require.NoError(t, err)
	assert.Equal(t, layout.StatusDesigned, after.Status, after.Reason)
	assert.InDelta(t, d.Uniformity.DULowQuarter, after.Uniformity.DULowQuarter, 1e-9)
	assert.InDelta(t, d.Coverage, after.Coverage, 1e-9)
	require.Len(t, after.Areas, 2)
	for i, a := range after.Areas {
		assert.InDelta(t, d.Areas[i].DULowQuarter, a.DULowQuarter, 1e-9)
	}
	for zone := range flow {
		_, err := design.Rainfall(lot, d, s, zone)
		assert.NoError(t, err)
	}
}

// The input may say which heads it wants where; what it does not name is watered
// as the settings say.
func TestHeadsAskedFor(t *testing.T) {
	lot := passage()
	lot.HeadWishes = []layout.HeadWish{{Heads: "Spray", Ground: rect(0, 14, 2.4, 26)}, {Heads: "fountain", Ground: rect(0, 0, 1, 1)}}
	rotor := layout.GenericRotor()
	s := gauged(45)
	s.Family, s.Effort.SectorMoves = &rotor, 15_000
	d := run(t, lot, s)
	require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
	checkMix(t, d)
	require.Len(t, d.Areas, 2)
	assert.Equal(t, "as asked for", d.Areas[0].Why)
	assert.Equal(t, "generic spray", d.Areas[0].Family)
	assert.InDelta(t, 2.4*12, d.Areas[0].Area, 0.01)
	assert.Equal(t, "generic rotor", d.Areas[1].Family)
	assert.Contains(t, rulesNoted(d), "head.wish_unknown")

	// The same family all over is one part, and nothing is mixed.
	lot.HeadWishes = []layout.HeadWish{{Heads: "rotor", Ground: rect(0, 0, 14, 7)}}
	d = run(t, lot, s)
	require.Len(t, d.Areas, 1)
	assert.InDelta(t, d.IrrigatedArea, d.Areas[0].Area, 0.01)

	// Variable-throw heads do not follow it, and say so.
	assert.Contains(t, rulesNoted(run(t, lot, gauged(45))), "head.wish_left")
}

func rulesNoted(d *layout.Design) (out []string) {
	for _, n := range d.Notes {
		out = append(out, n.Rule)
	}
	return out
}

// On random lots, with heads asked for on random ground, every mix is valid.
func TestRandomMixes(t *testing.T) {
	rotor, mixes := layout.GenericRotor(), 0
	s := gauged(45)
	s.Family, s.Effort.SectorMoves = &rotor, 2_000
	for seed := range uint64(6) {
		lot, rng := randomLot(seed), rand.New(rand.NewPCG(seed, 77))
		lot.HeadWishes = []layout.HeadWish{{Heads: "spray", Ground: polygon(rng, 5000*rng.Float64(), -5000*rng.Float64(), 9000)}}
		if d := run(t, lot, s); len(d.Areas) > 1 && len(d.Heads) > 0 {
			mixes++
			checkMix(t, d)
		}
	}
	assert.Greater(t, mixes, 3)
}
