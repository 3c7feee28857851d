package paper

// Page is one page as a list of marks, in the order they are laid down.
type Page struct {
	Width, Height float64
	Decimals      int    // of coordinates, in [Page.WriteSVG]
	Texts         []Quad // the room every piece of text takes

	marks []func(Canvas)
}

// Canvas is what the marks of a page are laid down on. Coordinates are page units.
type Canvas interface {
	// Path paints chains of places as one shape, even-odd: closed outlines, or
	// open lines.
	Path(chains [][]Vec, closed bool, l Look)
	Rect(b Box, l Look)
	Circle(c Vec, r float64, l Look)
	Text(l Label)
	// Clip cuts off at the edges of b what is laid down before the matching
	// Unclip.
	Clip(b Box)
	Unclip()
	// About names the page, or the part opened last, for those who do not see it.
	About(title, description string)
	// Open and Close enclose a part of the page.
	Open()
	Close()
}

// Paint lays the page's marks down on a canvas.
func (p *Page) Paint(c Canvas) {
	for _, mark := range p.marks {
		mark(c)
	}
}

func (p *Page) lay(mark func(Canvas)) { p.marks = append(p.marks, mark) }

// Over returns a page on which the marks of p lie on top of what under paints.
func (p *Page) Over(under func(*Page)) *Page {
	out := &Page{Width: p.Width, Height: p.Height, Decimals: p.Decimals}
	under(out)
	out.Texts = append(out.Texts, p.Texts...)
	out.marks = append(out.marks, p.marks...)
	return out
}

// Rings paints closed outlines as one shape, holes left open.
func (p *Page) Rings(chains [][]Vec, l Look) { p.path(chains, true, l) }

// Lines paints open chains.
func (p *Page) Lines(chains [][]Vec, l Look) { p.path(chains, false, l) }

func (p *Page) path(chains [][]Vec, closed bool, l Look) {
	for _, chain := range chains {
		if len(chain) > 0 {
			p.lay(func(c Canvas) { c.Path(chains, closed, l) })
			return
		}
	}
}

// Line paints one straight line.
func (p *Page) Line(a, b Vec, l Look) { p.Lines([][]Vec{{a, b}}, l) }

// Rect paints an upright rectangle.
func (p *Page) Rect(b Box, l Look) { p.lay(func(c Canvas) { c.Rect(b, l) }) }

// Circle paints a circle.
func (p *Page) Circle(at Vec, r float64, l Look) { p.lay(func(c Canvas) { c.Circle(at, r, l) }) }

// Area paints ground with its hatches, as far as it can be seen within clip.
func (p *Page) Area(chains [][]Vec, s AreaStyle, clip Box) {
	p.Rings(chains, s.Look)
	for _, h := range s.Hatches {
		p.Lines(h.across(chains, clip), h.Line)
	}
}

// Clipped paints what inside draws, cut off at the edges of b.
func (p *Page) Clipped(b Box, inside func()) {
	p.lay(func(c Canvas) { c.Clip(b) })
	inside()
	p.lay(Canvas.Unclip)
}

// Part paints what inside draws as a part of the page with a name of its own.
func (p *Page) Part(title, description string, inside func()) {
	p.lay(Canvas.Open)
	p.About(title, description)
	inside()
	p.lay(Canvas.Close)
}

// About names the page for those who do not see it.
func (p *Page) About(title, description string) {
	p.lay(func(c Canvas) { c.About(title, description) })
}

// Text writes a label and remembers the room it takes.
func (p *Page) Text(l Label) {
	l.Words = Clean(l.Words)
	if l.Words == "" {
		return
	}
	if l.Backed {
		p.Rings([][]Vec{l.Quad().List()}, Look{Fill: white, Opacity: 0.78})
	}
	p.Texts = append(p.Texts, l.Quad())
	p.lay(func(c Canvas) { c.Text(l) })
}

const white = "#FFFFFF"
