package design_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/candidate"
	"lotwright/layout/design"
	"lotwright/layout/geom"
	"lotwright/layout/sight"
)

func pressure(psi float64) *layout.Pressure {
	p := layout.PSI(psi)
	return &p
}

// gauged are settings with the given pressure at every head, and no effort for
// the continuous proof.
func gauged(psi float64) design.Settings {
	return design.Settings{Supply: layout.Supply{HeadPressure: pressure(psi)}, Effort: design.Effort{Boxes: -1}}
}

func run(t *testing.T, lot *layout.Lot, s design.Settings) *layout.Design {
	t.Helper()
	d, err := design.Run(context.Background(), lot, s)
	require.NoError(t, err)
	return d
}

func note(d *layout.Design, rule string) *layout.Note {
	for i := range d.Notes {
		if d.Notes[i].Rule == rule {
			return &d.Notes[i]
		}
	}
	return nil
}

func TestSuburbanLot(t *testing.T) {
	lot := suburban()
	lot.Notes = []layout.Note{{Rule: "importer.remark", Text: "kept"}}
	d := run(t, lot, gauged(55))
	assert.Equal(t, "suburban", d.LotID)
	assert.Equal(t, layout.StatusDesigned, d.Status)
	assert.Empty(t, d.Reason)
	assert.Equal(t, layout.VariableThrow, d.HeadKind)
	assert.Equal(t, 0.97, d.CoverageTarget)
	assert.InDelta(t, 30, d.Throw.Feet(), 1e-9)
	assert.InDelta(t, 4.7, d.HeadFlow.GPM(), 1e-9)
	assert.InDelta(t, 55, d.Pressure.PSI(), 1e-9)
	assert.False(t, d.Regulated)
	assert.InDelta(t, 640, d.ParcelArea, 1e-9)
	// The house 120; drive 35; walk 6 and 3.36; patio 30 of which 10 under the roof.
	// What is left is lawn, but for what the walk cuts off too narrow: nothing.
	assert.InDelta(t, 640-120-35-6-3.36-20, d.IrrigatedArea+d.NarrowArea, 0.05)
	assert.Equal(t, layout.ProofDiscrete, d.Proof.Kind)
	assert.GreaterOrEqual(t, d.Proof.Bound, len(d.Heads)-1)
	assert.Equal(t, layout.Length(1), d.Proof.CandidateSpacing)
	assert.Equal(t, layout.Length(1), d.Proof.WitnessSpacing)
	assert.Nil(t, note(d, "poc.assumed"))
	assert.NotNil(t, note(d, "importer.remark"))
	assert.Equal(t, *lot.Source, d.Network.POC)
	assert.NotEmpty(t, d.Network.Runs)
	assert.Positive(t, d.Network.TrenchLength)
	assert.LessOrEqual(t, d.Network.TrenchLength, d.Network.SpanningTreeLength)
	assert.Empty(t, d.Network.Unreached)
	assert.Positive(t, d.Effort.Candidates)
	assert.Positive(t, d.Effort.Witnesses)
	assert.GreaterOrEqual(t, d.Effort.GreedyHeads, len(d.Heads))
	requireSound(t, lot, gauged(55), d)
	assert.Equal(t, suburban().Building, lot.Building, "the lot is left alone")
}

// requireSound checks a design by other means than it was made with: what
// stands where, what is wet, and that the figures agree with one another.
func requireSound(t *testing.T, lot *layout.Lot, s design.Settings, d *layout.Design) {
	t.Helper()
	open := openGround(lot)
	slack := 0.003 * (1 + perimeterM(open))
	require.InDelta(t, open.AreaM2(), d.IrrigatedArea+d.NarrowArea, slack, "open ground = irrigated + narrow")
	require.InDelta(t, lot.Parcel.AreaM2(), d.ParcelArea, 1e-9)
	require.InDelta(t, d.Irrigated.AreaM2(), d.IrrigatedArea, 1e-9)
	require.InDelta(t, d.Narrow.AreaM2(), d.NarrowArea, 1e-9)
	require.InDelta(t, (1-d.Coverage)*d.IrrigatedArea, d.DryArea, 1e-9)
	require.InDelta(t, d.DryArea, d.Dry.AreaM2(), 0.001*d.IrrigatedArea+0.01, "dry ground as drawn")
	requireHeads(t, lot, d)
	requireReasons(t, d)
	if d.Proof.Kind != layout.ProofNone {
		require.LessOrEqual(t, d.Proof.Bound, len(d.Heads))
	}
	require.LessOrEqual(t, d.Network.TrenchLength, d.Network.SpanningTreeLength)
	if len(d.Irrigated) > 0 && len(d.Heads) > 0 {
		require.InDelta(t, sampledShare(lot, d, 70), d.Coverage, 0.012)
	}
	target := s.CoverageTarget
	if target == 0 {
		target = 0.97
	}
	require.Equal(t, target, d.CoverageTarget)
}

// openGround is the parcel or its turf, less everything on it.
func openGround(lot *layout.Lot) geom.Region {
	g := lot.Parcel
	if lot.HasTurf {
		g = geom.Intersection(g, lot.Turf)
	}
	for _, o := range []geom.Region{lot.Building, lot.Hardscape, lot.Water, lot.Wall, lot.Bed} {
		g = geom.Difference(g, o)
	}
	return g
}

func perimeterM(g geom.Region) float64 {
	sum := 0.0
	for s := range g.Edges() {
		sum += s.LengthMM() / 1000
	}
	return sum
}

func requireHeads(t *testing.T, lot *layout.Lot, d *layout.Design) {
	t.Helper()
	labels, pinned := map[string]bool{}, 0
	for i, h := range d.Heads {
		require.Equal(t, fmt.Sprintf("H%d", i+1), h.Label)
		require.False(t, labels[h.Label])
		labels[h.Label] = true
		require.Equal(t, i+1, h.Zone, "a head is a zone")
		require.Equal(t, d.HeadKind, h.Kind)
		require.NotEmpty(t, h.Model)
		require.Equal(t, 360.0, h.ArcSweep)
		require.Equal(t, d.Throw, h.Throw)
		require.Equal(t, d.Pressure, h.Pressure)
		require.Equal(t, d.HeadFlow, h.Flow)
		if h.Pinned {
			pinned++
			require.Contains(t, lot.PinnedAt(), h.At)
		} else {
			requireLegal(t, lot, d, h.At)
		}
		requireWetted(t, d, h)
	}
	require.Equal(t, len(lot.Pinned) > 0 && len(d.Heads) > 0, pinned > 0)
}

// requireLegal measures the distances of a head by projection on every edge of
// the layers as given. Uniting overlapping outlines may move an edge by a
// millimetre or so.
func requireLegal(t *testing.T, lot *layout.Lot, d *layout.Design, p geom.Point) {
	t.Helper()
	const rounding = 1.5
	require.Equal(t, geom.Interior, d.Irrigated.Locate(p), "%s: %v", d.LotID, p)
	require.GreaterOrEqual(t, clearOf(p, lot.Parcel, lot.Hardscape, lot.Water), 100-rounding, "%s: %v", d.LotID, p)
	require.GreaterOrEqual(t, clearOf(p, lot.Building, lot.Wall), 300-rounding, "%s: %v", d.LotID, p)
}

func clearOf(p geom.Point, regions ...geom.Region) float64 {
	least := math.Inf(1)
	for _, g := range regions {
		for s := range g.Edges() {
			a, b, v := s.A.Vec(), s.B.Vec().Sub(s.A.Vec()), p.Vec()
			t := max(0, min(1, v.Sub(a).Dot(b)/b.Dot(b)))
			least = min(least, v.Sub(a.Add(b.Scale(t))).Norm())
		}
	}
	return least
}

// requireWetted wants the outline of what a head wets within its throw, inside
// the lawn to the millimetre, and of the stated area.
func requireWetted(t *testing.T, d *layout.Design, h layout.Head) {
	t.Helper()
	area := 0.0
	for i, v := range h.Wetted {
		require.LessOrEqual(t, v.Sub(h.At.Vec()).Norm(), d.Throw.Metres()*1000+1e-6)
		p := v.Round()
		require.True(t, d.Irrigated.Has(p) || d.Irrigated.DistanceMM(p) <= 1, "%s wets %v off the lawn", h.Label, p)
		middle := v.Add(h.Wetted[(i+1)%len(h.Wetted)]).Scale(0.5).Round()
		require.True(t, d.Irrigated.Has(middle) || d.Irrigated.DistanceMM(middle) <= 1, "%s wets %v off the lawn", h.Label, middle)
		area += v.Cross(h.Wetted[(i+1)%len(h.Wetted)]) / 2e6
	}
	sagitta := layout.WettedSagittaMM / 1000.0 * 2 * math.Pi * d.Throw.Metres()
	require.InDelta(t, h.WettedArea, area, sagitta, h.Label)
	require.True(t, h.Pinned || h.WettedArea > 0, h.Label)
}

// requireReasons wants a reason and an error note exactly where a lot is not
// designed, and no note without a rule and a text.
func requireReasons(t *testing.T, d *layout.Design) {
	t.Helper()
	require.Equal(t, d.Status == layout.StatusDesigned, d.Reason == "", "%s: %s %q", d.LotID, d.Status, d.Reason)
	errors := 0
	for _, n := range d.Notes {
		require.NotEmpty(t, n.Rule)
		require.NotEmpty(t, n.Text)
		if n.Severity == layout.SeverityError {
			errors++
		}
	}
	if d.Status == layout.StatusDesigned {
		require.GreaterOrEqual(t, d.Coverage, d.CoverageTarget-1e-9)
		require.Zero(t, errors)
	} else {
		require.Positive(t, errors)
	}
}

// sampledShare estimates the coverage from n by n points, by the definition of
// reach: near enough, and no edge of the lawn crosses the line between.
func sampledShare(lot *layout.Lot, d *layout.Design, n int) float64 {
	all, wet := 0, 0
	b := d.Irrigated.Bounds()
	size := b.Max.Sub(b.Min).Vec()
	throw := d.Throw.Millimetres()
	for i := range n * n {
		p := b.Min.Vec().Add(geom.Vec{X: size.X * (float64(i%n) + 0.5) / float64(n), Y: size.Y * (float64(i/n) + 0.5) / float64(n)}).Round()
		if d.Irrigated.Locate(p) != geom.Interior {
			continue
		}
		all++
		if slices.ContainsFunc(d.Heads, func(h layout.Head) bool {
			return h.At.Within(p, throw) && inSight(d.Irrigated, h.At, p)
		}) {
			wet++
		}
	}
	return float64(wet) / float64(all)
}

func inSight(lawn geom.Region, h, p geom.Point) bool {
	if lawn.Locate(h) != geom.Interior {
		return false
	}
	for e := range lawn.Edges() {
		if e.Crosses(geom.Segment{A: h, B: p}) {
			return false
		}
	}
	return true
}

func TestNothingToWater(t *testing.T) {
	lot := &layout.Lot{ID: "all house", Parcel: rect(0, 0, 20, 20), Building: rect(-1, -1, 21, 21)}
	for _, s := range []design.Settings{gauged(55), gauged(10), {}} {
		d := run(t, lot, s)
		assert.Equal(t, layout.StatusDesigned, d.Status)
		assert.Empty(t, d.Heads)
		assert.Equal(t, 1.0, d.Coverage)
		assert.Zero(t, d.DryArea)
		assert.Equal(t, layout.ProofNone, d.Proof.Kind)
		assert.Empty(t, d.Network.Runs)
		n := note(d, "area.nothing_to_water")
		require.NotNil(t, n)
		assert.Equal(t, layout.SeverityWarning, n.Severity)
	}
}

func TestPressureTooLow(t *testing.T) {
	d := run(t, suburban(), gauged(39.9))
	assert.Equal(t, layout.StatusInfeasible, d.Status)
	assert.Contains(t, d.Reason, "39.9 psi")
	assert.Contains(t, d.Reason, "40.0 psi", "the pressure it needs")
	assert.NotNil(t, note(d, "supply.pressure_low"))
	assert.Empty(t, d.Heads)
	assert.Zero(t, d.Coverage)
	assert.Positive(t, d.IrrigatedArea, "the lawn is known all the same")
	assert.Equal(t, layout.ProofNone, d.Proof.Kind)
	requireReasons(t, d)
	assert.Equal(t, layout.StatusDesigned, run(t, suburban(), gauged(40)).Status, "the rated band includes its end")

	d = run(t, suburban(), design.Settings{})
	assert.Equal(t, layout.StatusInfeasible, d.Status, "nothing is known of the water")
	requireReasons(t, d)
}

// TestLotsOwnSupply: what a lot's own properties say goes before the settings.
func TestLotsOwnSupply(t *testing.T) {
	lot := suburban()
	lot.Supply = layout.Supply{HeadPressure: pressure(70)}
	d := run(t, lot, gauged(40))
	assert.InDelta(t, 35, d.Throw.Feet(), 1e-9)
	lot.Supply.HeadPressure = pressure(20)
	assert.Equal(t, layout.StatusInfeasible, run(t, lot, gauged(70)).Status)
}

func TestPressureTooHigh(t *testing.T) {
	d := run(t, suburban(), gauged(90))
	assert.Equal(t, layout.StatusDesigned, d.Status)
	assert.True(t, d.Regulated)
	assert.NotNil(t, note(d, "supply.regulator"))
	assert.InDelta(t, 70, d.Pressure.PSI(), 1e-9, "the top row is used")
	assert.InDelta(t, 35, d.Throw.Feet(), 1e-9)
	assert.False(t, run(t, suburban(), gauged(70)).Regulated)
}

func TestMorePressureNeverNeedsMoreHeads(t *testing.T) {
	last := math.MaxInt
	for _, psi := range []float64{40, 55, 70} {
		d := run(t, suburban(), gauged(psi))
		assert.LessOrEqual(t, len(d.Heads), last)
		last = len(d.Heads)
	}
}

func TestAssumedPointOfConnection(t *testing.T) {
	lot := suburban()
	lot.Source = nil
	d := run(t, lot, gauged(55))
	assert.Equal(t, layout.StatusDesigned, d.Status)
	assert.True(t, d.Network.POCAssumed)
	n := note(d, "poc.assumed")
	require.NotNil(t, n)
	assert.Equal(t, layout.SeverityWarning, n.Severity)
	require.NotNil(t, n.At)
	assert.Equal(t, d.Network.POC, *n.At)
	assert.LessOrEqual(t, clearOf(d.Network.POC, lot.Building), 1.0, "on the outline of the house")
}

// closed is a lawn with a walled pocket in the middle in which nobody may
// stand, so far from the walls are heads to be, and into which nobody sees.
func closed() (*layout.Lot, design.Settings) {
	walls := geom.Difference(rect(7.4, 7.4, 10.1, 10.1), rect(7.5, 7.5, 10, 10))
	s := gauged(55)
	s.BuildingClearance = 1.5
	tap := m(0.5, 0.5)
	return &layout.Lot{ID: "closed", Parcel: rect(0, 0, 17.5, 17.5), Wall: walls, Source: &tap}, s
}

func TestUnreachableTarget(t *testing.T) {
	lot, s := closed()
	s.CoverageTarget = 0.99
	d := run(t, lot, s)
	assert.Equal(t, layout.StatusInfeasible, d.Status)
	n := note(d, "coverage.unreachable")
	require.NotNil(t, n)
	require.NotNil(t, n.At)
	assert.Equal(t, geom.Interior, d.Dry.Locate(*n.At))
	assert.NotEmpty(t, d.Heads, "the best that was found is attached")
	assert.NotEmpty(t, d.Network.Runs)
	pocket := rect(7.5, 7.5, 10, 10)
	assert.InDelta(t, pocket.AreaM2(), geom.Intersection(d.Dry, pocket).AreaM2(), 0.01)
	best := 1 - pocket.AreaM2()/d.IrrigatedArea
	assert.LessOrEqual(t, d.Coverage, best+1e-6)
	assert.GreaterOrEqual(t, d.Coverage, 0.99*best)
	assert.Contains(t, d.Reason, "99 % is asked for")
	assert.Contains(t, d.Reason, fmt.Sprintf("%.6g %%", 100*d.Coverage))
	assert.Contains(t, d.Reason, fmt.Sprintf("%.1f m²", d.DryArea))
	requireReasons(t, d)
	s.CoverageTarget = 0.95
	assert.Equal(t, layout.StatusDesigned, run(t, lot, s).Status)
}

func TestPinnedHeads(t *testing.T) {
	lot := suburban()
	lot.Pinned = layout.PinsAt(m(1, 1), m(19, 31))
	d := run(t, lot, gauged(55))
	assert.Equal(t, layout.StatusDesigned, d.Status)
	requireSound(t, lot, gauged(55), d)
	kept := 0
	for _, h := range d.Heads {
		if h.Pinned {
			kept++
		}
	}
	assert.Equal(t, 2, kept)
	assert.GreaterOrEqual(t, len(d.Heads), len(run(t, suburban(), gauged(55)).Heads))
}

// TestLeastThrow: a head that cannot wet what is close leaves a dry disc round
// itself, which is drawn as dry and counted.
func TestLeastThrow(t *testing.T) {
	head := layout.GenericVariableThrow()
	head.LeastThrow = layout.Length(3)
	lot := &layout.Lot{ID: "ring", Parcel: rect(0, 0, 12, 12)}
	s := gauged(55)
	s.Head, s.CoverageTarget = head, 0.75
	d := run(t, lot, s)
	require.Len(t, d.Heads, 1)
	require.GreaterOrEqual(t, d.Coverage, 0.75)
	assert.InDelta(t, d.DryArea, d.Dry.AreaM2(), 0.001*d.IrrigatedArea)
	assert.True(t, d.Dry.Has(d.Heads[0].At))
	s.CoverageTarget = 0.97
	d = run(t, lot, s)
	assert.Greater(t, len(d.Heads), 1)
	assert.InDelta(t, d.DryArea, d.Dry.AreaM2(), 0.001*d.IrrigatedArea)
}

// TestNoneIsNotTheDefault: a negative length switches a rule off, also where
// the stage behind it has a default of its own.
func TestNoneIsNotTheDefault(t *testing.T) {
	behind := m(19, 1) // a tap diagonally across the house from the lawn
	lot := &layout.Lot{ID: "corner", Parcel: rect(0, 0, 20, 20), Building: rect(5, 3, 20, 15),
		HasTurf: true, Turf: rect(0, 16, 4, 20), Source: &behind}
	s := gauged(55)
	usual := run(t, lot, s)
	s.TrenchClearance = -1
	close := run(t, lot, s)
	assert.Less(t, close.Network.TrenchLength, usual.Network.TrenchLength-0.1, "past the very corner of the house")

	// A strip of paving 1 m wide: straight over it costs 15 m of soil, 8 m for the
	// metre of paving and 4 m for setting up; the way round is about 24.4 m.
	tap := m(5, 1)
	lot = &layout.Lot{ID: "strip", Parcel: rect(0, 0, 20, 20), Hardscape: rect(0, 9, 14, 10),
		HasTurf: true, Turf: rect(3, 15, 7, 19), Source: &tap}
	s = gauged(55)
	assert.Zero(t, run(t, lot, s).Network.PavingCrossings)
	s.PavingCrossing = -1
	assert.Equal(t, 1, run(t, lot, s).Network.PavingCrossings)
}

func TestStripWidthAndClearancesSwitchedOff(t *testing.T) {
	lot := &layout.Lot{ID: "strips", Parcel: rect(0, 0, 20, 10), Building: rect(10, 0.5, 20, 9.5)}
	s := gauged(55)
	assert.InDelta(t, 10, run(t, lot, s).NarrowArea, 0.05)
	s.LeastStripWidth = -1
	d := run(t, lot, s)
	assert.Zero(t, d.NarrowArea)
	assert.InDelta(t, 110, d.IrrigatedArea, 1e-9)
	lot.Bed = rect(0, 0, 5, 10)
	s.IrrigateBeds = true
	assert.InDelta(t, 110, run(t, lot, s).IrrigatedArea, 1e-9)
}

func TestSettingsThatMakeNoSense(t *testing.T) {
	nan, inf := layout.Length(math.NaN()), layout.Length(math.Inf(1))
	model := func(edit func(*layout.HeadModel)) design.Settings {
		head := layout.GenericVariableThrow()
		edit(&head)
		return design.Settings{Head: head}
	}
	allowance := layout.Pressure(-1)
	for name, s := range map[string]design.Settings{
		"coverage target 1.01":               {CoverageTarget: 1.01},
		"coverage target -0.5":               {CoverageTarget: -0.5},
		"coverage target NaN":                {CoverageTarget: math.NaN()},
		"paving factor 0.5":                  {PavingFactor: 0.5},
		"paving factor +Inf":                 {PavingFactor: math.Inf(1)},
		"root zone factor 0.1":               {RootZoneFactor: 0.1},
		"design flow share 2":                {DesignFlowShare: 2},
		"supply allowance -0.1 psi":          {SupplyAllowance: &allowance},
		"least strip width NaN":              {LeastStripWidth: nan},
		"least strip width +Inf":             {LeastStripWidth: inf},
		"distance from paving NaN":           {EdgeClearance: nan},
		"distance from buildings +Inf":       {BuildingClearance: inf},
		"paving crossing NaN":                {PavingCrossing: nan},
		"trench clearance +Inf":              {TrenchClearance: inf},
		"trench depth NaN":                   {TrenchDepth: nan},
		"paving to throw across -1":          {CrossPaving: -1},
		"paving to throw across NaN":         {CrossPaving: nan},
		"head with rows in disorder":         model(func(h *layout.HeadModel) { h.Rows[0], h.Rows[1] = h.Rows[1], h.Rows[0] }),
		"head that throws nothing":           model(func(h *layout.HeadModel) { h.Rows[0].Throw = 0 }),
		"head that throws NaN":               model(func(h *layout.HeadModel) { h.Rows[1].Throw = nan }),
		"head that throws a light-year":      model(func(h *layout.HeadModel) { h.Rows[1].Throw = 1e16 }),
		"head at infinite pressure":          model(func(h *layout.HeadModel) { h.Rows[2].Pressure = layout.Pressure(math.Inf(1)) }),
		"head with a negative least":         model(func(h *layout.HeadModel) { h.LeastThrow = -1 }),
		"head with a least beyond its throw": model(func(h *layout.HeadModel) { h.LeastThrow = 8 }),
		"pressure at the head NaN":           {Supply: layout.Supply{HeadPressure: pressure(math.NaN())}},
		"pressure at the head +Inf":          {Supply: layout.Supply{HeadPressure: pressure(math.Inf(1))}},
	} {
		t.Run(name, func(t *testing.T) {
			if s.Supply == (layout.Supply{}) {
				s.Supply = gauged(55).Supply
			}
			_, err := design.Run(context.Background(), suburban(), s)
			require.Error(t, err)
			assert.True(t, strings.HasPrefix(err.Error(), "settings: "), err.Error())
		})
	}
	assert.NoError(t, design.Settings{}.Validate(), "the zero settings make sense")
}

func TestErrorsNameTheLot(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := design.Run(ctx, suburban(), gauged(55))
	require.ErrorIs(t, err, context.Canceled)
	assert.Contains(t, err.Error(), `"suburban"`)
	assert.Equal(t, 1, strings.Count(err.Error(), "suburban"), err.Error())
}

func TestAnyLot(t *testing.T) {
	heads, status := 0, map[layout.Status]int{}
	for seed := range uint64(40) {
		lot, s := randomLot(seed), gauged([]float64{40, 55, 70}[seed%3])
		s.CoverageTarget = []float64{0, 0.9, 0.99}[seed/3%3]
		d := run(t, lot, s)
		requireSound(t, lot, s, d)
		requireLegalAgain(t, lot, d)
		heads += len(d.Heads)
		status[d.Status]++
		require.Equal(t, d, run(t, lot, s), "seed %d: the same twice", seed)
	}
	assert.Greater(t, heads, 80)
	assert.Greater(t, status[layout.StatusDesigned], 30)
}

// requireLegalAgain asks the ground itself, to the millimetre.
func requireLegalAgain(t *testing.T, lot *layout.Lot, d *layout.Design) {
	t.Helper()
	ground, err := candidate.NewGround(lot, d.Irrigated, candidate.Clearances{EdgeMM: 100, BuildingMM: 300})
	require.NoError(t, err)
	for _, h := range d.Heads {
		require.True(t, h.Pinned || ground.Allows(h.At), "%s: %s", d.LotID, h.Label)
	}
}

// TestContinuousProofIsNoWeaker: with the effort for it, the proof may change
// its kind and nothing else changes.
func TestContinuousProofIsNoWeaker(t *testing.T) {
	continuous := 0
	for seed := range uint64(12) {
		lot, s := randomLot(seed), gauged(55)
		plain := run(t, lot, s)
		s.Effort.Boxes = 0
		proved := run(t, lot, s)
		if proved.Proof.Kind == layout.ProofContinuous {
			continuous++
			require.LessOrEqual(t, plain.Proof.Bound, proved.Proof.Bound)
			require.LessOrEqual(t, proved.Proof.Bound, len(proved.Heads))
		}
		proved.Proof, proved.Certificate, proved.Effort = plain.Proof, plain.Certificate, plain.Effort
		require.Equal(t, plain, proved)
	}
	assert.Positive(t, continuous)
}

// TestSameResultFromManyWorkers designs lots at the same time, with one set of
// settings, and compares with one after the other.
func TestSameResultFromManyWorkers(t *testing.T) {
	s := gauged(55)
	s.Head = layout.GenericVariableThrow()
	const lots = 8
	alone, together := make([]*layout.Design, lots), make([]*layout.Design, lots)
	shared := randomLot(3)
	lotOf := func(i int) *layout.Lot {
		if i%2 == 0 {
			return shared
		}
		return randomLot(uint64(i))
	}
	for i := range alone {
		alone[i] = run(t, lotOf(i), s)
	}
	var wg sync.WaitGroup
	for i := range together {
		wg.Go(func() {
			together[i], _ = design.Run(context.Background(), lotOf(i), s)
		})
	}
	wg.Wait()
	assert.Equal(t, alone, together)
}

// TestLargeLot: the spacing of spots and witnesses grows with the lawn, and the
// proof says so.
func TestLargeLot(t *testing.T) {
	lot := &layout.Lot{ID: "park", Parcel: rect(0, 0, 100, 60)}
	s := gauged(70)
	s.Effort.Moves = 200
	d := run(t, lot, s)
	assert.Equal(t, layout.StatusDesigned, d.Status)
	assert.Equal(t, layout.Length(1.25), d.Proof.CandidateSpacing)
	assert.Equal(t, layout.Length(1.25), d.Proof.WitnessSpacing)
	assert.LessOrEqual(t, d.Effort.Witnesses, 4100)
}

// TestPressureMargin: heads placed so that the pressure may fall do when it has
// fallen, and where it may not fall that far the lot says so.
func TestPressureMargin(t *testing.T) {
	s := gauged(55)
	s.PressureMargin = layout.PSI(6)
	d := run(t, suburban(), s)
	require.Equal(t, layout.StatusDesigned, d.Status, d.Reason)
	fallen, _, ok := layout.GenericVariableThrow().At(layout.PSI(49))
	require.True(t, ok)
	assert.InDelta(t, 1-float64(fallen.Throw/d.Throw), d.Margin, 1e-9)
	var reaches []sight.Reach
	field := sight.NewField(d.Irrigated)
	for _, h := range d.Heads {
		reaches = append(reaches, field.From(h.At, fallen.Throw.Millimetres(), 0))
	}
	assert.GreaterOrEqual(t, sight.CoveredM2(reaches)/d.IrrigatedArea, d.CoverageTarget-1e-6)
	s.PressureMargin = layout.PSI(16)
	low := run(t, suburban(), s)
	assert.Equal(t, layout.StatusInfeasible, low.Status)
	assert.Contains(t, low.Reason, "56.0 psi")
}

// TestWatched: who watches is told of every stage as it begins and ends, those
// within another inside it, and nothing of the design changes.
func TestWatched(t *testing.T) {
	var told []string
	depth := 0
	ctx := design.Watched(context.Background(), func(ctx context.Context, stage string) (context.Context, func()) {
		told = append(told, strings.Repeat(">", depth)+stage)
		depth++
		return ctx, func() { depth-- }
	})
	d, err := design.Run(ctx, suburban(), gauged(55))
	require.NoError(t, err)
	assert.Zero(t, depth)
	assert.Equal(t, []string{"ground", "supply", "lay", ">heads", ">proof", ">trench", "pins"}, told)
	assert.Equal(t, run(t, suburban(), gauged(55)), d)
}
