package design

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/hydraulic"
)

// lie lays the pipe and the trench as they were built.
func (a *audit) lie(context.Context) error {
	n := &a.d.Network
	*n = a.designed.Network
	n.Pipes, n.Runs = slices.Clone(n.Pipes), slices.Clone(n.Runs)
	if err := a.layMeasured(n.Pipes); err != nil {
		return err
	}
	a.placeJoints(n)
	for i := range n.Pipes {
		p := &n.Pipes[i]
		p.Path, p.Length = a.joined(p.Path, p.Length, joint{p.Zone, p.From}, joint{p.Zone, p.To})
	}
	for i := range n.Runs {
		a.moveRun(n.Runs, i)
	}
	for i := range a.heads {
		if _, known := a.before[a.heads[i].Label]; !known {
			a.hang(n, &a.heads[i])
		}
	}
	a.sumUp(n)
	return nil
}

// layMeasured takes up the sizes and ways that were measured.
func (a *audit) layMeasured(pipes []layout.PipeRun) error {
	for _, b := range a.built.Pipes {
		i := slices.IndexFunc(pipes, func(p layout.PipeRun) bool { return p.Label == b.Label })
		if i < 0 {
			return unusable("pipe %q is not in the design", b.Label)
		}
		p := &pipes[i]
		if b.Material != "" {
			p.Material = b.Material
		}
		if b.Size != "" {
			p.Size = b.Size
		}
		if len(b.Path) >= 2 {
			p.Path, p.Length = b.Path, metresOf(b.Path)
		}
	}
	return nil
}

func metresOf(path geom.Line) layout.Length {
	return layout.Length(path.LengthMM() / geom.MillimetresPerMetre)
}

// placeJoints finds where the ends of pipe lie: at the heads that stand, and
// else where the pipe ends that leads there.
func (a *audit) placeJoints(n *layout.Network) {
	a.places = map[joint]geom.Point{{0, hydraulic.POCLabel}: n.POC}
	for _, p := range n.Pipes {
		a.places[joint{p.Zone, p.To}] = p.Path[len(p.Path)-1]
	}
	for _, h := range a.heads {
		for _, zone := range []int{0, h.Zone} {
			a.places[joint{zone, h.Label}] = h.At
		}
	}
}

// placeOf is where a joint lies; ok is false for one nobody knows.
func (a *audit) placeOf(j joint) (at geom.Point, ok bool) {
	if at, ok = a.places[j]; !ok {
		at, ok = a.places[joint{0, j.name}]
	}
	return at, ok
}

// joined returns a path with its ends at the joints, and its length: as it was
// if nothing moved.
func (a *audit) joined(path geom.Line, length layout.Length, from, to joint) (geom.Line, layout.Length) {
	first, last := path[0], path[len(path)-1]
	if at, ok := a.placeOf(from); ok {
		first = at
	}
	if at, ok := a.placeOf(to); ok {
		last = at
	}
	if first == path[0] && last == path[len(path)-1] {
		return path, length
	}
	path = slices.Clone(path)
	path[0], path[len(path)-1] = first, last
	return path, metresOf(path)
}

// moveRun moves the ends of a stretch of trench; those within a stretch that
// changes surface on the way stay.
func (a *audit) moveRun(runs []layout.TrenchRun, i int) {
	r := &runs[i]
	same := func(k int) bool {
		return k >= 0 && k < len(runs) && runs[k].From == r.From && runs[k].To == r.To
	}
	from, to := joint{name: r.From}, joint{name: r.To}
	if same(i - 1) {
		from.name = ""
	}
	if same(i + 1) {
		to.name = ""
	}
	r.Path, r.Length = a.joined(r.Path, r.Length, from, to)
}

// hang joins an added head to the nearest joint of its zone, straight and in
// soil: how it was really joined is not told.
func (a *audit) hang(n *layout.Network, h *layout.Head) {
	best, like := -1, int64(0)
	for i, p := range n.Pipes {
		if d := p.Path[len(p.Path)-1].Sub(h.At).Norm2(); (p.Zone == 0 || p.Zone == h.Zone) && (best < 0 || d < like) {
			best, like = i, d
		}
	}
	if best < 0 {
		return
	}
	feed := n.Pipes[best]
	path := geom.Line{feed.Path[len(feed.Path)-1], h.At}
	h.Pipe = fmt.Sprintf("P%d", len(n.Pipes)+1)
	n.Pipes = append(n.Pipes, layout.PipeRun{Label: h.Pipe, From: feed.To, To: h.Label, Material: feed.Material, Size: feed.Size,
		Path: path, Length: metresOf(path), Zone: feed.Zone})
	n.Runs = append(n.Runs, layout.TrenchRun{From: feed.To, To: h.Label, Surface: layout.SurfaceSoil, Path: path,
		Length: metresOf(path), Depth: a.s.TrenchDepth})
	a.remark("audit.pipe_assumed", layout.SeverityWarning, h.At, fmt.Sprintf(
		"how %s is joined to the pipe is not told; it is taken to hang on %s by %v of %s", h.Label, feed.To, metresOf(path), feed.Size))
}

// sumUp adds the lengths up again.
func (a *audit) sumUp(n *layout.Network) {
	for i, r := range n.Runs {
		was := layout.Length(0)
		if i < len(a.designed.Network.Runs) {
			was = a.designed.Network.Runs[i].Length
		}
		n.TrenchLength += r.Length - was
	}
	n.PipeLength = 0
	for _, p := range n.Pipes {
		n.PipeLength += p.Length
	}
}

// remark adds a note about a place.
func (a *audit) remark(rule string, severity layout.Severity, at geom.Point, text string) {
	a.d.Notes = append(a.d.Notes, layout.Note{Rule: rule, Severity: severity, Text: text, At: &at})
}

// reckon solves the pipe as it lies, and tells the heads their pressure and the
// throw that it allows.
func (a *audit) reckon(ctx context.Context) error {
	a.d.Heads = a.heads
	if !a.plumbing.measured {
		a.plumbing.curve = hydraulic.Held(0)
	}
	if len(a.d.Network.Pipes) == 0 || len(a.heads) == 0 || !a.plumbing.measured && a.s.Family != nil {
		return nil
	}
	lines, err := a.builtLines()
	if err != nil {
		a.note("audit.pipe", layout.SeverityError, fmt.Sprintf("the pipe as built cannot be reckoned: %v", err))
		return nil
	}
	if !a.plumbing.measured {
		return a.gauge(ctx, lines[0])
	}
	return a.settle(ctx, lines)
}

// settle solves lines of a measured supply.
func (a *audit) settle(ctx context.Context, lines []line) (err error) {
	for i := range lines {
		if lines[i].settled, err = hydraulic.Settle(ctx, lines[i].net, a.limits(lines[i])); err != nil {
			return err
		}
	}
	if err := a.takeUp(ctx, lines); err != nil {
		return err
	}
	a.d.Water.PipeSized, a.d.Water.PipeCost = false, a.priced()
	for _, l := range lines {
		a.failWater(l.settled.Shortfalls)
		a.tellHeads(l)
		a.limitThrows(l)
	}
	return nil
}

// builtLines draws up the pipe: as one with variable-throw heads, and of each
// valve with fixed-arc heads.
func (a *audit) builtLines() (lines []line, err error) {
	if a.s.Family == nil {
		l, err := a.draw(a.d.Network, a.heads)
		return []line{l}, err
	}
	if a.designed.Water == nil {
		return nil, errors.New("the design was made for a known pressure at the heads and says nothing of valves")
	}
	for _, z := range a.designed.Water.Zones {
		var at []int
		var heads []layout.Head
		for i, h := range a.heads {
			if h.Zone == z.Number {
				at, heads = append(at, i), append(heads, h)
			}
		}
		if len(heads) == 0 {
			continue
		}
		pipes := a.pipesOf(z.Number)
		l, err := a.draw(layout.Network{POC: a.d.Network.POC, Pipes: pipes}, heads)
		if err != nil {
			return nil, err
		}
		for k, i := range l.heads {
			l.heads[k] = at[i]
		}
		l.valve = layout.Zone{Valve: z.Valve, ValveAt: z.ValveAt}
		lines = append(lines, l)
	}
	return lines, nil
}

// pipesOf is the stretch of the network's pipes that belongs to a zone, shared
// with the network so that what is found out about them is kept.
func (a *audit) pipesOf(zone int) []layout.PipeRun {
	slices.SortStableFunc(a.d.Network.Pipes, func(p, q layout.PipeRun) int { return p.Zone - q.Zone })
	pipes := a.d.Network.Pipes
	from := slices.IndexFunc(pipes, func(p layout.PipeRun) bool { return p.Zone == zone })
	if from < 0 {
		return nil
	}
	to := from
	for to < len(pipes) && pipes[to].Zone == zone {
		to++
	}
	return pipes[from:to:to]
}

// recable lays control cable along the pipe as it lies.
func (a *audit) recable(context.Context) error {
	if a.d.Network.Cable = nil; a.s.Family != nil {
		return nil
	}
	return a.cable()
}

// limitThrows shortens the throw of heads whose pressure does not allow what they
// were designed for; one below its rated band wets nothing that can be counted on.
func (a *audit) limitThrows(l line) {
	for k, state := range l.settled.Heads {
		i := l.heads[k]
		h := &a.d.Heads[i]
		if a.measured[i] || state.InBand && state.Row.Throw >= h.Throw-throwSlack {
			continue
		}
		was := h.Throw
		if h.Throw = 0; state.InBand {
			h.Throw = state.Row.Throw
		}
		a.remark("audit.throw_short", layout.SeverityWarning, h.At, fmt.Sprintf(
			"%s has %v as built and throws %v; it was designed for %v", h.Label, state.Pressure, h.Throw, was))
	}
}
