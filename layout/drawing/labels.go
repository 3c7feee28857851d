package drawing

import (
	"math"

	"lotwright/layout"
)

// naming is a label waiting for room beside what it names.
type naming struct {
	words  string
	at     vec
	radius float64 // of the symbol
	must   bool    // looked for all over the page, not only near by
}

const (
	labelSize    = 10.0
	crowdedSize  = 7.5 // where there are more heads than crowdedFrom
	crowdedFrom  = 60
	junctionSize = 7.0
	symbolGap    = 1.5 // between a symbol and its label
	labelPad     = 1.0 // of free room around a label
	nearReach    = 10.0
	mostLetters  = 16
)

// labels names the point of connection, the heads and, where there is room,
// the junctions and the lengths of the lot's sides. It returns how many of the
// names that must be there found no room.
func (p *painter) labels(lot *layout.Lot, d *layout.Design) (left int) {
	pl := &placer{within: p.frame.inset(1), lines: p.toKeepInView(lot, d)}
	names := p.names(lot, d)
	for _, n := range names {
		pl.take(around(n.at, 2*n.radius, 2*n.radius).corners())
	}
	if lot != nil && lot.Controller != nil {
		pl.take(around(p.at(lot.Controller.Vec()), controllerSide, controllerSide).corners())
	}
	var placed []label
	for _, n := range names {
		l, ok := p.name(pl, n, len(d.Heads) > crowdedFrom)
		if ok {
			placed = append(placed, l)
		} else if n.must {
			left++
		}
	}
	for _, l := range placed { // after all leaders
		p.text(l)
	}
	if lot != nil {
		p.sides(pl, lot.Parcel)
	}
	return left
}

// names lists what is to be named, the most needed first.
func (p *painter) names(lot *layout.Lot, d *layout.Design) []naming {
	var out []naming
	if c, ok := connectionOf(lot, d); ok {
		words := pocName
		if c.assumed {
			words = "POC (assumed)"
		}
		out = append(out, naming{words, p.at(c.at.Vec()), pocRadius, true})
	}
	for _, h := range d.Heads {
		radius := headRadius
		if h.Pinned {
			radius = pinnedRadius
		}
		out = append(out, naming{shortLabel(h.Label), p.at(h.At.Vec()), radius, true})
	}
	for _, j := range junctions(d) {
		out = append(out, naming{shortLabel(j.name), p.at(j.at.Vec()), junctionSide / 2, false})
	}
	return out
}

func shortLabel(words string) string {
	if runes := []rune(clean(words)); len(runes) > mostLetters {
		return string(runes[:mostLetters-1]) + ellipsis
	}
	return clean(words)
}

// name finds room for one label and draws its leader where it stands off.
func (p *painter) name(pl *placer, n naming, crowded bool) (label, bool) {
	size, reach := labelSize, p.frame.width()+p.frame.height()
	if crowded {
		size = crowdedSize
	}
	if !n.must {
		size, reach = junctionSize, nearReach
	}
	l := label{words: n.words, size: size, bold: n.must, anchor: atMiddle, backed: true}
	b := l.box().inset(-labelPad)
	s, ok := pl.find(wish{n.at, b.width(), b.height(), n.radius + symbolGap, reach})
	if !ok {
		return label{}, false
	}
	if s.far {
		p.leader(pl, n, s, b)
	}
	l.at = s.centre.add(vec{0, (ascent - descent) / 2 * size})
	pl.take(around(s.centre, b.width(), b.height()).corners())
	return l, true
}

func (p *painter) leader(pl *placer, n naming, s spot, b box) {
	along := s.centre.sub(n.at)
	along = along.times(1 / along.norm())
	from := n.at.add(along.times(n.radius))
	stop := math.Min(b.width()/2/max(math.Abs(along.x), 1e-9), b.height()/2/max(math.Abs(along.y), 1e-9))
	to := s.centre.sub(along.times(stop))
	p.line(from, to, leader)
	pl.lines = append(pl.lines, [2]vec{from, to})
}

// toKeepInView lists the lines a label should rather not hide.
func (p *painter) toKeepInView(lot *layout.Lot, d *layout.Design) [][2]vec {
	var out [][2]vec
	for _, r := range d.Network.Runs {
		out = appendPieces(out, p.path(r.Path))
	}
	for _, chain := range p.view.region(d.Dry) {
		out = appendPieces(out, append(chain, chain[0]))
	}
	if lot == nil {
		return out
	}
	for _, chain := range p.view.region(lot.Parcel) {
		out = appendPieces(out, append(chain, chain[0]))
	}
	return out
}

func appendPieces(out [][2]vec, chain []vec) [][2]vec {
	for i := 1; i < len(chain); i++ {
		out = append(out, [2]vec{chain[i-1], chain[i]})
	}
	return out
}
