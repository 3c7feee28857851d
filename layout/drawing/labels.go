package drawing

import (
	"math"

	"lotwright/layout"
	"lotwright/layout/paper"
)

// naming is a label waiting for room beside what it names.
type naming struct {
	words  string
	at     paper.Vec
	radius float64 // of the symbol
	must   bool    // looked for all over the page, not only near by
}

// letters are the sizes of labels.
type letters struct {
	name, crowded float64 // of heads; crowded where there are more than crowdedFrom
	small         float64 // of junctions and runs of trench
	side          float64 // of the lengths of the lot's sides
}

var planLetters = letters{name: 10, crowded: 7.5, small: 7, side: 7.5}

const (
	crowdedFrom = 60
	symbolGap   = 1.5 // between a symbol and its label
	labelPad    = 1.0 // of free room around a label
	nearReach   = 10.0
	mostLetters = 16
)

// labels names the point of connection, the heads and, where there is room,
// the junctions and the lengths of the lot's sides. It returns how many of the
// names that must be there found no room.
func (p *painter) labels(lot *layout.Lot, d *layout.Design) (left int) {
	pl := &paper.Placer{Within: p.frame.Inset(1), Lines: p.toKeepInView(lot, d)}
	names := p.names(lot, d)
	for _, n := range names {
		pl.Take(paper.Around(n.at, 2*n.radius, 2*n.radius).Corners())
	}
	if lot != nil && lot.Controller != nil {
		pl.Take(paper.Around(p.at(lot.Controller.Vec()), controllerSide, controllerSide).Corners())
	}
	var placed []paper.Label
	for _, n := range names {
		l, ok := p.name(pl, n, len(d.Heads) > crowdedFrom)
		if ok {
			placed = append(placed, l)
		} else if n.must {
			left++
		}
	}
	for _, l := range placed { // after all leaders
		p.Text(l)
	}
	if lot != nil {
		p.sides(pl, lot.Parcel)
	}
	return left
}

// names lists what is to be named, the most needed first.
func (p *painter) names(lot *layout.Lot, d *layout.Design) []naming {
	var out []naming
	for _, m := range p.marks {
		out = append(out, naming{shortLabel(m.Name), p.at(m.At.Vec()), cornerRadius, true})
	}
	if c, ok := connectionOf(lot, d); ok {
		words := layout.POCLabel
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
	return append(out, p.runNames(d)...)
}

// runNames says beside the middle of each run of trench what the painter was
// given to say of it.
func (p *painter) runNames(d *layout.Design) []naming {
	const room = 1.5 // half the breadth of the trench drawn
	var out []naming
	for i, words := range p.runs {
		if i < len(d.Network.Runs) && words != "" {
			if at, ok := middle(p.path(d.Network.Runs[i].Path)); ok {
				out = append(out, naming{words, at, room, false})
			}
		}
	}
	return out
}

// middle returns the place half way along a chain.
func middle(chain []paper.Vec) (paper.Vec, bool) {
	total := 0.0
	for _, s := range appendPieces(nil, chain) {
		total += s[1].Sub(s[0]).Norm()
	}
	left := total / 2
	for _, s := range appendPieces(nil, chain) {
		long := s[1].Sub(s[0]).Norm()
		if left <= long && long > 0 {
			return s[0].Add(s[1].Sub(s[0]).Times(left / long)), true
		}
		left -= long
	}
	return paper.Vec{}, false
}

func shortLabel(words string) string {
	if runes := []rune(paper.Clean(words)); len(runes) > mostLetters {
		return string(runes[:mostLetters-1]) + paper.Ellipsis
	}
	return paper.Clean(words)
}

// name finds room for one label and draws its leader where it stands off.
func (p *painter) name(pl *paper.Placer, n naming, crowded bool) (paper.Label, bool) {
	size, reach := p.letters.name, p.frame.Width()+p.frame.Height()
	if crowded {
		size = p.letters.crowded
	}
	if !n.must {
		size, reach = p.letters.small, nearReach
	}
	l := paper.Label{Words: n.words, Size: size, Bold: n.must, Anchor: paper.AtMiddle, Backed: true}
	b := l.Box().Inset(-labelPad)
	s, ok := pl.Find(paper.Wish{At: n.at, Width: b.Width(), Height: b.Height(), Gap: n.radius + symbolGap, Reach: reach})
	if !ok {
		return paper.Label{}, false
	}
	if s.Far {
		p.leader(pl, n, s, b)
	}
	l.At = s.Centre.Add(paper.At(0, (paper.Ascent-paper.Descent)/2*size))
	pl.Take(paper.Around(s.Centre, b.Width(), b.Height()).Corners())
	return l, true
}

func (p *painter) leader(pl *paper.Placer, n naming, s paper.Spot, b paper.Box) {
	along := s.Centre.Sub(n.at)
	along = along.Times(1 / along.Norm())
	from := n.at.Add(along.Times(n.radius))
	stop := math.Min(b.Width()/2/max(math.Abs(along.X), 1e-9), b.Height()/2/max(math.Abs(along.Y), 1e-9))
	to := s.Centre.Sub(along.Times(stop))
	p.Line(from, to, leader)
	pl.Lines = append(pl.Lines, [2]paper.Vec{from, to})
}

// toKeepInView lists the lines a label should rather not hide.
func (p *painter) toKeepInView(lot *layout.Lot, d *layout.Design) [][2]paper.Vec {
	var out [][2]paper.Vec
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

func appendPieces(out [][2]paper.Vec, chain []paper.Vec) [][2]paper.Vec {
	for i := 1; i < len(chain); i++ {
		out = append(out, [2]paper.Vec{chain[i-1], chain[i]})
	}
	return out
}
