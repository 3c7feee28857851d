package candidate

import (
	"cmp"
	"math"
	"slices"

	"lotwright/layout/geom"
)

// Spots returns the places worth trying for a head: the points of a square
// grid that are legal, points along the edge of the legal ground at the same
// spacing with all its corners, and the middle lines of narrow strips; sorted,
// without repeats.
func (g *Ground) Spots(spacingMM int64) []geom.Point {
	out := gridPoints(g.Legal, spacingMM)
	for ring := range g.Legal.Rings() {
		for s := range ring.Edges() {
			out = appendAlong(out, s, spacingMM)
		}
	}
	out = append(out, g.MiddleLine...)
	slices.SortFunc(out, geom.Point.Compare)
	return slices.DeleteFunc(slices.Compact(out), func(p geom.Point) bool { return !g.Allows(p) })
}

// appendAlong appends the start of s and points along it at most the spacing apart.
func appendAlong(out []geom.Point, s geom.Segment, spacingMM int64) []geom.Point {
	n := max(1, int(math.Ceil(s.LengthMM()/float64(spacingMM))))
	d := s.B.Sub(s.A).Vec()
	for i := range n {
		out = append(out, s.A.Vec().Add(d.Scale(float64(i)/float64(n))).Round())
	}
	return out
}

// gridPoints returns the points of the square grid through the origin that lie
// in g, piece by piece, so that pieces far apart cost no more than near ones.
func gridPoints(g geom.Region, spacingMM int64) []geom.Point {
	var out []geom.Point
	for _, poly := range g {
		piece := geom.Region{poly}
		b := piece.Bounds()
		for x := floorTo(b.Min.X, spacingMM); x <= b.Max.X; x += spacingMM {
			for y := floorTo(b.Min.Y, spacingMM); y <= b.Max.Y; y += spacingMM {
				if p := geom.Pt(x, y); piece.Has(p) {
					out = append(out, p)
				}
			}
		}
	}
	return out
}

// floorTo rounds v down to a multiple of step.
func floorTo(v, step int64) int64 {
	q := v / step
	if v%step < 0 {
		q--
	}
	return q * step
}

// Witness is a point of the lawn that stands for a cell of a square grid: the
// whole cell counts as wetted when the point is.
type Witness struct {
	At      geom.Point
	AreaMM2 int64 // of the lawn in the cell
}

// Witnesses cuts the lawn into grid cells of the given size and returns one
// witness for each, in order of place. Where the lawn fills the cell its
// middle is the witness; elsewhere the centroid of the part of the cell that
// is lawn or, when that misses the lawn, the nearest corner.
func Witnesses(lawn geom.Region, spacingMM int64) []Witness {
	b := lawn.Bounds()
	if b.Empty() {
		return nil
	}
	var out []Witness
	for x := floorTo(b.Min.X, spacingMM); x < b.Max.X; x += spacingMM {
		column := clipRegion(lawn, halfPlane{X: 1, C: float64(x)}, halfPlane{X: -1, C: -float64(x + spacingMM)})
		for y := floorTo(b.Min.Y, spacingMM); y < b.Max.Y; y += spacingMM {
			cell := clipRings(column, halfPlane{Y: 1, C: float64(y)}, halfPlane{Y: -1, C: -float64(y + spacingMM)})
			if w, ok := witnessOf(lawn, cell); ok {
				out = append(out, w)
			}
		}
	}
	slices.SortFunc(out, func(v, w Witness) int {
		return cmp.Or(v.At.Compare(w.At), cmp.Compare(v.AreaMM2, w.AreaMM2))
	})
	return out
}

// leastCellMM2 is the area under which a scrap of a cell is left out: 1 cm².
const leastCellMM2 = 100

func witnessOf(lawn geom.Region, cell [][]geom.Vec) (Witness, bool) {
	area2, cx, cy := 0.0, 0.0, 0.0
	for _, ring := range cell {
		o := ring[0]
		for i, p := range ring {
			u, v := p.Sub(o), ring[(i+1)%len(ring)].Sub(o)
			c := u.Cross(v)
			area2 += c
			cx += c * (u.X + v.X + 3*o.X)
			cy += c * (u.Y + v.Y + 3*o.Y)
		}
	}
	area := int64(math.Round(area2 / 2))
	if area < leastCellMM2 {
		return Witness{}, false
	}
	at := geom.Vec{X: cx / (3 * area2), Y: cy / (3 * area2)}.Round()
	return Witness{At: within(lawn, cell, at), AreaMM2: area}, true
}

// within returns at if it lies in the lawn, and otherwise the nearest point to
// it among the corners of the cell's part of the lawn and, lest rounding puts
// all of those outside, the corners of the lawn itself.
func within(lawn geom.Region, cell [][]geom.Vec, at geom.Point) geom.Point {
	if lawn.Has(at) {
		return at
	}
	best, bestDist := at, int64(math.MaxInt64)
	try := func(p geom.Point) {
		if d := p.Sub(at).Norm2(); d < bestDist {
			best, bestDist = p, d
		}
	}
	for _, ring := range cell {
		for _, v := range ring {
			if p := v.Round(); lawn.Has(p) {
				try(p)
			}
		}
	}
	if best == at {
		for s := range lawn.Edges() {
			try(s.A)
		}
	}
	return best
}

// halfPlane is the set of points with X·x + Y·y ≥ C.
type halfPlane struct{ X, Y, C float64 }

func clipRegion(g geom.Region, hs ...halfPlane) [][]geom.Vec {
	var rings [][]geom.Vec
	for ring := range g.Rings() {
		r := make([]geom.Vec, len(ring))
		for i, p := range ring {
			r[i] = p.Vec()
		}
		rings = append(rings, r)
	}
	return clipRings(rings, hs...)
}

// clipRings clips every ring by the half planes in turn (Sutherland and
// Hodgman 1974). Parts of a ring that fall apart stay joined along the clip
// line, which adds no area.
func clipRings(rings [][]geom.Vec, hs ...halfPlane) [][]geom.Vec {
	var out [][]geom.Vec
	for _, r := range rings {
		for _, h := range hs {
			r = h.clip(r)
		}
		if len(r) > 2 {
			out = append(out, r)
		}
	}
	return out
}

func (h halfPlane) clip(ring []geom.Vec) []geom.Vec {
	side := func(p geom.Vec) float64 { return h.X*p.X + h.Y*p.Y - h.C }
	var out []geom.Vec
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		sp, sq := side(p), side(q)
		if sp >= 0 {
			out = append(out, p)
		}
		if (sp > 0 && sq < 0) || (sp < 0 && sq > 0) {
			out = append(out, p.Add(q.Sub(p).Scale(sp/(sp-sq))))
		}
	}
	return out
}
