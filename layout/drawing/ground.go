package drawing

import (
	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/paper"
)

// painter draws one lot into a view on a page and keeps account of what
// occurred, for the legend.
type painter struct {
	*page
	view
	small   bool // a small plan of a contact sheet: hatches only where they warn
	bare    bool // for black and white: what heads reach only in outline, one line of the legend for heads of any arc
	letters letters
	words   func(layout.Length) string // of the lot's sides
	marks   []Place                    // permanent points, named
	runs    []string                   // what to write beside each run of trench

	families []string // of heads that are mixed, the first drawn round
	entries  []Entry
}

// Entry is a line of the legend: a name and how to draw its sample.
type Entry struct {
	Name   string
	sample func(p *page, b paper.Box)
}

// Sample draws the entry's sample into a box.
func (e Entry) Sample(p *paper.Page, b paper.Box) { e.sample(&page{p}, b) }

func (p *painter) record(name string, sample func(p *page, b paper.Box)) {
	for _, e := range p.entries {
		if e.Name == name {
			return
		}
	}
	p.entries = append(p.entries, Entry{name, sample})
}

// smallLine is how much thinner lines are in small plans.
const smallLine = 0.5

// thinner returns a line for small plans.
func thinner(l paper.Look) paper.Look {
	l.Width *= smallLine
	return l
}

// forSmall returns a style for small plans: without hatches unless it warns.
func forSmall(s paper.AreaStyle, warning bool) paper.AreaStyle {
	s.Look = thinner(s.Look)
	if !warning {
		s.Hatches = nil
		return s
	}
	hatches := make([]paper.Hatch, len(s.Hatches))
	for i, h := range s.Hatches {
		hatches[i] = paper.Hatch{Angle: h.Angle, Spacing: h.Spacing * smallLine, Line: thinner(h.Line)}
	}
	s.Hatches = hatches
	return s
}

// ground paints a region in a style and puts the style in the legend.
func (p *painter) ground(g geom.Region, s paper.AreaStyle, warning bool) {
	p.shapes(p.view.region(g), s, warning)
}

func (p *painter) shapes(chains [][]paper.Vec, s paper.AreaStyle, warning bool) {
	if len(chains) == 0 {
		return
	}
	p.record(s.Name, func(page *page, b paper.Box) { page.Area([][]paper.Vec{b.Corners().List()}, s, b) })
	if p.small {
		s = forSmall(s, warning)
	}
	p.Area(chains, s, p.frame)
}

// below paints the ground the water falls on and what stands on it.
func (p *painter) below(lot *layout.Lot, d *layout.Design) {
	p.ground(d.Irrigated, lawn, false)
	if lot == nil {
		return
	}
	p.ground(lot.Bed, bed, false)
	p.ground(lot.Hardscape, paving, false)
	p.ground(lot.Water, water, false)
	p.ground(lot.Building, building, false)
}

// water paints what the heads reach, one outline a head so that overlaps show,
// and what they miss.
func (p *painter) wetting(d *layout.Design) {
	style := wetted
	if p.bare {
		style.Look.Fill, style.Look.Opacity = "", 0
	}
	for _, h := range d.Heads {
		if chain := p.outline(h.Wetted); chain != nil {
			p.shapes([][]paper.Vec{chain}, style, false)
		}
	}
	p.ground(d.Narrow, narrowStrip, true)
	p.ground(d.Dry, dryArea, true)
}

// above paints what lies over or under it all: lines of restriction, roots,
// sleeves and the lot line.
func (p *painter) above(lot *layout.Lot) {
	if lot == nil {
		return
	}
	p.walls(lot.Wall)
	if !p.small {
		p.ground(lot.NoDig, noDig, false)
		p.ground(lot.RootZone, roots, false)
		p.sleeves(lot.Sleeves)
	}
	p.lotLines(lot.Parcel)
}

// walls paints walls with ticks along both faces, so that a thin one is not
// taken for a trench.
func (p *painter) walls(g geom.Region) {
	chains := p.view.region(g)
	if len(chains) == 0 {
		return
	}
	p.Rings(chains, wall)
	if p.small {
		return
	}
	for _, chain := range chains {
		p.Lines(ticks(chain), wallTick)
	}
	p.record("Wall", func(page *page, b paper.Box) {
		thin := paper.Box{Left: b.Left, Top: b.Centre().Y - 1, Right: b.Right, Bottom: b.Centre().Y + 1}.Corners().List()
		page.Rings([][]paper.Vec{thin}, wall)
		page.Lines(ticks(thin), wallTick)
	})
}

// ticks returns short strokes that stand off the long edges of a closed chain.
// The chain runs clockwise on the page or the other way; strokes start on the
// edge and point away from what it encloses.
func ticks(chain []paper.Vec) [][]paper.Vec {
	const apart, long = 8.0, 3.2
	out, turn := [][]paper.Vec{}, 1.0
	if signedArea(chain) < 0 {
		turn = -1
	}
	for i, a := range chain {
		along := chain[(i+1)%len(chain)].Sub(a)
		length := along.Norm()
		outward := paper.At(along.Y, -along.X).Times(turn * long / max(length, 1e-9))
		for s := apart / 2; s < length; s += apart {
			at := a.Add(along.Times(s / length))
			out = append(out, []paper.Vec{at, at.Add(outward)})
		}
	}
	return out
}

func signedArea(chain []paper.Vec) float64 {
	sum := 0.0
	for i, a := range chain {
		sum += a.Cross(chain[(i+1)%len(chain)])
	}
	return sum / 2
}

func (p *painter) sleeves(sleeves []geom.Line) {
	for _, s := range sleeves {
		chain := [][]paper.Vec{p.path(s)}
		p.Lines(chain, sleeveOuter)
		p.Lines(chain, sleeveInner)
		p.record("Sleeve in place", func(page *page, b paper.Box) {
			level := [][]paper.Vec{{paper.At(b.Left, b.Centre().Y), paper.At(b.Right, b.Centre().Y)}}
			page.Lines(level, sleeveOuter)
			page.Lines(level, sleeveInner)
		})
	}
}

func (p *painter) lotLines(parcel geom.Region) {
	chains := p.view.region(parcel)
	over, under := lotLine, lotLineUnder
	if p.small {
		over, under = thinner(over), thinner(under)
	}
	p.Rings(chains, under)
	p.Rings(chains, over)
	if len(chains) > 0 {
		p.record("Lot line", func(page *page, b paper.Box) {
			page.Line(paper.At(b.Left, b.Centre().Y), paper.At(b.Right, b.Centre().Y), lotLine)
		})
	}
}
