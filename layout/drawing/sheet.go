package drawing

import (
	"fmt"
	"io"
	"math"
	"strings"

	"lotwright/layout"
)

// Item is one lot of a contact sheet. Lot may be nil where the input gave no
// usable outline; a nil Design means that none was made.
type Item struct {
	Lot    *layout.Lot
	Design *layout.Design
}

// Sizes on a contact sheet, in page units.
const (
	sheetMargin  = 25.0
	cellGap      = 6.0
	widestCell   = 260.0
	captionSize  = 8.5
	captionLines = 2
	captionLead  = 11.0
	cellShape    = 0.92 // height of a cell's plan, as a share of its width
	sheetTitle   = 20.0
	totalsSize   = 11.0
)

// ContactSheet draws a batch of lots as small plans in rows, in the order
// given, each fitted to its cell with north up; under each stand its id, heads
// and coverage, or what became of it. A header gives the totals. The sheet is
// as long as its lots need.
func ContactSheet(w io.Writer, title string, items []Item) error {
	return contactSheet(title, items).writeTo(w)
}

func contactSheet(title string, items []Item) *page {
	p := &page{width: sheetWidth, decimals: 1}
	y := p.sheetHeader(title, items)
	g := newGrid(len(items), y)
	for i, it := range items {
		p.cell(it, g.cell(i))
	}
	p.height = math.Ceil(g.bottom(len(items)) + sheetMargin)
	return p.onWhite()
}

// onWhite puts a finished page's contents on a white ground.
func (p *page) onWhite() *page {
	under := &page{width: p.width, height: p.height, decimals: p.decimals, texts: p.texts}
	under.rect(box{0, 0, p.width, p.height}, look{fill: white})
	under.body.Write(p.body.Bytes())
	return under
}

// grid is how cells are laid out.
type grid struct {
	columns       int
	top           float64
	width, height float64
}

// newGrid chooses how many plans stand in a row: the more lots, the smaller,
// down to ten in a row.
func newGrid(n int, top float64) grid {
	columns := 10
	for _, step := range []struct{ upTo, columns int }{{4, 4}, {15, 5}, {24, 6}, {60, 8}} {
		if n <= step.upTo {
			columns = step.columns
			break
		}
	}
	width := (sheetWidth - 2*sheetMargin - cellGap*float64(columns-1)) / float64(columns)
	return grid{columns, top, width, width*cellShape + captionLead*captionLines + 6}
}

func (g grid) cell(i int) box {
	left := sheetMargin + float64(i%g.columns)*(g.width+cellGap)
	top := g.top + float64(i/g.columns)*(g.height+cellGap)
	return box{left, top, left + g.width, top + g.height}
}

func (g grid) bottom(n int) float64 {
	if n == 0 {
		return g.top
	}
	return g.cell(n - 1).bottom
}

// totals are the figures of a batch.
type totals struct {
	lots     int
	byStatus map[layout.Status]int
	heads    int // of designed lots
	trench   layout.Length
	lawnM2   float64
}

func totalsOf(items []Item) totals {
	t := totals{lots: len(items), byStatus: map[layout.Status]int{}}
	for _, it := range items {
		d := designOf(it)
		t.byStatus[d.Status]++
		if d.Status == layout.StatusDesigned {
			t.heads += len(d.Heads)
			t.trench += d.Network.TrenchLength
			t.lawnM2 += d.IrrigatedArea
		}
	}
	return t
}

// designOf returns an item's design, an empty one of no status where there is
// none.
func designOf(it Item) *layout.Design {
	switch {
	case it.Design != nil:
		return it.Design
	case it.Lot != nil:
		return &layout.Design{LotID: it.Lot.ID}
	}
	return &layout.Design{}
}

func (t totals) words() string {
	var by []string
	for _, s := range statuses() {
		if n := t.byStatus[s]; n > 0 {
			by = append(by, fmt.Sprintf("%s %s", decimal(float64(n), 0), strings.ToLower(statusWords(s))))
		}
	}
	out := counted(t.lots, "lot")
	if len(by) > 0 {
		out += ": " + strings.Join(by, ", ")
	}
	if t.byStatus[layout.StatusDesigned] > 0 {
		out += fmt.Sprintf(" · designed lots: %s, %s of lawn, %s of trench", counted(t.heads, "head"), areaWords(t.lawnM2), lengthWords(t.trench))
	}
	return out
}

// sheetHeader writes title, totals and the legend of statuses, and returns
// where the cells begin.
func (p *page) sheetHeader(title string, items []Item) float64 {
	t := totalsOf(items)
	if clean(title) == "" {
		title = "Sprinkler plans"
	}
	p.about(clean(title), t.words())
	width := sheetWidth - 2*sheetMargin
	y := sheetMargin + sheetTitle
	p.text(label{at: vec{sheetMargin, y}, words: shortened(title, width, sheetTitle, true), size: sheetTitle, bold: true})
	y += 8
	for _, line := range wrapped(t.words(), width, totalsSize, 3) {
		y += totalsSize + 4
		p.text(label{at: vec{sheetMargin, y}, words: line, size: totalsSize})
	}
	return p.sheetLegend(y+20, t) + 12
}

// flow sets legend entries in lines from left to right.
type flow struct {
	*page
	x, y float64
}

const (
	flowSize    = 9.0
	flowLeading = 15.0
	flowSwatch  = 16.0
	flowGap     = 12.0
)

// entry makes room for a sample and its word, on the next line where this one
// is full.
func (f *flow) entry(words string, sample func(p *page, b box)) {
	wide := flowSwatch + 4 + textWidth(words, flowSize, false)
	if f.x > sheetMargin && f.x+wide > sheetWidth-sheetMargin {
		f.x, f.y = sheetMargin, f.y+flowLeading
	}
	sample(f.page, box{f.x, f.y - 9, f.x + flowSwatch, f.y + 1})
	f.text(label{at: vec{f.x + flowSwatch + 4, f.y}, words: words, size: flowSize})
	f.x += wide + flowGap
}

// sheetLegend explains the statuses that occur and what the small plans show;
// it returns its last base line.
func (p *page) sheetLegend(y float64, t totals) float64 {
	f := &flow{p, sheetMargin, y}
	for _, s := range statuses() {
		if t.byStatus[s] > 0 {
			f.entry(statusWords(s), func(p *page, b box) { drawStatus(p, b.centre(), 5, s) })
		}
	}
	for _, a := range []areaStyle{lawn, paving, building, wetted, dryArea} {
		small := a.forSmall(a.name == dryArea.name)
		f.entry(a.name, func(p *page, b box) { p.area([][]vec{b.corners().list()}, small, b) })
	}
	f.entry("Head", func(p *page, b box) { drawSmallHead(p, b.centre()) })
	f.entry("Trench", func(p *page, b box) {
		p.line(vec{b.left, b.centre().y}, vec{b.right, b.centre().y}, trenchSoil.look.thinner())
	})
	f.entry("North up, scales differ", drawSmallNorth)
	return f.y
}

// cell draws one lot's small plan and caption.
func (p *page) cell(it Item, b box) {
	d := designOf(it)
	p.raw("<g>")
	p.about("Lot "+clean(d.LotID), summary(d))
	picture := box{b.left, b.top, b.right, b.bottom - captionLead*captionLines - 6}
	p.smallPlan(it.Lot, d, picture)
	p.rect(b, statusFrame(d.Status))
	p.caption(d, b, picture.bottom)
	p.raw("</g>")
}

func (p *page) smallPlan(lot *layout.Lot, d *layout.Design, b box) {
	const margin = 5.0
	bounds, ok := extent(lot, d)
	if !ok {
		p.text(label{at: b.centre(), words: "no outline", size: captionSize, anchor: atMiddle, colour: darkGrey})
		return
	}
	v := fit(bounds, b.inset(margin), false)
	v.frame = b
	pt := &painter{page: p, view: v, small: true}
	p.clipped(b, func() { pt.lot(lot, d) })
}

// caption writes id and result under a small plan.
func (p *page) caption(d *layout.Design, b box, top float64) {
	const r, pad = 4.0, 5.0
	width := b.width() - 2*pad
	y := top + captionLead
	drawStatus(p, vec{b.left + pad + r, y - 3}, r, d.Status)
	words := shortened(d.LotID, width-2*r-pad, captionSize, true)
	p.text(label{at: vec{b.left + 2*r + 2*pad, y}, words: words, size: captionSize, bold: true})
	words = shortened(resultWords(d), width, captionSize, false)
	p.text(label{at: vec{b.left + pad, y + captionLead}, words: words, size: captionSize})
}

// resultWords is what a caption says of a design.
func resultWords(d *layout.Design) string {
	heads := counted(len(d.Heads), "head")
	switch {
	case d.Status == layout.StatusDesigned, d.Status == layout.StatusInfeasible && len(d.Heads) > 0:
		return heads + ", " + percent(d.Coverage)
	case d.Reason != "":
		return d.Reason
	}
	return strings.ToLower(statusWords(d.Status))
}
