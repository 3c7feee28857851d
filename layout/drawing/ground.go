package drawing

import (
	"lotwright/layout"
	"lotwright/layout/geom"
)

// painter draws one lot into a view on a page and keeps account of what
// occurred, for the legend.
type painter struct {
	*page
	view
	small   bool // a small plan of a contact sheet: hatches only where they warn
	entries []entry
}

// entry is a line of the legend: a name and how to draw its sample.
type entry struct {
	name   string
	sample func(p *page, b box)
}

func (p *painter) record(name string, sample func(p *page, b box)) {
	for _, e := range p.entries {
		if e.name == name {
			return
		}
	}
	p.entries = append(p.entries, entry{name, sample})
}

// smallLine is how much thinner lines are in small plans.
const smallLine = 0.5

func (l look) thinner() look {
	l.width *= smallLine
	return l
}

func (s areaStyle) forSmall(warning bool) areaStyle {
	s.look = s.look.thinner()
	if !warning {
		s.hatches = nil
		return s
	}
	hatches := make([]hatch, len(s.hatches))
	for i, h := range s.hatches {
		hatches[i] = hatch{h.angle, h.spacing * smallLine, h.line.thinner()}
	}
	s.hatches = hatches
	return s
}

// ground paints a region in a style and puts the style in the legend.
func (p *painter) ground(g geom.Region, s areaStyle, warning bool) {
	p.shapes(p.view.region(g), s, warning)
}

func (p *painter) shapes(chains [][]vec, s areaStyle, warning bool) {
	if len(chains) == 0 {
		return
	}
	p.record(s.name, func(page *page, b box) { page.area([][]vec{b.corners().list()}, s, b) })
	if p.small {
		s = s.forSmall(warning)
	}
	p.area(chains, s, p.frame)
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
	for _, h := range d.Heads {
		if chain := p.outline(h.Wetted); chain != nil {
			p.shapes([][]vec{chain}, wetted, false)
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
	p.rings(chains, wall)
	if p.small {
		return
	}
	for _, chain := range chains {
		p.lines(ticks(chain), wallTick)
	}
	p.record("Wall", func(page *page, b box) {
		thin := box{b.left, b.centre().y - 1, b.right, b.centre().y + 1}.corners().list()
		page.rings([][]vec{thin}, wall)
		page.lines(ticks(thin), wallTick)
	})
}

// ticks returns short strokes that stand off the long edges of a closed chain.
// The chain runs clockwise on the page or the other way; strokes start on the
// edge and point away from what it encloses.
func ticks(chain []vec) [][]vec {
	const apart, long = 8.0, 3.2
	out, turn := [][]vec{}, 1.0
	if signedArea(chain) < 0 {
		turn = -1
	}
	for i, a := range chain {
		along := chain[(i+1)%len(chain)].sub(a)
		length := along.norm()
		outward := vec{along.y, -along.x}.times(turn * long / max(length, 1e-9))
		for s := apart / 2; s < length; s += apart {
			at := a.add(along.times(s / length))
			out = append(out, []vec{at, at.add(outward)})
		}
	}
	return out
}

func signedArea(chain []vec) float64 {
	sum := 0.0
	for i, a := range chain {
		sum += a.cross(chain[(i+1)%len(chain)])
	}
	return sum / 2
}

func (p *painter) sleeves(sleeves []geom.Line) {
	for _, s := range sleeves {
		chain := [][]vec{p.path(s)}
		p.lines(chain, sleeveOuter)
		p.lines(chain, sleeveInner)
		p.record("Sleeve in place", func(page *page, b box) {
			level := [][]vec{{{b.left, b.centre().y}, {b.right, b.centre().y}}}
			page.lines(level, sleeveOuter)
			page.lines(level, sleeveInner)
		})
	}
}

func (p *painter) lotLines(parcel geom.Region) {
	chains := p.view.region(parcel)
	over, under := lotLine, lotLineUnder
	if p.small {
		over, under = over.thinner(), under.thinner()
	}
	p.rings(chains, under)
	p.rings(chains, over)
	if len(chains) > 0 {
		p.record("Lot line", func(page *page, b box) {
			page.line(vec{b.left, b.centre().y}, vec{b.right, b.centre().y}, lotLine)
		})
	}
}
