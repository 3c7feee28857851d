package drawing

import (
	"fmt"
	"math"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Sizes of symbols, in page units.
const (
	headRadius     = 4.6
	variableRadius = 3.4
	pinnedRadius   = 7.0
	pocRadius      = 6.5
	junctionSide   = 5.0
	controllerSide = 11.0
	smallHead      = 1.7
)

// pocName is how trench runs name the point of connection.
const pocName = "POC"

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
		chain := [][]vec{p.path(r.Path)}
		if p.small {
			p.lines(chain, s.look.thinner())
			continue
		}
		p.lines(chain, trenchUnder)
		p.lines(chain, s.look)
		p.record(s.name, func(page *page, b box) {
			page.line(vec{b.left, b.centre().y}, vec{b.right, b.centre().y}, s.look)
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
	known := map[string]bool{pocName: true, "": true}
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

func (p *painter) junction(c vec) {
	drawJunction(p.page, c)
	p.record("Junction", func(page *page, b box) { drawJunction(page, b.centre()) })
}

func drawJunction(p *page, c vec) {
	p.rect(around(c, junctionSide, junctionSide), look{fill: white, stroke: black, width: 1.2})
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
	p.record(name, func(page *page, b box) { drawPOC(page, b.centre(), c.assumed) })
}

// drawPOC draws a circle with a cross in it; a dashed circle with a dot where
// the place is assumed.
func drawPOC(p *page, c vec, assumed bool) {
	if assumed {
		p.circle(c, pocRadius, look{fill: white, stroke: black, width: 1.6, dash: "4.1 2.7"})
		p.circle(c, 1.6, look{fill: black})
		return
	}
	p.circle(c, pocRadius, look{fill: white, stroke: black, width: 1.5})
	arm := pocRadius * math.Sqrt2 / 2
	cross := look{stroke: black, width: 1.2}
	p.line(c.add(vec{-arm, -arm}), c.add(vec{arm, arm}), cross)
	p.line(c.add(vec{-arm, arm}), c.add(vec{arm, -arm}), cross)
}

func (p *painter) controller(c vec) {
	drawController(p.page, c)
	p.record("Controller", func(page *page, b box) { drawController(page, b.centre()) })
}

func drawController(p *page, c vec) {
	b := around(c, controllerSide, controllerSide)
	p.rect(b, look{fill: white, stroke: black, width: 1.2})
	p.lines([][]vec{{{b.left, b.bottom}, {b.right, b.top}}}, look{stroke: black, width: 1})
}

// head draws a head's symbol, filled by its arc.
func (p *painter) head(h layout.Head) {
	c := p.at(h.At.Vec())
	if p.small {
		drawSmallHead(p.page, c)
		return
	}
	drawHead(p.page, c, h)
	p.record(headName(h), func(page *page, b box) { drawHead(page, b.centre(), h) })
}

func drawSmallHead(p *page, c vec) {
	p.circle(c, smallHead, look{fill: black, stroke: white, width: 0.4})
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

func drawHead(p *page, c vec, h layout.Head) {
	if h.Pinned {
		p.circle(c, pinnedRadius, look{fill: white, stroke: black, width: 0.9})
	}
	if h.Kind != layout.FixedArc {
		p.circle(c, variableRadius, look{fill: black, stroke: white, width: 0.9})
		return
	}
	p.circle(c, headRadius, look{fill: white, stroke: black, width: 1.1})
	if h.ArcSweep >= 360 {
		p.circle(c, headRadius-1.6, look{fill: black})
		return
	}
	p.rings([][]vec{sector(c, headRadius, h.ArcStart, h.ArcSweep)}, look{fill: black})
}

// sector returns the outline of a sector, bearings clockwise from north.
func sector(c vec, radius, start, sweep float64) []vec {
	const step = 15
	n := max(1, int(math.Ceil(math.Min(math.Abs(sweep), 360)/step)))
	out := []vec{c}
	for i := range n + 1 {
		out = append(out, c.add(vec{0, -radius}.turned(start+sweep*float64(i)/float64(n))))
	}
	return out
}
