package paper

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

// WriteSVG writes the page as SVG, its size also given in inches.
func (p *Page) WriteSVG(w io.Writer) error {
	c := &svg{decimals: p.Decimals}
	p.Paint(c)
	var head bytes.Buffer
	fmt.Fprintf(&head, `<svg xmlns="http://www.w3.org/2000/svg" role="img" width="%.2fin" height="%.2fin" viewBox="0 0 %.0f %.0f" font-family="sans-serif">`+"\n",
		p.Width/UnitsPerInch, p.Height/UnitsPerInch, p.Width, p.Height)
	_, err := w.Write(slices.Concat(head.Bytes(), c.body.Bytes(), []byte("</svg>\n")))
	return err
}

// svg is a canvas that writes markup, an element a line.
type svg struct {
	decimals int
	body     bytes.Buffer
}

// number writes a coordinate.
func (c *svg) number(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		v = 0
	}
	s := strconv.FormatFloat(v, 'f', c.decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}

// raw writes one line of markup.
func (c *svg) raw(format string, args ...any) {
	fmt.Fprintf(&c.body, format+"\n", args...)
}

// data writes chains of places as path data.
func (c *svg) data(chains [][]Vec, closed bool) string {
	var b strings.Builder
	for _, chain := range chains {
		for i, v := range chain {
			b.WriteByte("ML"[min(i, 1)])
			b.WriteString(c.number(v.X))
			b.WriteByte(' ')
			b.WriteString(c.number(v.Y))
		}
		if closed && len(chain) > 0 {
			b.WriteByte('Z')
		}
	}
	return b.String()
}

func (c *svg) Path(chains [][]Vec, closed bool, l Look) {
	rule := ""
	if closed {
		rule = ` fill-rule="evenodd"`
	}
	c.raw(`<path d="%s"%s %s/>`, c.data(chains, closed), rule, l.attributes())
}

func (c *svg) Rect(b Box, l Look) {
	c.raw(`<rect x="%s" y="%s" width="%s" height="%s" %s/>`,
		c.number(b.Left), c.number(b.Top), c.number(b.Width()), c.number(b.Height()), l.attributes())
}

func (c *svg) Circle(at Vec, r float64, l Look) {
	c.raw(`<circle cx="%s" cy="%s" r="%s" %s/>`, c.number(at.X), c.number(at.Y), c.number(r), l.attributes())
}

func (c *svg) Clip(b Box) {
	c.raw(`<svg x="%[1]s" y="%[2]s" width="%[3]s" height="%[4]s" viewBox="%[1]s %[2]s %[3]s %[4]s" overflow="hidden">`,
		c.number(b.Left), c.number(b.Top), c.number(b.Width()), c.number(b.Height()))
}

func (c *svg) Unclip() { c.raw(`</svg>`) }
func (c *svg) Open()   { c.raw(`<g>`) }
func (c *svg) Close()  { c.raw(`</g>`) }

func (c *svg) About(title, description string) {
	c.raw("<title>%s</title>", escaped(title))
	if description != "" {
		c.raw("<desc>%s</desc>", escaped(description))
	}
}

func (c *svg) Text(l Label) {
	c.raw(`<text x="%s" y="%s" font-size="%s"%s>%s</text>`,
		c.number(l.At.X), c.number(l.At.Y), c.number(l.Size), c.textAttributes(l), escaped(l.Words))
}

func (c *svg) textAttributes(l Label) string {
	var b strings.Builder
	if l.Bold {
		b.WriteString(` font-weight="bold"`)
	}
	if l.Anchor != "" && l.Anchor != AtStart {
		fmt.Fprintf(&b, ` text-anchor="%s"`, l.Anchor)
	}
	if l.Colour != "" {
		fmt.Fprintf(&b, ` fill="%s"`, l.Colour)
	}
	if l.Angle != 0 {
		fmt.Fprintf(&b, ` transform="rotate(%s %s %s)"`, c.number(l.Angle), c.number(l.At.X), c.number(l.At.Y))
	}
	return b.String()
}

// attributes writes l as SVG presentation attributes, in a fixed order.
func (l Look) attributes() string {
	var b strings.Builder
	fill := l.Fill
	if fill == "" {
		fill = "none"
	}
	fmt.Fprintf(&b, `fill="%s"`, fill)
	if l.Opacity > 0 {
		fmt.Fprintf(&b, ` fill-opacity="%.2f"`, l.Opacity)
	}
	if l.Stroke != "" {
		fmt.Fprintf(&b, ` stroke="%s" stroke-width="%.2f"`, l.Stroke, l.Width)
	}
	if l.Dash != "" {
		fmt.Fprintf(&b, ` stroke-dasharray="%s"`, l.Dash)
	}
	if l.Round {
		b.WriteString(` stroke-linecap="round" stroke-linejoin="round"`)
	}
	return b.String()
}

// escaped makes words safe inside markup.
func escaped(words string) string {
	var b bytes.Buffer
	if err := xml.EscapeText(&b, []byte(words)); err != nil {
		return "" // a bytes.Buffer takes everything
	}
	return b.String()
}
