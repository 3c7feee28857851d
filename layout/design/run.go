package design

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"lotwright/layout"
	"lotwright/layout/candidate"
	"lotwright/layout/geom"
	"lotwright/layout/hydraulic"
	"lotwright/layout/placement"
	"lotwright/layout/sight"
	"lotwright/layout/trench"
)

// Run designs one lot. A lot that cannot be served is a design with a status
// and a reason, not an error; an error is a fault in the settings, the
// geometry code or the context.
//
//  1. The lot gives the lawn, and where on it heads may stand.
//  2. The supply gives the pressure at a head at the tap, and that its throw.
//  3. Heads are placed, with a bound on their number among the spots tried.
//  4. Fewer heads anywhere are ruled out, if the effort suffices.
//  5. The trench network joins them to the point of connection.
//  6. Pipe is chosen and reckoned exactly. Where it loses so much that heads fall
//     short of what they need, 3 to 6 are done again for less pressure.
func Run(ctx context.Context, lot *layout.Lot, s Settings) (*layout.Design, error) {
	if err := s.Validate(); err != nil {
		return nil, fmt.Errorf("settings: %w", err)
	}
	if len(s.Choice) > 0 {
		return runChoice(ctx, lot, s)
	}
	var families []layout.FixedArcFamily
	if s.Family != nil {
		families = append(families, *s.Family)
	}
	d, _, err := runOnce(ctx, lot, s, blend{families: families})
	return d, err
}

// blend is what fixed-arc heads a run designs with: of one family, or of several
// mixed by area, the one that throws farthest first.
type blend struct {
	families  []layout.FixedArcFamily
	mostHeads int // above which the design is of no use; 0: none
}

// runOnce designs a lot with fixed-arc heads, or with variable-throw heads where
// no family is named. It reports whether each family has a part of the lawn: if one
// has not, there is no such mix.
func runOnce(ctx context.Context, lot *layout.Lot, s Settings, of blend) (d *layout.Design, ok bool, err error) {
	if s.Family = nil; len(of.families) > 0 {
		s.Family = &of.families[0]
	}
	r := run{lot: lot, s: s.filled()}
	r.d = &layout.Design{LotID: lot.ID, Plane: lot.Plane, Status: layout.StatusDesigned,
		HeadKind: r.s.Head.Kind, CoverageTarget: r.s.CoverageTarget, ParcelArea: lot.Parcel.AreaM2(),
		Proof: layout.Proof{Kind: layout.ProofNone}, Notes: append([]layout.Note(nil), lot.Notes...)}
	stages := []stage{{"ground", r.ground}, {"supply", r.supply}, {"lay", r.lay}, {"pins", r.lookAtPins}}
	if s.Family != nil {
		r.d.HeadKind = layout.FixedArc
		r.setParts(of.families)
		r.arcs.mostHeads = of.mostHeads
		stages = []stage{{"ground", r.ground}, {"assign", r.assign}, {"supply", r.supplyArcs}, {"lay", r.layArcs}}
	} else if len(lot.HeadWishes) > 0 {
		r.note("head.wish_left", layout.SeverityWarning, "fixed-arc heads are asked for on parts of the lawn; variable-throw heads water it all as the settings say")
	}
	for _, stage := range stages {
		if err := stage.run(ctx); err != nil {
			return nil, false, fmt.Errorf("lot %q: %w", lot.ID, err)
		}
		if r.done {
			break
		}
	}
	return r.d, !r.unmixed, nil
}

// run is one design under way.
type run struct {
	lot  *layout.Lot
	s    Settings
	d    *layout.Design
	done bool // nothing further to work out

	field    *sight.Field
	standing *candidate.Ground
	spacing  int64   // of spots and witnesses, mm
	margin   float64 // share of the throw held back
	arcs     arcs    // with fixed-arc heads only
	unmixed  bool    // families were to be mixed, and one has no part of the lawn
	plumbing plumbing
	doubtful []geom.Point // places that stay dry where fewer heads stand
}

// fail ends the run with a reason the lot cannot be designed.
func (r *run) fail(rule, reason string) {
	r.d.Status, r.d.Reason, r.done = layout.StatusInfeasible, reason, true
	r.note(rule, layout.SeverityError, reason)
}

func (r *run) note(rule string, severity layout.Severity, text string) {
	r.d.Notes = append(r.d.Notes, layout.Note{Rule: rule, Severity: severity, Text: text})
}

// ground works out the lawn and where heads may stand.
func (r *run) ground(context.Context) error {
	lawn, err := candidate.Irrigated(r.lot, candidate.LawnSettings{
		LeastStripMM: r.s.LeastStripWidth.Millimetres(), IrrigateBeds: r.s.IrrigateBeds})
	if err != nil {
		return err
	}
	if err := r.leavePavedStrips(&lawn.Region, &lawn.Narrow); err != nil {
		return err
	}
	r.d.Irrigated, r.d.IrrigatedArea = lawn.Region, lawn.Region.AreaM2()
	r.d.Narrow, r.d.NarrowArea = lawn.Narrow, lawn.Narrow.AreaM2()
	if len(lawn.Region) == 0 {
		r.d.Coverage, r.done = 1, true
		r.note("area.nothing_to_water", layout.SeverityWarning, "nothing of the lot is left to irrigate: no heads, no trench")
		return nil
	}
	r.field = sight.NewFieldAcross(lawn.Region, r.passable(), r.s.CrossPaving.Millimetres())
	r.standing, err = candidate.NewGround(r.lot, lawn.Region, candidate.Clearances{
		EdgeMM: r.s.EdgeClearance.Millimetres(), BuildingMM: r.s.BuildingClearance.Millimetres()})
	if err == nil {
		r.remarkPins()
	}
	return err
}

// passable returns the lawn and the paving a throw may cross.
func (r *run) passable() geom.Region {
	blocked := geom.Union(r.lot.Building, r.lot.Wall, r.lot.Water)
	paving := geom.Difference(geom.Intersection(r.lot.Hardscape, r.lot.Parcel), blocked)
	return geom.Union(r.d.Irrigated, paving)
}

// supply works out pressure, throw and flow at the heads: as given, or of a head
// at the tap.
func (r *run) supply(ctx context.Context) error {
	supply := r.lot.Supply.Or(r.s.Supply)
	if supply.HeadPressure == nil {
		return r.atTap(ctx, supply)
	}
	w, short := hydraulic.Gauged(*supply.HeadPressure, r.s.Head)
	if short != nil {
		r.fail(short.Rule, short.Text)
		return nil
	}
	r.assume(w.PerformanceRow)
	if r.d.Regulated = w.Regulated; w.Regulated {
		r.noteRegulator()
	}
	return nil
}

// Spacing of the spots tried and of the points standing for the lawn: 1 m up
// to spacedAreaM2 of lawn, then growing with the lawn so that their number
// stays bounded.
const (
	spacingMM    = 1000
	spacedAreaM2 = 4000
	spacingStep  = 250
)

func spacingFor(areaM2 float64) int64 {
	spacing := int64(spacingMM)
	for areaM2*spacingMM*spacingMM > spacedAreaM2*float64(spacing*spacing) {
		spacing += spacingStep
	}
	return spacing
}

// heads places the heads and describes them.
func (r *run) heads(ctx context.Context) error {
	r.spacing = spacingFor(r.d.IrrigatedArea)
	site := r.siteOf(r.spacing)
	r.d.Effort.Candidates, r.d.Effort.Witnesses = len(site.Spots), len(site.WitnessAt)
	if err := r.startAround(ctx, &site); err != nil {
		return err
	}
	p, err := r.placed(ctx, site)
	if err != nil {
		return err
	}
	r.d.Effort.GreedyHeads, r.d.Effort.Pivots, r.d.Effort.Nodes = p.Greedy, p.Pivots, p.Nodes
	if p.Proven {
		at := layout.Length(r.spacing) / geom.MillimetresPerMetre
		r.d.Proof = layout.Proof{Kind: layout.ProofDiscrete, Bound: p.Bound, CandidateSpacing: at, WitnessSpacing: at}
	}
	r.settleOn(p)
	if p.Status == placement.Unreachable {
		r.d.Status = layout.StatusInfeasible
		r.d.Reason = r.unreachable()
		r.d.Notes = append(r.d.Notes, layout.Note{Rule: "coverage.unreachable", Severity: layout.SeverityError,
			Text: r.d.Reason, At: r.driest(p.Heads)})
	}
	return nil
}

// unreachable says how much of the lawn stays dry.
func (r *run) unreachable() string {
	dry := (1 - r.d.MarginCoverage) * r.d.IrrigatedArea
	amount := fmt.Sprintf("%.1f m²", dry)
	if dry < 1 {
		amount = fmt.Sprintf("%.1f cm²", dry*squareCentimetres)
	}
	return fmt.Sprintf("%s of the lawn stay dry: the best found reaches %.6g %% and %.6g %% is asked for; the dry areas show where",
		amount, 100*r.d.MarginCoverage, 100*r.s.CoverageTarget)
}

const squareCentimetres = 1e4 // in a square metre

// placed runs the placement.
func (r *run) placed(ctx context.Context, site placement.Site) (placement.Result, error) {
	p, err := placement.Place(ctx, site, placement.Settings{
		CoverageTarget: r.s.CoverageTarget, Moves: r.s.Effort.Moves, Pivots: r.s.Effort.CoverPivots, Nodes: r.s.Effort.CoverNodes,
		PolishSteps: r.s.Effort.PolishSteps, Rounds: r.s.Effort.Rounds})
	r.d.Effort.Moves += p.Moves
	return p, err
}

// settleOn describes the heads of a placement.
func (r *run) settleOn(p placement.Result) {
	r.d.Coverage, r.d.Margin, r.d.MarginCoverage = min(p.Coverage, 1), r.margin, min(p.Coverage, 1)
	if r.margin > 0 {
		r.d.Coverage = min(r.share(p.Heads, r.d.Throw.Millimetres()), 1)
	}
	r.d.ThrowSlack = r.slack(p.Heads)
	r.d.DryArea = (1 - r.d.Coverage) * r.d.IrrigatedArea
	r.describe(p.Heads)
}

// driest returns where the largest patch lies that heads at the given places
// leave dry, if there is any.
func (r *run) driest(at []geom.Point) *geom.Point {
	dry := r.field.Dry(r.reaches(at, r.heldThrowMM()))
	if len(dry) == 0 {
		return nil
	}
	largest := slices.MaxFunc(dry, func(a, b sight.Dry) int { return cmp.Compare(a.AreaMM2, b.AreaMM2) })
	return &largest.At
}

// heldThrowMM is the throw the target must be met with: less the margin.
func (r *run) heldThrowMM() int64 {
	return (r.d.Throw * layout.Length(1-r.margin)).Millimetres()
}

// share returns the exact share of the lawn that heads at the given places
// reach with a throw.
func (r *run) share(at []geom.Point, throwMM int64) float64 {
	return r.field.CoveredWithinM2(r.reaches(at, throwMM)) / r.d.IrrigatedArea
}

// reaches returns what heads at the given places reach with a throw.
func (r *run) reaches(at []geom.Point, throwMM int64) []sight.Reach {
	out := make([]sight.Reach, len(at))
	for i, p := range at {
		out[i] = r.from(p, throwMM)
	}
	return out
}

// slack returns how much of the throw could be lost before the heads, where
// they stand, missed the target; zero when they miss it already.
func (r *run) slack(at []geom.Point) layout.Length {
	full := r.d.Throw.Millimetres()
	spare := func(throwMM int64) float64 { return r.share(at, throwMM) - r.s.CoverageTarget }
	if len(at) == 0 {
		return 0
	}
	most := spare(full)
	if most < 0 {
		return 0
	}
	least := leastWhere(bracket{high: full, atLow: -r.s.CoverageTarget, atHigh: most}, spare)
	return layout.Length(full-least) / geom.MillimetresPerMetre
}

// bracket holds the places between which a function turns from negative, and
// its values there.
type bracket struct {
	low, high     int64
	atLow, atHigh float64
}

// leastWhere returns the least x in the bracket at which the increasing f is
// not negative. It closes in by false position, the value at an end that stays
// halved (Illinois; Dowell and Jarratt 1971): half the evaluations of bisection.
func leastWhere(b bracket, f func(x int64) float64) int64 {
	for last := 0; b.high-b.low > 1; {
		x := b.low + int64(float64(b.high-b.low)*b.atLow/(b.atLow-b.atHigh))
		x = min(max(x, b.low+1), b.high-1)
		v := f(x)
		if v < 0 {
			b.low, b.atLow = x, v
			if last < 0 {
				b.atHigh /= 2
			}
			last = -1
			continue
		}
		b.high, b.atHigh = x, v
		if last > 0 {
			b.atLow /= 2
		}
		last = 1
	}
	return b.high
}

// siteOf returns the ground as placement sees it.
func (r *run) siteOf(spacing int64) placement.Site {
	throw := r.heldThrowMM()
	site := placement.Site{
		Spots: r.standing.Spots(spacing), ThrowMM: throw, LawnAreaM2: r.d.IrrigatedArea,
		Pinned: r.lot.PinnedAt(), Allows: r.standing.Allows, Start: r.s.Start,
		ReachFrom: func(p geom.Point) placement.Reach {
			reach := r.from(p, throw)
			return &reach
		},
		AreaReached: func(reaches []placement.Reach) float64 { return r.field.CoveredWithinM2(sightReaches(reaches)) },
		DryAt: func(reaches []placement.Reach) (out []placement.Dry) {
			for _, d := range r.field.Dry(sightReaches(reaches)) {
				out = append(out, placement.Dry{At: d.At, AreaMM2: int64(d.AreaMM2)})
			}
			return out
		},
	}
	if r.s.CrossPaving == 0 { // whatever is reached is lawn
		site.AddedTo = func(others []placement.Reach) func(placement.Reach) float64 {
			union := sight.NewUnion(sightReaches(others))
			return func(more placement.Reach) float64 { return union.GainM2(more.(*sight.Reach)) }
		}
	}
	for _, w := range candidate.Witnesses(r.d.Irrigated, spacing) {
		site.WitnessAt = append(site.WitnessAt, w.At)
		site.WitnessMM2 = append(site.WitnessMM2, w.AreaMM2)
	}
	return site
}

// sightReaches returns reaches as the sight stage knows them.
func sightReaches(reaches []placement.Reach) []sight.Reach {
	all := make([]sight.Reach, len(reaches))
	for i, reach := range reaches {
		all[i] = *reach.(*sight.Reach)
	}
	return all
}

// drySagittaMM draws wetted outlines finely when the dry area is cut out, so
// that its area agrees with the exact one.
const drySagittaMM = 0.5

// leastScrapM2 is the area under which a piece of dry or oversprayed ground is
// not drawn: 1 dm².
const leastScrapM2 = 0.01

// describe fills in the heads at the given places and what they leave dry.
func (r *run) describe(at []geom.Point) {
	pinned := map[geom.Point]bool{}
	for _, p := range r.lot.PinnedAt() {
		pinned[p] = true
	}
	var wet []geom.Region
	for i, p := range at {
		reach := r.from(p, r.d.Throw.Millimetres())
		wets := r.wets(&reach)
		head := layout.Head{
			Label: fmt.Sprintf("H%d", i+1), At: p, Kind: r.s.Head.Kind, Model: r.s.Head.Name,
			Throw: r.d.Throw * layout.Length(r.throwShareAt(p)), ArcSweep: 360, Pressure: r.d.Pressure, Flow: r.d.HeadFlow,
			Zone: i + 1, Pinned: pinned[p],
			Wetted: reach.Outline(layout.WettedSagittaMM), WettedArea: reach.AreaM2()}
		if r.s.CrossPaving > 0 {
			head.Overspray = withoutScraps(geom.Difference(wets, r.d.Irrigated))
			head.OversprayArea = head.Overspray.AreaM2()
		}
		r.d.Heads = append(r.d.Heads, head)
		wet = append(wet, wets)
	}
	reached := geom.Union(wet...)
	r.d.Dry = withoutScraps(geom.Difference(r.d.Irrigated, reached))
	if r.s.CrossPaving > 0 {
		r.d.OversprayArea = withoutScraps(geom.Difference(reached, r.d.Irrigated)).AreaM2()
	}
}

// withoutScraps drops the pieces too small to draw.
func withoutScraps(g geom.Region) geom.Region {
	var out geom.Region
	for _, poly := range g {
		if poly.AreaM2() >= leastScrapM2 {
			out = append(out, poly)
		}
	}
	return out
}

// wets returns what the head wets as a region on the grid: its reach less, for
// a head with a least throw, what lies too near.
func (r *run) wets(reach *sight.Reach) geom.Region {
	wet := outlined(reach)
	if reach.LeastMM > 0 {
		near := r.field.From(reach.Head, reach.LeastMM, 0)
		wet = geom.Difference(wet, outlined(&near))
	}
	return wet
}

// outlined returns the reach, its dry middle filled in, as a region on the grid.
func outlined(reach *sight.Reach) geom.Region {
	var ring geom.Ring
	for _, v := range reach.Outline(drySagittaMM) {
		ring = append(ring, v.Round())
	}
	return geom.Normalize([]geom.Ring{ring})
}

// noneBelowZero writes none the way the trench stage reads it, where zero means
// the default.
func noneBelowZero(v layout.Length) layout.Length {
	if v == 0 {
		return -1
	}
	return v
}

// network joins the heads to the point of connection.
func (r *run) network(ctx context.Context) error {
	n, err := trench.Route(ctx, r.lot, r.d.Heads, trench.Settings{
		PavingFactor: r.s.PavingFactor, RootZoneFactor: r.s.RootZoneFactor, PavingCrossing: noneBelowZero(r.s.PavingCrossing),
		Clearance: noneBelowZero(r.s.TrenchClearance), Depth: r.s.TrenchDepth, PavingDepth: r.s.PavingDepth})
	if err != nil {
		return fmt.Errorf("routing the trench: %w", err)
	}
	r.d.Network = n
	r.pipes()
	r.d.Notes = append(r.d.Notes, n.Unreached...)
	if n.POCAssumed {
		poc := n.POC
		r.d.Notes = append(r.d.Notes, layout.Note{Rule: "poc.assumed", Severity: layout.SeverityWarning, At: &poc,
			Text: "no source was given: the point of connection is assumed here"})
	}
	if r.s.Family == nil {
		if err := r.cable(); err != nil {
			return err
		}
	}
	if len(n.Unreached) > 0 && r.d.Status == layout.StatusDesigned {
		r.d.Status, r.d.Reason = layout.StatusInfeasible, n.Unreached[0].Text
	}
	return nil
}

// pipes lays pipe in the trench and tells each head which one ends at it.
func (r *run) pipes() {
	n := &r.d.Network
	laid, ends := trench.Pipes(*n, r.d.Heads)
	n.Pipes = laid
	for _, p := range laid {
		n.PipeLength += p.Length
	}
	for i := range r.d.Heads {
		r.d.Heads[i].Pipe = ends[i]
	}
}
