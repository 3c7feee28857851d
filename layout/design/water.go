package design

import (
	"context"
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
	"lotwright/layout/placement"
	"lotwright/layout/trench"
)

// plumbing is what a run knows of its water when the supply was measured.
type plumbing struct {
	measured bool
	curve    hydraulic.Curve
	feed     []hydraulic.Device // from where the supply was measured to the point of connection
	flow     layout.Flow        // most that may be drawn
}

// feed lists what lies before the pipe. What is held back stands for a backflow
// assembly where none is named.
func (r *run) feed() (out []hydraulic.Device) {
	if s := r.s.ServiceLine; s.Length > 0 {
		size, _ := hydraulic.SizeOf(s.Material, s.Size)
		out = append(out, hydraulic.Device{Label: "service line", Kind: hydraulic.KindServiceLine, Element: hydraulic.Pipe{Size: size, Length: s.Length}})
	}
	if meter, ok := hydraulic.Meter(r.s.Meter); ok {
		out = append(out, hydraulic.Device{Label: "meter", Kind: hydraulic.KindMeter, Element: meter})
	}
	if r.s.Backflow != nil {
		out = append(out, hydraulic.Device{Label: "backflow assembly", Kind: hydraulic.KindBackflow, Element: *r.s.Backflow})
	}
	if held := *r.s.SupplyAllowance; held > 0 {
		out = append(out, hydraulic.Device{Label: "held back", Kind: kindHeldBack,
			Element: hydraulic.LossCurve{Offset: held, Points: []hydraulic.LossPoint{{Flow: anyFlow, Loss: held}}}})
	}
	return out
}

// kindHeldBack is the kind of a loss that stands for what is not known.
const kindHeldBack hydraulic.Kind = "held_back"

// anyFlow is beyond what any lot draws.
const anyFlow = 1000 * layout.Flow(layout.LitresPerGallon)

// valve is an electric valve.
func valve() hydraulic.Device {
	return hydraulic.Device{Label: "valve", Kind: hydraulic.KindValve, Element: hydraulic.GenericValve()}
}

// measure takes up a measured supply. It reports whether it may serve at all.
func (r *run) measure(supply layout.Supply) bool {
	curve, short := hydraulic.NewCurve(supply)
	if short != nil {
		r.fail(short.Rule, short.Text)
		return false
	}
	r.d.Notes = append(r.d.Notes, curve.Notes()...)
	r.plumbing = plumbing{measured: true, curve: curve, flow: curve.Test.Flow * layout.Flow(r.s.DesignFlowShare), feed: r.feed()}
	if r.s.Backflow == nil && *r.s.SupplyAllowance > 0 {
		r.note("supply.held_back", layout.SeverityInfo, fmt.Sprintf(
			"no backflow assembly was named: %v is held back for one; which kind is lawful, the local code and a licensed tester say", *r.s.SupplyAllowance))
	}
	return true
}

// atTap works out what one head could do if pipe lost nothing.
func (r *run) atTap(ctx context.Context, supply layout.Supply) error {
	if !r.measure(supply) {
		return nil
	}
	l, err := r.draw(layout.Network{}, []layout.Head{{Label: "a head at the tap"}})
	if err != nil {
		return err
	}
	settled, err := hydraulic.Settle(ctx, l.net, r.limits(line{}))
	if err != nil {
		return err
	}
	if r.failShort(settled.Shortfalls) {
		return nil
	}
	h := settled.Heads[0]
	r.assume(h.Row)
	if r.d.Regulated = h.Regulated; h.Regulated {
		r.noteRegulator()
	}
	return nil
}

func (r *run) noteRegulator() {
	r.note("supply.regulator", layout.SeverityInfo, "the supply holds more than the rated band of the head: a pressure regulator is needed")
}

// assume lays down what every head is taken to do.
func (r *run) assume(row layout.PerformanceRow) {
	r.d.Throw, r.d.Pressure, r.d.HeadFlow = row.Throw, row.Pressure, row.Flow
	if r.holdBack(row); r.margin < 0 {
		low, _ := r.s.Head.Band()
		r.fail("supply.pressure_low", fmt.Sprintf("%v at the heads, less the %v that it may fall by, is below the rated band of the %s head; it needs at least %v",
			row.Pressure, r.s.PressureMargin, r.s.Head.Name, low+r.s.PressureMargin))
	}
}

// holdBack works out the margin of the throw: the share asked for, or what a fall
// of the pressure would take, if that is more; negative where the pressure would
// fall below the rated band.
func (r *run) holdBack(row layout.PerformanceRow) {
	r.margin = r.s.Margin
	if r.s.PressureMargin == 0 {
		return
	}
	fallen, _, ok := r.s.Head.At(row.Pressure - r.s.PressureMargin)
	if r.margin = max(r.margin, 1-float64(fallen.Throw/row.Throw)); !ok {
		r.margin = -1
	}
}

// failShort ends the run if anything falls short.
func (r *run) failShort(shortfalls []hydraulic.Shortfall) bool {
	for i, s := range shortfalls {
		if i == 0 {
			r.fail(s.Rule, s.Text)
			continue
		}
		r.note(s.Rule, layout.SeverityError, s.Text)
	}
	return len(shortfalls) > 0
}

func (r *run) limits(l line) hydraulic.Limits {
	return hydraulic.Limits{First: l.first, Zones: l.zones, FlowShare: r.s.DesignFlowShare, VelocityLimit: r.s.VelocityLimit}
}

// line is pipe that is reckoned as one: all of it with variable-throw heads,
// that of one valve with fixed-arc heads.
type line struct {
	drawn hydraulic.Network // as drawn up
	net   hydraulic.Network // with the pipe chosen
	pipes []layout.PipeRun
	valve layout.Zone // where its valve stands; Valve empty: at every head
	heads []int       // of the design, those it feeds, in the order of settled.Heads
	nodes []int       // of each of them
	zones [][]int     // nodes that run together
	first int         // number of the first of them; 0: 1

	sized   hydraulic.Sized
	settled hydraulic.Settled
}

// draw makes the network of some pipe and the heads at its ends. A valve stands
// at every variable-throw head, or before the pipe of a zone of fixed-arc heads.
func (r *run) draw(pipe layout.Network, heads []layout.Head) (line, error) {
	p := hydraulic.Plan{Trench: pipe, Heads: heads, Model: r.s.Head, Source: r.plumbing.curve, Feed: r.plumbing.feed,
		Heights: r.lot.Heights}
	for _, size := range r.s.Pipe {
		p.Sizes = append(p.Sizes, size.PipeSize)
	}
	if r.s.Family == nil {
		p.AtHead = []hydraulic.Device{valve()}
	} else {
		p.Feed = append(slices.Clip(p.Feed), valve())
		for _, h := range heads {
			p.Models = append(p.Models, r.arcModel(h))
		}
	}
	net, nodes, err := hydraulic.Draw(p)
	if err != nil {
		return line{}, fmt.Errorf("drawing up the network: %w", err)
	}
	l := line{drawn: net, net: net, pipes: pipe.Pipes}
	var together []int
	for i, n := range nodes {
		if n < 0 {
			continue
		}
		l.heads, l.nodes, together = append(l.heads, i), append(l.nodes, n), append(together, n)
		if r.s.Family == nil {
			l.zones = append(l.zones, []int{n})
		}
	}
	if r.s.Family != nil && len(together) > 0 {
		l.zones = [][]int{together}
	}
	return l, nil
}

// layTries is the most often a lot is laid out for ever less pressure.
const layTries = 8

// lay places the heads, joins them and reckons the pipe; where the pipe cannot
// give them the pressure they were placed for, again for less.
//
// The pressure assumed begins with what one head has if pipe loses nothing, and
// only falls: to what the worst head really has, by a psi at least. So it ends.
// It ends well when every head throws, by the exact solution of its own network,
// as far as the heads need where they stand for the coverage asked for. The bound
// on heads is for the throw assumed in the last layout, which its heads do not
// exceed.
func (r *run) lay(ctx context.Context) error {
	before := *r.d
	for try := range layTries {
		for _, stage := range []stage{{"heads", r.heads}, {"proof", r.prove}, {"trench", r.network}} {
			if err := stage.run(ctx); err != nil {
				return err
			}
		}
		r.d.Proof.Throw = r.d.Throw
		r.remarkProof()
		if !r.plumbing.measured || len(r.d.Network.Pipes) == 0 {
			return r.gaugedWater(ctx)
		}
		lower, err := r.water(ctx, try+1)
		if err != nil || lower == nil {
			return err
		}
		effort := r.d.Effort
		*r.d = before
		r.d.Notes, r.d.Effort = slices.Clip(before.Notes), effort
		r.assume(*lower)
	}
	return nil
}

// water reckons the pipe of variable-throw heads. It returns what to assume next
// if the heads do not get what they need; nil when they do, or when there is
// nothing less to try.
func (r *run) water(ctx context.Context, tries int) (*layout.PerformanceRow, error) {
	l, err := r.draw(r.d.Network, r.d.Heads)
	if err != nil {
		return nil, err
	}
	assumed := layout.PerformanceRow{Pressure: r.d.Pressure, Throw: r.d.Throw, Flow: r.d.HeadFlow}
	need := r.needed()
	if err := r.size(ctx, &l, max(need, assumed.Pressure*layout.Pressure(1-r.s.PipeLossShare))); err != nil {
		return nil, err
	}
	served := serves(l.settled, need)
	if lower := r.lower(assumed, l.settled, tries); !served && lower != nil {
		return lower, nil
	}
	if err := r.takeUp(ctx, []line{l}); err != nil {
		return nil, err
	}
	if r.failWater(l.settled.Shortfalls) {
		return nil, nil
	}
	r.settleThrow(assumed, l)
	if !served {
		r.failWater([]hydraulic.Shortfall{{Rule: "supply.pressure_low", Text: fmt.Sprintf(
			"after %d layouts, the last for %v, a head still has only %v and %v are needed for the coverage asked for: it would take wider pipe or %v more static pressure",
			tries, assumed.Pressure, l.settled.Least.Pressure, need, need-l.settled.Least.Pressure)}})
	}
	return nil, nil
}

// needed is the least pressure at which the heads, where they stand, reach the
// target with what is held back: a share of the throw, or a fall of the pressure.
// It is no more than they were placed for.
func (r *run) needed() layout.Pressure {
	held := min(r.d.Throw*layout.Length(1-r.margin), r.d.Throw-r.d.ThrowSlack) + throwSlack
	need := r.d.Pressure
	if p, ok := r.s.Head.PressureFor(held / layout.Length(1-r.s.Margin)); ok {
		need = min(need, p)
	}
	if r.s.PressureMargin == 0 {
		return need
	}
	p, _ := r.s.Head.PressureFor(held)
	return min(r.d.Pressure, max(need, p+r.s.PressureMargin))
}

// throwSlack is the grid's millimetre, and pressureSlack what a solution leaves
// unbalanced, many times over.
const (
	throwSlack    layout.Length   = 0.001
	pressureSlack layout.Pressure = 0.001
)

// serves reports whether every head has the pressure that it must have.
func serves(s hydraulic.Settled, need layout.Pressure) bool {
	return !slices.ContainsFunc(s.Heads, func(h hydraulic.HeadState) bool { return !h.InBand || h.Pressure < need-pressureSlack })
}

// leastFall is the least fall of the pressure assumed from one layout to the next.
const leastFall = layout.Pressure(layout.KPaPerPSI)

// lower returns what to assume after so many layouts whose heads fell short: for
// the last, the foot of the rated band, and nil after that. What the pressure may
// fall by is kept above the foot.
func (r *run) lower(assumed layout.PerformanceRow, s hydraulic.Settled, tries int) *layout.PerformanceRow {
	low, _ := r.s.Head.Band()
	foot, _, ok := r.s.Head.At(low + r.s.PressureMargin)
	if !ok || assumed.Pressure <= foot.Pressure || s.Worst < 0 || tries >= layTries {
		return nil
	}
	row, _, ok := r.s.Head.At(min(s.Heads[s.Worst].Pressure, assumed.Pressure-leastFall))
	if !ok || row.Pressure < foot.Pressure || tries == layTries-1 {
		row = foot
	}
	return &row
}

// size chooses the pipe of a line so that every head has the least pressure, or
// the widest if that is too little, and reckons how it runs.
func (r *run) size(ctx context.Context, l *line, least layout.Pressure) (err error) {
	sizing := hydraulic.Sizing{Sizes: r.s.Pipe, VelocityLimit: r.s.VelocityLimit}
	if l.sized, err = hydraulic.SizeForHeads(ctx, l.net, hydraulic.Task{Sizing: sizing, Zones: l.zones, Least: least}); err != nil {
		return fmt.Errorf("choosing pipe: %w", err)
	}
	if l.net = l.sized.Network; l.sized.Status != hydraulic.Sizable {
		l.net = widened(l.drawn, r.s.Pipe[len(r.s.Pipe)-1].PipeSize)
	}
	l.settled, err = hydraulic.Settle(ctx, l.net, r.limits(*l))
	return err
}

// widened returns the network with every pipe of one size.
func widened(n hydraulic.Network, size hydraulic.PipeSize) hydraulic.Network {
	n.Links = slices.Clone(n.Links)
	for i, l := range n.Links {
		if p, ok := l.Element.(hydraulic.Pipe); ok && l.Kind == hydraulic.KindPipe {
			p.Size = size
			n.Links[i].Element = p
		}
	}
	return n
}

// failWater makes the lot infeasible if anything falls short; what was laid out
// stays.
func (r *run) failWater(shortfalls []hydraulic.Shortfall) bool {
	for i, s := range shortfalls {
		if i == 0 && r.d.Status == layout.StatusDesigned {
			r.d.Status, r.d.Reason = layout.StatusInfeasible, s.Text
		}
		r.note(s.Rule, layout.SeverityError, s.Text)
	}
	return len(shortfalls) > 0
}

// settleThrow describes the heads anew by the throw that all of them have.
func (r *run) settleThrow(assumed layout.PerformanceRow, l line) {
	row := l.settled.Least
	if row.Throw < assumed.Throw && len(l.heads) == len(r.d.Heads) {
		before := r.d.Heads
		r.d.Throw, r.d.Heads = row.Throw, nil
		r.holdBack(row)
		r.margin = max(r.margin, 0)
		at := headPlaces(before)
		r.settleOn(placement.Result{Heads: at, Coverage: r.share(at, r.heldThrowMM())})
		for i := range r.d.Heads {
			r.d.Heads[i].Pipe = before[i].Pipe
		}
	}
	r.d.Pressure, r.d.HeadFlow = row.Pressure, row.Flow
	r.tellHeads(l)
}

// tellHeads gives the heads of a line the pressure and flow they have.
func (r *run) tellHeads(l line) {
	for k, h := range l.settled.Heads {
		head := &r.d.Heads[l.heads[k]]
		head.Pressure, head.Flow = h.Row.Pressure, h.Row.Flow
		r.d.Regulated = r.d.Regulated || h.Regulated
	}
}

// takeUp fills in the pipe, the zones and the budget of the head that gets the
// least.
func (r *run) takeUp(ctx context.Context, lines []line) error {
	w := &layout.Water{Known: true, Static: r.plumbing.curve.Static, DesignFlow: r.plumbing.flow, PipeSized: true}
	r.d.Water = w
	var worst *line
	for i := range lines {
		l := &lines[i]
		w.PipeSized = w.PipeSized && l.sized.Status == hydraulic.Sizable
		w.PipeCost, w.PipeCostBound = w.PipeCost+l.sized.Cents, w.PipeCostBound+l.sized.Bound
		l.tellPipes()
		w.Zones = append(w.Zones, l.tellZones(r.d.Heads)...)
		r.d.Notes = append(r.d.Notes, l.settled.Notes...)
		if worst == nil || l.least() < worst.least() {
			worst = l
		}
	}
	if worst == nil || worst.settled.Worst < 0 {
		return nil
	}
	return r.account(ctx, w, worst)
}

// least is the least pressure of any of its heads.
func (l *line) least() layout.Pressure {
	if l.settled.Worst < 0 {
		return layout.Pressure(math.Inf(1))
	}
	return l.settled.Heads[l.settled.Worst].Pressure
}

// tellPipes gives the pipes of a line their size and what runs in them.
func (l *line) tellPipes() {
	byLabel := make(map[string]int, len(l.net.Links))
	for i, link := range l.net.Links {
		if link.Kind == hydraulic.KindPipe {
			byLabel[link.Label] = i
		}
	}
	for k := range l.pipes {
		p := &l.pipes[k]
		i, state := byLabel[p.Label], l.settled.Links[byLabel[p.Label]]
		size := l.net.Links[i].Element.(hydraulic.Pipe).Size
		p.Material, p.Size = size.Material, size.Nominal
		p.Flow, p.Velocity, p.Loss = state.Flow, float64(state.Velocity), state.Loss
	}
}

// tellZones lists the zones of a line.
func (l *line) tellZones(heads []layout.Head) (out []layout.Zone) {
	for _, h := range l.settled.Heads {
		for len(out) < h.Zone {
			out = append(out, l.valve)
		}
	}
	for k, h := range l.settled.Heads {
		z, head := &out[h.Zone-1], heads[l.heads[k]]
		z.Number = head.Zone
		if l.valve.Valve == "" {
			z.Valve, z.ValveAt = head.Label, head.At
		}
		z.Heads = append(z.Heads, head.Label)
		if h.Pressure < z.Pressure || z.Pressure == 0 {
			z.Pressure = h.Pressure
		}
		z.Flow += h.Row.Flow
	}
	return out
}

// account draws up the budget of the worst head of a line, and the network file
// of its zone.
func (r *run) account(ctx context.Context, w *layout.Water, l *line) (err error) {
	h := l.settled.Heads[l.settled.Worst]
	state := l.settled.Zones[h.Zone-1]
	w.BudgetHead = r.d.Heads[l.heads[l.settled.Worst]].Label
	for _, row := range l.net.Budget(state, h.Node) {
		w.Budget = append(w.Budget, layout.LossRow{Item: string(row.Item), Label: row.Label, Loss: row.Loss, Left: row.Left})
	}
	w.EPANET, err = networkFile(ctx, fmt.Sprintf("Lot %s, zone %d", r.lot.ID, r.d.Heads[l.heads[l.settled.Worst]].Zone), l.net.Running(l.zones[h.Zone-1]...))
	return err
}

// networkFile writes a network as it runs, without the branches that feed
// nothing: other programs find the flows more exactly so.
func networkFile(ctx context.Context, title string, n hydraulic.Network) ([]byte, error) {
	n, _, err := n.Trimmed()
	if err != nil {
		return nil, err
	}
	state, err := hydraulic.Solve(ctx, n, hydraulic.Settings{})
	if err != nil {
		return nil, err
	}
	return hydraulic.INP(title, n, state)
}

// gaugedWater reckons the pipe where the pressure at the heads was given: what
// runs in it, and the pressure that must stand at the point of connection.
func (r *run) gaugedWater(ctx context.Context) error {
	if len(r.d.Network.Pipes) == 0 || r.s.Family != nil || r.d.HeadFlow == 0 {
		return nil
	}
	r.plumbing.curve = hydraulic.Held(0)
	l, err := r.draw(r.d.Network, r.d.Heads)
	if err != nil {
		return err
	}
	l.net = widened(l.net, r.oneSize())
	return r.gauge(ctx, l)
}

// gauge reckons the pipe of a line, in the sizes that it has, while one head
// after the other takes its flow.
func (r *run) gauge(ctx context.Context, l line) error {
	w := &layout.Water{}
	l.settled.Links = make([]hydraulic.LinkState, len(l.net.Links))
	for _, n := range l.nodes {
		asked := l.net.Running()
		asked.Nodes[n].Demand = r.d.HeadFlow
		state, err := hydraulic.Solve(ctx, asked, hydraulic.Settings{})
		if err != nil {
			return err
		}
		w.Needed = max(w.Needed, r.d.Pressure-state.Nodes[n].Pressure)
		for i, s := range state.Links {
			if s.Flow > l.settled.Links[i].Flow {
				l.settled.Links[i] = s
			}
		}
	}
	l.tellPipes()
	for _, p := range l.pipes {
		if limit := r.velocityLimit(); p.Velocity > float64(limit) {
			r.note("pipe.velocity_high", layout.SeverityWarning, fmt.Sprintf("in %s, %s, %v runs at %v and the limit is %v",
				p.Label, p.Size, p.Flow, hydraulic.Velocity(p.Velocity), limit))
		}
	}
	r.d.Water = w
	return nil
}

func (r *run) velocityLimit() hydraulic.Velocity {
	if r.s.VelocityLimit == 0 {
		return hydraulic.DefaultVelocityLimit
	}
	return r.s.VelocityLimit
}

// oneSize is the pipe laid where none is reckoned: the one asked for, or the one
// that is laid where nothing else is.
func (r *run) oneSize() hydraulic.PipeSize {
	for _, p := range r.s.Pipe {
		if len(r.s.Pipe) == 1 || p.Nominal == trench.DefaultPipeSize {
			return p.PipeSize
		}
	}
	size, _ := hydraulic.SizeOf(trench.DefaultPipeMaterial, trench.DefaultPipeSize)
	return size
}
