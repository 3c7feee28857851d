package drawing

import (
	"fmt"
	"math"
	"strconv"

	"lotwright/layout"
	"lotwright/layout/paper"
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
func (v view) feetBar() bar  { return feetBar(v.scale, barRoom) }
func (v view) metreBar() bar { return metreBar(v.scale, barRoom) }

// feetBar and metreBar return bars for a scale in page units per millimetre.
func feetBar(scale, room float64) bar  { return roundBar(scale*1000*layout.MetresPerFoot, room) }
func metreBar(scale, room float64) bar { return roundBar(scale*1000, room) }

// scaleBar draws a bar from its left end, its figures to the right and left of
// it.
func (p *page) scaleBar(at paper.Vec, b bar, unit string) {
	step := b.onPage / float64(b.parts)
	for i := range b.parts {
		fill := white
		if i%2 == 0 {
			fill = black
		}
		left := at.X + float64(i)*step
		p.Rect(paper.Box{Left: left, Top: at.Y, Right: left + step, Bottom: at.Y + barHeight}, paper.Look{Fill: fill, Stroke: black, Width: 0.6})
	}
	base := at.Y + barHeight - 0.5
	p.Text(paper.Label{At: paper.At(at.X-4, base+1), Words: "0", Size: barText, Anchor: paper.AtEnd})
	p.Text(paper.Label{At: paper.At(at.X+b.onPage+5, base+1), Words: strconv.FormatFloat(b.length, 'f', -1, 64) + " " + unit, Size: barText})
}

// northArrow draws an arrow up the page with the letter at its foot.
func (p *page) northArrow(c paper.Vec) {
	const half, long = 8.0, 20.0
	tip, notch := c.Add(paper.At(0, -long)), c.Add(paper.At(0, 4))
	left, right := c.Add(paper.At(-half, 10)), c.Add(paper.At(half, 10))
	p.Rings([][]paper.Vec{{tip, left, notch}}, paper.Look{Fill: white, Stroke: black, Width: 1})
	p.Rings([][]paper.Vec{{tip, notch, right}}, paper.Look{Fill: black, Stroke: black, Width: 1})
	p.Text(paper.Label{At: c.Add(paper.At(0, 22)), Words: "N", Size: 12, Bold: true, Anchor: paper.AtMiddle})
}

// drawSmallNorth draws an arrow up the page.
func drawSmallNorth(p *page, b paper.Box) {
	c := b.Centre()
	p.Line(paper.At(c.X, b.Bottom), paper.At(c.X, b.Top), paper.Look{Stroke: black, Width: 1})
	p.Rings([][]paper.Vec{{paper.At(c.X, b.Top-1), paper.At(c.X-3, b.Top+5), paper.At(c.X+3, b.Top+5)}}, paper.Look{Fill: black})
}

func ratioWords(v view) string {
	return fmt.Sprintf("Scale 1:%s when printed at full size, 11 × 8.5 in", strconv.FormatFloat(math.Round(v.ratio()*100)/100, 'f', -1, 64))
}
