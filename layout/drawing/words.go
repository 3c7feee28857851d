package drawing

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// anchor says which part of a text its place marks.
type anchor string

const (
	atStart  anchor = "start"
	atMiddle anchor = "middle"
	atEnd    anchor = "end"
)

// label is a line of text on the page.
type label struct {
	at     vec // on the base line
	words  string
	size   float64
	bold   bool
	anchor anchor  // zero: atStart
	angle  float64 // degrees, clockwise
	colour string  // zero: black
	backed bool    // on a pale ground of its own
}

// Heights above and below the base line, in ems: those of DejaVu Sans, rounded.
const (
	ascent  = 0.76
	descent = 0.24
)

func (l label) box() box {
	w := textWidth(l.words, l.size, l.bold)
	left := l.at.x
	switch l.anchor {
	case atMiddle:
		left -= w / 2
	case atEnd:
		left -= w
	}
	return box{left, l.at.y - ascent*l.size, left + w, l.at.y + descent*l.size}
}

func (l label) quad() quad { return l.box().corners().turned(l.at, l.angle) }

// text writes a label and remembers the room it takes.
func (p *page) text(l label) {
	l.words = clean(l.words)
	if l.words == "" {
		return
	}
	if l.backed {
		p.rings([][]vec{l.quad().list()}, look{fill: white, opacity: 0.78})
	}
	p.texts = append(p.texts, l.quad())
	p.raw(`<text x="%s" y="%s" font-size="%s"%s>%s</text>`,
		p.number(l.at.x), p.number(l.at.y), p.number(l.size), p.textAttributes(l), escaped(l.words))
}

func (q quad) list() []vec { return q[:] }

func (p *page) textAttributes(l label) string {
	var b strings.Builder
	if l.bold {
		b.WriteString(` font-weight="bold"`)
	}
	if l.anchor != "" && l.anchor != atStart {
		fmt.Fprintf(&b, ` text-anchor="%s"`, l.anchor)
	}
	if l.colour != "" {
		fmt.Fprintf(&b, ` fill="%s"`, l.colour)
	}
	if l.angle != 0 {
		fmt.Fprintf(&b, ` transform="rotate(%s %s %s)"`, p.number(l.angle), p.number(l.at.x), p.number(l.at.y))
	}
	return b.String()
}

// Widths of letters in ems, upper bounds over the letters of each group as
// measured in DejaVu Sans, which is wider than most sans-serif faces. What is
// in no group is taken as a full em.
var letterGroups = []struct {
	letters string
	em      float64
}{
	{" .,iljIJ'·", 0.32},
	{"frt!()[]-/:;|\\²³\"", 0.46},
	{"ckszvxyaeoL?F*_–°`", 0.62},
	{"bdghnpqu0123456789$•{}", 0.64},
	{"ABCEKPRSTVXYZ", 0.70},
	{"DGHNOQU&", 0.79},
	{"wM+=<>~#×≥≤^", 0.87},
}

// boldWider is how much wider the widest bold letters are.
const boldWider = 1.20

func letterWidth(r rune) float64 {
	for _, g := range letterGroups {
		if strings.ContainsRune(g.letters, r) {
			return g.em
		}
	}
	if unicode.Is(unicode.Mn, r) {
		return 0
	}
	return 1
}

// textWidth estimates, from above, how wide a text is.
func textWidth(words string, size float64, bold bool) float64 {
	sum := 0.0
	for _, r := range words {
		sum += letterWidth(r)
	}
	if bold {
		sum *= boldWider
	}
	return sum * size
}

// clean replaces characters that have no business in a line of text: controls,
// direction marks and broken encoding.
func clean(words string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case r == utf8.RuneError || unicode.IsControl(r) || unicode.Is(unicode.Cf, r):
			return unicode.ReplacementChar
		}
		return r
	}, words))
}

const ellipsis = "…"

// shortened cuts a text that would be wider than width, and says so with dots.
func shortened(words string, width, size float64, bold bool) string {
	words = clean(words)
	if textWidth(words, size, bold) <= width {
		return words
	}
	runes := []rune(words)
	for len(runes) > 0 && textWidth(string(runes)+ellipsis, size, bold) > width {
		runes = runes[:len(runes)-1]
	}
	return strings.TrimSpace(string(runes)) + ellipsis
}

// wrapped breaks a text into at most most lines no wider than width; what does
// not fit is cut off with dots.
func wrapped(words string, width, size float64, most int) []string {
	var lines []string
	line := ""
	for _, word := range pieces(clean(words), width, size) {
		next := strings.TrimSpace(line + " " + word)
		if line == "" || textWidth(next, size, false) <= width {
			line = next
			continue
		}
		lines = append(lines, line)
		line = word
	}
	if line != "" {
		lines = append(lines, line)
	}
	if len(lines) <= most {
		return lines
	}
	if most == 0 {
		return nil
	}
	lines = lines[:most]
	lines[most-1] = shortened(lines[most-1]+" "+ellipsis, width, size, false)
	return lines
}

// pieces splits a text at its blanks, and words wider than width wherever they
// reach it.
func pieces(words string, width, size float64) []string {
	var out []string
	for _, word := range strings.Fields(words) {
		runes := []rune(word)
		for textWidth(string(runes), size, false) > width && len(runes) > 1 {
			n := 1
			for textWidth(string(runes[:n+1]), size, false) <= width {
				n++
			}
			out, runes = append(out, string(runes[:n])), runes[n:]
		}
		out = append(out, string(runes))
	}
	return out
}
