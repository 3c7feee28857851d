package design_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/candidate"
	"lotwright/layout/design"
	"lotwright/layout/geom"
	"lotwright/layout/sight"
)

func pinnedHeads(d *layout.Design) (n int) {
	for _, h := range d.Heads {
		if h.Pinned {
			n++
		}
	}
	return n
}

// TestPinnedWhereTheyStand: heads of a design that are pinned, one, some or all of
// them, cost nothing, and the proof that fewer cannot do stands.
func TestPinnedWhereTheyStand(t *testing.T) {
	s := gauged(55)
	s.Effort = design.Effort{}
	open := layout.Lot{ID: "open", Parcel: rect(0, 0, 26, 15)}
	free := run(t, &open, s)
	require.Equal(t, layout.ProofContinuous, free.Proof.Kind)
	require.Equal(t, free.Proof.Bound, len(free.Heads))
	for n := 1; n <= len(free.Heads); n++ {
		pinned := open
		lot := &pinned
		for _, h := range free.Heads[:n] {
			lot.Pinned = append(lot.Pinned, layout.Pin{At: h.At, Throw: h.Throw, Model: h.Model, ArcSweep: h.ArcSweep})
		}
		d := run(t, lot, s)
		require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
		assert.Len(t, d.Heads, len(free.Heads))
		assert.Equal(t, n, pinnedHeads(d))
		assert.Equal(t, layout.ProofContinuous, d.Proof.Kind)
		assert.Equal(t, free.Proof.Bound, d.Proof.Bound)
		said := note(d, "proof.fixed")
		require.NotNil(t, said)
		assert.Contains(t, said.Text, "whether or not")
		assert.Nil(t, note(d, "head.fixed_redundant"))
		requireSound(t, lot, s, d)
	}
}

// TestPinnedInVain: a head in a corner that others water anyway costs one more at
// the most, stays, and is told of where the rest does without it. The bound is
// then on designs that keep it.
func TestPinnedInVain(t *testing.T) {
	s := gauged(55)
	s.Effort = design.Effort{}
	free := run(t, suburban(), s)
	told := 0
	for _, at := range []geom.Point{m(0.2, 0.2), m(19.8, 0.2), m(0.2, 31.8), m(19.8, 31.8), m(1, 15)} {
		lot := suburban()
		lot.Pinned = layout.PinsAt(at)
		d := run(t, lot, s)
		require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
		assert.LessOrEqual(t, len(d.Heads), len(free.Heads)+1)
		assert.Equal(t, 1, pinnedHeads(d))
		require.LessOrEqual(t, d.Proof.Bound, len(d.Heads))
		if d.Proof.Kind == layout.ProofContinuous {
			assert.LessOrEqual(t, d.Proof.Bound, len(free.Heads), "it holds for designs without the pinned head")
		}
		if n := note(d, "head.fixed_redundant"); n != nil {
			told++
			assert.Equal(t, at, *n.At)
		}
		requireSound(t, lot, s, d)
	}
	assert.Positive(t, told)
}

// TestPinnedWhereNoneMayStand: it stays all the same, is told of, and no continuous
// proof is made, which speaks of places where heads may stand.
func TestPinnedWhereNoneMayStand(t *testing.T) {
	s := gauged(55)
	s.Effort = design.Effort{}
	for rule, at := range map[string]geom.Point{
		"head.fixed_close":    m(0.05, 5),
		"head.fixed_off_lawn": m(14, 5), // on the drive
	} {
		lot := suburban()
		lot.Pinned = layout.PinsAt(at)
		d := run(t, lot, s)
		require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
		n := note(d, rule)
		require.NotNil(t, n, rule)
		assert.Equal(t, at, *n.At)
		assert.Equal(t, layout.SeverityWarning, n.Severity)
		assert.Equal(t, layout.ProofDiscrete, d.Proof.Kind)
		require.NotNil(t, note(d, "proof.fixed"))
		assert.Contains(t, note(d, "proof.fixed").Text, "keep the fixed heads")
		assert.Equal(t, 1, pinnedHeads(d))
	}
}

// TestFewestFurtherHeads tries every choice among the spots of small lots: the
// design adds no more heads to the pinned ones than the fewest spots that do by
// exact area, and its bound is no more than that.
func TestFewestFurtherHeads(t *testing.T) {
	throw := layout.Feet(30).Millimetres()
	met, further := 0, 0
	for seed := range uint64(14) {
		rng := rand.New(rand.NewPCG(seed, 11))
		lot := &layout.Lot{ID: fmt.Sprint(seed), Parcel: rect(0, 0, 9+float64(rng.IntN(7)), 8+float64(rng.IntN(8))),
			Building: rect(3, 3, 5+3*rng.Float64(), 5+2*rng.Float64())}
		lot.Pinned = layout.PinsAt(m(1+rng.Float64(), 1+rng.Float64()))
		d := run(t, lot, gauged(55))
		require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
		ground, err := candidate.NewGround(lot, d.Irrigated, candidate.Clearances{EdgeMM: 100, BuildingMM: 300})
		require.NoError(t, err)
		fewest := fewestFurther(d.Irrigated, ground.Spots(1000), lot.Pinned[0].At, throw)
		if fewest < 0 {
			continue // more than two, which is not tried
		}
		met, further = met+1, further+fewest
		assert.LessOrEqual(t, len(d.Heads), 1+fewest, "seed %d", seed)
		assert.LessOrEqual(t, d.Proof.Bound, 1+fewest, "seed %d", seed)
	}
	assert.Greater(t, met, 8)
	assert.Greater(t, further, met/2)
}

// fewestFurther is the least number of spots, up to two, that with the pinned head
// reach 97 % of a lawn; −1 if it takes more.
func fewestFurther(lawn geom.Region, spots []geom.Point, pinned geom.Point, throwMM int64) int {
	field := sight.NewField(lawn)
	fixed := field.From(pinned, throwMM, 0)
	enough := func(more ...sight.Reach) bool {
		return field.CoveredWithinM2(append(more, fixed)) >= 0.97*lawn.AreaM2()
	}
	if enough() {
		return 0
	}
	var reaches []sight.Reach
	for _, at := range spots {
		reaches = append(reaches, field.From(at, throwMM, 0))
		if enough(reaches[len(reaches)-1]) {
			return 1
		}
	}
	for i, a := range reaches {
		for _, b := range reaches[:i] {
			if a.AreaM2()+b.AreaM2()+fixed.AreaM2() >= 0.97*lawn.AreaM2() && enough(a, b) {
				return 2
			}
		}
	}
	return -1
}

// TestPinnedAndTurnedDown: a pinned head that is drawn with less throw than it has
// keeps it, and one with more does not get it.
func TestPinnedAndTurnedDown(t *testing.T) {
	lot := suburban()
	lot.Pinned = []layout.Pin{{At: m(3, 3), Throw: 4}, {At: m(17, 28), Throw: 12}}
	d := run(t, lot, gauged(55))
	require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
	for _, h := range d.Heads {
		want := d.Throw
		if h.At == m(3, 3) {
			want = 4
		}
		assert.InDelta(t, want.Metres(), h.Throw.Metres(), 1e-9, h.Label)
		for _, v := range h.Wetted {
			require.LessOrEqual(t, v.Sub(h.At.Vec()).Norm(), want.Metres()*1000+1e-6)
		}
	}
	var wet []sight.Reach
	field := sight.NewField(d.Irrigated)
	for _, h := range d.Heads {
		wet = append(wet, field.From(h.At, h.Throw.Millimetres(), 0))
	}
	assert.InDelta(t, field.CoveredWithinM2(wet)/d.IrrigatedArea, d.Coverage, 1e-9)
	n := note(d, "head.fixed_throw")
	require.NotNil(t, n)
	assert.Equal(t, m(17, 28), *n.At)
	assert.Contains(t, n.Text, "39.4 ft (12.00 m)")

	lot.Pinned = []layout.Pin{{At: m(3, 3), Throw: 4, Model: "another head"}}
	assert.Equal(t, layout.StatusDesigned, run(t, lot, gauged(55)).Status)
	for _, h := range run(t, lot, gauged(55)).Heads {
		assert.InDelta(t, 9.144, h.Throw.Metres(), 1e-9, "of another model only the place is kept")
	}
}

// TestPinnedArcs: fixed-arc heads keep their arc and radius, and the design is
// completed around them; a radius that their nozzle does not have is told of.
func TestPinnedArcs(t *testing.T) {
	s := fixedArc(layout.GenericSpray(), 30)
	free := run(t, yard(), s)
	require.Equal(t, layout.StatusDesigned, free.Status, free.Reason)
	for _, keep := range []int{1, 2, len(free.Heads)} {
		lot := yard()
		for _, h := range free.Heads[:keep] {
			lot.Pinned = append(lot.Pinned, layout.Pin{At: h.At, Throw: h.Throw, Model: h.Model, ArcStart: h.ArcStart, ArcSweep: h.ArcSweep})
		}
		d := run(t, lot, s)
		require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
		assert.LessOrEqual(t, len(d.Heads), len(free.Heads)+1)
		assert.LessOrEqual(t, d.Proof.Bound, len(d.Heads))
		require.Equal(t, keep, pinnedHeads(d))
		for _, h := range free.Heads[:keep] {
			found := false
			for _, g := range d.Heads {
				found = found || g.Pinned && g.At == h.At && g.Throw == h.Throw && g.ArcStart == h.ArcStart && g.ArcSweep == h.ArcSweep && g.Model == h.Model
			}
			assert.True(t, found, "%+v", h)
		}
		if keep == len(free.Heads) {
			assert.Len(t, d.Heads, keep)
		}
	}
	lot, h := yard(), free.Heads[0]
	lot.Pinned = []layout.Pin{{At: h.At, Throw: 40, Model: h.Model, ArcStart: 217, ArcSweep: 93}}
	d := run(t, lot, s)
	require.Equal(t, 1, pinnedHeads(d))
	require.NotNil(t, note(d, "head.fixed_throw"))
	require.NotNil(t, note(d, "head.fixed_overspray"), "it is turned off the lawn")
	for _, g := range d.Heads {
		if g.Pinned {
			assert.Equal(t, [...]float64{217, 93}, [...]float64{g.ArcStart, g.ArcSweep})
			assert.Less(t, g.Throw.Metres(), 5.0)
		}
	}
}

// TestPinsInAnyOrder: the same pins give the same design.
func TestPinsAgain(t *testing.T) {
	lot := suburban()
	lot.Pinned = []layout.Pin{{At: m(2, 4), Throw: 6}, {At: m(17, 28)}}
	assert.Equal(t, run(t, lot, gauged(55)), run(t, lot, gauged(55)))
}
