//go:build outside

package sheet

import (
	"encoding/json"
	"encoding/xml"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/paper"
)

func output(t *testing.T, name string, arguments ...string) string {
	t.Helper()
	out, err := exec.Command(name, arguments...).CombinedOutput()
	require.NoError(t, err, "%s: %s", name, out)
	return string(out)
}

func saved(t *testing.T, data []byte) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "sheet.pdf")
	require.NoError(t, os.WriteFile(name, data, 0o666))
	return name
}

// word is a word of a page with its box, as pdftotext -bbox finds it (Poppler,
// seen with 22.12).
type word struct {
	Left   float64 `xml:"xMin,attr"`
	Top    float64 `xml:"yMin,attr"`
	Right  float64 `xml:"xMax,attr"`
	Bottom float64 `xml:"yMax,attr"`
	Words  string  `xml:",chardata"`
}

type foundPage struct {
	Width  float64 `xml:"width,attr"`
	Height float64 `xml:"height,attr"`
	Words  []word  `xml:"word"`
}

func wordsIn(t *testing.T, file string) []foundPage {
	t.Helper()
	text := output(t, "pdftotext", "-bbox", file, "-")
	var doc struct {
		Pages []foundPage `xml:"body>doc>page"`
	}
	require.NoError(t, xml.Unmarshal([]byte(text), &doc))
	return doc.Pages
}

// Poppler finds every word where it was put: none on another by the metrics of
// the embedded faces, each head's name on the first page.
func TestPopplerReadsSheets(t *testing.T) {
	for _, in := range []Lot{yard("A-1"), manyHeads(60), yard(hostileIDs[2]), infeasible(), refused()} {
		for _, set := range []Settings{settings, metricSettings} {
			s := sheetOf(t, in, set)
			pages := wordsIn(t, saved(t, pdfOf(t, s)))
			require.Len(t, pages, len(s.Pages))
			for i, p := range pages {
				width, height := set.Size.page()
				assert.InDelta(t, pt(width), p.Width, 0.01)
				assert.InDelta(t, pt(height), p.Height, 0.01)
				assert.Empty(t, wordsOverlapping(p), "lot %s, page %d", s.ID, i+1)
			}
			assert.Greater(t, wordsInPlace(t, s.Pages[0], pages[0]), 2)
			for _, h := range in.Design.Heads {
				assert.True(t, slices.ContainsFunc(pages[0].Words, func(w word) bool { return w.Words == h.Label }), h.Label)
			}
		}
	}
}

// wordsInPlace checks that words that occur once stand where the page has them,
// and counts them.
func wordsInPlace(t *testing.T, p *paper.Page, found foundPage) (n int) {
	t.Helper()
	const halfPoint = 0.5 // what the first letter may keep off its place
	for _, l := range record(p).texts {
		same := func(w word) bool { return w.Words == l.Words }
		i := slices.IndexFunc(found.Words, same)
		if i < 0 || slices.ContainsFunc(found.Words[i+1:], same) || l.Anchor != "" {
			continue
		}
		n++
		w := found.Words[i]
		assert.InDelta(t, pt(l.At.X), w.Left, halfPoint, l.Words)
		assert.True(t, w.Top < pt(l.At.Y) && pt(l.At.Y) < w.Bottom, l.Words)
	}
	return n
}

// wordsOverlapping lists words that overlap. Boxes reach from the face's highest
// to its lowest letter, beyond what one word takes; an eighth is cut off at top
// and bottom.
func wordsOverlapping(p foundPage) (out []string) {
	for i, a := range p.Words {
		for _, b := range p.Words[:i] {
			cut := func(w word) (top, bottom float64) { h := w.Bottom - w.Top; return w.Top + h/8, w.Bottom - h/8 }
			aTop, aBottom := cut(a)
			bTop, bBottom := cut(b)
			if a.Left < b.Right-0.05 && b.Left < a.Right-0.05 && aTop < bBottom && bTop < aBottom {
				out = append(out, a.Words+" over "+b.Words)
			}
		}
	}
	return out
}

// A book is whole (qpdf --check, seen with 11.3), and its outline leads to the
// first page of each lot, where the index says.
func TestQPDFReadsTheBook(t *testing.T) {
	b := bound(t, subdivision(12), settings)
	var data strings.Builder
	require.NoError(t, b.Write(&data))
	file := saved(t, []byte(data.String()))
	assert.Contains(t, output(t, "qpdf", "--check", file), "No syntax or stream encoding errors found")
	var doc struct {
		Outlines []struct {
			Title string `json:"title"`
			Page  int    `json:"destpageposfrom1"`
		} `json:"outlines"`
	}
	require.NoError(t, json.Unmarshal([]byte(output(t, "qpdf", "--json", "--json-key=outlines", file)), &doc))
	require.Len(t, doc.Outlines, 2+12+1)
	assert.Equal(t, "Totals", doc.Outlines[0].Title)
	assert.Equal(t, "Index map", doc.Outlines[1].Title)
	assert.Equal(t, mapPage, doc.Outlines[1].Page)
	pages := wordsIn(t, file)
	for i, l := range b.lots {
		assert.Equal(t, "Lot "+l.id, doc.Outlines[2+i].Title)
		assert.Equal(t, l.page, doc.Outlines[2+i].Page)
		words := pages[l.page-1].Words
		assert.True(t, slices.ContainsFunc(words, func(w word) bool { return w.Words == l.id }), "lot %s on page %d", l.id, l.page)
		assert.Equal(t, fmt.Sprint(l.page), words[len(words)-1].Words, "the number of the page in the book")
	}
}
