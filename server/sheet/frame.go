package sheet

import (
	"fmt"

	"lotwright/layout/paper"
)

// Greys and black, as [lotwright/layout/drawing] uses them.
const (
	black    = "#000000"
	white    = "#FFFFFF"
	darkGrey = "#555555"
	midGrey  = "#C4C4C4"
	paleGrey = "#F0F0F0"
)

var (
	thin  = paper.Look{Stroke: black, Width: 0.6}
	heavy = paper.Look{Stroke: black, Width: 1.4}
	faint = paper.Look{Stroke: midGrey, Width: 0.6}
)

// Where things stand on every page, in page units.
const (
	marginLeft = 50.0 // room for a binding
	margin     = 40.0
	headHeight = 20.0
	footHeight = 18.0
	headSize   = 10.0
	footSize   = 8.4
	numberRoom = 34.0 // at the foot, for the number of the page in a book
)

// content returns the part of a page between head and foot.
func (s Settings) content() paper.Box {
	w, h := s.Size.page()
	return paper.Box{Left: marginLeft, Top: margin + headHeight, Right: w - margin, Bottom: h - margin - footHeight}
}

func (s Settings) blankPage() *paper.Page {
	w, h := s.Size.page()
	p := &paper.Page{Width: w, Height: h, Decimals: 2}
	return p
}

// caution stands at the foot of every page.
const caution = "Call before you dig; private lines are not marked. Confirm depths, permits and backflow protection with local code and licensed practice."

// frameNumbered sets head and foot of a page that belongs to something with a
// name, and puts it on a white ground.
func frameNumbered(p *paper.Page, s Settings, name string, number, of int) {
	tail := fmt.Sprintf(", page %d of %d", number, of)
	b := s.content()
	room := b.Width()*0.55 - paper.Width(tail, headSize, true)
	name = paper.Shortened(name, room, headSize, true)
	frameTitled(p, s, name+tail)
}

func frameTitled(p *paper.Page, s Settings, title string) {
	b := s.content()
	top := b.Top - 8
	p.Text(paper.Label{At: paper.At(b.Right, top), Words: title, Size: headSize, Bold: true, Anchor: paper.AtEnd})
	left := s.Job
	if !s.Date.IsZero() {
		left = s.Date.Format("2006-01-02") + "   " + left
	}
	p.Text(paper.Label{At: paper.At(b.Left, top), Words: paper.Shortened(left, b.Width()*0.43, headSize, false), Size: headSize})
	p.Line(paper.At(b.Left, b.Top-3), paper.At(b.Right, b.Top-3), heavy)
	p.Line(paper.At(b.Left, b.Bottom+5), paper.At(b.Right, b.Bottom+5), thin)
	p.Text(paper.Label{At: paper.At(b.Left, b.Bottom+16), Words: paper.Shortened(caution, b.Width()-numberRoom, footSize, false), Size: footSize})
	under := p.Over(func(under *paper.Page) {
		under.About(title, left)
		under.Rect(paper.Box{Right: p.Width, Bottom: p.Height}, paper.Look{Fill: white})
	})
	*p = *under
}
