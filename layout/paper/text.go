package paper

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Anchor says which part of a text its place marks.
type Anchor string

// The anchors.
const (
	AtStart  Anchor = "start"
	AtMiddle Anchor = "middle"
	AtEnd    Anchor = "end"
)

// Label is a line of text on the page.
type Label struct {
	At     Vec // on the base line
	Words  string
	Size   float64
	Bold   bool
	Anchor Anchor  // zero: [AtStart]
	Angle  float64 // degrees, clockwise
	Colour string  // zero: black
	Backed bool    // on a pale ground of its own
}

// Heights above and below the base line, in ems: those of DejaVu Sans, rounded.
const (
	Ascent  = 0.76
	Descent = 0.24
)

// Box returns the room a level label takes.
func (l Label) Box() Box {
	w := Width(l.Words, l.Size, l.Bold)
	left := l.At.X
	switch l.Anchor {
	case AtMiddle:
		left -= w / 2
	case AtEnd:
		left -= w
	}
	return Box{left, l.At.Y - Ascent*l.Size, left + w, l.At.Y + Descent*l.Size}
}

// Quad returns the room a label takes.
func (l Label) Quad() Quad { return l.Box().Corners().Turned(l.At, l.Angle) }

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

// BoldWider is how much wider the widest bold letters are.
const BoldWider = 1.20

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

// Width estimates, from above, how wide a text is.
func Width(words string, size float64, bold bool) float64 {
	sum := 0.0
	for _, r := range words {
		sum += letterWidth(r)
	}
	if bold {
		sum *= BoldWider
	}
	return sum * size
}

// Clean replaces characters that have no business in a line of text: controls,
// direction marks and broken encoding.
func Clean(words string) string {
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

// Ellipsis ends what was cut.
const Ellipsis = "…"

// Shortened cuts a text that would be wider than width, and says so with dots.
func Shortened(words string, width, size float64, bold bool) string {
	words = Clean(words)
	if Width(words, size, bold) <= width {
		return words
	}
	runes := []rune(words)
	for len(runes) > 0 && Width(string(runes)+Ellipsis, size, bold) > width {
		runes = runes[:len(runes)-1]
	}
	return strings.TrimSpace(string(runes)) + Ellipsis
}

// Wrapped breaks a text into at most most lines no wider than width; what does
// not fit is cut off with dots.
func Wrapped(words string, width, size float64, most int) []string {
	var lines []string
	line := ""
	for _, word := range pieces(Clean(words), width, size) {
		next := strings.TrimSpace(line + " " + word)
		if line == "" || Width(next, size, false) <= width {
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
	lines[most-1] = Shortened(lines[most-1]+" "+Ellipsis, width, size, false)
	return lines
}

// pieces splits a text at its blanks, and words wider than width wherever they
// reach it.
func pieces(words string, width, size float64) []string {
	var out []string
	for _, word := range strings.Fields(words) {
		runes := []rune(word)
		for Width(string(runes), size, false) > width && len(runes) > 1 {
			n := 1
			for Width(string(runes[:n+1]), size, false) <= width {
				n++
			}
			out, runes = append(out, string(runes[:n])), runes[n:]
		}
		out = append(out, string(runes))
	}
	return out
}
