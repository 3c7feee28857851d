package drawing

import (
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/paper"
)

// Place is a place on the ground with a name.
type Place struct {
	Name string
	At   geom.Point
}

// Part is a plan drawn as part of a larger page, for black and white.
type Part struct {
	Frame  paper.Box
	Ratios []float64                  // scales 1:N to choose from, rising; none, or too few: any round one
	Marks  []Place                    // fixed points to be shown
	Runs   []string                   // what to write beside each run of trench, where there is room
	Length func(layout.Length) string // how lengths are written; nil: in both systems
}

// Drawn tells what came of a part.
type Drawn struct {
	Ratio   float64 // N of the scale 1:N when printed at full size
	Legend  []Entry // what the legend must explain
	Unnamed int     // labels that found no room
}

// partLetters are larger than those of a plan: they are read in the field.
var partLetters = letters{name: 11.5, crowded: 9.5, small: 8.8, side: 8.8}

// Draw draws the plan of a lot; ok is false where there is no outline to draw.
// lot may be nil, d may not.
func (part Part) Draw(on *paper.Page, lot *layout.Lot, d *layout.Design) (out Drawn, ok bool) {
	bounds, ok := extent(lot, d)
	for _, m := range part.Marks {
		bounds = bounds.Grow(m.At)
	}
	if !ok {
		return Drawn{}, false
	}
	v := part.view(bounds)
	p := &painter{page: &page{on}, view: v, bare: true, letters: partLetters, words: part.Length, marks: part.Marks, runs: part.Runs}
	if p.words == nil {
		p.words = lengthWords
	}
	p.Clipped(part.Frame, func() {
		p.lot(lot, d)
		out.Unnamed = p.labels(lot, d)
	})
	out.Ratio, out.Legend = v.ratio(), p.entries
	return out, true
}

// view fits the bounds into the frame at the largest scale allowed.
func (part Part) view(bounds geom.Bounds) view {
	v := fit(bounds, part.Frame.Inset(planMargin), true)
	least := fit(bounds, part.Frame.Inset(planMargin), false).ratio()
	i := slices.IndexFunc(part.Ratios, func(n float64) bool { return n >= least*(1-1e-9) })
	if i >= 0 {
		v.scale = unitsPerPaper / part.Ratios[i]
	}
	v.frame = part.Frame
	return v
}

// ScaleBar draws a bar in feet or metres for a scale 1:ratio, no longer than
// room, its figures to the left and right of it.
func ScaleBar(on *paper.Page, at paper.Vec, ratio, room float64, metric bool) {
	p, scale := &page{on}, unitsPerPaper/ratio
	if metric {
		p.scaleBar(at, metreBar(scale, room), "m")
		return
	}
	p.scaleBar(at, feetBar(scale, room), "ft")
}

// NorthArrow draws an arrow up the page, about 42 units high, round c.
func NorthArrow(on *paper.Page, c paper.Vec) { (&page{on}).northArrow(c) }

// StatusSymbol draws the symbol of a status.
func StatusSymbol(on *paper.Page, c paper.Vec, r float64, s layout.Status) {
	drawStatus(&page{on}, c, r, s)
}

// Junctions lists the places where trench runs meet, other than heads and the
// point of connection, in the order met.
func Junctions(d *layout.Design) []Place {
	var out []Place
	for _, j := range junctions(d) {
		out = append(out, Place{j.name, j.at})
	}
	return out
}

// Connection returns the point of connection as far as it is known.
func Connection(lot *layout.Lot, d *layout.Design) (at geom.Point, ok bool) {
	c, ok := connectionOf(lot, d)
	return c.at, ok
}
