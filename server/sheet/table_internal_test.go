package sheet

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"lotwright/layout/paper"
)

// numbered is a table of n rows, each cell with a word of its own.
func numbered(n, columns int) Table {
	t := Table{Title: "Numbered", Align: []Align{AlignLeft, AlignRight}}
	for c := range columns {
		t.Head = append(t.Head, fmt.Sprintf("Col%d", c))
	}
	for i := range n {
		var cells []string
		for c := range columns {
			cells = append(cells, fmt.Sprintf("r%dc%d", i, c))
		}
		t.Rows = append(t.Rows, cells)
	}
	return t
}

// Every row is there once, and every piece of the table has the head.
func TestTablesGoOn(t *testing.T) {
	for _, columns := range []int{2, 5, 12, 40} {
		f := newFlow(settings)
		f.table(numbered(300, columns))
		pieces, seen := 0, map[string]int{}
		for _, p := range f.pages {
			assert.Empty(t, overlaps(p), "%d columns", columns)
			for _, words := range record(p).words() {
				seen[words]++
				if words == "Col0" {
					pieces++
				}
			}
		}
		assert.Greater(t, len(f.pages), 1)
		titles := 0
		for words, n := range seen {
			if strings.HasPrefix(words, "Numbered") {
				titles += n
			}
		}
		assert.Equal(t, titles, pieces, "a head below each title")
		assert.Greater(t, pieces, 2)
		for i := range 300 {
			for c := 1; c < columns; c++ {
				assert.Equal(t, 1, seen[fmt.Sprintf("r%dc%d", i, c)])
			}
		}
	}
}

func TestNarrowTablesStandInAColumn(t *testing.T) {
	f := newFlow(settings)
	f.table(numbered(3, 2))
	assert.False(t, f.across)
	f.table(numbered(3, 12))
	assert.True(t, f.across)
	f.table(numbered(3, 2))
	assert.False(t, f.across)
	assert.Len(t, f.pages, 1)
	assert.Empty(t, overlaps(f.page))
}

// A table of months fits a column with less room between its figures.
func TestTightTable(t *testing.T) {
	months := Table{Title: "Minutes", Head: strings.Fields("Zone Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec"),
		Rows: [][]string{strings.Fields("1 0 0 12 15 22 33 34 30 20 10 4 0")}}
	f := newFlow(settings)
	f.table(months)
	assert.False(t, f.across)
	assert.Empty(t, overlaps(f.page))
}

// A table with one long column is wrapped into a column where that does not make
// it much taller.
func TestWrappedTable(t *testing.T) {
	short, long := strings.Repeat("H1 H2 ", 8), strings.Repeat("H1 H2 ", 120)
	table := Table{Title: "Parts", Head: []string{"Part", "Size", "For"}}
	for range 20 {
		table.Rows = append(table.Rows, []string{"tee", "3/4 in", "H1"})
	}
	for words, across := range map[string]bool{short: false, long: true} {
		f, tried := newFlow(settings), table
		tried.Rows = append(slices.Clone(table.Rows), []string{"elbow", "1 in", words})
		for range 12 {
			if across {
				tried.Rows = append(tried.Rows, tried.Rows[20])
			}
		}
		f.table(tried)
		assert.Equal(t, across, f.across, words)
		for _, p := range f.pages {
			assert.Empty(t, overlaps(p))
		}
		assert.Contains(t, flat(f.pages), "H1 H2")
	}
}

func TestRightAlignedAndTotals(t *testing.T) {
	table := numbered(4, 3)
	table.Sums = 1
	f := newFlow(settings)
	f.table(table)
	for _, l := range record(f.page).texts {
		switch {
		case strings.HasSuffix(l.Words, "c1"), l.Words == "Col1":
			assert.Equal(t, paper.AtEnd, l.Anchor)
		case strings.HasSuffix(l.Words, "c2"):
			assert.NotEqual(t, paper.AtEnd, l.Anchor, "a short list of alignments leaves the rest")
		}
		if strings.HasPrefix(l.Words, "r") {
			assert.Equal(t, strings.HasPrefix(l.Words, "r3"), l.Bold, "the total is bold")
		}
	}
}

// Anything goes into a table and stays apart.
func TestAnyTable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		columns := rapid.IntRange(0, 30).Draw(t, "columns")
		cells := rapid.SliceOfN(rapid.OneOf(rapid.String(), rapid.Just(strings.Repeat("W", 90)), rapid.Just("12 ft 3 1/4 in")), columns, columns)
		table := Table{Title: rapid.String().Draw(t, "title"), Note: rapid.String().Draw(t, "note"), Head: cells.Draw(t, "head"), Sums: rapid.IntRange(0, 3).Draw(t, "sums")}
		for range rapid.IntRange(0, 60).Draw(t, "rows") {
			table.Rows = append(table.Rows, cells.Draw(t, "row"))
		}
		f := newFlow(Settings{Size: Size(rapid.IntRange(0, 1).Draw(t, "size"))})
		f.band(false)
		f.item("•", rapid.String().Draw(t, "before"))
		f.table(table)
		for _, p := range f.pages {
			if bad := overlaps(p); len(bad) > 0 {
				t.Fatal(bad)
			}
		}
	})
}

// What is drawn never takes more room than layout reckons with, whatever the
// letters.
func TestWordsFitTheirRoom(t *testing.T) {
	doc := newDocument(settings, "")
	doc.blank()
	c := &canvas{pdf: doc.pdf}
	check := func(l paper.Label) float64 {
		words := drawable(l.Words)
		width := c.fit(l, words)
		assert.InDelta(t, doc.pdf.GetStringWidth(words), width, 1e-6, "%q", l.Words)
		assert.LessOrEqual(t, width, pt(l.Box().Width())+1e-9, "%q bold=%v", l.Words, l.Bold)
		_, size := doc.pdf.GetFontSize()
		return size / pt(l.Size)
	}
	n, smaller := 0, 0
	for r := rune(' '); r <= lastPlain; r++ {
		if !covered()(r) {
			continue
		}
		for _, bold := range []bool{false, true} {
			if n++; check(paper.Label{Words: strings.Repeat(string(r), 9), Size: 10, Bold: bold}) < 1 {
				smaller++
			}
		}
	}
	assert.Greater(t, n, 1000)
	assert.Less(t, smaller, n/20)
	for _, words := range []string{"12 ft 3 1/4 in", "Trench in soil", "Which assembly the law asks for is not chosen here", "地块", "a\u0301\u0651b"} {
		assert.InDelta(t, 1, check(paper.Label{Words: words, Size: 10}), 1e-9, "%q is set as large as asked for", words)
	}
}

func TestFacesCoverWhatSheetsSay(t *testing.T) {
	for _, r := range "²°½¼–″‹›□·•…×≤≥" {
		assert.True(t, covered()(r), "%q", r)
	}
	assert.Equal(t, "a□b□", drawable("a地b🏡"))
	assert.Equal(t, "e", drawable("e\u0651"), "a mark without its letter")
}
