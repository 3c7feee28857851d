package design

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/hydraulic"
	"lotwright/layout/sector"
	"lotwright/layout/sight"
	"lotwright/layout/trench"
	"lotwright/layout/uniformity"
	"lotwright/layout/zoning"
)

// leavePavedStrips takes narrow strips between paving out of the lawn, where a
// rule allows the family none (30 TAC §344.62(b)).
func (r *run) leavePavedStrips(lawn *geom.Region, narrow *geom.Region) error {
	width := layout.Length(0)
	for _, p := range r.arcs.parts {
		width = max(width, p.family.LeastStrip)
	}
	if width == 0 || r.s.SprayNarrowStrips {
		return nil
	}
	strips, err := sector.PavedStrips(*lawn, r.lot.Hardscape, width)
	if err != nil || len(strips) == 0 {
		return err
	}
	*lawn, *narrow = geom.Difference(*lawn, strips), geom.Union(*narrow, strips)
	r.note("area.paved_strip", layout.SeverityInfo, fmt.Sprintf(
		"%.1f m² of strips between paving, narrower than %v, get no spray", strips.AreaM2(), width))
	return nil
}

// arcs is what a run with fixed-arc heads knows besides.
type arcs struct {
	parts      []part      // the families and where they water
	rest       geom.Region // lawn for which the input asks no heads
	mostHeads  int         // above which the design is of no use; 0: none
	nozzles    []sector.Nozzle
	pressures  []layout.Pressure // of each, regulated
	designFlow layout.Flow       // what one valve may draw; 0: not known
	hard       geom.Region       // buildings and walls
	open       *sight.Field      // all ground around but that
}

// supplyArcs works out the pressure at the heads, and what each nozzle does
// there. Heads of a valve run together, so the pressure is the one held while
// the whole design flow runs and pipe takes its share: a valve that draws less
// has more.
func (r *run) supplyArcs(ctx context.Context) error {
	supply := r.lot.Supply.Or(r.s.Supply)
	if supply.HeadPressure != nil {
		r.d.Pressure = *supply.HeadPressure
		r.fitNozzles()
		return nil
	}
	if !r.measure(supply) {
		return nil
	}
	r.arcs.designFlow = r.plumbing.flow
	held, err := r.heldAtTap(ctx)
	if err != nil {
		return err
	}
	r.d.Pressure = held * layout.Pressure(1-r.s.PipeLossShare)
	r.fitNozzles()
	r.dropThirsty()
	return nil
}

// heldAtTap is the pressure behind a valve at the tap while the design flow runs.
func (r *run) heldAtTap(ctx context.Context) (layout.Pressure, error) {
	net, _, err := hydraulic.Draw(hydraulic.Plan{Source: r.plumbing.curve, Feed: append(slices.Clip(r.plumbing.feed), valve())})
	if err != nil {
		return 0, err
	}
	last := len(net.Nodes) - 1
	net.Nodes[last].Demand = r.plumbing.flow
	state, err := hydraulic.Solve(ctx, net, hydraulic.Settings{})
	if err != nil {
		return 0, err
	}
	return state.Nodes[last].Pressure, nil
}

// layArcs places fixed-arc heads, joins them and reckons the pipe of each valve;
// where that cannot give them the pressure they were placed for, again for less,
// as [run.lay] does.
func (r *run) layArcs(ctx context.Context) error {
	before, nozzles := *r.d, r.arcs
	for try := range layTries {
		for _, stage := range []stage{{"heads", r.headArcs}, {"trench", r.network}} {
			if err := stage.run(ctx); err != nil || r.done {
				return err
			}
		}
		if !r.plumbing.measured || len(r.d.Network.Pipes) == 0 {
			return nil
		}
		lower, err := r.waterArcs(ctx, try == layTries-1)
		if err != nil || lower == 0 {
			return err
		}
		*r.d, r.arcs = before, nozzles
		r.d.Notes = slices.Clip(before.Notes)
		r.d.Pressure, r.arcs.nozzles, r.arcs.pressures = lower, nil, nil
		if r.fitNozzles(); r.done {
			return nil
		}
		r.dropThirsty()
	}
	return nil
}

// zoneTries is the most often heads are put on valves anew because, with more
// pressure than they were placed for, some valve draws too much.
const zoneTries = 6

// waterArcs puts the heads on valves and reckons the pipe of each. It returns
// the pressure to assume next if some head has less than it was placed for; 0
// when none has, or when there is nothing less to try.
func (r *run) waterArcs(ctx context.Context, last bool) (lower layout.Pressure, err error) {
	assumed, limit := r.d.Pressure, r.plumbing.flow
	var lines []line
	for range zoneTries {
		var refused bool
		if lines, refused, err = r.valveLines(limit); err != nil || refused {
			return 0, err
		}
		over := false
		for i := range lines {
			if err := r.size(ctx, &lines[i], assumed); err != nil {
				return 0, err
			}
			if draws := lines[i].draws(); draws > r.plumbing.flow {
				over, limit = true, min(limit, r.assumedFlow(lines[i])*r.plumbing.flow/draws)
			}
		}
		if !over {
			break
		}
		limit *= 1 - flowMargin
	}
	short := leastOf(lines)
	if short < assumed-pressureSlack && !last && short > 0 {
		return min(short, assumed-leastFall), nil
	}
	r.d.Network.Pipes, r.d.Network.PipeLength = nil, 0
	if err := r.takeUp(ctx, lines); err != nil {
		return 0, err
	}
	for _, l := range lines {
		r.tellHeads(l)
		for _, p := range l.pipes {
			r.d.Network.Pipes = append(r.d.Network.Pipes, p)
			r.d.Network.PipeLength += p.Length
		}
		r.failWater(l.settled.Shortfalls)
	}
	if short < assumed-pressureSlack {
		r.failWater([]hydraulic.Shortfall{{Rule: "supply.pressure_low", Text: fmt.Sprintf(
			"a head has only %v and was placed for %v, after %d layouts: it would take wider pipe or more static pressure", max(short, 0), assumed, layTries)}})
	}
	return 0, nil
}

// flowMargin keeps a valve clear of the design flow by a hair, so that dealing
// the heads anew ends.
const flowMargin = 1e-6

// assumedFlow is what the heads of a line draw at the pressure they were placed
// for.
func (r *run) assumedFlow(l line) (q layout.Flow) {
	for _, i := range l.heads {
		q += r.d.Heads[i].Flow
	}
	return q
}

// leastOf is the least pressure at any head.
func leastOf(lines []line) layout.Pressure {
	least := layout.Pressure(math.Inf(1))
	for i := range lines {
		least = min(least, lines[i].least())
	}
	return least
}

// draws is what the heads of a line draw together.
func (l *line) draws() (q layout.Flow) {
	for _, h := range l.settled.Heads {
		q += h.Row.Flow
	}
	return q
}

// valveLines puts the heads on the fewest valves that draw no more than a limit,
// at the point of connection, each with pipe of its own in the shared trench.
func (r *run) valveLines(limit layout.Flow) (lines []line, refused bool, err error) {
	ways, err := zoning.NewTrench(r.d.Network)
	if err != nil {
		return nil, false, err
	}
	var heads []zoning.Head
	for _, h := range r.d.Heads {
		heads = append(heads, zoning.Head{Label: h.Label, At: h.At, Flow: h.Flow, Class: zoning.Class{Family: h.Family}})
	}
	dealt, err := zoning.Group(heads, zoning.Settings{DesignFlow: limit, Trench: ways})
	if err != nil {
		return nil, false, fmt.Errorf("putting heads on valves: %w", err)
	}
	for _, f := range dealt.Refused {
		r.d.Status, r.d.Reason = layout.StatusInfeasible, f.Reason
		r.note(f.Rule, layout.SeverityError, f.Reason)
	}
	if len(dealt.Refused) > 0 {
		return nil, true, nil
	}
	pipes := 0
	for _, z := range dealt.Zones {
		l, err := r.valveLine(z, pipes)
		if err != nil {
			return nil, false, err
		}
		pipes += len(l.pipes)
		lines = append(lines, l)
	}
	return lines, false, nil
}

// valveLine draws the pipe of one valve, its labels going on from those before.
func (r *run) valveLine(z zoning.Zone, pipesBefore int) (line, error) {
	var heads []layout.Head
	for _, i := range z.Heads {
		r.d.Heads[i].Zone = z.Number
		heads = append(heads, r.d.Heads[i])
	}
	pipes, ends := trench.PipesTo(r.d.Network, heads)
	for i := range pipes {
		pipes[i].Label, pipes[i].Zone = fmt.Sprintf("P%d", pipesBefore+i+1), z.Number
	}
	for k, i := range z.Heads {
		r.d.Heads[i].Pipe = ""
		if ends[k] >= 0 {
			r.d.Heads[i].Pipe = pipes[ends[k]].Label
		}
	}
	l, err := r.draw(layout.Network{POC: r.d.Network.POC, Pipes: pipes}, heads)
	if err != nil {
		return l, err
	}
	for k, at := range l.heads {
		l.heads[k] = z.Heads[at]
	}
	l.first = z.Number
	l.valve = layout.Zone{Valve: z.Valve.Name, ValveAt: z.Valve.At}
	return l, nil
}

// arcModel is the performance of a head's nozzle on its arc.
func (r *run) arcModel(h layout.Head) layout.HeadModel {
	for _, p := range r.arcs.parts {
		for _, m := range p.family.Nozzles {
			if m.Name == h.Model {
				m.Rows = slices.Clone(m.Rows)
				for i := range m.Rows {
					m.Rows[i].Flow = layout.ArcFlow(m.Rows[i].Flow, h.ArcSweep)
				}
				return m
			}
		}
	}
	return r.s.Head
}

// fitNozzles lists the nozzles that can run at the pressure; there must be one of
// each family.
func (r *run) fitNozzles() {
	r.d.Regulated = false
	var above []string
	for i, p := range r.arcs.parts {
		if r.fitFamily(i); r.done {
			return
		}
		if _, _, regulated := p.family.At(r.d.Pressure); regulated {
			above = append(above, p.family.Name)
		}
	}
	r.evenOut()
	switch r.d.Regulated = len(above) > 0; {
	case r.d.Regulated && r.mixed():
		r.note("supply.regulator", layout.SeverityInfo, fmt.Sprintf(
			"the supply holds more than the rated band of the nozzles of %s: their valves need a pressure regulator", strings.Join(above, " and ")))
	case r.d.Regulated:
		r.note("supply.regulator", layout.SeverityInfo,
			"the supply holds more than the rated band of the nozzles: a pressure regulator is needed")
	}
}

// fitFamily lists the nozzles of one family.
func (r *run) fitFamily(part int) {
	f := &r.arcs.parts[part].family
	rows, ok, _ := f.At(r.d.Pressure)
	lowest, fit := f.Nozzles[0].Rows[0].Pressure, false
	for i, row := range rows {
		lowest = min(lowest, f.Nozzles[i].Rows[0].Pressure)
		if ok[i] {
			fit = true
			r.arcs.nozzles = append(r.arcs.nozzles, sector.Nozzle{Name: f.Nozzles[i].Name, Throw: row.Throw,
				TurnedDown: row.Throw * layout.Length(f.LeastRadiusShare), Flow: row.Flow, Family: part, Profile: f.Profile})
			r.arcs.pressures = append(r.arcs.pressures, row.Pressure)
		}
	}
	if !fit {
		text := fmt.Sprintf("%v at the heads is below the rated band of every %s nozzle; at least %v is needed", max(r.d.Pressure, 0), f.Name, lowest)
		if r.plumbing.measured {
			text += fmt.Sprintf(": of the static %v that is what devices and %.0f %% for pipe leave while %v runs; it would take %v more static pressure, or as much less lost on the way",
				r.plumbing.curve.Static, 100*r.s.PipeLossShare, r.plumbing.flow, (lowest-r.d.Pressure)/layout.Pressure(1-r.s.PipeLossShare))
		}
		r.fail("supply.pressure_low", text)
	}
}

// dropThirsty leaves out the nozzles that on a full circle take more than one
// valve may draw, unless all of their family do: then what a sector takes is
// checked at the end.
func (r *run) dropThirsty() {
	a := &r.arcs
	some := map[int]bool{}
	for _, z := range a.nozzles {
		some[z.Family] = some[z.Family] || z.Flow <= a.designFlow
	}
	var nozzles []sector.Nozzle
	var pressures []layout.Pressure
	for i, z := range a.nozzles {
		if z.Flow <= a.designFlow || !some[z.Family] {
			nozzles, pressures = append(nozzles, z), append(pressures, a.pressures[i])
		}
	}
	a.nozzles, a.pressures = nozzles, pressures
}

// headArcs places the fixed-arc heads and describes them.
func (r *run) headArcs(ctx context.Context) error {
	r.openGround()
	if all, err := r.divide(); err != nil || !all {
		r.done, r.unmixed = true, !all
		return err
	}
	spots, spacing := r.spots()
	overspray, leastSweep, greatestSweep := r.arcLimits()
	set, places := r.pinnedArcs()
	site := sector.Site{Lawn: r.d.Irrigated, Blockers: r.arcs.hard, Spots: spots, Pinned: places, Fixed: set,
		Nozzles: r.arcs.nozzles, LeastSweep: leastSweep, GreatestSweep: greatestSweep, Areas: r.areas(),
		Measure: func(heads []sector.Sector) (sector.Figures, error) {
			u, err := r.simulate(heads)
			if err != nil {
				return sector.Figures{}, err
			}
			du, err := r.areaDU(u)
			return sector.Figures{Coverage: r.arcCoverage(heads), DULowQuarter: u.Statistics.DULowQuarter, AreaDU: du}, err
		}}
	p, err := sector.Place(ctx, site, sector.Settings{CoverageTarget: r.s.CoverageTarget,
		UniformityTarget: r.uniformityTarget(), OversprayLimit: overspray, Moves: r.s.Effort.SectorMoves, MostHeads: r.arcs.mostHeads})
	if err != nil {
		return err
	}
	r.d.Effort.Candidates, r.d.Effort.GreedyHeads, r.d.Effort.Moves = len(site.Spots), p.Greedy, p.Moves
	if p.Bound > 0 {
		r.d.Proof = layout.Proof{Kind: layout.ProofDiscrete, Bound: p.Bound,
			CandidateSpacing: layout.Length(spacing) / geom.MillimetresPerMetre,
			WitnessSpacing:   layout.Length(p.WitnessMM) / geom.MillimetresPerMetre}
	}
	for _, at := range p.Unfit {
		r.d.Notes = append(r.d.Notes, layout.Note{Rule: "head.unfit", Severity: layout.SeverityWarning, At: &at,
			Text: "the head that stands here is off the lawn or cannot be set to stay within the overspray limit, and is left out"})
	}
	if p.Status == sector.Unreachable {
		r.d.Status, r.d.Reason = layout.StatusInfeasible, p.Reason
		r.note("coverage.unreachable", layout.SeverityError, p.Reason)
	}
	r.remarkProof()
	if err := r.describeArcs(p.Heads); err != nil {
		return err
	}
	r.remarkOverspray()
	return r.remarkRedundantArcs(p.Heads)
}

// openGround is where water flies: everywhere but through buildings and walls.
func (r *run) openGround() {
	longest := int64(0)
	for _, z := range r.arcs.nozzles {
		longest = max(longest, z.Throw.Millimetres())
	}
	b := r.d.Irrigated.Bounds().Pad(longest + int64(geom.MillimetresPerMetre))
	all := geom.Region{{{b.Min, geom.Pt(b.Max.X, b.Min.Y), b.Max, geom.Pt(b.Min.X, b.Max.Y)}}}
	r.arcs.hard = geom.Union(r.lot.Building, r.lot.Wall)
	r.arcs.open = sight.NewField(geom.Difference(all, r.arcs.hard))
}

// wetBy returns what a sector wets, its arc drawn finely.
func (r *run) wetBy(h sector.Sector) geom.Region {
	reach := r.arcs.open.From(h.At, h.Radius.Millimetres(), 0)
	return geom.Intersection(outlined(&reach), geom.Region{{h.Outline(drySagittaMM)}})
}

func (r *run) wetByAll(heads []sector.Sector) geom.Region {
	var all []geom.Region
	for _, h := range heads {
		all = append(all, r.wetBy(h))
	}
	return geom.Union(all...)
}

// arcCoverage returns the share of the lawn reached, arcs drawn finely.
func (r *run) arcCoverage(heads []sector.Sector) float64 {
	return geom.Intersection(r.wetByAll(heads), r.d.Irrigated).AreaM2() / r.d.IrrigatedArea
}

// arcHead returns a sector as a head, without what it wets.
func (r *run) arcHead(h sector.Sector) layout.Head {
	z := r.arcs.nozzles[h.Nozzle]
	return layout.Head{At: h.At, Kind: layout.FixedArc, Model: z.Name, Family: r.arcs.parts[z.Family].family.Name, Throw: h.Radius, ArcStart: float64(h.StartDeg),
		ArcSweep: float64(h.SweepDeg), Pressure: r.arcs.pressures[h.Nozzle], Flow: h.Flow, Pinned: h.Pinned}
}

// simulate works out how the water of the heads lies on the lawn: the flow of a
// family that runs shorter than the first counts for less.
func (r *run) simulate(heads []sector.Sector) (*uniformity.Result, error) {
	var all []uniformity.Sprinkler
	for _, h := range heads {
		p := &r.arcs.parts[r.arcs.nozzles[h.Nozzle].Family]
		view, head := r.arcs.open.From(h.At, h.Radius.Millimetres(), 0), r.arcHead(h)
		head.Flow *= layout.Flow(p.runs)
		all = append(all, uniformity.Sprinkler{Head: head, Profile: profileOf(p.family), View: &view})
	}
	return uniformity.Simulate(r.d.Irrigated, all, uniformity.Settings{})
}

func profileOf(f layout.FixedArcFamily) (out uniformity.Profile) {
	for _, pt := range f.Profile {
		out.Points = append(out.Points, uniformity.ProfilePoint(pt))
	}
	return out
}

// togetherRate is the rate at which water lands on the lawn while all heads run.
func (r *run) togetherRate(heads []sector.Sector, rain *uniformity.Result) uniformity.Rate {
	if !r.mixed() {
		return rain.MeanRate()
	}
	sum := 0.0
	for i, h := range heads {
		sum += rain.Heads[i].OnLawn.LPM() / r.arcs.parts[r.arcs.nozzles[h.Nozzle].Family].runs
	}
	return uniformity.Rate(sum * minutesPerHour / r.d.IrrigatedArea)
}

const minutesPerHour = 60

// describeArcs fills in the heads, what they wet and how evenly.
func (r *run) describeArcs(sectors []sector.Sector) error {
	if len(sectors) == 0 {
		r.d.DryArea, r.d.Dry = r.d.IrrigatedArea, r.d.Irrigated
		return nil
	}
	for i, s := range sectors {
		wet := r.wetBy(s)
		h := r.arcHead(s)
		h.Label = fmt.Sprintf("H%d", i+1)
		h.Wetted, h.WettedArea = outermost(wet), wet.AreaM2()
		off := geom.Difference(wet, r.d.Irrigated)
		h.Overspray, h.OversprayArea = withoutScraps(off), off.AreaM2()
		r.d.Heads = append(r.d.Heads, h)
	}
	reached := r.wetByAll(sectors)
	r.d.Dry = withoutScraps(geom.Difference(r.d.Irrigated, reached))
	r.d.OversprayArea = geom.Difference(reached, r.d.Irrigated).AreaM2()
	r.d.Coverage = r.arcCoverage(sectors)
	r.d.MarginCoverage = r.d.Coverage
	r.d.DryArea = (1 - r.d.Coverage) * r.d.IrrigatedArea
	u, err := r.simulate(sectors)
	if err != nil {
		return fmt.Errorf("uniformity: %w", err)
	}
	r.d.Uniformity = &layout.Uniformity{Target: r.uniformityTarget(), DULowQuarter: u.Statistics.DULowQuarter,
		CU: u.Statistics.CU, SchedulingCoefficient: u.Statistics.SchedulingCoefficient(),
		PrecipitationMMPerHour: r.togetherRate(sectors, u).MMPerHour(), HeadToHead: u.HeadToHead}
	return r.tellAreas(reached, u)
}

// outermost returns the outline of the largest piece: what a head sees is one.
func outermost(g geom.Region) (out []geom.Vec) {
	if len(g) == 0 {
		return nil
	}
	largest := slices.MaxFunc(g, func(a, b geom.Polygon) int { return cmp.Compare(a.AreaM2(), b.AreaM2()) })
	for _, p := range largest[0] {
		out = append(out, p.Vec())
	}
	return out
}
