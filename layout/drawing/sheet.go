package drawing

import (
	"fmt"
	"io"
	"math"
	"strings"

	"lotwright/layout"
	"lotwright/layout/paper"
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
	return contactSheet(title, items).WriteSVG(w)
}

func contactSheet(title string, items []Item) *page {
	p := newPage(sheetWidth, 0, 1)
	y := p.sheetHeader(title, items)
	g := newGrid(len(items), y)
	for i, it := range items {
		p.cell(it, g.cell(i))
	}
	p.Height = math.Ceil(g.bottom(len(items)) + sheetMargin)
	return p.onWhite()
}

// onWhite puts a finished page's contents on a white ground.
func (p *page) onWhite() *page {
	return &page{p.Over(func(under *paper.Page) {
		under.Rect(paper.Box{Right: p.Width, Bottom: p.Height}, paper.Look{Fill: white})
	})}
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

func (g grid) cell(i int) paper.Box {
	left := sheetMargin + float64(i%g.columns)*(g.width+cellGap)
	top := g.top + float64(i/g.columns)*(g.height+cellGap)
	return paper.Box{Left: left, Top: top, Right: left + g.width, Bottom: top + g.height}
}

func (g grid) bottom(n int) float64 {
	if n == 0 {
		return g.top
	}
	return g.cell(n - 1).Bottom
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
			by = append(by, fmt.Sprintf("%s %s", Decimal(float64(n), 0), strings.ToLower(StatusWords(s))))
		}
	}
	out := Counted(t.lots, "lot")
	if len(by) > 0 {
		out += ": " + strings.Join(by, ", ")
	}
	if t.byStatus[layout.StatusDesigned] > 0 {
		out += fmt.Sprintf(" · designed lots: %s, %s of lawn, %s of trench", Counted(t.heads, "head"), areaWords(t.lawnM2), lengthWords(t.trench))
	}
	return out
}

// sheetHeader writes title, totals and the legend of statuses, and returns
// where the cells begin.
func (p *page) sheetHeader(title string, items []Item) float64 {
	t := totalsOf(items)
	if paper.Clean(title) == "" {
		title = "Sprinkler plans"
	}
	p.About(paper.Clean(title), t.words())
	width := sheetWidth - 2*sheetMargin
	y := sheetMargin + sheetTitle
	p.Text(paper.Label{At: paper.At(sheetMargin, y), Words: paper.Shortened(title, width, sheetTitle, true), Size: sheetTitle, Bold: true})
	y += 8
	for _, line := range paper.Wrapped(t.words(), width, totalsSize, 3) {
		y += totalsSize + 4
		p.Text(paper.Label{At: paper.At(sheetMargin, y), Words: line, Size: totalsSize})
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
func (f *flow) entry(words string, sample func(p *page, b paper.Box)) {
	wide := flowSwatch + 4 + paper.Width(words, flowSize, false)
	if f.x > sheetMargin && f.x+wide > sheetWidth-sheetMargin {
		f.x, f.y = sheetMargin, f.y+flowLeading
	}
	sample(f.page, paper.Box{Left: f.x, Top: f.y - 9, Right: f.x + flowSwatch, Bottom: f.y + 1})
	f.Text(paper.Label{At: paper.At(f.x+flowSwatch+4, f.y), Words: words, Size: flowSize})
	f.x += wide + flowGap
}

// sheetLegend explains the statuses that occur and what the small plans show;
// it returns its last base line.
func (p *page) sheetLegend(y float64, t totals) float64 {
	f := &flow{p, sheetMargin, y}
	for _, s := range statuses() {
		if t.byStatus[s] > 0 {
			f.entry(StatusWords(s), func(p *page, b paper.Box) { drawStatus(p, b.Centre(), 5, s) })
		}
	}
	for _, a := range []paper.AreaStyle{lawn, paving, building, wetted, dryArea} {
		small := forSmall(a, a.Name == dryArea.Name)
		f.entry(a.Name, func(p *page, b paper.Box) { p.Area([][]paper.Vec{b.Corners().List()}, small, b) })
	}
	f.entry("Head", func(p *page, b paper.Box) { drawSmallHead(p, b.Centre()) })
	f.entry("Trench", func(p *page, b paper.Box) {
		p.Line(paper.At(b.Left, b.Centre().Y), paper.At(b.Right, b.Centre().Y), thinner(trenchSoil.look))
	})
	f.entry("North up, scales differ", drawSmallNorth)
	return f.y
}

// cell draws one lot's small plan and caption.
func (p *page) cell(it Item, b paper.Box) {
	d := designOf(it)
	p.Part("Lot "+paper.Clean(d.LotID), summary(d), func() {
		picture := paper.Box{Left: b.Left, Top: b.Top, Right: b.Right, Bottom: b.Bottom - captionLead*captionLines - 6}
		p.smallPlan(it.Lot, d, picture)
		p.Rect(b, statusFrame(d.Status))
		p.caption(d, b, picture.Bottom)
	})
}

func (p *page) smallPlan(lot *layout.Lot, d *layout.Design, b paper.Box) {
	const margin = 5.0
	bounds, ok := extent(lot, d)
	if !ok {
		p.Text(paper.Label{At: b.Centre(), Words: "no outline", Size: captionSize, Anchor: paper.AtMiddle, Colour: darkGrey})
		return
	}
	v := fit(bounds, b.Inset(margin), false)
	v.frame = b
	pt := &painter{page: p, view: v, small: true}
	p.Clipped(b, func() { pt.lot(lot, d) })
}

// caption writes id and result under a small plan.
func (p *page) caption(d *layout.Design, b paper.Box, top float64) {
	const r, pad = 4.0, 5.0
	width := b.Width() - 2*pad
	y := top + captionLead
	drawStatus(p, paper.At(b.Left+pad+r, y-3), r, d.Status)
	words := paper.Shortened(d.LotID, width-2*r-pad, captionSize, true)
	p.Text(paper.Label{At: paper.At(b.Left+2*r+2*pad, y), Words: words, Size: captionSize, Bold: true})
	words = paper.Shortened(resultWords(d), width, captionSize, false)
	p.Text(paper.Label{At: paper.At(b.Left+pad, y+captionLead), Words: words, Size: captionSize})
}

// resultWords is what a caption says of a design.
func resultWords(d *layout.Design) string {
	heads := Counted(len(d.Heads), "head")
	switch {
	case d.Status == layout.StatusDesigned, d.Status == layout.StatusInfeasible && len(d.Heads) > 0:
		return heads + ", " + Percent(d.Coverage)
	case d.Reason != "":
		return d.Reason
	}
	return strings.ToLower(StatusWords(d.Status))
}
