package sheet

import (
	"errors"
	"fmt"
	"io"

	"lotwright/layout"
	"lotwright/layout/drawing"
	"lotwright/layout/paper"
)

// Book binds the sheets of a batch: totals, an index map, the sheets in the order
// they come, and an index of lots. A sheet is laid down when it is added and not
// kept; of a lot only its outline and a few figures are.
type Book struct {
	settings Settings
	doc      *document
	lots     []indexed
	written  bool
}

// indexed is what a book remembers of a lot.
type indexed struct {
	id      string
	status  layout.Status
	heads   int
	trench  layout.Length
	pipe    layout.Length
	lawnM2  float64
	page    int // in the book, where its sheet begins
	outline outline
}

// The pages before the first sheet. What is on them is known only in the end, so
// they are left blank at first.
const (
	totalsPage = iota + 1
	mapPage
)

// MostLots is how many lots a book should hold: while it is open it takes about
// 150 kB a lot, and twice that while it is written, since the PDF library keeps
// all pages until the end. A larger batch goes into several books.
const MostLots = 500

// Full reports whether the book holds [MostLots] lots.
func (b *Book) Full() bool { return len(b.lots) >= MostLots }

// NewBook begins a book.
func NewBook(s Settings) *Book {
	b := &Book{settings: s, doc: newDocument(s, "Field sheets")}
	for _, title := range []string{"Totals", "Index map"} {
		b.doc.blank()
		b.doc.bookmark(title)
	}
	return b
}

// Add adds the sheet of a lot, made with the settings of the book.
func (b *Book) Add(in Lot, s *Sheet) error {
	if in.Design == nil || len(s.Pages) == 0 {
		return errNoDesign
	}
	d := in.Design
	b.lots = append(b.lots, indexed{
		id: s.ID, status: d.Status, heads: len(d.Heads), trench: d.Network.TrenchLength, pipe: d.Network.PipeLength,
		lawnM2: d.IrrigatedArea, page: b.doc.count() + 1, outline: newOutline(in.Lot),
	})
	for i, p := range s.Pages {
		b.page(p)
		if i == 0 {
			b.doc.bookmark("Lot " + s.ID)
		}
	}
	return nil
}

// page adds a page with its number in the book.
func (b *Book) page(p *paper.Page) {
	number := b.doc.count() + 1
	b.doc.add(p)
	b.doc.over(func(c paper.Canvas) { bookNumber(b.settings, number).Paint(c) })
}

func bookNumber(s Settings, number int) *paper.Page {
	p, b := &paper.Page{}, s.content()
	p.Text(paper.Label{At: paper.At(b.Right, b.Bottom+16), Words: fmt.Sprint(number), Size: footSize, Bold: true, Anchor: paper.AtEnd})
	return p
}

var errWritten = errors.New("sheet: the book is written already")

// Write ends the book and writes it as PDF. The tables follow the totals of the
// book's own. The same sheets give the same bytes.
func (b *Book) Write(w io.Writer, tables ...Table) error {
	if b.written {
		return errWritten
	}
	b.written = true
	totals := b.totals(tables)
	b.doc.fill(totalsPage, totals[0])
	index, links := b.indexMap()
	b.doc.fill(mapPage, index)
	b.doc.link(mapPage, links)
	for _, p := range totals[1:] {
		b.page(p)
	}
	for i, p := range b.index() {
		b.page(p)
		if i == 0 {
			b.doc.bookmark("Index of lots")
		}
	}
	return b.doc.write(w)
}

// totals sets the figures of the batch and the tables given.
func (b *Book) totals(tables []Table) []*paper.Page {
	f := newFlow(b.settings)
	f.cover(b.settings)
	f.table(b.sums())
	for _, t := range tables {
		f.table(t)
	}
	for i, p := range f.pages {
		frameNumbered(p, b.settings, "totals", i+1, len(f.pages))
	}
	return f.pages
}

// cover writes what the book is, in large letters.
func (f *flow) cover(s Settings) {
	const size, leading = 26.0, 34.0
	f.band(true)
	left, width := f.column()
	f.y += leading
	f.page.Text(paper.Label{At: paper.At(left, f.y), Words: "Field sheets", Size: size, Bold: true})
	for _, line := range wrapped(s.Job, width, titleSize, false, 3) {
		f.y += titleLeading
		f.page.Text(paper.Label{At: paper.At(left, f.y), Words: line, Size: titleSize})
	}
	f.y += blockGap
}

// sums is the table of what the book can add up itself, by status.
func (b *Book) sums() Table {
	u := b.settings.Units
	t := Table{Title: "Lots", Head: []string{"Status", "Lots", "Heads", "Trench", "Pipe", "Lawn"}, Sums: 1,
		Align: []Align{AlignLeft, AlignRight, AlignRight, AlignRight, AlignRight, AlignRight},
		Note:  "Heads, trench and pipe of lots not designed are those of the best found."}
	var all indexed
	for _, s := range []layout.Status{layout.StatusDesigned, layout.StatusInfeasible, layout.StatusInvalid, layout.StatusFailed} {
		lots, total := b.sum(s)
		if lots > 0 {
			t.Rows = append(t.Rows, sumRow(drawing.StatusWords(s), lots, total, u))
		}
		all = all.plus(total)
	}
	t.Rows = append(t.Rows, sumRow("All", len(b.lots), all, u))
	return t
}

func (b *Book) sum(s layout.Status) (lots int, total indexed) {
	for _, l := range b.lots {
		if l.status == s {
			lots++
			total = total.plus(l)
		}
	}
	return lots, total
}

func (l indexed) plus(m indexed) indexed {
	return indexed{heads: l.heads + m.heads, trench: l.trench + m.trench, pipe: l.pipe + m.pipe, lawnM2: l.lawnM2 + m.lawnM2}
}

func sumRow(name string, lots int, total indexed, u Units) []string {
	return []string{name, drawing.Decimal(float64(lots), 0), drawing.Decimal(float64(total.heads), 0),
		u.length(total.trench), u.length(total.pipe), u.area(total.lawnM2)}
}

// index sets the list of lots with their pages in the book.
func (b *Book) index() []*paper.Page {
	t := Table{Title: "Index of lots", Head: []string{"Lot", "Status", "Heads", "Trench", "Page"},
		Align: []Align{AlignLeft, AlignLeft, AlignRight, AlignRight, AlignRight}}
	for _, l := range b.lots {
		t.Rows = append(t.Rows, []string{paper.Shortened(l.id, indexID, cellSize, false), drawing.StatusWords(l.status),
			fmt.Sprint(l.heads), b.settings.Units.length(l.trench), fmt.Sprint(l.page)})
	}
	f := newFlow(b.settings)
	f.table(t)
	for i, p := range f.pages {
		frameNumbered(p, b.settings, "index of lots", i+1, len(f.pages))
	}
	return f.pages
}

// indexID is the room of a lot's id in the index, in page units.
const indexID = 105.0
