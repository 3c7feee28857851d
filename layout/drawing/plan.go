package drawing

import (
	"errors"
	"fmt"
	"io"

	"lotwright/layout"
)

// The sheet of a plan, in units of 1/100 in.
const (
	sheetWidth  = 1100.0
	sheetHeight = 850.0
)

var (
	neatLine   = box{25, 25, 1075, 825}
	planFrame  = box{25, 25, 795, 760}
	footFrame  = box{25, 760, 795, 825}
	titleFrame = box{795, 25, 1075, 825}
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
	return plan(lot, d).writeTo(w)
}

func plan(lot *layout.Lot, d *layout.Design) *page {
	p := &page{width: sheetWidth, height: sheetHeight, decimals: 2}
	p.about("Sprinkler plan of lot "+clean(d.LotID), summary(d))
	p.rect(box{0, 0, sheetWidth, sheetHeight}, look{fill: white})
	entries, unnamed := p.field(lot, d)
	p.titleBlock(lot, d, entries, unnamed)
	p.rect(planFrame, thinFrame)
	p.rect(footFrame, thinFrame)
	p.rect(neatLine, heavyFrame)
	return p
}

// summary says in words what the plan shows.
func summary(d *layout.Design) string {
	out := statusWords(d.Status) + "."
	if d.Reason != "" {
		out += " " + clean(d.Reason) + "."
	}
	if len(d.Heads) > 0 {
		out += fmt.Sprintf(" %s. Coverage %s of a target of %s.", proofWords(d), percent(d.Coverage), percent(d.CoverageTarget))
	}
	if d.Network.TrenchLength > 0 {
		out += fmt.Sprintf(" Trench %s.", lengthWords(d.Network.TrenchLength))
	}
	return out
}

// field draws the plan itself with its scale and returns what the legend must
// explain and how many labels found no room.
func (p *page) field(lot *layout.Lot, d *layout.Design) ([]entry, int) {
	bounds, ok := extent(lot, d)
	if !ok {
		p.text(label{at: planFrame.centre(), words: "No outline to draw", size: 16, anchor: atMiddle, colour: darkGrey})
		p.caution(footFrame.left + 20)
		return nil, 0
	}
	v := fit(bounds, planFrame.inset(planMargin), true)
	v.frame = planFrame
	pt := &painter{page: p, view: v}
	unnamed := 0
	p.clipped(planFrame, func() {
		pt.lot(lot, d)
		unnamed = pt.labels(lot, d)
	})
	p.foot(v)
	return pt.entries, unnamed
}

// lot paints everything of a lot that has a place on the ground.
func (p *painter) lot(lot *layout.Lot, d *layout.Design) {
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
	}
	for _, h := range d.Heads {
		p.head(h)
	}
}

// foot draws north arrow and scale below the plan.
func (p *page) foot(v view) {
	middle := footFrame.centre().y
	p.northArrow(vec{footFrame.left + 28, middle - 1})
	left := footFrame.left + 76
	p.scaleBar(vec{left, footFrame.top + 10}, v.feetBar(), "ft")
	p.scaleBar(vec{left, footFrame.top + 28}, v.metreBar(), "m")
	p.text(label{at: vec{left, footFrame.bottom - 9}, words: ratioWords(v), size: 8.5})
	p.caution(left + barRoom + 60)
}

// caution reminds of what a drawing cannot know.
func (p *page) caution(left float64) {
	const size, leading = 8.5, 12.0
	lines := wrapped("Call before you dig; private lines are not marked. Outlines are as given, not a survey: "+
		"check distances on site. Backflow protection, depths and permits: confirm with local code and licensed practice.",
		footFrame.right-12-left, size, 4)
	for i, words := range lines {
		p.text(label{at: vec{left, footFrame.top + 16 + leading*float64(i)}, words: words, size: size})
	}
}
