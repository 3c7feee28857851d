package asbuilt

import (
	"slices"
	"strconv"

	"lotwright/importer"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// The output layers, beside head and pipe, that tell of a design how its heads
// are joined.
const (
	layerLot    layout.Layer = "lot"
	layerTrench layout.Layer = "trench"
	layerValve  layout.Layer = "valve"
)

// Of returns what features of the output layers say of a lot; their coordinates
// are degrees.
func Of(id string, features []importer.Feature) Lot { return Lot{ID: id, features: features} }

// mostEdited bounds the heads, pipes, trench runs and valves of a lot, as
// [importer.Limits.LotFeatures] bounds its other features.
const mostEdited = 2000

// Edited reads a whole design off its map, in the lot's plane: heads where they
// stand now, pipe and trench as they were drawn, and nothing of what follows from
// these. Findings of severity error say why it cannot be taken as it is.
func (l Lot) Edited(plane project.Plane) (layout.Edited, []importer.Finding) {
	e := editor{reader: reader{plane: plane, designed: &layout.Design{LotID: l.ID, Plane: plane, Water: &layout.Water{}}}}
	var kept []importer.Feature
	for _, x := range l.features {
		if drawn(x.Layer) {
			kept = append(kept, x)
		}
	}
	if len(kept) > mostEdited {
		e.findings = append(e.findings, importer.Fault("lot.too_many_features", "%d heads, pipes and trench runs, the limit is %d", len(kept), mostEdited))
		kept = nil
	}
	for _, x := range kept {
		e.feature(x)
	}
	if _, bad := importer.FirstError(e.findings); !bad && len(e.heads) == 0 {
		e.findings = append(e.findings, importer.Fault("asbuilt.no_heads", "no head of this lot was sent; all heads that stand belong in the design"))
	}
	for i := range e.findings {
		e.findings[i].Lot = l.ID
	}
	importer.SortFindings(e.findings)
	return e.edited(), e.findings
}

// editor reads the features of one edited design.
type editor struct {
	reader
	heads []layout.Head
}

func (e *editor) feature(x importer.Feature) {
	for _, f := range x.Findings {
		e.find(x, f)
	}
	if _, bad := importer.FirstError(x.Findings); bad || x.Layer != layerLot && !e.near(x) {
		return
	}
	switch x.Layer {
	case layout.LayerHead:
		e.head(x)
	case layerPipe:
		e.pipe(x)
	case layerTrench:
		e.trench(x)
	case layerValve:
		e.valve(x)
	case layerLot:
		e.designed.Network.SpanningTreeLength = layout.Length(e.number(x, "spanning_tree_m"))
		e.designed.Network.PavingCrossings = int(e.number(x, "paving_crossings"))
	}
}

// number is a property that is a number, 0 where there is none.
func (e *editor) number(x importer.Feature, name string) float64 {
	text := x.Properties.GetText(name)
	if text == "" {
		return 0
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || v < 0 || v > mostNumber {
		e.find(x, importer.Fault("property.not_number", "property %s is %.40q", name, text))
		return 0
	}
	return v
}

// mostNumber is beyond any zone, depth or length on a lot.
const mostNumber = 1e6

func (e *editor) head(x importer.Feature) {
	positions, ok := e.line(x, "one point", importer.Point, importer.MultiPoint)
	if !ok {
		return
	}
	throw, clear := throwOf(x.Properties, 0)
	if !clear {
		e.find(x, importer.Fault("property.conflict", "throw_m and throw_ft contradict each other; clear the one that was not meant"))
		return
	}
	p := x.Properties
	h := layout.Head{Label: p.GetText("head"), At: e.plane.Point(positions[0]), Kind: layout.HeadKind(p.GetText("kind")), Model: p.GetText("model"),
		ArcSweep: allRound, Zone: int(e.number(x, "zone")), Pipe: p.GetText("pipe"), Pinned: p.Fixed}
	if throw != nil {
		h.Throw = *throw
	}
	if v, ok := p.Get("arc_start_deg"); ok {
		h.ArcStart = v
	}
	if v, ok := p.Get("arc_sweep_deg"); ok {
		h.ArcSweep = v
	}
	e.heads = append(e.heads, h)
}

// allRound is the sweep of a head that tells none, in degrees.
const allRound = 360

func (e *editor) pipe(x importer.Feature) {
	positions, ok := e.line(x, "one line", importer.LineString, importer.MultiLineString)
	if !ok {
		return
	}
	p, path := x.Properties, e.plane.Line(positions)
	if len(path) < 2 {
		e.find(x, importer.Fault("asbuilt.geometry", "has no length"))
		return
	}
	e.designed.Network.Pipes = append(e.designed.Network.Pipes, layout.PipeRun{Label: p.GetText("pipe"), From: p.GetText("from"), To: p.GetText("to"),
		Material: p.GetText("material"), Size: p.GetText("size"), Path: path, Length: lengthOf(path), Zone: int(e.number(x, "zone"))})
}

func (e *editor) trench(x importer.Feature) {
	positions, ok := e.line(x, "one line", importer.LineString, importer.MultiLineString)
	if !ok {
		return
	}
	p, path := x.Properties, e.plane.Line(positions)
	if len(path) < 2 {
		e.find(x, importer.Fault("asbuilt.geometry", "has no length"))
		return
	}
	e.designed.Network.Runs = append(e.designed.Network.Runs, layout.TrenchRun{From: p.GetText("from"), To: p.GetText("to"),
		Surface: layout.Surface(p.GetText("surface")), Path: path, Length: lengthOf(path), Depth: layout.Length(e.number(x, "depth_m"))})
}

func (e *editor) valve(x importer.Feature) {
	positions, ok := e.line(x, "one point", importer.Point, importer.MultiPoint)
	if !ok {
		return
	}
	e.designed.Water.Zones = append(e.designed.Water.Zones, layout.Zone{Number: int(e.number(x, "zone")),
		Valve: x.Properties.GetText("at"), ValveAt: e.plane.Point(positions[0])})
}

// edited puts together what was read. Heads that no pipe leads to are added
// ones, unless nothing is told of pipe.
func (e *editor) edited() layout.Edited {
	d := e.designed
	d.HeadKind = layout.VariableThrow
	for _, h := range e.heads {
		if h.Kind == layout.FixedArc {
			d.HeadKind = layout.FixedArc
		}
	}
	for i := range e.heads {
		e.heads[i].Kind = d.HeadKind
	}
	slices.SortFunc(e.heads, func(g, h layout.Head) int { return layout.CompareLabels(g.Label, h.Label) })
	e.sumUp()
	out := layout.Edited{Design: d}
	for _, h := range e.heads {
		out.Heads = append(out.Heads, layout.BuiltHead{Label: h.Label, At: h.At, Pinned: h.Pinned})
		if h.Label != "" && e.joined(h) {
			d.Heads = append(d.Heads, h)
			continue
		}
		added := &out.Heads[len(out.Heads)-1]
		added.ArcStart, added.ArcSweep, added.Model = &h.ArcStart, &h.ArcSweep, h.Model
		if h.Throw > 0 {
			added.Throw = &h.Throw
		}
	}
	return out
}

// joined reports whether pipe leads to a head.
func (e *editor) joined(h layout.Head) bool {
	pipes := e.designed.Network.Pipes
	return len(pipes) == 0 || slices.ContainsFunc(pipes, func(p layout.PipeRun) bool { return p.To == h.Label || p.From == h.Label })
}

// sumUp takes the point of connection and the lengths from what was drawn.
func (e *editor) sumUp() {
	n := &e.designed.Network
	for _, r := range n.Runs {
		if r.From == layout.POCLabel {
			n.POC = r.Path[0]
		}
		n.TrenchLength += r.Length
		if r.Surface == layout.SurfacePaving {
			n.PavingCrossingLength += r.Length
		}
	}
	for _, p := range n.Pipes {
		if p.From == layout.POCLabel {
			n.POC = p.Path[0]
		}
		n.PipeLength += p.Length
	}
}

func lengthOf(path geom.Line) layout.Length {
	return layout.Length(path.LengthMM() / geom.MillimetresPerMetre)
}
