package design_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/geom"
	"lotwright/layout/rules"
	"lotwright/layout/uniformity"
)

func supplied(psi, gpm, held float64) design.Settings {
	return design.Settings{Effort: design.Effort{Boxes: -1}, Supply: layout.Supply{StaticPressure: pressure(psi),
		FlowTest: &layout.FlowTest{Flow: layout.GPM(gpm), Pressure: layout.PSI(held)}}}
}

// asDesigned is a lot built as it was designed.
func asDesigned(d *layout.Design) (built layout.AsBuilt) {
	for _, h := range d.Heads {
		built.Heads = append(built.Heads, layout.BuiltHead{Label: h.Label, At: h.At})
	}
	return built
}

func audited(t *testing.T, lot *layout.Lot, d *layout.Design, built layout.AsBuilt, s design.Settings) (*layout.Design, *design.Comparison) {
	t.Helper()
	now, c, err := design.Audit(context.Background(), lot, d, built, s)
	require.NoError(t, err)
	return now, c
}

// TestBuiltAsDesigned: what was built as designed has the design's own figures,
// for each kind of head and each way to know the water.
func TestBuiltAsDesigned(t *testing.T) {
	spray := fixedArc(layout.GenericSpray(), 0)
	spray.Supply = supplied(60, 12, 45).Supply
	choice := gauged(55)
	choice.Choice = []layout.FixedArcFamily{layout.GenericRotor()}
	for name, c := range map[string]struct {
		lot *layout.Lot
		s   design.Settings
	}{
		"variable throw, gauge":    {suburban(), gauged(55)},
		"variable throw, measured": {suburban(), supplied(70, 10, 60)},
		"rotors, gauge":            {yard(), fixedArc(layout.GenericRotor(), 45)},
		"sprays, measured":         {yard(), spray},
		"a choice":                 {yard(), choice},
	} {
		t.Run(name, func(t *testing.T) {
			d := run(t, c.lot, c.s)
			require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
			now, diff := audited(t, c.lot, d, asDesigned(d), c.s)
			assert.Equal(t, layout.StatusDesigned, now.Status, now.Reason)
			assert.InDelta(t, d.Coverage, now.Coverage, 1e-9)
			assert.InDelta(t, d.DryArea, now.DryArea, 1e-6)
			assert.InDelta(t, d.OversprayArea, now.OversprayArea, 1e-6)
			assert.Equal(t, d.Uniformity, now.Uniformity)
			assert.Equal(t, d.Dry, now.Dry)
			require.Len(t, now.Heads, len(d.Heads))
			for i, h := range d.Heads {
				assert.Equal(t, h.Wetted, now.Heads[i].Wetted, h.Label)
				assert.InDelta(t, h.Pressure.KPa(), now.Heads[i].Pressure.KPa(), 0.1, h.Label)
				assert.Equal(t, h.Zone, now.Heads[i].Zone)
				assert.Equal(t, h.Pipe, now.Heads[i].Pipe)
			}
			assert.InDelta(t, d.Network.PipeLength.Metres(), now.Network.PipeLength.Metres(), 1e-9)
			assert.InDelta(t, d.Network.TrenchLength.Metres(), now.Network.TrenchLength.Metres(), 1e-9)
			assert.Equal(t, d.Network.Cable, now.Network.Cable)
			if d.Water != nil {
				assert.Equal(t, d.Water.Zones, now.Water.Zones)
				assert.Equal(t, d.Water.Budget, now.Water.Budget)
				assert.Equal(t, d.Water.PipeCost, now.Water.PipeCost)
				assert.InDelta(t, d.Water.Needed.KPa(), now.Water.Needed.KPa(), 1e-9)
			}
			assert.Empty(t, diff.Moved)
			assert.Empty(t, diff.Added)
			assert.Empty(t, diff.Missing)
			assert.Empty(t, diff.Set)
			assert.Empty(t, diff.NewlyDry)
			assert.Equal(t, diff.Before.Heads, diff.After.Heads)
			assert.Equal(t, layout.ProofNone, now.Proof.Kind)
		})
	}
}

// TestOneHeadMoved moves each head of a lot by 2 m in turn: the figures are those
// that a plain sampling of the ground finds, and the dry area is drawn.
func TestOneHeadMoved(t *testing.T) {
	lot, s := suburban(), supplied(70, 10, 60)
	d := run(t, lot, s)
	require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
	for i, h := range d.Heads {
		built := asDesigned(d)
		built.Heads[i].At = twoMetresOff(lot, d, h.At)
		now, diff := audited(t, lot, d, built, s)
		require.InDelta(t, sampledShare(lot, now, 70), now.Coverage, 0.012, h.Label)
		assert.InDelta(t, (1-now.Coverage)*now.IrrigatedArea, now.DryArea, 1e-9)
		assert.InDelta(t, now.DryArea, now.Dry.AreaM2(), 0.001*now.IrrigatedArea+0.01)
		require.Len(t, diff.Moved, 1)
		assert.Equal(t, h.Label, diff.Moved[0].Label)
		assert.InDelta(t, 2, diff.Moved[0].By.Metres(), 0.001)
		assert.True(t, diff.Moved[0].Beyond)
		assert.Positive(t, diff.NewlyDryArea)
		assert.InDelta(t, now.DryArea-d.DryArea, diff.NewlyDryArea-diff.NewlyWetArea, 0.05)
		assert.Equal(t, now.Coverage >= now.CoverageTarget, now.Status == layout.StatusDesigned, now.Reason)
		moved := note(now, "audit.moved")
		require.NotNil(t, moved)
		assert.Equal(t, built.Heads[i].At, *moved.At)
		assert.Contains(t, moved.Text, "stands 6.6 ft (2.00 m) off its stake")
		for _, p := range now.Network.Pipes {
			if p.Label == h.Pipe {
				assert.Equal(t, built.Heads[i].At, p.Path[len(p.Path)-1], "the pipe follows the head")
				assert.InDelta(t, p.Path.LengthMM(), 1000*p.Length.Metres(), 1)
			}
		}
		assert.NotEqual(t, d.Network.PipeLength, now.Network.PipeLength)
		assert.Equal(t, design.DefaultShiftTolerance, diff.Tolerance)
	}
}

// twoMetresOff is a place on the lawn 2 m from another.
func twoMetresOff(lot *layout.Lot, d *layout.Design, at geom.Point) geom.Point {
	for deg := 0.0; deg < 360; deg += 15 {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		if p := at.Vec().Add(geom.Vec{X: cos, Y: sin}.Scale(2000)).Round(); d.Irrigated.Locate(p) == geom.Interior {
			return p
		}
	}
	return at
}

// TestOpenYardByHand has one head with a throw of 30 ft in the middle of an open
// lawn of 12 m by 9 m: it reaches all of it. Two metres east, the corners of the
// west side are 9.18 m away and beyond 9.144 m, as is no other place.
func TestOpenYardByHand(t *testing.T) {
	lot, s := yard(), gauged(55)
	lot.Pinned = layout.PinsAt(m(6, 4.5))
	d := run(t, lot, s)
	require.Len(t, d.Heads, 1)
	require.InDelta(t, 1, d.Coverage, 1e-12)
	now, diff := audited(t, lot, d, layout.AsBuilt{Heads: []layout.BuiltHead{{Label: "H1", At: m(8, 4.5)}}}, s)
	dry := cornersBeyond(9.144, 8, 4.5)
	assert.InDelta(t, dry, now.DryArea, 1e-6)
	assert.InDelta(t, 1-dry/108, now.Coverage, 1e-9)
	assert.Len(t, diff.Moved, 1)
	assert.False(t, now.Heads[0].Pinned)
}

// cornersBeyond is the area, in m², of the two corners on x = 0 of a rectangle
// that lie beyond a circle, x from the side and half the side given.
func cornersBeyond(r, x, half float64) float64 {
	// Both corners: ∫ (x − √(r²−y²)) dy for y from y0 to half, twice.
	y0 := math.Sqrt(r*r - x*x)
	integral := func(y float64) float64 { return x*y - (y*math.Sqrt(r*r-y*y)+r*r*math.Asin(y/r))/2 }
	return 2 * (integral(half) - integral(y0))
}

func TestHeadsMissingAndAdded(t *testing.T) {
	lot, s := suburban(), supplied(70, 10, 60)
	d := run(t, lot, s)
	built := asDesigned(d)
	built.Heads = built.Heads[1:]
	extra := twoMetresOff(lot, d, d.Heads[0].At)
	built.Heads = append(built.Heads, layout.BuiltHead{At: extra})
	now, diff := audited(t, lot, d, built, s)
	assert.Equal(t, []string{"H1"}, diff.Missing)
	assert.Equal(t, []string{"N1"}, diff.Added)
	require.NotNil(t, note(now, "audit.missing"))
	assert.Equal(t, d.Heads[0].At, *note(now, "audit.missing").At)
	require.NotNil(t, note(now, "audit.pipe_assumed"))
	added := now.Heads[len(now.Heads)-1]
	assert.Equal(t, "N1", added.Label)
	assert.Equal(t, d.Heads[0].Throw, added.Throw, "as the nearest designed head")
	assert.Equal(t, len(d.Heads)+1, added.Zone)
	require.Len(t, now.Network.Pipes, len(d.Network.Pipes)+1)
	last := now.Network.Pipes[len(d.Network.Pipes)]
	assert.Equal(t, added.Pipe, last.Label)
	assert.Equal(t, extra, last.Path[1])
	assert.InDelta(t, d.Network.TrenchLength.Metres()+last.Length.Metres(), now.Network.TrenchLength.Metres(), 1e-9)
	require.InDelta(t, sampledShare(lot, now, 70), now.Coverage, 0.012)

	var b strings.Builder
	require.NoError(t, diff.WriteText(&b))
	assert.Regexp(t, fmt.Sprintf(`(?m)^heads +%d +%d$`, len(d.Heads), len(now.Heads)), b.String())
	assert.Regexp(t, fmt.Sprintf(`(?m)^coverage +%.2f %% +%.2f %%$`, 100*d.Coverage, 100*now.Coverage), b.String())
	assert.Contains(t, b.String(), "missing: H1\nadded: N1\n")

	shuffled := layout.AsBuilt{Heads: slices.Clone(built.Heads)}
	slices.Reverse(shuffled.Heads)
	again, diffAgain := audited(t, lot, d, shuffled, s)
	assert.Equal(t, now, again, "the order of the file does not matter")
	assert.Equal(t, diff, diffAgain)
}

func TestMeasuredThrow(t *testing.T) {
	lot, s := yard(), gauged(55)
	d := run(t, lot, s)
	require.Len(t, d.Heads, 1)
	throw := layout.Length(5)
	now, diff := audited(t, lot, d, layout.AsBuilt{Heads: []layout.BuiltHead{{Label: "H1", At: m(6, 4.5), Throw: &throw}}}, s)
	// A circle of 5 m in a band of 9 m: two caps beyond 4.5 m are cut off.
	caps := 2 * (25*math.Acos(0.9) - 4.5*math.Sqrt(25-4.5*4.5))
	assert.InDelta(t, (25*math.Pi-caps)/108, now.Coverage, 1e-9)
	assert.Equal(t, layout.StatusInfeasible, now.Status)
	assert.Contains(t, now.Reason, "as built")
	require.Len(t, diff.Set, 1)
	assert.Equal(t, throw, diff.Set[0].Throw)
	assert.Equal(t, d.Throw, diff.Set[0].ThrowDesigned)
	assert.Zero(t, now.ThrowSlack)
}

// TestSlackOfUnlikeThrows takes the slack off every throw, heads throwing unlike
// far: the target is just met, and missed with 2 mm less.
func TestSlackOfUnlikeThrows(t *testing.T) {
	lot, s := suburban(), gauged(55)
	d := run(t, lot, s)
	throwing := func(less layout.Length) *layout.Design {
		built := asDesigned(d)
		for i := range built.Heads {
			throw := d.Throw + layout.Length(i)/2 - less
			built.Heads[i].Throw = &throw
		}
		now, _ := audited(t, lot, d, built, s)
		return now
	}
	slack := throwing(0).ThrowSlack
	require.Greater(t, slack, layout.Length(0.01))
	assert.Equal(t, layout.StatusDesigned, throwing(slack).Status)
	assert.Equal(t, layout.StatusInfeasible, throwing(slack+0.002).Status)
}

// TestThinPipe lays pipe of 1/2 in throughout: heads lose pressure and throw, and
// the dry area follows.
func TestThinPipe(t *testing.T) {
	lot, s := suburban(), supplied(62, 10, 50)
	d := run(t, lot, s)
	require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
	built := asDesigned(d)
	for _, p := range d.Network.Pipes {
		built.Pipes = append(built.Pipes, layout.BuiltPipe{Label: p.Label, Size: "1/2 in"})
	}
	now, diff := audited(t, lot, d, built, s)
	assert.Less(t, diff.After.LeastPressure, diff.Before.LeastPressure)
	assert.Less(t, now.Coverage, d.Coverage)
	require.NotNil(t, note(now, "audit.throw_short"))
	for _, p := range now.Network.Pipes {
		assert.Equal(t, "1/2 in", p.Size)
	}
	assert.NotEqual(t, "1/2 in", d.Network.Pipes[0].Size, "the design is left alone")

	// Where the pressure at the heads was given, more must stand at the tap.
	s = gauged(55)
	d = run(t, lot, s)
	now, _ = audited(t, lot, d, built, s)
	assert.Greater(t, now.Water.Needed, d.Water.Needed)
	assert.Equal(t, "1/2 in", now.Network.Pipes[0].Size)
}

func TestRerouted(t *testing.T) {
	lot, s := suburban(), supplied(70, 10, 60)
	d := run(t, lot, s)
	p := d.Network.Pipes[0]
	way := geom.Line{p.Path[0], p.Path[0].Add(geom.Pt(0, -3000)), p.Path[len(p.Path)-1]}
	built := asDesigned(d)
	built.Pipes = []layout.BuiltPipe{{Label: p.Label, Path: way}}
	now, _ := audited(t, lot, d, built, s)
	assert.Equal(t, way, now.Network.Pipes[0].Path)
	assert.InDelta(t, d.Network.PipeLength.Metres()-p.Length.Metres()+way.LengthMM()/1000, now.Network.PipeLength.Metres(), 1e-9)
}

func TestArcTurned(t *testing.T) {
	lot, s := yard(), fixedArc(layout.GenericRotor(), 45)
	d := run(t, lot, s)
	built := asDesigned(d)
	arc := math.Mod(d.Heads[0].ArcStart+180, 360)
	built.Heads[0].ArcStart = &arc
	now, diff := audited(t, lot, d, built, s)
	if d.Heads[0].ArcSweep < 360 {
		assert.Less(t, now.Coverage, d.Coverage)
		assert.Greater(t, now.OversprayArea, d.OversprayArea)
		assert.Less(t, now.Uniformity.DULowQuarter, d.Uniformity.DULowQuarter)
	}
	require.Len(t, diff.Set, 1)
	assert.Equal(t, arc, diff.Set[0].Arc[0])
}

func TestHeadOffTheLawn(t *testing.T) {
	lot, s := suburban(), gauged(55)
	d := run(t, lot, s)
	built := asDesigned(d)
	built.Heads[0].At = m(10, 15) // in the house
	now, _ := audited(t, lot, d, built, s)
	off := note(now, "audit.outside")
	require.NotNil(t, off)
	assert.Equal(t, layout.SeverityError, off.Severity)
	assert.Zero(t, now.Heads[0].WettedArea)

	built.Heads[0].At = m(3.9, 15) // 10 cm from the wall
	now, _ = audited(t, lot, d, built, s)
	assert.NotNil(t, note(now, "audit.clearance"))
}

func TestAuditRefuses(t *testing.T) {
	lot, s := yard(), gauged(55)
	d := run(t, lot, s)
	nan, long := math.NaN(), layout.Length(1e6)
	for name, c := range map[string]struct {
		d       *layout.Design
		built   layout.AsBuilt
		message string
	}{
		"no design":    {nil, layout.AsBuilt{}, "there is no design"},
		"twice":        {d, layout.AsBuilt{Heads: []layout.BuiltHead{{Label: "H1", At: m(1, 1)}, {Label: "H1", At: m(2, 2)}}}, `head "H1" stands twice`},
		"one place":    {d, layout.AsBuilt{Heads: []layout.BuiltHead{{Label: "H1", At: m(1, 1)}, {At: m(1, 1)}}}, `heads "H1" and "N1" stand at one place`},
		"throw":        {d, layout.AsBuilt{Heads: []layout.BuiltHead{{Label: "H1", At: m(1, 1), Throw: &long}}}, "makes no sense"},
		"arc":          {d, layout.AsBuilt{Heads: []layout.BuiltHead{{Label: "H1", At: m(1, 1), ArcStart: &nan}}}, "makes no sense"},
		"far away":     {d, layout.AsBuilt{Heads: []layout.BuiltHead{{Label: "H1", At: m(4000, 1)}}}, "kilometres away"},
		"unknown pipe": {d, layout.AsBuilt{Pipes: []layout.BuiltPipe{{Label: "P99"}}}, `pipe "P99" is not in the design`},
	} {
		_, _, err := design.Audit(context.Background(), lot, c.d, c.built, s)
		assert.ErrorContains(t, err, c.message, name)
	}
	_, _, err := design.Audit(context.Background(), lot, d, asDesigned(d), design.Settings{CoverageTarget: 2})
	assert.ErrorContains(t, err, "settings")
	rotors := run(t, lot, fixedArc(layout.GenericRotor(), 45))
	_, _, err = design.Audit(context.Background(), lot, rotors, asDesigned(rotors), s)
	assert.ErrorContains(t, err, "no family of heads")
}

func TestReviseThrow(t *testing.T) {
	model := layout.GenericVariableThrow()
	length := func(ft float64) *layout.Length { l := layout.Feet(ft); return &l }
	// 55 psi were assumed (30 ft, 4.7 gpm), 47.5 are there: half way from 40 (25 ft, 4.0 gpm).
	r, err := design.ReviseThrow(model, layout.PSI(55), design.Reading{Pressure: pressure(47.5)})
	require.NoError(t, err)
	assert.InDelta(t, 27.5, r.Row.Throw.Feet(), 1e-9)
	assert.InDelta(t, 4.35, r.Row.Flow.GPM(), 1e-9)
	assert.InDelta(t, 27.5*27.5/900, r.AreaShare, 1e-9)
	assert.Equal(t, model, r.Model)

	// It throws 27 ft instead of 30: a tenth less at any pressure.
	r, err = design.ReviseThrow(model, layout.PSI(55), design.Reading{Throw: length(27)})
	require.NoError(t, err)
	assert.InDelta(t, 0.9, r.ThrowShare, 1e-9)
	assert.InDelta(t, 22.5, r.Model.Rows[0].Throw.Feet(), 1e-9)
	assert.InDelta(t, 31.5, r.Model.Rows[2].Throw.Feet(), 1e-9)
	assert.Equal(t, model.Rows[1].Flow, r.Model.Rows[1].Flow)
	assert.InDelta(t, 25, model.Rows[0].Throw.Feet(), 1e-9, "the model is left alone")
	assert.Contains(t, r.Text, "81 % of the ground")

	// Both: the table gives 27.5 ft at 47.5 psi.
	r, err = design.ReviseThrow(model, layout.PSI(55), design.Reading{Throw: length(27.5), Pressure: pressure(47.5)})
	require.NoError(t, err)
	assert.InDelta(t, 1, r.ThrowShare, 1e-9)

	for message, reading := range map[string]design.Reading{
		"neither a throw nor a pressure": {},
		"is not known":                   {Pressure: pressure(39)},
		"makes no sense":                 {Throw: length(0)},
		"beyond":                         {Throw: length(600)},
	} {
		_, err := design.ReviseThrow(model, layout.PSI(55), reading)
		assert.ErrorContains(t, err, message)
	}
	_, err = design.ReviseThrow(model, layout.PSI(30), design.Reading{Throw: length(20)})
	assert.ErrorContains(t, err, "below the rated band")
}

// TestCatchPrediction holds a can against a head that waters a yard of 108 m²
// evenly: 4.7 gpm are 9.88 mm/h there.
func TestCatchPrediction(t *testing.T) {
	lot, s := yard(), gauged(55)
	d := run(t, lot, s)
	require.Len(t, d.Heads, 1)
	predicted, err := design.CatchPrediction(lot, d, s, []int{1}, 30*time.Minute)
	require.NoError(t, err)
	whole := layout.GPM(4.7).LPM() * 60 / 108
	inside, outside := m(3, 3), m(30, 3)
	for _, can := range []uniformity.Can{{At: &inside}, {At: &inside, Zone: 1}} {
		mm, ok := predicted(can)
		assert.True(t, ok)
		assert.InEpsilon(t, whole/2, mm, 0.002, "half an hour")
	}
	for _, can := range []uniformity.Can{{At: &outside}, {At: &inside, Zone: 2}, {}} {
		_, ok := predicted(can)
		assert.False(t, ok)
	}
	_, err = design.CatchPrediction(lot, &layout.Design{}, s, nil, time.Hour)
	assert.ErrorContains(t, err, "no heads")
}

// TestRainfallOfArcs simulates a design's own figures again.
func TestRainfallOfArcs(t *testing.T) {
	lot, s := yard(), fixedArc(layout.GenericRotor(), 45)
	d := run(t, lot, s)
	r, err := design.Rainfall(lot, d, s, 0)
	require.NoError(t, err)
	assert.InDelta(t, d.Uniformity.DULowQuarter, r.Statistics.DULowQuarter, 1e-9)
	assert.InDelta(t, d.Uniformity.PrecipitationMMPerHour, r.MeanRate().MMPerHour(), 1e-9)
	_, err = design.Rainfall(lot, d, gauged(55), 0)
	assert.ErrorContains(t, err, "no family")
}

// TestWinterAndRules draws up the sheet of a designed lot and holds it against
// the general rules.
func TestWinterAndRules(t *testing.T) {
	lot, s := suburban(), supplied(70, 10, 60)
	d := run(t, lot, s)
	sheet := design.Winter(lot, d, s)
	assert.Empty(t, sheet.Unknown)
	left, length := 0.0, 0.0
	for _, z := range sheet.Zones {
		left += z.Left.Litres()
	}
	for _, size := range sheet.Sizes {
		length += size.Length.Metres()
	}
	assert.InDelta(t, sheet.Volume.Litres(), left, 1e-9, "every pipe lies on the way of some zone")
	assert.InDelta(t, d.Network.PipeLength.Metres(), length, 1e-9)
	require.NotNil(t, sheet.Static)
	assert.InDelta(t, 70, sheet.Static.PSI(), 1e-9)

	all, err := rules.Published()
	require.NoError(t, err)
	on, err := rules.Select(all, []string{"us-tx"}, nil)
	require.NoError(t, err)
	report := design.CheckRules(lot, d, on, nil)
	seen := map[string]bool{}
	for _, f := range report.Findings {
		seen[f.Rule.ID] = true
	}
	assert.Equal(t, len(on), len(seen)+len(report.OnSite)+len(report.Kept), "nothing is passed over")
	for _, r := range report.Kept {
		assert.NotEqual(t, "cover.traffic", r.ID, "10 in is not 18")
	}
	assert.Contains(t, seenIDs(report.Kept), "head.from_paving")
}

func seenIDs(list []rules.Rule) (out []string) {
	for _, r := range list {
		out = append(out, r.ID)
	}
	return out
}
