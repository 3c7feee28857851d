package sheet

import (
	"cmp"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"

	"lotwright/layout/paper"
)

const (
	pointsPerUnit = 72 / paper.UnitsPerInch
	family        = "go"
)

// document is a PDF under way.
type document struct {
	pdf           *fpdf.Fpdf
	width, height float64 // of its pages, in page units
}

func newDocument(s Settings, title string) *document {
	d := &document{}
	d.width, d.height = s.Size.page()
	d.pdf = fpdf.NewCustom(&fpdf.InitType{
		OrientationStr: "P", UnitStr: "pt",
		Size: fpdf.SizeType{Wd: d.width * pointsPerUnit, Ht: d.height * pointsPerUnit},
	})
	date := s.Date
	if date.IsZero() {
		date = time.Unix(0, 0)
	}
	d.pdf.SetCreationDate(date.UTC())
	d.pdf.SetModificationDate(date.UTC())
	d.pdf.SetCatalogSort(true)
	d.pdf.SetAutoPageBreak(false, 0)
	d.pdf.SetMargins(0, 0, 0)
	d.pdf.SetTitle(drawable(paper.Clean(title)), true)
	d.pdf.SetProducer("lotwright", true)
	d.pdf.AddUTF8FontFromBytes(family, "", goregular.TTF)
	d.pdf.AddUTF8FontFromBytes(family, "B", gobold.TTF)
	d.pdf.SetFont(family, "", 10)
	return d
}

// blank adds an empty page and returns its number.
func (d *document) blank() int {
	d.pdf.AddPage()
	return d.pdf.PageNo()
}

// add adds a page.
func (d *document) add(p *paper.Page) {
	d.blank()
	p.Paint(&canvas{pdf: d.pdf})
}

// fill paints a page added blank before.
func (d *document) fill(number int, p *paper.Page) {
	last := d.pdf.PageNo()
	d.pdf.SetPage(number)
	p.Paint(&canvas{pdf: d.pdf})
	d.pdf.SetPage(last)
}

// link makes pieces of a page lead to other pages.
func (d *document) link(number int, links []link) {
	last := d.pdf.PageNo()
	d.pdf.SetPage(number)
	for _, l := range links {
		to := d.pdf.AddLink()
		d.pdf.SetLink(to, 0, l.page)
		d.pdf.Link(pt(l.box.Left), pt(l.box.Top), pt(l.box.Width()), pt(l.box.Height()), to)
	}
	d.pdf.SetPage(last)
}

// over paints on top of the page added last.
func (d *document) over(paint func(paper.Canvas)) { paint(&canvas{pdf: d.pdf}) }

// count returns how many pages there are.
func (d *document) count() int { return d.pdf.PageCount() }

// bookmark names the page added last in the outline of the document.
func (d *document) bookmark(words string) { d.pdf.Bookmark(drawable(paper.Clean(words)), 0, 0) }

func (d *document) write(w io.Writer) error { return d.pdf.Output(w) }

// canvas lays marks down on the current page of a PDF. It remembers what the page
// is set to and sets it anew only where that changes, which halves the page.
type canvas struct {
	pdf  *fpdf.Fpdf
	line paper.Look // stroke, width, dash and ends set; zero: not known
	ink  string     // colour of fills set; empty: not known
	font string     // style and size set; empty: not known
}

// forget makes the canvas set everything anew, since the page has gone back to
// what it was before.
func (c *canvas) forget() { c.line, c.ink, c.font = paper.Look{}, "", "" }

func pt(v float64) float64 { return v * pointsPerUnit }

func (c *canvas) trace(chains [][]paper.Vec, closed bool) func() {
	return func() {
		for _, chain := range chains {
			for i, v := range chain {
				if i == 0 {
					c.pdf.MoveTo(pt(v.X), pt(v.Y))
					continue
				}
				c.pdf.LineTo(pt(v.X), pt(v.Y))
			}
			if closed && len(chain) > 0 {
				c.pdf.ClosePath()
			}
		}
	}
}

func (c *canvas) Path(chains [][]paper.Vec, closed bool, l paper.Look) {
	c.paint(c.trace(chains, closed), l)
}

func (c *canvas) Rect(b paper.Box, l paper.Look) {
	c.Path([][]paper.Vec{b.Corners().List()}, true, l)
}

func (c *canvas) Circle(at paper.Vec, r float64, l paper.Look) {
	style := func(how string) { c.pdf.Circle(pt(at.X), pt(at.Y), pt(r), how) }
	c.filled(l, func() { style("F") })
	c.stroked(l, func() { style("D") })
}

// paint fills and strokes what trace traces.
func (c *canvas) paint(trace func(), l paper.Look) {
	c.filled(l, func() { trace(); c.pdf.DrawPath("F*") })
	c.stroked(l, func() { trace(); c.pdf.DrawPath("D") })
}

func (c *canvas) filled(l paper.Look, do func()) {
	if l.Fill == "" {
		return
	}
	c.setInk(l.Fill)
	if l.Opacity > 0 {
		c.pdf.SetAlpha(l.Opacity, "Normal")
		defer c.pdf.SetAlpha(1, "Normal")
	}
	do()
}

// setInk sets the colour of fills, and of words, which are filled too.
func (c *canvas) setInk(colour string) {
	if c.ink == colour {
		return
	}
	c.ink = colour
	c.pdf.SetFillColor(rgb(colour))
	c.pdf.SetTextColor(rgb(colour))
}

func (c *canvas) stroked(l paper.Look, do func()) {
	if l.Stroke == "" {
		return
	}
	l.Fill, l.Opacity = "", 0
	if c.line != l {
		c.line = l
		c.setLine(l)
	}
	do()
}

func (c *canvas) setLine(l paper.Look) {
	c.pdf.SetDrawColor(rgb(l.Stroke))
	c.pdf.SetLineWidth(pt(l.Width))
	c.pdf.SetDashPattern(dashes(l.Dash), 0)
	ends, join := "butt", "miter"
	if l.Round {
		ends, join = "round", "round"
	}
	c.pdf.SetLineCapStyle(ends)
	c.pdf.SetLineJoinStyle(join)
}

// dashes reads what [paper.Look] says of dashes, in points.
func dashes(words string) []float64 {
	var out []float64
	for _, field := range strings.Fields(words) {
		v, err := strconv.ParseFloat(field, 64)
		if err != nil {
			return nil
		}
		out = append(out, pt(v))
	}
	return out
}

// rgb reads "#RRGGBB"; anything else is black.
func rgb(colour string) (r, g, b int) {
	v, err := strconv.ParseUint(strings.TrimPrefix(colour, "#"), 16, 32)
	if err != nil {
		return 0, 0, 0
	}
	return int(v >> 16 & 0xFF), int(v >> 8 & 0xFF), int(v & 0xFF)
}

func (c *canvas) Text(l paper.Label) {
	c.setInk(cmp.Or(l.Colour, black))
	words := drawable(l.Words)
	width := c.fit(l, words)
	x, y := pt(l.At.X), pt(l.At.Y)
	if l.Angle != 0 {
		c.pdf.TransformBegin()
		c.pdf.TransformRotate(-l.Angle, x, y)
		defer c.pdf.TransformEnd()
	}
	switch l.Anchor {
	case paper.AtMiddle:
		x -= width / 2
	case paper.AtEnd:
		x -= width
	}
	c.pdf.Text(x, y, words)
}

// fit sets the font for a label and returns how wide its words are, in points. A
// few letters are wider than the page was laid out for; words of many such are
// set smaller, so that they never run into others.
func (c *canvas) fit(l paper.Label, words string) float64 {
	c.setFont(l.Size, l.Bold)
	room := pt(paper.Width(l.Words, l.Size, l.Bold))
	width := c.pdf.GetStringWidth(words)
	if width <= room {
		return width
	}
	c.setFont(l.Size*room/width, l.Bold)
	return room
}

func (c *canvas) setFont(size float64, bold bool) {
	style := ""
	if bold {
		style = "B"
	}
	if name := fmt.Sprint(style, size); c.font != name {
		c.font = name
		c.pdf.SetFont(family, style, pt(size))
	}
}

func (c *canvas) Clip(b paper.Box) {
	c.pdf.ClipRect(pt(b.Left), pt(b.Top), pt(b.Width()), pt(b.Height()), false)
}

func (c *canvas) Unclip() {
	c.pdf.ClipEnd()
	c.forget()
}

func (c *canvas) About(string, string) {}
func (c *canvas) Open()                {}
func (c *canvas) Close()               {}
