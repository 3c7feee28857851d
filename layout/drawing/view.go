package drawing

import (
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/paper"
)

const (
	mmPerInch      = 25.4
	unitsPerPaper  = paper.UnitsPerInch / mmPerInch // page units per millimetre of paper
	smallestSideMM = 1000.0                         // a lot is never enlarged beyond filling the frame with this

	planDetail  = 0.05 // page units; half a hair line at full size
	smallDetail = 0.20
)

// view puts the plane on the page: north up, one scale both ways.
type view struct {
	frame  paper.Box
	scale  float64 // page units per millimetre of ground
	detail float64 // finest detail drawn, in page units
	from   geom.Vec
	to     paper.Vec
}

// at places a point of the plane.
func (v view) at(p geom.Vec) paper.Vec {
	return paper.At(v.to.X+(p.X-v.from.X)*v.scale, v.to.Y-(p.Y-v.from.Y)*v.scale)
}

// ratio returns N of the scale 1:N at full size.
func (v view) ratio() float64 { return unitsPerPaper / v.scale }

// scaleSteps are the figures, within a power of ten, that a stated scale may have.
var scaleSteps = []float64{1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7.5, 10}

// roundRatio returns the least round N not below n.
func roundRatio(n float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(n)))
	for _, s := range scaleSteps {
		if s*power >= n*(1-1e-9) {
			return s * power
		}
	}
	return 10 * power
}

// fit returns the view that shows bounds in the middle of a frame, as large as
// will go; with round set, at a round scale.
func fit(bounds geom.Bounds, frame paper.Box, round bool) view {
	low, high := bounds.Min.Vec(), bounds.Max.Vec()
	width, height := max(high.X-low.X, smallestSideMM), max(high.Y-low.Y, smallestSideMM)
	scale := min(frame.Width()/width, frame.Height()/height)
	detail := smallDetail
	if round {
		detail = planDetail
		scale = unitsPerPaper / roundRatio(unitsPerPaper/scale)
	}
	return view{frame: frame, scale: scale, detail: detail, from: low.Add(high).Scale(0.5), to: frame.Centre()}
}

// extent returns the box around all that must be seen of a lot; ok is false
// when there is nothing to see.
func extent(lot *layout.Lot, d *layout.Design) (b geom.Bounds, ok bool) {
	b = geom.EmptyBounds()
	grow := func(p geom.Point) { b = b.Grow(p) }
	if lot != nil {
		eachPoint(lot.Parcel, grow)
	}
	if d != nil {
		growByDesign(d, grow)
	}
	return b, !b.Empty()
}

func growByDesign(d *layout.Design, grow func(geom.Point)) {
	eachPoint(d.Irrigated, grow)
	for _, h := range d.Heads {
		grow(h.At)
		for _, v := range h.Wetted {
			if finite(v.X+v.Y) && math.Abs(v.X)+math.Abs(v.Y) < geom.MaxCoord {
				grow(v.Round())
			}
		}
	}
	for _, r := range d.Network.Runs {
		for _, p := range r.Path {
			grow(p)
		}
	}
}

func eachPoint(g geom.Region, do func(geom.Point)) {
	for ring := range g.Rings() {
		for _, p := range ring {
			do(p)
		}
	}
}

// region places the rings of a region.
func (v view) region(g geom.Region) [][]paper.Vec {
	var out [][]paper.Vec
	for ring := range g.Rings() {
		points := make([]geom.Vec, len(ring))
		for i, p := range ring {
			points[i] = p.Vec()
		}
		if chain := v.outline(points); chain != nil {
			out = append(out, chain)
		}
	}
	return out
}

// outline places a closed chain. Fewer than three places make no outline.
func (v view) outline(points []geom.Vec) []paper.Vec {
	chain := v.placed(points)
	if len(chain) < 3 {
		return nil
	}
	far := farthest(chain, chain[0], chain[0])
	first := simplified(chain[:far+1], v.detail)
	second := simplified(append(slices.Clone(chain[far:]), chain[0]), v.detail)
	out := append(first, second[1:len(second)-1]...)
	if len(out) < 3 {
		return nil
	}
	return out
}

// path places an open chain.
func (v view) path(l geom.Line) []paper.Vec {
	points := make([]geom.Vec, len(l))
	for i, p := range l {
		points[i] = p.Vec()
	}
	return simplified(v.placed(points), v.detail)
}

func (v view) placed(points []geom.Vec) []paper.Vec {
	var out []paper.Vec
	for _, p := range points {
		if at := v.at(p); at.Finite() {
			out = append(out, at)
		}
	}
	return out
}

// simplified drops the places of an open chain that lie no farther than detail
// from the line drawn without them (Douglas and Peucker, 1973).
func simplified(chain []paper.Vec, detail float64) []paper.Vec {
	if len(chain) < 3 {
		return slices.Clone(chain)
	}
	a, b := chain[0], chain[len(chain)-1]
	i := farthest(chain, a, b)
	if offLine(chain[i], a, b) <= detail {
		return []paper.Vec{a, b}
	}
	return append(simplified(chain[:i+1], detail), simplified(chain[i:], detail)[1:]...)
}

// farthest returns which place of a chain, its ends aside, is farthest from the
// straight piece from a to b; the first of equals.
func farthest(chain []paper.Vec, a, b paper.Vec) int {
	best, most := 1, -1.0
	for i := 1; i < len(chain)-1; i++ {
		if d := offLine(chain[i], a, b); d > most {
			best, most = i, d
		}
	}
	return best
}

// offLine returns the distance of c from the straight piece from a to b.
func offLine(c, a, b paper.Vec) float64 {
	along, to := b.Sub(a), c.Sub(a)
	length2 := along.Dot(along)
	if length2 == 0 {
		return to.Norm()
	}
	return to.Sub(along.Times(min(1, max(0, to.Dot(along)/length2)))).Norm()
}
