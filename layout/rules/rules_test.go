package rules_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/rules"
)

func rect(x0, y0, x1, y1 float64) geom.Region {
	return geom.Region{{{m(x0, y0), m(x1, y0), m(x1, y1), m(x0, y1)}}}
}

func m(x, y float64) geom.Point { return geom.Vec{X: x * 1000, Y: y * 1000}.Round() }

func inch(v float64) layout.Length { return layout.Length(v * layout.MetresPerInch) }

func published(t *testing.T) []rules.Rule {
	t.Helper()
	all, err := rules.Published()
	require.NoError(t, err)
	return all
}

func rule(t *testing.T, id string) rules.Rule {
	t.Helper()
	all := published(t)
	i := slices.IndexFunc(all, func(r rules.Rule) bool { return r.ID == id })
	require.GreaterOrEqual(t, i, 0, id)
	return all[i]
}

func check(t *testing.T, in rules.Input, ids ...string) *rules.Report {
	t.Helper()
	var on []rules.Rule
	for _, id := range ids {
		on = append(on, rule(t, id))
	}
	return rules.Check(in, on)
}

// square is a fixed-arc head that wets a square of ground, so that areas are
// plain to see.
func square(label string, at geom.Point, throw layout.Length, halfMM int64) layout.Head {
	var ring []geom.Vec
	for _, d := range []geom.Point{{X: -halfMM, Y: -halfMM}, {X: halfMM, Y: -halfMM}, {X: halfMM, Y: halfMM}, {X: -halfMM, Y: halfMM}} {
		ring = append(ring, at.Add(d).Vec())
	}
	return layout.Head{Label: label, At: at, Kind: layout.FixedArc, Model: "generic spray 12 ft", Throw: throw, ArcSweep: 360,
		Flow: 6, Pressure: 200, Zone: 1, Wetted: ring}
}

func labels(findings []rules.Finding) (out []string) {
	for _, f := range findings {
		out = append(out, f.Where)
	}
	return out
}

func TestPublishedRulesAreWhole(t *testing.T) {
	for _, r := range published(t) {
		assert.NotEmpty(t, r.Text, r.ID)
		assert.NotEmpty(t, r.Source, r.ID)
		if r.Jurisdiction != "" {
			assert.True(t, strings.HasPrefix(r.Jurisdiction, "us-"), r.ID)
		}
	}
	tags := rules.Jurisdictions(published(t))
	assert.Contains(t, tags, "us-tx")
	assert.IsIncreasing(t, tags)
}

// TestPublishedLimits holds the limits as the sources print them.
func TestPublishedLimits(t *testing.T) {
	for id, want := range map[string]struct {
		limit float64
		unit  string
	}{
		"spray.strip": {48, "in"}, "spray.strip.local": {60, "in"}, "head.from_paving": {4, "in"}, "spacing.radius": {0.10, "share"},
		"overhead.setback": {24, "in"}, "strip.overspray": {10, "ft"}, "slope.low_volume": {0.15, "share"},
		"cover.traffic": {18, "in"}, "cover.least": {6, "in"}, "cable.cover": {6, "in"}, "cable.driveway": {18, "in"}, "sleeve.beyond": {12, "in"},
		"backflow.pvb": {12, "in"}, "backflow.avb": {6, "in"}, "backflow.rp": {12, "in"}, "pipe.velocity": {5, "ft/s"},
	} {
		r := rule(t, id)
		assert.Equal(t, want.limit, r.Limit, id)
		assert.Equal(t, want.unit, r.Unit, id)
	}
}

func TestSelect(t *testing.T) {
	all := published(t)
	ids := func(on, off []string) (out []string) {
		got, err := rules.Select(all, on, off)
		require.NoError(t, err)
		for _, r := range got {
			out = append(out, r.ID)
		}
		return out
	}
	general := ids(nil, nil)
	assert.Contains(t, general, "pipe.velocity")
	for _, r := range all {
		assert.Equal(t, r.Jurisdiction == "", slices.Contains(general, r.ID), "%s: only general rules are on by themselves", r.ID)
	}
	texas := ids([]string{"us-tx"}, nil)
	assert.Contains(t, texas, "spray.strip")
	assert.NotContains(t, texas, "spray.strip.local")
	city := ids([]string{"us-tx-fort-worth"}, nil)
	assert.Subset(t, city, []string{"spray.strip", "spray.strip.local", "pipe.velocity"})
	assert.NotContains(t, city, "overhead.setback")
	less := ids([]string{"us-tx-fort-worth"}, []string{"us-tx", "pipe.velocity"})
	assert.Contains(t, less, "spray.strip.local")
	assert.NotContains(t, less, "spray.strip")
	assert.NotContains(t, less, "pipe.velocity")

	_, err := rules.Select(all, []string{"us-zz"}, nil)
	assert.ErrorContains(t, err, `no jurisdiction "us-zz"; there are us-ca-kern`)
	_, err = rules.Select(all, nil, []string{"no.such"})
	assert.ErrorContains(t, err, `"no.such" is neither a rule nor a jurisdiction`)
}

func TestParseRefuses(t *testing.T) {
	with := func(change string) string {
		return `[{"id": "a", "kind": "cover", "limit": 6, "unit": "in", "severity": "error", "text": "x", "source": "y"` + change + `}]`
	}
	_, err := rules.Parse(strings.NewReader(with("")))
	require.NoError(t, err)
	for text, message := range map[string]string{
		``:                                       "EOF",
		`{}`:                                     "cannot unmarshal",
		`[] []`:                                  "something follows",
		with(`, "colour": 1`):                    "unknown field",
		with(`, "kind": "taste"`):                `"taste" is no kind of check; there are backflow_above_ground`,
		with(`, "unit": "furlong"`):              `rule 1, "a": "furlong" is no unit`,
		with(`, "unit": "ft/s"`):                 `a limit in "ft/s" does not go with "cover"`,
		with(`, "limit": -1`):                    "-1 makes no sense",
		with(`, "severity": "bad"`):              `"bad" is no severity`,
		with(`, "source": ""`):                   "text and source must be given",
		with(`, "id": ""`):                       "no id",
		with(`, "kind": "backflow_above_heads"`): "the kind of backflow assembly is not given",
		`[` + strings.Trim(with(""), "[]") + `,` + strings.Trim(with(""), "[]") + `]`: `rule 2, "a": the id is there twice`,
		strings.Repeat(" ", 2<<20): "larger than 1 MiB",
	} {
		_, err := rules.Parse(strings.NewReader(text))
		assert.ErrorContains(t, err, message, "%.80s", text)
	}
	_, err = rules.Parse(failing{})
	assert.EqualError(t, err, "rules: the disc is gone")
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, errors.New("the disc is gone") }

func FuzzParse(f *testing.F) {
	f.Add(`[{"id": "a", "kind": "on_site", "severity": "info", "text": "x", "source": "y"}]`)
	f.Add(`[{"id": "b", "kind": "slope", "limit": 1e308, "unit": "share", "severity": "error", "text": "x", "source": "y"}]`)
	f.Fuzz(func(t *testing.T, text string) {
		list, err := rules.Parse(strings.NewReader(text))
		if err != nil {
			return
		}
		lot := &layout.Lot{Parcel: rect(0, 0, 20, 20), Hardscape: rect(5, 0, 8, 20)}
		report := rules.Check(rules.Input{Lot: lot, Design: &layout.Design{Heads: []layout.Head{square("H1", m(2, 2), 4, 2000)}}}, list)
		require.GreaterOrEqual(t, len(report.Findings)+len(report.OnSite)+len(report.Kept), len(list))
	})
}

func TestHeadsFromThings(t *testing.T) {
	lot := &layout.Lot{Hardscape: rect(0, 0, 2, 10), Building: rect(10, 0, 12, 10), Wall: rect(5, 9, 6, 9.1)}
	d := &layout.Design{Heads: []layout.Head{
		square("H1", m(2.05, 5), 4, 100),  // 50 mm from paving: 2 in
		square("H2", m(2.102, 5), 4, 100), // 102 mm: 4 in is 101.6
		square("H3", m(1, 5), 4, 100),     // on it
		square("H4", m(9.8, 5), 4, 100),   // 200 mm from the house
		square("H5", m(5.5, 8.9), 4, 100), // 100 mm from the wall
	}}
	report := check(t, rules.Input{Lot: lot, Design: d}, "head.from_paving", "head.from_building")
	assert.Equal(t, []string{"H1", "H3", "H4", "H5"}, labels(report.Findings))
	first := report.Findings[0]
	assert.Equal(t, "H1 stands 2.0 in (50 mm) from paving; at least 4.0 in (102 mm) is asked for", first.Text)
	assert.Equal(t, m(2.05, 5), *first.At)
	assert.InDelta(t, 0.05, first.Measured, 1e-9)
	assert.InDelta(t, 0.1016, first.Limit, 1e-9)
	assert.Zero(t, report.Findings[1].Measured)
	notes := report.Notes()
	require.Len(t, notes, 4)
	assert.Equal(t, layout.Note{Rule: "rule.head.from_paving", Severity: layout.SeverityError, At: first.At,
		Text: first.Text + " (30 TAC §344.62(b))"}, notes[0])
	bare := check(t, rules.Input{Lot: &layout.Lot{}, Design: d}, "head.from_paving")
	assert.Empty(t, bare.Findings)
	assert.Len(t, bare.Kept, 1)
}

// TestSpacing has heads of 4 m radius at 0, 4.3, 9.3 m and one of another zone.
func TestSpacing(t *testing.T) {
	d := &layout.Design{Heads: []layout.Head{square("H1", m(0, 0), 4, 1), square("H2", m(4.3, 0), 4, 1), square("H3", m(9.3, 0), 4, 1), square("H4", m(0, 1), 4, 1)}}
	d.Heads[3].Zone = 2
	in := rules.Input{Lot: &layout.Lot{}, Design: d}
	assert.Equal(t, []string{"H1", "H3", "H4"}, labels(check(t, in, "spacing.radius").Findings), "4.3 is 7.5 % off, 5 is 25 %, 1 is 75 %")
	assert.Equal(t, []string{"H2", "H3"}, labels(check(t, in, "spacing.head_to_head").Findings))
	most := check(t, in, "spacing.most").Findings
	assert.Equal(t, []string{"H3"}, labels(most))
	assert.InDelta(t, 1.25, most[0].Measured, 1e-9)

	for i := range d.Heads {
		d.Heads[i].Kind = layout.VariableThrow
	}
	report := check(t, in, "spacing.radius")
	assert.Empty(t, report.Findings)
	require.Len(t, report.OnSite, 1)
	assert.Contains(t, report.OnSite[0].Reason, "no one radius")
	assert.Len(t, check(t, rules.Input{Lot: &layout.Lot{}, Design: &layout.Design{}}, "spacing.radius").Kept, 1)
}

func TestWaterWhereItMustNotBe(t *testing.T) {
	lot := &layout.Lot{Hardscape: rect(5, 0, 7, 20)}
	h := square("H1", m(4, 5), 2, 2000) // wets x 2 to 6
	h.Overspray, h.OversprayArea = rect(5, 3, 6, 7), 4
	far := square("H2", m(2, 15), 2, 1500) // to x = 3.5, 1.5 m from the paving
	d := &layout.Design{Heads: []layout.Head{h, far}}
	in := rules.Input{Lot: lot, Design: d, Strips: func(width layout.Length) (geom.Region, error) {
		assert.Contains(t, []float64{48, 120}, math.Round(width.Metres()/layout.MetresPerInch))
		return rect(3, 0, 5, 6), nil
	}}
	report := check(t, in, "overspray.paving", "overhead.setback", "strip.overspray", "spray.strip")
	assert.Equal(t, []string{"H1", "H1", "H1", "H1"}, labels(report.Findings))
	assert.InDelta(t, 4, report.Findings[0].Measured, 1e-9)
	// Within 24 in of x = 5: x 4.3904 to 6, four metres high.
	assert.InDelta(t, 4*1.6096, report.Findings[1].Measured, 0.01)
	assert.InDelta(t, 2*3, report.Findings[3].Measured, 1e-6, "x 3 to 5, y 3 to 6")

	in.Strips = nil
	assert.Len(t, check(t, in, "spray.strip").OnSite, 1)
	in.Strips = func(layout.Length) (geom.Region, error) { return nil, errors.New("too many corners") }
	assert.Equal(t, "too many corners", check(t, in, "spray.strip").OnSite[0].Reason)
	d.Heads[0].Model = "generic rotor 30 ft"
	in.Strips = func(layout.Length) (geom.Region, error) { return rect(3, 0, 5, 6), nil }
	assert.Empty(t, check(t, in, "spray.strip").Findings)
	in.Lot = &layout.Lot{}
	assert.Len(t, check(t, in, "overhead.setback").Kept, 1)
}

// TestMatchedRate has a head turned down to three quarters: its rate is 1.78
// times that of its neighbour.
func TestMatchedRate(t *testing.T) {
	d := &layout.Design{Heads: []layout.Head{square("H1", m(0, 0), 4, 1), square("H2", m(4, 0), 3, 1), square("H3", m(8, 0), 2, 1), square("H4", m(8, 0), 4, 1)}}
	d.Heads[2].Zone = 3
	d.Heads[3].ArcSweep, d.Heads[3].Flow = 90, 1.5
	report := check(t, rules.Input{Lot: &layout.Lot{}, Design: d}, "zone.matched")
	require.Equal(t, []string{"zone 1"}, labels(report.Findings))
	assert.InDelta(t, 16.0/9, report.Findings[0].Measured, 1e-9)
	// 6 L/min on 4 m: 360/(16·π) mm/h.
	assert.Contains(t, report.Findings[0].Text, "H1 applies 7.2 mm/h")
}

func TestSlope(t *testing.T) {
	lot := &layout.Lot{Heights: []layout.SpotHeight{{At: m(0, 0), Height: 10}, {At: m(10, 0), Height: 11.6}, {At: m(10, 0.5), Height: 13}, {At: m(20, 0), Height: 12}}}
	report := check(t, rules.Input{Lot: lot, Design: &layout.Design{}}, "slope.low_volume")
	require.Len(t, report.Findings, 2, "16 % up to the second, once; 10 % from the last to the third; half a metre is a step")
	assert.InDelta(t, 0.16, report.Findings[0].Measured, 1e-9)
	assert.Len(t, check(t, rules.Input{Lot: &layout.Lot{}, Design: &layout.Design{}}, "slope.low_volume").OnSite, 1)
}

func trenches() *layout.Design {
	run := func(from, to string, s layout.Surface, depth layout.Length) layout.TrenchRun {
		return layout.TrenchRun{From: from, To: to, Surface: s, Depth: depth, Length: 3, Path: geom.Line{m(0, 0), m(3, 0)}}
	}
	return &layout.Design{Network: layout.Network{
		Runs: []layout.TrenchRun{run("POC", "T1", layout.SurfaceSoil, inch(7)), run("T1", "H1", layout.SurfacePaving, inch(10)),
			run("T1", "H2", layout.SurfaceSleeve, inch(5)), run("T1", "H3", layout.SurfaceSoil, layout.Feet(4.5))},
		Pipes: []layout.PipeRun{{Label: "P1", Size: "1 in", Velocity: 1.6, Path: geom.Line{m(0, 0), m(1, 0), m(2, 0)}}, {Label: "P2", Size: "3/4 in", Velocity: 1.5}},
	}}
}

// TestTrench: pipe of 1 in is 1.315 in wide, so 7 in deep leaves 5.7 in of cover.
func TestTrench(t *testing.T) {
	in := rules.Input{Lot: &layout.Lot{}, Design: trenches()}
	report := check(t, in, "cover.least")
	require.Equal(t, []string{"POC to T1"}, labels(report.Findings))
	assert.InDelta(t, 5.685*layout.MetresPerInch, report.Findings[0].Measured, 1e-9)
	assert.Equal(t, []string{"T1 to H1"}, labels(check(t, in, "cover.traffic").Findings))
	assert.Equal(t, []string{"T1 to H1"}, labels(check(t, in, "sleeve.paving").Findings))
	assert.Equal(t, []string{"T1 to H3"}, labels(check(t, in, "trench.egress", "trench.protection").Findings))
}

func TestVelocity(t *testing.T) {
	in := rules.Input{Lot: &layout.Lot{}, Design: trenches()}
	assert.Len(t, check(t, in, "pipe.velocity").OnSite, 1, "nothing was reckoned")
	in.Design.Water = &layout.Water{}
	report := check(t, in, "pipe.velocity")
	require.Equal(t, []string{"P1"}, labels(report.Findings))
	assert.Equal(t, "in P1, 1 in, water runs at 5.25 ft/s (1.60 m/s); 5.00 ft/s (1.52 m/s) is permitted", report.Findings[0].Text)
	assert.Equal(t, m(1, 0), *report.Findings[0].At)
}

func TestSleevesBeyond(t *testing.T) {
	lot := &layout.Lot{Hardscape: rect(0, 0, 3, 10), Sleeves: []geom.Line{{m(-0.4, 5), m(3.2, 5)}, {m(-0.4, 6), m(2.9, 6)}}}
	report := check(t, rules.Input{Lot: lot, Design: &layout.Design{}}, "sleeve.beyond")
	require.Len(t, report.Findings, 2)
	assert.InDelta(t, 0.2, report.Findings[0].Measured, 1e-9)
	assert.InDelta(t, -0.1, report.Findings[1].Measured, 1e-9, "ends under the paving")
	assert.Len(t, check(t, rules.Input{Lot: &layout.Lot{}, Design: &layout.Design{}}, "sleeve.beyond").OnSite, 1)
}

// TestBackflowHeights has a head 2 m above the tap: a pressure vacuum breaker
// stands 2 m and 12 in above the ground there. None is ever chosen.
func TestBackflowHeights(t *testing.T) {
	in := rules.Input{Lot: &layout.Lot{}, Design: &layout.Design{Heads: []layout.Head{square("H1", m(0, 0), 4, 1), square("H2", m(9, 9), 4, 1)}},
		Height: func(p geom.Point) layout.Length { return layout.Length(p.X) / 4500 }}
	all := []string{"backflow.pvb", "backflow.avb", "backflow.rp", "backflow.dc", "backflow.code"}
	report := check(t, in, all...)
	assert.Empty(t, report.Findings)
	require.Len(t, report.OnSite, 5)
	assert.Contains(t, report.OnSite[0].Reason, "at least 7.6 ft (2.30 m) above the ground at the point of connection, on account of H2")

	in.Backflow = &rules.Backflow{Device: "pressure_vacuum_breaker", Height: 2.2}
	report = check(t, in, all...)
	require.Equal(t, []string{"POC"}, labels(report.Findings))
	assert.InDelta(t, 2.2, report.Findings[0].Measured, 1e-9)
	assert.InDelta(t, 2.3048, report.Findings[0].Limit, 1e-9)
	in.Backflow.Height = 2.31
	assert.Empty(t, check(t, in, all...).Findings)
	in.Backflow = &rules.Backflow{Device: "reduced_pressure", Height: 0.2}
	assert.Len(t, check(t, in, all...).Findings, 1)
	in.Height = nil
	assert.Contains(t, check(t, in, "backflow.pvb").OnSite[0].Reason, "not surveyed")
}

func TestPlanContent(t *testing.T) {
	ids := []string{"plan.source", "plan.controller", "plan.sizes", "plan.flows", "plan.coverage", "plan.demand", "plan.sheet"}
	d := &layout.Design{Coverage: 0.98, DryArea: 4, Heads: []layout.Head{{Label: "H1"}},
		Network: layout.Network{POCAssumed: true, Pipes: []layout.PipeRun{{Label: "P1"}}}}
	report := check(t, rules.Input{Lot: &layout.Lot{}, Design: d}, ids...)
	assert.Equal(t, []string{"", "", "P1", "H1", "", ""}, labels(report.Findings))
	require.Len(t, report.OnSite, 1)

	at := m(0, 0)
	d = &layout.Design{Coverage: 1, Heads: []layout.Head{square("H1", m(0, 0), 4, 1)}, Water: &layout.Water{Known: true}}
	report = check(t, rules.Input{Lot: &layout.Lot{Controller: &at}, Design: d}, ids...)
	assert.Empty(t, report.Findings)
	assert.Len(t, report.Kept, 6)
}

func TestText(t *testing.T) {
	var b strings.Builder
	require.NoError(t, check(t, rules.Input{Lot: &layout.Lot{}, Design: trenches()}, "cover.least", "cover.traffic", "pipe.velocity", "area.most").WriteText(&b))
	text := b.String()
	assert.Contains(t, text, "Rules not kept: 2 findings\n  error  cover.least: POC to T1 lies under 5.7 in (144 mm) of soil; at least 6.0 in (152 mm) is asked for [30 TAC §344.62; the text itself was not read]\n")
	assert.Contains(t, text, "To be checked on site: 1\n  pipe.velocity: ")
	assert.Contains(t, text, "Checked, nothing found: 1\n  area.most: ")
	assert.Contains(t, text, "The local code and those who apply it decide.")
}

func TestIrrigatedArea(t *testing.T) {
	// Half an acre is 21 780 sq ft, 2023.4 m².
	for area, n := range map[float64]int{2023: 0, 2024: 1} {
		report := check(t, rules.Input{Lot: &layout.Lot{}, Design: &layout.Design{IrrigatedArea: area}}, "area.most")
		assert.Len(t, report.Findings, n, area)
	}
}
