package sheet

import (
	"fmt"
	"math"

	"lotwright/layout"
	"lotwright/layout/drawing"
	"lotwright/layout/paper"
)

// Sizes of the first page, in page units.
const (
	idSize      = 24.0
	longIDSize  = 12.5
	idHeight    = 38.0
	blockHeight = 262.0
	scaleColumn = 232.0
	legendWidth = 196.0
	barRoom     = 165.0
	factName    = 92.0
	factLeading = 14.0
	factSize    = 10.2
	legendSize  = 10.0
)

// planPage makes the first page: lot and status, the plan, and below it scale,
// figures and legend. It also returns how many labels found no room.
func planPage(in Lot, stakes stakes, s Settings) (*paper.Page, int) {
	p, b := planSheet{s.blankPage(), s}, s.content()
	p.title(in.Design, paper.Box{Left: b.Left, Top: b.Top, Right: b.Right, Bottom: b.Top + idHeight})
	frame := paper.Box{Left: b.Left, Top: b.Top + idHeight, Right: b.Right, Bottom: b.Bottom - blockHeight}
	part := drawing.Part{Frame: frame, Ratios: s.Units.ratios(), Marks: stakes.marks, Runs: runLabels(in.Design, s.Units), Length: s.Units.length}
	drawn, ok := part.Draw(p.Page, in.Lot, in.Design)
	if !ok {
		p.Text(paper.Label{At: frame.Centre(), Words: "No outline to draw", Size: 16, Anchor: paper.AtMiddle})
	}
	p.Rect(frame, thin)
	block := paper.Box{Left: b.Left, Top: frame.Bottom, Right: b.Right, Bottom: b.Bottom}
	if ok {
		p.scale(drawn.Ratio, block, s)
	}
	p.standing(block)
	p.facts(facts(in.Design, s.Units), paper.Box{Left: block.Left + scaleColumn, Top: block.Top, Right: block.Right - legendWidth, Bottom: block.Bottom})
	p.legend(drawn.Legend, paper.Box{Left: block.Right - legendWidth, Top: block.Top, Right: block.Right, Bottom: block.Bottom})
	p.Rect(block, thin)
	return p.Page, drawn.Unnamed
}

// planSheet is the first page under way.
type planSheet struct {
	*paper.Page
	settings Settings
}

// title writes the lot and its status into a strip.
func (p planSheet) title(d *layout.Design, b paper.Box) {
	const statusRoom, r = 150.0, 7.0
	words := "Lot " + printableID(d.LotID)
	if p.settings.Record {
		words = "Record drawing, lot " + printableID(d.LotID)
	}
	width := b.Width() - statusRoom
	if paper.Width(words, idSize, true) <= width {
		p.Text(paper.Label{At: paper.At(b.Left, b.Top+27), Words: words, Size: idSize, Bold: true})
	} else {
		for i, line := range wrapped(words, width, longIDSize, true, 2) {
			p.Text(paper.Label{At: paper.At(b.Left, b.Top+14+16*float64(i)), Words: line, Size: longIDSize, Bold: true})
		}
	}
	status := paper.Shortened(drawing.StatusWords(d.Status), statusRoom-3*r, 14, true)
	left := b.Right - paper.Width(status, 14, true)
	drawing.StatusSymbol(p.Page, paper.At(left-r-5, b.Top+22), r, d.Status)
	p.Text(paper.Label{At: paper.At(left, b.Top+27), Words: status, Size: 14, Bold: true})
}

// scale draws north arrow, scale bar and the scale in words.
func (p planSheet) scale(ratio float64, b paper.Box, s Settings) {
	drawing.NorthArrow(p.Page, paper.At(b.Left+22, b.Top+34))
	left := b.Left + 56
	drawing.ScaleBar(p.Page, paper.At(left, b.Top+18), ratio, barRoom*0.8, s.Units == Metric)
	p.Text(paper.Label{At: paper.At(left-8, b.Top+42), Words: "Scale " + s.Units.scale(ratio), Size: factSize, Bold: true})
	p.Text(paper.Label{At: paper.At(left-8, b.Top+55), Words: "when printed at full size", Size: footSize})
}

// standing writes what holds for every plan.
func (p planSheet) standing(b paper.Box) {
	y := b.Top + 76
	for _, words := range []string{
		"Outlines are as given, not a survey: tape two sides of the lot before staking.",
		"Backflow protection is not chosen here. The kind, its place and its height are for local code and a licensed person to decide.",
		"Mark on this sheet what was built otherwise.",
	} {
		for _, line := range wrapped(words, scaleColumn-22, factSize, false, 6) {
			p.Text(paper.Label{At: paper.At(b.Left+8, y+factSize), Words: line, Size: factSize})
			y += factLeading - 1
		}
		y += 4
	}
	p.sign(b, y)
}

// sign draws the lines on which the crew signs.
func (p planSheet) sign(b paper.Box, y float64) {
	for _, words := range []string{"Built by", "Date"} {
		y += 21
		p.Text(paper.Label{At: paper.At(b.Left+8, y), Words: words, Size: factSize})
		p.Line(paper.At(b.Left+60, y+2), paper.At(b.Left+scaleColumn-14, y+2), thin)
	}
}

// facts writes the figures, as many as there is room for.
func (p planSheet) facts(list []fact, b paper.Box) {
	p.Line(paper.At(b.Left, b.Top), paper.At(b.Left, b.Bottom), thin)
	y := b.Top + 6
	for _, f := range list {
		lines := wrapped(f.value, b.Width()-factName-14, factSize, false, 4)
		if y+factLeading*float64(len(lines)) > b.Bottom-2 {
			return
		}
		p.Text(paper.Label{At: paper.At(b.Left+8, y+factSize), Words: f.name, Size: factSize, Bold: true})
		for _, line := range lines {
			p.Text(paper.Label{At: paper.At(b.Left+8+factName, y+factSize), Words: line, Size: factSize})
			y += factLeading
		}
	}
}

// legend explains what the plan shows.
func (p planSheet) legend(entries []drawing.Entry, b paper.Box) {
	const sample, most = 26.0, 15.5
	p.Line(paper.At(b.Left, b.Top), paper.At(b.Left, b.Bottom), thin)
	pitch := min(most, (b.Height()-10)/float64(max(1, len(entries))))
	for i, e := range entries {
		y := b.Top + 6 + pitch*(float64(i)+0.5)
		e.Sample(p.Page, paper.Around(paper.At(b.Left+10+sample/2, y), sample, min(10, pitch-4)))
		words := paper.Shortened(e.Name, b.Width()-sample-24, min(legendSize, pitch-2), false)
		p.Text(paper.Label{At: paper.At(b.Left+18+sample, y+3.6), Words: words, Size: min(legendSize, pitch-2)})
	}
}

// fact is a figure with its name.
type fact struct{ name, value string }

// facts lists the figures of a design, those never worked out left out.
func facts(d *layout.Design, u Units) []fact {
	var out []fact
	add := func(known bool, name, value string) {
		if known {
			out = append(out, fact{name, value})
		}
	}
	n, heads := d.Network, len(d.Heads) > 0
	add(d.Reason != "", "Reason", d.Reason)
	add(heads, "Heads", drawing.ProofWords(d))
	add(heads, "Coverage", drawing.Percent(d.Coverage)+", target "+drawing.Percent(d.CoverageTarget))
	for _, a := range d.Areas {
		add(true, "Area "+a.Label, fmt.Sprintf("%d %s, %s; %s, DU %.2f of %.2f", a.Heads, a.Family, a.Why, drawing.Percent(a.Coverage), math.Floor(100*a.DULowQuarter)/100, a.Target))
	}
	add(d.Uniformity != nil, "Uniformity", uniformityWords(d.Uniformity))
	add(d.Throw > 0, "Throw", u.length(d.Throw))
	add(d.Pressure > 0, "Pressure", u.pressure(d.Pressure)+" at the heads")
	add(d.Water != nil && d.Water.Needed > 0, "Needed", neededWords(d, u))
	add(d.Regulated, "Regulator", "needed: the supply is above the rated band")
	add(heads, "Zones", zoneWords(d, u))
	add(valvePlace(d) != "", "Valves", "all at "+valvePlace(d))
	add(n.TrenchLength > 0, "Trench", u.length(n.TrenchLength)+depthWords(d, u))
	add(n.PavingCrossings > 0, "Under paving", fmt.Sprintf("%d, %s in all", n.PavingCrossings, u.length(n.PavingCrossingLength)))
	add(n.PipeLength > 0, "Pipe", u.length(n.PipeLength))
	add(n.POCAssumed, "Connection", "place assumed; settle it on site")
	add(d.IrrigatedArea > 0, "Lawn", u.area(d.IrrigatedArea))
	add(heads && d.DryArea > 0, "Dry", u.area(d.DryArea))
	add(d.NarrowArea > 0, "Too narrow", u.area(d.NarrowArea))
	add(d.OversprayArea > 0, "Overspray", u.area(d.OversprayArea))
	return out
}

// uniformityWords gives DU of the whole lawn, rounded down.
func uniformityWords(u *layout.Uniformity) string {
	if u == nil {
		return ""
	}
	return fmt.Sprintf("DU %.2f, target %.2f", math.Floor(100*u.DULowQuarter)/100, u.Target)
}

// neededWords says what the connection must hold, and stands still at.
func neededWords(d *layout.Design, u Units) string {
	if d.Water == nil {
		return ""
	}
	words := u.pressure(d.Water.Needed) + " at the connection, running"
	if d.Water.Known {
		words += "; static " + u.pressure(d.Water.Static)
	}
	return words
}

// depthWords adds the depth, or the least and the greatest, of the trench.
func depthWords(d *layout.Design, u Units) string {
	least, greatest, ok := depths(d)
	switch {
	case !ok:
		return ""
	case u.depth(least) == u.depth(greatest):
		return ", " + u.depth(greatest) + " deep"
	}
	return ", " + u.depth(least) + " to " + u.depth(greatest) + " deep"
}

// depths returns the least and the greatest depth of the trench.
func depths(d *layout.Design) (least, greatest layout.Length, ok bool) {
	for i, r := range d.Network.Runs {
		if i == 0 {
			least = r.Depth
		}
		least, greatest = min(least, r.Depth), max(greatest, r.Depth)
	}
	return least, greatest, len(d.Network.Runs) > 0
}

// zoneWords counts the zones and says what the largest draws. Heads not dealt out
// to zones say so.
func zoneWords(d *layout.Design, u Units) string {
	flows := map[int]layout.Flow{}
	most := layout.Flow(0)
	for _, h := range d.Heads {
		flows[h.Zone] += h.Flow
		most = max(most, flows[h.Zone])
	}
	if _, open := flows[0]; open {
		return "not dealt out: no flow was measured"
	}
	if len(flows) == len(d.Heads) {
		return fmt.Sprintf("%d, one head each; at most %s", len(flows), u.flow(most))
	}
	return fmt.Sprintf("%d; the largest draws %s", len(flows), u.flow(most))
}

// runLabels says beside each run of trench which row of the table it is and,
// where depths differ, how deep.
func runLabels(d *layout.Design, u Units) []string {
	least, greatest, _ := depths(d)
	out := make([]string, len(d.Network.Runs))
	for i, r := range d.Network.Runs {
		out[i] = runName(i)
		if least != greatest {
			out[i] += ": " + u.depth(r.Depth)
		}
	}
	return out
}

// runName numbers a run of trench, counted from 0.
func runName(i int) string { return fmt.Sprintf("R%d", i+1) }
