package drawing

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"lotwright/layout"
	"lotwright/layout/paper"
)

// Chart compares what one batch of lots needs at several pressures, or for
// several coverage targets.
type Chart struct {
	Title  string
	Axis   string // what is compared, e.g. "Static pressure"; empty: "Pressure"
	Points []ChartPoint
}

// ChartPoint is the outcome of a batch at one pressure or, where it has one, for
// one coverage target.
type ChartPoint struct {
	Pressure   layout.Pressure
	Target     float64 // share of the lawn; 0: pressures are compared
	Heads      int     // in all, on the lots that could be designed
	Designed   int     // lots
	Infeasible int     // lots no design can serve at this pressure
}

// value is where the point stands on the axis: kPa, or per cent.
func (pt ChartPoint) value() float64 {
	if pt.Target > 0 {
		return 100 * pt.Target
	}
	return pt.Pressure.KPa()
}

// words name the point below the axis, in two lines.
func (pt ChartPoint) words() (first, second string) {
	if pt.Target > 0 {
		return shortNumber(100*pt.Target) + " %", ""
	}
	return shortNumber(pt.Pressure.PSI()) + " psi", Decimal(pt.Pressure.KPa(), 0) + " kPa"
}

// The chart's page and its two fields, in page units.
const (
	chartWidth  = 900.0
	chartHeight = 600.0
	chartText   = 11.0
)

var (
	headsField      = paper.Box{Left: 80, Top: 80, Right: 870, Bottom: 370}
	infeasibleField = paper.Box{Left: 80, Top: 410, Right: 870, Bottom: 500}
)

// ScenarioChart draws the total of heads, and below it the number of lots that
// cannot be designed, against pressure or coverage. A total that leaves lots out is drawn
// hollow, since it does not compare with one that serves all.
func ScenarioChart(w io.Writer, c Chart) error {
	for i, pt := range c.Points {
		if pt.Target < 0 || pt.Target > 1 || math.IsNaN(pt.Target) {
			return fmt.Errorf("drawing: chart point %d: coverage target %v, want a share", i+1, pt.Target)
		}
		if pt.Target == 0 && (!finite(float64(pt.Pressure)) || pt.Pressure <= 0) {
			return fmt.Errorf("drawing: chart point %d: pressure %v kPa, want a positive number", i+1, float64(pt.Pressure))
		}
		if pt.Heads < 0 || pt.Designed < 0 || pt.Infeasible < 0 {
			return fmt.Errorf("drawing: chart point %d: negative count", i+1)
		}
	}
	return scenarioChart(c).WriteSVG(w)
}

func scenarioChart(c Chart) *page {
	points := slices.Clone(c.Points)
	slices.SortStableFunc(points, func(a, b ChartPoint) int { return cmp.Compare(a.value(), b.value()) })
	p := newPage(chartWidth, chartHeight, 2)
	title := cmp.Or(paper.Clean(c.Title), "Heads against pressure")
	p.About(title, chartSummary(points))
	p.Rect(paper.Box{Left: 0, Top: 0, Right: chartWidth, Bottom: chartHeight}, paper.Look{Fill: white})
	p.Text(paper.Label{At: paper.At(25, 36), Words: paper.Shortened(title, chartWidth-50, 18, true), Size: 18, Bold: true})
	if len(points) == 0 {
		p.Text(paper.Label{At: paper.At(chartWidth/2, chartHeight/2), Words: "No scenarios to compare", Size: 16, Anchor: paper.AtMiddle, Colour: darkGrey})
		return p
	}
	p.chartFields(points, cmp.Or(paper.Clean(c.Axis), "Pressure"))
	return p
}

func chartSummary(points []ChartPoint) string {
	out := ""
	for _, pt := range points {
		name := pressureWords(pt.Pressure)
		if pt.Target > 0 {
			name, _ = pt.words()
		}
		out += fmt.Sprintf("%s: %s on %s, %s infeasible. ", name, Counted(pt.Heads, "head"),
			Counted(pt.Designed, "lot"), Counted(pt.Infeasible, "lot"))
	}
	return paper.Clean(out)
}

// axis maps values to places along one side of a field.
type axis struct{ low, high, from, to float64 }

func (a axis) at(v float64) float64 { return a.from + (v-a.low)/(a.high-a.low)*(a.to-a.from) }

// scenarioAxis leaves an eighth of the range free on either side.
func scenarioAxis(points []ChartPoint) axis {
	low, high := points[0].value(), points[len(points)-1].value()
	const free = 0.125
	pad := (high - low) * free
	if pad == 0 {
		pad = low * free
	}
	return axis{low - pad, high + pad, headsField.Left, headsField.Right}
}

// countAxis runs up a field from 0 to a round number that leaves room above most
// for its figure; it also returns the step between level lines.
func countAxis(most int, field paper.Box) (axis, float64) {
	const figureRoom, tickRoom = 26.0, 44.0
	top := max(1, float64(most)*field.Height()/(field.Height()-figureRoom))
	step := roundStep(max(1, top/math.Floor(field.Height()/tickRoom)))
	return axis{0, step * math.Ceil(top/step), field.Bottom, field.Top}, step
}

// roundStep returns the least of 1, 2 or 5 times a power of ten not below v.
func roundStep(v float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*power >= v*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

func (p *page) chartFields(points []ChartPoint, axisName string) {
	x := scenarioAxis(points)
	most, mostOut := 0, 0
	for _, pt := range points {
		most, mostOut = max(most, pt.Heads), max(mostOut, pt.Infeasible)
	}
	heads, headStep := countAxis(most, headsField)
	lots, lotStep := countAxis(mostOut, infeasibleField)
	p.scaleLines(heads, headStep, headsField, "Heads in all")
	p.scaleLines(lots, lotStep, infeasibleField, "Infeasible lots")
	p.scenarioTicks(points, x, axisName)
	p.bars(points, x, lots)
	p.headLine(points, x, heads)
	p.chartKey()
}

// scaleLines draws a field's frame, level lines and figures.
func (p *page) scaleLines(a axis, step float64, field paper.Box, name string) {
	for v := 0.0; v <= a.high*(1+1e-9); v += step {
		y := a.at(v)
		p.Line(paper.At(field.Left, y), paper.At(field.Right, y), paper.Look{Stroke: midGrey, Width: 0.7})
		p.Text(paper.Label{At: paper.At(field.Left-7, y+4), Words: Decimal(v, 0), Size: chartText, Anchor: paper.AtEnd})
	}
	p.Rect(field, thinFrame)
	p.Text(paper.Label{At: paper.At(field.Left, field.Top-8), Words: name, Size: chartText, Bold: true})
}

// scenarioTicks names each point below the fields, pressures in both units,
// leaving out those there is no room for.
func (p *page) scenarioTicks(points []ChartPoint, x axis, name string) {
	y := infeasibleField.Bottom
	free := math.Inf(-1)
	for _, pt := range points {
		at := x.at(pt.value())
		p.Line(paper.At(at, y), paper.At(at, y+5), thinFrame)
		first, second := pt.words()
		half := max(paper.Width(first, chartText, false), paper.Width(second, chartText, false)) / 2
		if at-half < free {
			continue
		}
		free = at + half + 5
		p.Text(paper.Label{At: paper.At(at, y+18), Words: first, Size: chartText, Anchor: paper.AtMiddle})
		if second != "" {
			p.Text(paper.Label{At: paper.At(at, y+32), Words: second, Size: chartText, Anchor: paper.AtMiddle})
		}
	}
	middle := (infeasibleField.Left + infeasibleField.Right) / 2
	words := paper.Shortened(name, infeasibleField.Width(), chartText, true)
	p.Text(paper.Label{At: paper.At(middle, y+52), Words: words, Size: chartText, Bold: true, Anchor: paper.AtMiddle})
}

// shortNumber writes a number with one decimal, none where it is whole.
func shortNumber(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

// bars draws the lots left out, hatched, with their number above.
func (p *page) bars(points []ChartPoint, x axis, lots axis) {
	half := min(22, 0.35*leastGap(points, x))
	pl := paper.Placer{Within: infeasibleField}
	for _, pt := range points {
		at := x.at(pt.value())
		if pt.Infeasible > 0 {
			b := paper.Box{Left: at - half, Top: lots.at(float64(pt.Infeasible)), Right: at + half, Bottom: infeasibleField.Bottom}
			p.Area([][]paper.Vec{b.Corners().List()}, dryArea, b)
		}
		p.figure(&pl, paper.At(at, lots.at(float64(pt.Infeasible))), pt.Infeasible)
	}
}

// leastGap returns the least distance between two points along the axis.
func leastGap(points []ChartPoint, x axis) float64 {
	gap := x.to - x.from
	for i := 1; i < len(points); i++ {
		if d := x.at(points[i].value()) - x.at(points[i-1].value()); d > 0 {
			gap = min(gap, d)
		}
	}
	return gap
}

// headLine joins the totals; a marker is hollow, and the line to it dashed,
// where lots are left out.
func (p *page) headLine(points []ChartPoint, x axis, heads axis) {
	at := func(pt ChartPoint) paper.Vec { return paper.At(x.at(pt.value()), heads.at(float64(pt.Heads))) }
	for i := 1; i < len(points); i++ {
		l := paper.Look{Stroke: blue, Width: 2.2}
		if points[i-1].Infeasible+points[i].Infeasible > 0 {
			l.Dash = "6 4"
		}
		p.Line(at(points[i-1]), at(points[i]), l)
	}
	pl := paper.Placer{Within: headsField}
	for _, pt := range points {
		pl.Take(paper.Around(at(pt), 2*markRadius, 2*markRadius).Corners())
		p.mark(at(pt), pt.Infeasible > 0)
	}
	for _, pt := range points {
		p.figure(&pl, at(pt).Add(paper.At(0, -markRadius)), pt.Heads)
	}
}

const markRadius = 5.0

func (p *page) mark(c paper.Vec, hollow bool) {
	l := paper.Look{Fill: blue, Stroke: blue, Width: 2}
	if hollow {
		l.Fill = white
	}
	p.Circle(c, markRadius, l)
}

// figure writes a number just above a place unless that room is taken.
func (p *page) figure(pl *paper.Placer, at paper.Vec, n int) {
	l := paper.Label{At: at.Add(paper.At(0, -5)), Words: Decimal(float64(n), 0), Size: chartText, Bold: true, Anchor: paper.AtMiddle, Backed: true}
	if q := l.Quad(); pl.Free(q) {
		pl.Take(q)
		p.Text(l)
	}
}

func (p *page) chartKey() {
	y := chartHeight - 18.0
	p.mark(paper.At(headsField.Left+6, y-4), false)
	p.Text(paper.Label{At: paper.At(headsField.Left+18, y), Words: "all lots designed", Size: chartText})
	p.mark(paper.At(headsField.Left+176, y-4), true)
	p.Text(paper.Label{At: paper.At(headsField.Left+188, y), Words: "some lots infeasible: the heads of the others only, not to be compared with the rest", Size: chartText})
}
