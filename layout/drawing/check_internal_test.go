package drawing

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"regexp"
	"slices"
	"strings"

	"lotwright/layout"
	"lotwright/layout/paper"
)

// tester is what the checks need of *testing.T and *rapid.T.
type tester interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

// drawn is a picture read back.
type drawn struct {
	texts    []string // in order
	field    []string // those inside a clipped part
	titles   []string
	elements map[string]int
	marks    []mark
}

// mark is an element with its attributes.
type mark struct {
	name       string
	attributes map[string]string
	depth      int // of clipped parts around it
}

func render(t tester, p *page) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := p.WriteSVG(&b); err != nil {
		t.Fatalf("writing: %v", err)
	}
	return b.Bytes()
}

var (
	allowedElements = []string{"svg", "title", "desc", "g", "rect", "path", "circle", "text"}
	// Nothing that runs, and nothing that points anywhere.
	allowedAttributes = []string{"xmlns", "role", "width", "height", "viewBox", "font-family", "x", "y", "cx", "cy", "r", "d",
		"fill", "fill-rule", "fill-opacity", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap", "stroke-linejoin",
		"font-size", "font-weight", "text-anchor", "transform", "overflow"}
	numbersOnly = regexp.MustCompile(`^[-0-9. MLZ]*$`)
)

// readBack walks the markup, strictly, and checks that it holds only what
// pictures are made of.
func readBack(t tester, data []byte) drawn {
	t.Helper()
	out := drawn{elements: map[string]int{}}
	dec := xml.NewDecoder(bytes.NewReader(data))
	var open []string
	depth := 0
	for {
		token, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		switch tok := token.(type) {
		case xml.StartElement:
			open = append(open, tok.Name.Local)
			if tok.Name.Local == "svg" {
				depth++
			}
			out.note(t, tok, depth)
		case xml.EndElement:
			open = open[:len(open)-1]
			if tok.Name.Local == "svg" {
				depth--
			}
		case xml.CharData:
			out.words(open, string(tok), depth)
		case xml.ProcInst, xml.Directive, xml.Comment:
			t.Errorf("unexpected %T in the picture", tok)
		}
	}
}

func (d *drawn) note(t tester, e xml.StartElement, depth int) {
	d.elements[e.Name.Local]++
	if !slices.Contains(allowedElements, e.Name.Local) {
		t.Errorf("element %s", e.Name.Local)
	}
	m := mark{e.Name.Local, map[string]string{}, depth}
	for _, a := range e.Attr {
		m.attributes[a.Name.Local] = a.Value
		if !slices.Contains(allowedAttributes, a.Name.Local) {
			t.Errorf("attribute %s of %s", a.Name.Local, e.Name.Local)
		}
		if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") || strings.Contains(a.Value, "url(") {
			t.Errorf("%s=%q of %s", a.Name.Local, a.Value, e.Name.Local)
		}
		if a.Name.Local == "d" && !numbersOnly.MatchString(a.Value) {
			t.Errorf("path data %q", a.Value)
		}
	}
	d.marks = append(d.marks, m)
}

func (d *drawn) words(open []string, words string, depth int) {
	if len(open) == 0 {
		return
	}
	switch open[len(open)-1] {
	case "text":
		d.texts = append(d.texts, words)
		if depth > 1 {
			d.field = append(d.field, words)
		}
	case "title":
		d.titles = append(d.titles, words)
	}
}

// checkPage checks what must hold of every picture: well-formed, harmless, no
// text off the page and none on another.
func checkPage(t tester, p *page) drawn {
	t.Helper()
	out := readBack(t, render(t, p))
	sheet := paper.Box{Left: 0, Top: 0, Right: p.Width, Bottom: p.Height}
	for i, q := range p.Texts {
		if !q.Within(sheet) {
			t.Errorf("text %q runs off the page: %v", out.texts[i], q)
		}
		for j, r := range p.Texts[:i] {
			if q.Bounds().Meets(r.Bounds()) && q.Overlaps(r) {
				t.Errorf("text %q overlaps %q", out.texts[i], out.texts[j])
			}
		}
	}
	if len(out.texts) != len(p.Texts) {
		t.Errorf("%d texts drawn, %d accounted for", len(out.texts), len(p.Texts))
	}
	if len(out.titles) == 0 || out.titles[0] == "" {
		t.Errorf("no title")
	}
	return out
}

// checkHeadLabels checks that each head is named exactly once in the plan.
func checkHeadLabels(t tester, out drawn, d *layout.Design) {
	t.Helper()
	for _, h := range d.Heads {
		n := 0
		for _, words := range out.field {
			if words == h.Label {
				n++
			}
		}
		if n != 1 {
			t.Errorf("head %s is named %d times", h.Label, n)
		}
	}
}
