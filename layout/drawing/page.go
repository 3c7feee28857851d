package drawing

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// vec is a place on the page, in page units, Y downwards.
type vec struct{ x, y float64 }

func (a vec) add(b vec) vec       { return vec{a.x + b.x, a.y + b.y} }
func (a vec) sub(b vec) vec       { return vec{a.x - b.x, a.y - b.y} }
func (a vec) times(f float64) vec { return vec{a.x * f, a.y * f} }
func (a vec) dot(b vec) float64   { return a.x*b.x + a.y*b.y }
func (a vec) cross(b vec) float64 { return a.x*b.y - a.y*b.x }
func (a vec) norm() float64       { return math.Hypot(a.x, a.y) }
func (a vec) finite() bool        { return !math.IsNaN(a.x+a.y) && !math.IsInf(a.x+a.y, 0) }
func (a vec) turned(deg float64) vec { // clockwise on the page
	s, c := math.Sincos(deg * math.Pi / 180)
	return vec{a.x*c - a.y*s, a.x*s + a.y*c}
}

// page collects the elements of one picture.
type page struct {
	width, height float64
	decimals      int // of coordinates
	body          bytes.Buffer
	texts         []quad // the room every piece of text takes
}

// number writes a coordinate with the page's decimals.
func (p *page) number(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		v = 0
	}
	s := strconv.FormatFloat(v, 'f', p.decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}

// raw writes one line of markup.
func (p *page) raw(format string, args ...any) {
	fmt.Fprintf(&p.body, format+"\n", args...)
}

// data writes chains of places as path data.
func (p *page) data(chains [][]vec, closed bool) string {
	var b strings.Builder
	for _, chain := range chains {
		for i, v := range chain {
			b.WriteByte("ML"[min(i, 1)])
			b.WriteString(p.number(v.x))
			b.WriteByte(' ')
			b.WriteString(p.number(v.y))
		}
		if closed && len(chain) > 0 {
			b.WriteByte('Z')
		}
	}
	return b.String()
}

// rings paints closed outlines as one shape, holes left open.
func (p *page) rings(chains [][]vec, l look) {
	if d := p.data(chains, true); d != "" {
		p.raw(`<path d="%s" fill-rule="evenodd" %s/>`, d, l.attributes())
	}
}

// lines paints open chains.
func (p *page) lines(chains [][]vec, l look) {
	if d := p.data(chains, false); d != "" {
		p.raw(`<path d="%s" %s/>`, d, l.attributes())
	}
}

func (p *page) line(a, b vec, l look) { p.lines([][]vec{{a, b}}, l) }

func (p *page) rect(b box, l look) {
	p.raw(`<rect x="%s" y="%s" width="%s" height="%s" %s/>`,
		p.number(b.left), p.number(b.top), p.number(b.width()), p.number(b.height()), l.attributes())
}

func (p *page) circle(c vec, r float64, l look) {
	p.raw(`<circle cx="%s" cy="%s" r="%s" %s/>`, p.number(c.x), p.number(c.y), p.number(r), l.attributes())
}

// area paints ground with its hatches, as far as it can be seen within clip.
func (p *page) area(chains [][]vec, s areaStyle, clip box) {
	p.rings(chains, s.look)
	for _, h := range s.hatches {
		p.lines(h.across(chains, clip), h.line)
	}
}

// clipped paints what inside draws, cut off at the edges of b.
func (p *page) clipped(b box, inside func()) {
	p.raw(`<svg x="%[1]s" y="%[2]s" width="%[3]s" height="%[4]s" viewBox="%[1]s %[2]s %[3]s %[4]s" overflow="hidden">`,
		p.number(b.left), p.number(b.top), p.number(b.width()), p.number(b.height()))
	inside()
	p.raw(`</svg>`)
}

// about names what follows for those who do not see it.
func (p *page) about(title, description string) {
	p.raw("<title>%s</title>", escaped(title))
	if description != "" {
		p.raw("<desc>%s</desc>", escaped(description))
	}
}

// writeTo writes the finished picture, its size also given in inches.
func (p *page) writeTo(w io.Writer) error {
	var head bytes.Buffer
	fmt.Fprintf(&head, `<svg xmlns="http://www.w3.org/2000/svg" role="img" width="%.2fin" height="%.2fin" viewBox="0 0 %.0f %.0f" font-family="sans-serif">`+"\n",
		p.width/unitsPerInch, p.height/unitsPerInch, p.width, p.height)
	_, err := w.Write(slices.Concat(head.Bytes(), p.body.Bytes(), []byte("</svg>\n")))
	return err
}

// escaped makes words safe inside markup.
func escaped(words string) string {
	var b bytes.Buffer
	if err := xml.EscapeText(&b, []byte(words)); err != nil {
		return "" // a bytes.Buffer takes everything
	}
	return b.String()
}
