package drawing

import (
	"errors"
	"fmt"
	"io"

	"lotwright/layout"
	"lotwright/layout/paper"
)

// The sheet of a plan, in units of 1/100 in.
const (
	sheetWidth  = 1100.0
	sheetHeight = 850.0
)

var (
	neatLine   = paper.Box{Left: 25, Top: 25, Right: 1075, Bottom: 825}
	planFrame  = paper.Box{Left: 25, Top: 25, Right: 795, Bottom: 760}
	footFrame  = paper.Box{Left: 25, Top: 760, Right: 795, Bottom: 825}
	titleFrame = paper.Box{Left: 795, Top: 25, Right: 1075, Bottom: 825}
)

// planMargin keeps the lot off the frame, leaving room for the lengths of its
// sides.
const planMargin = 22.0

var errNoDesign = errors.New("drawing: no design to draw")

// Plan draws one lot: the ground, what each head reaches, what stays dry, the
// trench and the figures of the design. A lot that could not be designed is
// drawn as far as it is known, with the reason in words. lot may be nil where
// the input gave no usable outline; d may not.
func Plan(w io.Writer, lot *layout.Lot, d *layout.Design) error {
	if d == nil {
		return errNoDesign
	}
	return plan(lot, d).WriteSVG(w)
}

func plan(lot *layout.Lot, d *layout.Design) *page {
	p := newPage(sheetWidth, sheetHeight, 2)
	p.About("Sprinkler plan of lot "+paper.Clean(d.LotID), summary(d))
	p.Rect(paper.Box{Left: 0, Top: 0, Right: sheetWidth, Bottom: sheetHeight}, paper.Look{Fill: white})
	entries, unnamed := p.field(lot, d)
	p.titleBlock(lot, d, entries, unnamed)
	p.Rect(planFrame, thinFrame)
	p.Rect(footFrame, thinFrame)
	p.Rect(neatLine, heavyFrame)
	return p
}

// summary says in words what the plan shows.
func summary(d *layout.Design) string {
	out := StatusWords(d.Status) + "."
	if d.Reason != "" {
		out += " " + paper.Clean(d.Reason) + "."
	}
	if len(d.Heads) > 0 {
		out += fmt.Sprintf(" %s. Coverage %s of a target of %s.", ProofWords(d), Percent(d.Coverage), Percent(d.CoverageTarget))
	}
	if d.Network.TrenchLength > 0 {
		out += fmt.Sprintf(" Trench %s.", lengthWords(d.Network.TrenchLength))
	}
	return out
}

// field draws the plan itself with its scale and returns what the legend must
// explain and how many labels found no room.
func (p *page) field(lot *layout.Lot, d *layout.Design) ([]Entry, int) {
	bounds, ok := extent(lot, d)
	if !ok {
		p.Text(paper.Label{At: planFrame.Centre(), Words: "No outline to draw", Size: 16, Anchor: paper.AtMiddle, Colour: darkGrey})
		p.caution(footFrame.Left + 20)
		return nil, 0
	}
	v := fit(bounds, planFrame.Inset(planMargin), true)
	v.frame = planFrame
	pt := &painter{page: p, view: v, letters: planLetters, words: lengthWords}
	unnamed := 0
	p.Clipped(planFrame, func() {
		pt.lot(lot, d)
		unnamed = pt.labels(lot, d)
	})
	p.foot(v)
	return pt.entries, unnamed
}

// lot paints everything of a lot that has a place on the ground.
func (p *painter) lot(lot *layout.Lot, d *layout.Design) {
	p.families = familiesOf(d)
	p.below(lot, d)
	p.wetting(d)
	p.above(lot)
	p.trenches(d.Network.Runs)
	if !p.small {
		for _, j := range junctions(d) {
			p.junction(p.at(j.at.Vec()))
		}
		if lot != nil && lot.Controller != nil {
			p.controller(p.at(lot.Controller.Vec()))
		}
		if c, ok := connectionOf(lot, d); ok {
			p.poc(c)
		}
		for _, m := range p.marks {
			p.mark(p.at(m.At.Vec()))
		}
	}
	for _, h := range d.Heads {
		p.head(h)
	}
}

// foot draws north arrow and scale below the plan.
func (p *page) foot(v view) {
	middle := footFrame.Centre().Y
	p.northArrow(paper.At(footFrame.Left+28, middle-1))
	left := footFrame.Left + 76
	p.scaleBar(paper.At(left, footFrame.Top+10), v.feetBar(), "ft")
	p.scaleBar(paper.At(left, footFrame.Top+28), v.metreBar(), "m")
	p.Text(paper.Label{At: paper.At(left, footFrame.Bottom-9), Words: ratioWords(v), Size: 8.5})
	p.caution(left + barRoom + 60)
}

// caution reminds of what a drawing cannot know.
func (p *page) caution(left float64) {
	const size, leading = 8.5, 12.0
	lines := paper.Wrapped("Call before you dig; private lines are not marked. Outlines are as given, not a survey: "+
		"check distances on site. Backflow protection, depths and permits: confirm with local code and licensed practice.",
		footFrame.Right-12-left, size, 4)
	for i, words := range lines {
		p.Text(paper.Label{At: paper.At(left, footFrame.Top+16+leading*float64(i)), Words: words, Size: size})
	}
}
