package sheet

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/paper"
)

// recorder is a canvas that keeps what is laid down.
type recorder struct {
	texts []paper.Label // all words
	plan  []string      // those inside a clipped part
	paths []painted
	depth int
}

type painted struct {
	chains [][]paper.Vec
	look   paper.Look
}

func (r *recorder) Path(chains [][]paper.Vec, _ bool, l paper.Look) {
	r.paths = append(r.paths, painted{chains, l})
}
func (r *recorder) Rect(b paper.Box, l paper.Look) {
	r.Path([][]paper.Vec{b.Corners().List()}, true, l)
}
func (r *recorder) Circle(paper.Vec, float64, paper.Look) {}
func (r *recorder) Text(l paper.Label) {
	r.texts = append(r.texts, l)
	if r.depth > 0 {
		r.plan = append(r.plan, l.Words)
	}
}
func (r *recorder) Clip(paper.Box)       { r.depth++ }
func (r *recorder) Unclip()              { r.depth-- }
func (r *recorder) About(string, string) {}
func (r *recorder) Open()                {}
func (r *recorder) Close()               {}

func record(p *paper.Page) *recorder {
	r := &recorder{}
	p.Paint(r)
	return r
}

func (r *recorder) words() []string {
	out := make([]string, len(r.texts))
	for i, l := range r.texts {
		out[i] = l.Words
	}
	return out
}

// flat returns all words of pages, lines joined.
func flat(pages []*paper.Page) string {
	var all []string
	for _, p := range pages {
		all = append(all, record(p).words()...)
	}
	return strings.Join(all, " ")
}

// overlaps lists the pairs of texts of a page that overlap, and the texts that
// run off it or into its margin.
func overlaps(p *paper.Page) (out []string) {
	const leastMargin = 25 // a quarter of an inch, what printers leave
	sheet := paper.Box{Right: p.Width, Bottom: p.Height}.Inset(leastMargin)
	texts := record(p).texts
	quads := make([]paper.Quad, len(texts))
	for i, l := range texts {
		quads[i] = l.Quad()
		if !quads[i].Within(sheet) {
			out = append(out, "off the page: "+l.Words)
		}
		for j := range i {
			if quads[i].Bounds().Meets(quads[j].Bounds()) && quads[i].Overlaps(quads[j]) {
				out = append(out, l.Words+" over "+texts[j].Words)
			}
		}
	}
	return out
}

// leastLetters is 6 pt, in page units.
const leastLetters = 6 / 0.72

// checkPages checks what must hold of every sheet: no text on another or off the
// page, none too small to read, and pages numbered.
func checkPages(t *testing.T, s *Sheet) {
	t.Helper()
	for i, p := range s.Pages {
		assert.Empty(t, overlaps(p), "lot %s, page %d", s.ID, i+1)
		for _, l := range record(p).texts {
			assert.GreaterOrEqual(t, l.Size, leastLetters, l.Words)
		}
	}
}

func sheetOf(t *testing.T, in Lot, s Settings) *Sheet {
	t.Helper()
	out, err := New(in, s)
	require.NoError(t, err)
	checkPages(t, out)
	return out
}

// The check itself sees what it is there for.
func TestOverlapsAreSeen(t *testing.T) {
	p := settings.blankPage()
	p.Text(paper.Label{At: paper.At(100, 100), Words: "one", Size: 10})
	p.Text(paper.Label{At: paper.At(100, 120), Words: "below", Size: 10})
	assert.Empty(t, overlaps(p))
	p.Text(paper.Label{At: paper.At(105, 105), Words: "two", Size: 10})
	assert.Equal(t, []string{"two over one"}, overlaps(p))
	p.Text(paper.Label{At: paper.At(845, 400), Words: "off", Size: 10})
	assert.Len(t, overlaps(p), 2)
}
