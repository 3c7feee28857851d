package drawing

import (
	"fmt"
	"strings"

	"lotwright/layout"
	"lotwright/layout/paper"
)

// Type sizes and line heights of the title block, in page units.
const (
	blockPad    = 14.0
	idSize      = 24.0
	longIDSize  = 13.0
	headingSize = 11.0
	bodySize    = 10.0
	leading     = 14.0
	factColumn  = 104.0
	mostReason  = 7
	mostZones   = 8
	swatchWidth = 24.0
)

// column writes lines of text down a frame, never past its floor.
type column struct {
	*page
	frame paper.Box
	y     float64 // of the next line's top
	floor float64
}

// line writes one line and moves on; it does nothing past the floor.
func (c *column) line(x float64, words string, size float64, bold bool) {
	if c.y+leading > c.floor {
		return
	}
	c.Text(paper.Label{At: paper.At(x, c.y+leading-4), Words: words, Size: size, Bold: bold})
	c.y += leading
}

// rows returns how many more lines will go.
func (c *column) rows() int { return max(0, int((c.floor-c.y)/leading+1e-9)) }

// paragraph writes wrapped text in at most most lines, and fewer where there is
// less room.
func (c *column) paragraph(words string, most int) {
	for _, line := range paper.Wrapped(words, c.frame.Width(), bodySize, min(most, c.rows())) {
		c.line(c.frame.Left, line, bodySize, false)
	}
}

func (c *column) heading(words string) {
	c.y += 4
	c.line(c.frame.Left, words, headingSize, true)
}

// rule draws a line across the whole block.
func (c *column) rule() {
	c.y += 5
	c.page.Line(paper.At(titleFrame.Left, c.y), paper.At(titleFrame.Right, c.y), thinFrame)
	c.y += 3
}

// titleBlock writes, from the top, the lot, its status, its figures and zones;
// from the bottom, the legend; the remarks get the room between.
func (p *page) titleBlock(lot *layout.Lot, d *layout.Design, entries []Entry, unnamed int) {
	frame := paper.Box{Left: titleFrame.Left + blockPad, Top: titleFrame.Top, Right: titleFrame.Right - blockPad, Bottom: titleFrame.Bottom}
	c := &column{page: p, frame: frame, y: frame.Top + 8, floor: p.legend(frame, entries)}
	c.title(d)
	c.status(d)
	c.facts(d)
	c.zones(d)
	c.remarks(remarksOn(lot, d, unnamed))
	c.heads(d.Heads)
}

func remarksOn(lot *layout.Lot, d *layout.Design, unnamed int) []string {
	out := Remarks(lot, d)
	if unnamed > 0 {
		out = append([]string{fmt.Sprintf("%s left out of the plan for want of room.", Counted(unnamed, "label"))}, out...)
	}
	return out
}

func (c *column) title(d *layout.Design) {
	c.line(c.frame.Left, "Sprinkler plan", headingSize, false)
	words := "Lot " + paper.Clean(d.LotID)
	if paper.Width(words, idSize, true) <= c.frame.Width() {
		c.Text(paper.Label{At: paper.At(c.frame.Left, c.y+idSize), Words: words, Size: idSize, Bold: true})
		c.y += idSize + 6
	} else {
		for _, line := range paper.Wrapped(words, c.frame.Width()/paper.BoldWider, longIDSize, 2) {
			c.line(c.frame.Left, line, longIDSize, true)
		}
	}
	c.rule()
}

func (c *column) status(d *layout.Design) {
	const r = 6.0
	drawStatus(c.page, paper.At(c.frame.Left+r, c.y+9), r, d.Status)
	c.line(c.frame.Left+3*r, paper.Shortened(StatusWords(d.Status), c.frame.Width()-3*r, headingSize+1, true), headingSize+1, true)
	c.y += 2
	c.paragraph(d.Reason, mostReason)
	if len(d.Heads) > 0 {
		words := ProofWords(d)
		if d.Status == layout.StatusInfeasible {
			words = "Best found: " + words
		}
		c.paragraph(words, 3)
	}
	c.rule()
}

func (c *column) facts(d *layout.Design) {
	list := facts(d)
	for _, f := range list[:min(len(list), c.rows())] {
		c.Text(paper.Label{At: paper.At(c.frame.Left, c.y+leading-4), Words: f.name, Size: bodySize})
		c.line(c.frame.Left+factColumn, paper.Shortened(f.value, c.frame.Width()-factColumn, bodySize, false), bodySize, false)
	}
	if len(list) > 0 {
		c.rule()
	}
}

func (c *column) zones(d *layout.Design) {
	words := zoneWords(d)
	if len(words) == 0 {
		return
	}
	c.paragraphs(words, mostZones)
	c.rule()
}

// paragraphs writes one paragraph after another in at most most lines, keeping
// the last for saying how many were left out.
func (c *column) paragraphs(list []string, most int) {
	room := min(most, c.rows())
	for i, words := range list {
		need := len(paper.Wrapped(words, c.frame.Width(), bodySize, room))
		last := i == len(list)-1
		if need > room || need == room && !last {
			c.paragraph(fmt.Sprintf("… and %d more", len(list)-i), 1)
			return
		}
		c.paragraph(words, need)
		room -= need
	}
}

func (c *column) remarks(list []string) {
	if len(list) == 0 || c.rows() < 2 {
		return
	}
	c.heading("Remarks")
	for i, words := range list {
		list[i] = "• " + strings.TrimPrefix(words, "• ")
	}
	c.paragraphs(list, c.rows())
}

// headColumn is one column of the head table: what it is called, where it starts
// and ends, and what it says of a head.
type headColumn struct {
	name        string
	left, right float64
	of          func(layout.Head) string
}

var headColumns = []headColumn{
	{"Head", 0, 34, func(h layout.Head) string { return shortLabel(h.Label) }},
	{"Zone", 36, 64, zoneNumber},
	{"ft (m)", 66, 121, func(h layout.Head) string { return pair(h.Throw.Feet(), 1, h.Throw.Metres(), 1) }},
	{"psi (kPa)", 123, 178, func(h layout.Head) string { return pair(h.Pressure.PSI(), 1, h.Pressure.KPa(), 0) }},
	{"gpm (L/min)", 181, 252, func(h layout.Head) string { return pair(h.Flow.GPM(), 1, h.Flow.LPM(), 1) }},
}

func pair(a float64, aDecimals int, b float64, bDecimals int) string {
	return Decimal(a, aDecimals) + " (" + Decimal(b, bDecimals) + ")"
}

const (
	tableSize    = 8.4
	tableLeading = 11.5
	leastTable   = 3 // rows below which a table is not worth its room
)

// heads lists throw, pressure and flow of each head in the room that is left,
// saying how many found none.
func (c *column) heads(heads []layout.Head) {
	c.y += 4
	rows := int((c.floor - c.y) / tableLeading)
	if len(heads) == 0 || rows < min(leastTable, len(heads))+1 {
		return
	}
	for _, col := range headColumns {
		c.cell(col, col.name, true)
	}
	for i, h := range heads {
		c.y += tableLeading
		if i == rows-2 && len(heads) > rows-1 {
			c.Text(paper.Label{At: paper.At(c.frame.Left, c.y+tableLeading-3), Words: fmt.Sprintf("… and %d more", len(heads)-i), Size: tableSize})
			return
		}
		for _, col := range headColumns {
			c.cell(col, col.of(h), false)
		}
	}
}

func (c *column) cell(col headColumn, words string, bold bool) {
	words = paper.Shortened(words, col.right-col.left, tableSize, bold)
	c.Text(paper.Label{At: paper.At(c.frame.Left+col.left, c.y+tableLeading-3), Words: words, Size: tableSize, Bold: bold})
}

// legend explains, at the foot of the block, what the plan shows, in two
// columns; it returns where it begins.
func (p *page) legend(frame paper.Box, entries []Entry) float64 {
	const bottomPad, sample = 10.0, 10.0
	if len(entries) == 0 {
		return frame.Bottom - bottomPad
	}
	rows := (len(entries) + 1) / 2
	top := frame.Bottom - bottomPad - float64(rows+1)*(leading+1)
	p.Line(paper.At(titleFrame.Left, top-2), paper.At(titleFrame.Right, top-2), thinFrame)
	p.Text(paper.Label{At: paper.At(frame.Left, top+leading-3), Words: "Legend", Size: headingSize, Bold: true})
	width := frame.Width() / 2
	for i, e := range entries {
		x := frame.Left + width*float64(i/rows)
		y := top + (leading+1)*(float64(i%rows)+1.5)
		e.sample(p, paper.Around(paper.At(x+swatchWidth/2, y+1), swatchWidth, sample))
		words := paper.Shortened(e.Name, width-swatchWidth-7, legendSize, false)
		p.Text(paper.Label{At: paper.At(x+swatchWidth+5, y+4.4), Words: words, Size: legendSize})
	}
	return top - 4
}

const legendSize = 8.4

// zoneNumber is the number of a head's zone, a dash where none is known.
func zoneNumber(h layout.Head) string {
	if h.Zone == 0 {
		return "–"
	}
	return Decimal(float64(h.Zone), 0)
}
