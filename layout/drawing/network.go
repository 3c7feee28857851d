package drawing

import (
	"fmt"
	"math"
	"slices"
	"unicode"
	"unicode/utf8"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/paper"
)

// Sizes of symbols, in page units.
const (
	headRadius     = 4.6
	variableRadius = 3.4
	pinnedRadius   = 7.0
	pocRadius      = 6.5
	junctionSide   = 5.0
	controllerSide = 11.0
	cornerRadius   = 7.0
	smallHead      = 1.7
)

func styleOf(s layout.Surface) trenchStyle {
	switch s {
	case layout.SurfacePaving:
		return trenchPaving
	case layout.SurfaceSleeve:
		return trenchSleeve
	}
	return trenchSoil
}

// trenches paints the runs on a pale under-line, so that they stand out from
// hatches.
func (p *painter) trenches(runs []layout.TrenchRun) {
	for _, r := range runs {
		s := styleOf(r.Surface)
		chain := [][]paper.Vec{p.path(r.Path)}
		if p.small {
			p.Lines(chain, thinner(s.look))
			continue
		}
		p.Lines(chain, trenchUnder)
		p.Lines(chain, s.look)
		p.record(s.name, func(page *page, b paper.Box) {
			page.Line(paper.At(b.Left, b.Centre().Y), paper.At(b.Right, b.Centre().Y), s.look)
		})
	}
}

// junction is a named place where trench runs meet, other than a head or the
// point of connection.
type junction struct {
	name string
	at   geom.Point
}

// junctions returns the named ends of runs that are neither heads nor the point
// of connection, in the order met. A stretch that changes surface comes as
// several runs with the same ends: its first run starts at the one and its last
// ends at the other.
func junctions(d *layout.Design) []junction {
	known := map[string]bool{layout.POCLabel: true, "": true}
	for _, h := range d.Heads {
		known[h.Label] = true
	}
	var out []junction
	add := func(name string, at geom.Point) {
		if !known[name] {
			known[name] = true
			out = append(out, junction{name, at})
		}
	}
	runs := d.Network.Runs
	for i, r := range runs {
		if len(r.Path) == 0 {
			continue
		}
		if i == 0 || !sameEnds(runs[i-1], r) {
			add(r.From, r.Path[0])
		}
		if i == len(runs)-1 || !sameEnds(r, runs[i+1]) {
			add(r.To, r.Path[len(r.Path)-1])
		}
	}
	return out
}

func sameEnds(a, b layout.TrenchRun) bool { return a.From == b.From && a.To == b.To }

func (p *painter) junction(c paper.Vec) {
	drawJunction(p.page, c)
	p.record("Junction", func(page *page, b paper.Box) { drawJunction(page, b.Centre()) })
}

func drawJunction(p *page, c paper.Vec) {
	p.Rect(paper.Around(c, junctionSide, junctionSide), paper.Look{Fill: white, Stroke: black, Width: 1.2})
}

// connection is the point of connection as far as it is known.
type connection struct {
	at      geom.Point
	assumed bool
}

// connectionOf returns the design's point of connection, or the lot's source
// where the design has not come that far.
func connectionOf(lot *layout.Lot, d *layout.Design) (connection, bool) {
	n := d.Network
	if len(n.Runs) > 0 || n.POCAssumed || n.POC != (geom.Point{}) {
		return connection{n.POC, n.POCAssumed}, true
	}
	if lot != nil && lot.Source != nil {
		return connection{*lot.Source, false}, true
	}
	return connection{}, false
}

func (p *painter) poc(c connection) {
	drawPOC(p.page, p.at(c.at.Vec()), c.assumed)
	name := "Point of connection"
	if c.assumed {
		name = "Connection, assumed"
	}
	p.record(name, func(page *page, b paper.Box) { drawPOC(page, b.Centre(), c.assumed) })
}

// drawPOC draws a circle with a cross in it; a dashed circle with a dot where
// the place is assumed.
func drawPOC(p *page, c paper.Vec, assumed bool) {
	if assumed {
		p.Circle(c, pocRadius, paper.Look{Fill: white, Stroke: black, Width: 1.6, Dash: "4.1 2.7"})
		p.Circle(c, 1.6, paper.Look{Fill: black})
		return
	}
	p.Circle(c, pocRadius, paper.Look{Fill: white, Stroke: black, Width: 1.5})
	arm := pocRadius * math.Sqrt2 / 2
	cross := paper.Look{Stroke: black, Width: 1.2}
	p.Line(c.Add(paper.At(-arm, -arm)), c.Add(paper.At(arm, arm)), cross)
	p.Line(c.Add(paper.At(-arm, arm)), c.Add(paper.At(arm, -arm)), cross)
}

func (p *painter) mark(c paper.Vec) {
	drawMark(p.page, c)
	p.record("Corner to tape from", func(page *page, b paper.Box) { drawMark(page, b.Centre()) })
}

// drawMark draws a triangle with a dot in it, as surveyors mark a fixed point.
func drawMark(p *page, c paper.Vec) {
	corner := func(deg float64) paper.Vec { return c.Add(paper.At(0, -cornerRadius).Turned(deg)) }
	p.Rings([][]paper.Vec{{corner(0), corner(120), corner(240)}}, paper.Look{Fill: white, Stroke: black, Width: 1.3})
	p.Circle(c, 1.2, paper.Look{Fill: black})
}

func (p *painter) controller(c paper.Vec) {
	drawController(p.page, c)
	p.record("Controller", func(page *page, b paper.Box) { drawController(page, b.Centre()) })
}

func drawController(p *page, c paper.Vec) {
	b := paper.Around(c, controllerSide, controllerSide)
	p.Rect(b, paper.Look{Fill: white, Stroke: black, Width: 1.2})
	p.Lines([][]paper.Vec{{paper.At(b.Left, b.Bottom), paper.At(b.Right, b.Top)}}, paper.Look{Stroke: black, Width: 1})
}

// head draws a head's symbol, filled by its arc.
func (p *painter) head(h layout.Head) {
	c := p.at(h.At.Vec())
	if p.small {
		drawSmallHead(p.page, c)
		return
	}
	family := max(slices.Index(p.families, h.Family), 0)
	drawHead(p.page, c, h, family)
	name := headName(h)
	switch {
	case h.Kind != layout.FixedArc || h.Pinned:
	case len(p.families) > 1:
		name = upperFirst(h.Family)
	case p.bare:
		name = "Head, its arc in black"
	}
	p.record(name, func(page *page, b paper.Box) { drawHead(page, b.Centre(), h, family) })
}

// familiesOf lists the families that a design mixes, nil where it does not.
func familiesOf(d *layout.Design) (out []string) {
	for _, a := range d.Areas {
		out = append(out, a.Family)
	}
	return out
}

func upperFirst(words string) string {
	for _, first := range words {
		return string(unicode.ToUpper(first)) + words[utf8.RuneLen(first):]
	}
	return words
}

func drawSmallHead(p *page, c paper.Vec) {
	p.Circle(c, smallHead, paper.Look{Fill: black, Stroke: white, Width: 0.4})
}

func headName(h layout.Head) string {
	name := "Head, variable throw"
	if h.Kind == layout.FixedArc {
		name = fmt.Sprintf("Head, %.0f° arc", h.ArcSweep)
	}
	if h.Pinned {
		name += ", kept"
	}
	return name
}

// drawHead draws heads of the first family round, and those of the next on a
// square or, from the third on, on a square that stands on a corner.
func drawHead(p *page, c paper.Vec, h layout.Head, family int) {
	if h.Pinned {
		p.Circle(c, pinnedRadius, paper.Look{Fill: white, Stroke: black, Width: 0.9})
	}
	if h.Kind != layout.FixedArc {
		p.Circle(c, variableRadius, paper.Look{Fill: black, Stroke: white, Width: 0.9})
		return
	}
	ground := paper.Look{Fill: white, Stroke: black, Width: 1.1}
	switch family {
	case 0:
		p.Circle(c, headRadius, ground)
	case 1:
		p.Rect(paper.Around(c, 2*headRadius, 2*headRadius), ground)
	default:
		r := headRadius * math.Sqrt2
		p.Rings([][]paper.Vec{{c.Add(paper.At(r, 0)), c.Add(paper.At(0, r)), c.Add(paper.At(-r, 0)), c.Add(paper.At(0, -r))}}, ground)
	}
	if h.ArcSweep >= 360 {
		p.Circle(c, headRadius-1.6, paper.Look{Fill: black})
		return
	}
	p.Rings([][]paper.Vec{sector(c, headRadius, h.ArcStart, h.ArcSweep)}, paper.Look{Fill: black})
}

// sector returns the outline of a sector, bearings clockwise from north.
func sector(c paper.Vec, radius, start, sweep float64) []paper.Vec {
	const step = 15
	n := max(1, int(math.Ceil(math.Min(math.Abs(sweep), 360)/step)))
	out := []paper.Vec{c}
	for i := range n + 1 {
		out = append(out, c.Add(paper.At(0, -radius).Turned(start+sweep*float64(i)/float64(n))))
	}
	return out
}
