package sheet

import (
	"slices"

	"lotwright/layout/paper"
)

// Align says how the cells of a column stand.
type Align int

// The alignments.
const (
	AlignLeft Align = iota
	AlignRight
)

// Table is rows of words under a head. It is set in a column of the page, or
// across it where it needs more room, and goes on over as many pages as it needs
// with its head repeated. A table without rows and note is left out.
type Table struct {
	Title string
	Note  string // in small type below the title
	Head  []string
	Align []Align // of each column; a short list leaves the rest to the left
	Rows  [][]string
	Sums  int // how many of the last rows are totals, set in bold below a line

	pad float64 // left and right of a cell's words
}

const (
	cellSize    = 10.2
	cellLeading = 13.0
	cellPad     = 5.5 // left and right of a cell's words
	tightPad    = 2.5 // the same where that keeps a table in its column
	rowPad      = 3.0 // above and below them
	leastColumn = 22.0
	mostCell    = 30 // lines of a cell, however long
)

// table sets a table.
func (f *flow) table(t Table) {
	if len(t.Rows) == 0 && t.Note == "" {
		return
	}
	t.pad = cellPad
	widths := naturalWidths(t)
	across := false
	if sum(widths) > f.columnWidth() {
		t, widths, across = f.squeezed(t)
	}
	f.band(across)
	_, width := f.column()
	for i, columns := range columnGroups(widths, width) {
		part := t.columns(columns)
		if i > 0 {
			part.Title, part.Note = t.Title+" (more columns)", ""
		}
		f.tablePart(part, fitted(pick(widths, columns), width))
	}
}

// What a table may be squeezed to go into a column.
const (
	leastWrapped = 80.0 // of a column whose words are wrapped
	mostTaller   = 1.6  // in the column over across the page: it takes half the room
)

// squeezed decides on a table that is too wide for a column: it goes there with
// less room around its words, and the widest columns wrapped, unless that makes
// it too tall.
func (f *flow) squeezed(t Table) (out Table, widths []float64, across bool) {
	tight := t
	tight.pad = tightPad
	natural := naturalWidths(tight)
	narrow := fitted(natural, f.columnWidth())
	fits := sum(narrow) <= f.columnWidth()+1e-6 && !slices.ContainsFunc(pairs(narrow, natural), func(w [2]float64) bool {
		return w[0] < w[1] && w[0] < leastWrapped
	})
	wide := naturalWidths(t)
	if fits && tight.height(narrow) <= mostTaller*t.height(fitted(wide, f.content.Width())) {
		return tight, narrow, false
	}
	return t, wide, true
}

func pairs(a, b []float64) [][2]float64 {
	out := make([][2]float64, len(a))
	for i := range a {
		out[i] = [2]float64{a[i], b[i]}
	}
	return out
}

// height returns how high the rows of a table are at some widths.
func (t Table) height(widths []float64) (total float64) {
	for i, cells := range t.Rows {
		total += t.newRow(cells, widths, i >= len(t.Rows)-t.Sums).height
	}
	return total
}

// width counts the columns of a table.
func (t Table) width() int {
	n := len(t.Head)
	for _, r := range t.Rows {
		n = max(n, len(r))
	}
	return n
}

// columns returns the table of some columns.
func (t Table) columns(columns []int) Table {
	out := t
	out.Head, out.Align, out.Rows = pick(t.Head, columns), nil, nil
	for _, c := range columns {
		out.Align = append(out.Align, t.align(c))
	}
	for _, r := range t.Rows {
		out.Rows = append(out.Rows, pick(r, columns))
	}
	return out
}

func (t Table) align(column int) Align {
	if column < len(t.Align) {
		return t.Align[column]
	}
	return AlignLeft
}

// pick returns some elements of a list, zero where it has none.
func pick[T any](list []T, at []int) []T {
	out := make([]T, len(at))
	for i, k := range at {
		if k < len(list) {
			out[i] = list[k]
		}
	}
	return out
}

// naturalWidths returns how wide each column would like to be.
func naturalWidths(t Table) []float64 {
	out := make([]float64, t.width())
	for c := range out {
		out[c] = leastColumn
	}
	grow := func(r []string, bold bool) {
		for c, words := range r {
			out[c] = max(out[c], paper.Width(paper.Clean(words), cellSize, bold)+2*t.pad)
		}
	}
	grow(t.Head, true)
	for i, r := range t.Rows {
		grow(r, i >= len(t.Rows)-t.Sums)
	}
	return out
}

func sum(list []float64) (total float64) {
	for _, v := range list {
		total += v
	}
	return total
}

// widest is the share of the room that no column needs to exceed while others
// want room.
const widest = 1.0 / 3

// columnGroups deals columns out to tables that the room is wide enough for, each
// with the first column for a start.
func columnGroups(natural []float64, room float64) [][]int {
	if len(natural) == 0 {
		return nil
	}
	need := func(c int) float64 { return min(natural[c], room*widest) }
	groups := [][]int{{0}}
	used := need(0)
	for c := 1; c < len(natural); c++ {
		last := &groups[len(groups)-1]
		if used+need(c) > room && len(*last) > 1 {
			groups = append(groups, []int{0})
			last = &groups[len(groups)-1]
			used = need(0)
		}
		*last = append(*last, c)
		used += need(c)
	}
	return groups
}

// fitted narrows the widest columns until all go into the room, and stretches
// nothing.
func fitted(natural []float64, room float64) []float64 {
	out := slices.Clone(natural)
	if sum(out) <= room {
		return out
	}
	low, high := 0.0, room
	for range 40 { // the level at which to cut off, by halving
		level := (low + high) / 2
		if sum(cutOff(natural, level)) > room {
			high = level
		} else {
			low = level
		}
	}
	return cutOff(natural, low)
}

func cutOff(list []float64, level float64) []float64 {
	out := make([]float64, len(list))
	for i, v := range list {
		out[i] = min(v, level)
	}
	return out
}

// row is a row ready to be set.
type row struct {
	cells  [][]string // lines
	bold   bool
	height float64
}

func (t Table) newRow(cells []string, widths []float64, bold bool) row {
	r := row{bold: bold}
	lines := 1
	for c, words := range cells {
		l := wrapped(words, widths[c]-2*t.pad+1e-6, cellSize, bold, mostCell)
		if paper.Width(paper.Clean(words), cellSize, bold) <= widths[c]-2*t.pad+1e-6 {
			l = []string{words}
		}
		lines = max(lines, len(l))
		r.cells = append(r.cells, l)
	}
	r.height = float64(lines)*cellLeading + 2*rowPad
	return r
}

// tablePart sets a table whose columns all go into the room.
func (f *flow) tablePart(t Table, widths []float64) {
	head := t.newRow(t.Head, widths, true)
	var rows []row
	for i, cells := range t.Rows {
		rows = append(rows, t.newRow(cells, widths, i >= len(t.Rows)-t.Sums))
	}
	first := head.height
	for _, r := range rows[:min(2, len(rows))] {
		first += r.height
	}
	f.heading(t.Title, first+f.noteHeight(t.Note))
	if t.Note != "" {
		f.paragraph(t.Note)
		f.y += rowPad
	}
	if len(rows) == 0 {
		return
	}
	f.headRow(t, head, widths)
	for i, r := range rows {
		if !f.fits(r.height) {
			f.turnTable(t, head, widths)
		}
		if i > 0 && i == len(rows)-t.Sums {
			f.rule(widths, thin)
		}
		f.row(t, r, widths)
	}
	f.rule(widths, thin)
}

// turnTable goes on with a table in the next column or page.
func (f *flow) turnTable(t Table, head row, widths []float64) {
	f.next()
	left, width := f.column()
	words := paper.Shortened(t.Title, width-paper.Width(continued, bodySize, true), bodySize, true) + continued
	f.page.Text(paper.Label{At: paper.At(left, f.y+bodySize), Words: words, Size: bodySize, Bold: true})
	f.y += bodyLeading + rowPad
	f.headRow(t, head, widths)
}

const continued = ", continued"

func (f *flow) noteHeight(words string) float64 {
	_, width := f.column()
	return float64(len(wrapped(words, width, bodySize, false, mostLines))) * bodyLeading
}

func (f *flow) rule(widths []float64, l paper.Look) {
	left, _ := f.column()
	f.page.Line(paper.At(left, f.y), paper.At(left+sum(widths), f.y), l)
}

func (f *flow) headRow(t Table, head row, widths []float64) {
	left, _ := f.column()
	f.page.Rect(paper.Box{Left: left, Top: f.y, Right: left + sum(widths), Bottom: f.y + head.height}, paper.Look{Fill: paleGrey})
	f.rule(widths, heavy)
	f.row(t, head, widths)
	f.rule(widths, thin)
}

// row sets a row and a faint line below it.
func (f *flow) row(t Table, r row, widths []float64) {
	x, _ := f.column()
	for c, lines := range r.cells {
		l := paper.Label{Size: cellSize, Bold: r.bold, At: paper.At(x+t.pad, f.y+rowPad+cellSize)}
		if t.align(c) == AlignRight {
			l.Anchor, l.At.X = paper.AtEnd, x+widths[c]-t.pad
		}
		for _, words := range lines {
			l.Words = words
			f.page.Text(l)
			l.At.Y += cellLeading
		}
		x += widths[c]
	}
	f.y += r.height
	f.rule(widths, faint)
}
