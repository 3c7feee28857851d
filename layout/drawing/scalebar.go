package drawing

import (
	"fmt"
	"math"
	"strconv"

	"lotwright/layout"
)

// bar is a scale bar in one unit: a round length, how many parts it is divided
// into and how long it is on the page.
type bar struct {
	length float64 // in the unit
	parts  int
	onPage float64
}

// roundBar returns the longest bar of 1, 2 or 5 times a power of ten units that
// is no longer than room.
func roundBar(unitsOfPage, room float64) bar {
	power := math.Pow(10, math.Floor(math.Log10(room/unitsOfPage)))
	best := bar{power, 5, power * unitsOfPage}
	for _, b := range []bar{{length: 2 * power, parts: 4}, {length: 5 * power, parts: 5}} {
		if b.onPage = b.length * unitsOfPage; b.onPage <= room*(1+1e-9) {
			best = b
		}
	}
	return best
}

const (
	barRoom   = 230.0
	barHeight = 5.0
	barText   = 9.0
)

// feetBar and metreBar return the bars for a view.
func (v view) feetBar() bar  { return roundBar(v.scale*1000*layout.MetresPerFoot, barRoom) }
func (v view) metreBar() bar { return roundBar(v.scale*1000, barRoom) }

// scaleBar draws a bar from its left end, its figures to the right and left of
// it.
func (p *page) scaleBar(at vec, b bar, unit string) {
	step := b.onPage / float64(b.parts)
	for i := range b.parts {
		fill := white
		if i%2 == 0 {
			fill = black
		}
		left := at.x + float64(i)*step
		p.rect(box{left, at.y, left + step, at.y + barHeight}, look{fill: fill, stroke: black, width: 0.6})
	}
	base := at.y + barHeight - 0.5
	p.text(label{at: vec{at.x - 4, base + 1}, words: "0", size: barText, anchor: atEnd})
	p.text(label{at: vec{at.x + b.onPage + 5, base + 1}, words: strconv.FormatFloat(b.length, 'f', -1, 64) + " " + unit, size: barText})
}

// northArrow draws an arrow up the page with the letter at its foot.
func (p *page) northArrow(c vec) {
	const half, long = 8.0, 20.0
	tip, notch := c.add(vec{0, -long}), c.add(vec{0, 4})
	left, right := c.add(vec{-half, 10}), c.add(vec{half, 10})
	p.rings([][]vec{{tip, left, notch}}, look{fill: white, stroke: black, width: 1})
	p.rings([][]vec{{tip, notch, right}}, look{fill: black, stroke: black, width: 1})
	p.text(label{at: c.add(vec{0, 22}), words: "N", size: 12, bold: true, anchor: atMiddle})
}

// drawSmallNorth draws an arrow up the page.
func drawSmallNorth(p *page, b box) {
	c := b.centre()
	p.line(vec{c.x, b.bottom}, vec{c.x, b.top}, look{stroke: black, width: 1})
	p.rings([][]vec{{{c.x, b.top - 1}, {c.x - 3, b.top + 5}, {c.x + 3, b.top + 5}}}, look{fill: black})
}

func ratioWords(v view) string {
	return fmt.Sprintf("Scale 1:%s when printed at full size, 11 × 8.5 in", strconv.FormatFloat(math.Round(v.ratio()*100)/100, 'f', -1, 64))
}
