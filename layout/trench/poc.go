package trench

import (
	"cmp"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// assumedPOC returns where the water is taken from when the lot does not say:
// the point of the house's outline nearest the street side.
//
//   - The house is the largest building.
//   - The street side is the longest unbroken stretch of lot line along which
//     paving touches it, since there the drive meets the street; where none
//     does, all of the lot line. Of equal stretches it is the one whose first
//     point, going counter-clockwise, is least in (X, Y).
//   - Distances count in whole millimetres. Of points equally near, as along a
//     front parallel to the street, it is the one nearest the middle of the
//     stretch, if that has ends, then the least in (X, Y). Points from which no
//     trench could get to the largest piece of free ground come last.
//   - Without a building it is the middle of the street side; without that
//     either, the middle of the longest side of the lot line.
func assumedPOC(lot *layout.Lot, g *ground) geom.Point {
	lotLine := largest(g.parcel)[0]
	street, found := streetSide(lotLine, lot.Hardscape)
	house := geom.Union(lot.Building)
	switch {
	case len(house) > 0:
		return frontPoint(largest(house), street, g)
	case found:
		return street.middle()
	default:
		return longestSide(lotLine).middle()
	}
}

// side is a chain of pieces of lot line.
type side geom.Line

func (s side) length() float64 { return geom.Line(s).LengthMM() }

// middle returns the grid point halfway along s.
func (s side) middle() geom.Point {
	left := s.length() / 2
	for e := range geom.Line(s).Edges() {
		if l := e.LengthMM(); left <= l && l > 0 {
			return along(e, left/l)
		} else {
			left -= l
		}
	}
	return s[len(s)-1]
}

// better orders sides by length, the longest first, then by their first point.
func (s side) better(t side) int {
	return cmp.Or(cmp.Compare(t.length(), s.length()), s[0].Compare(t[0]))
}

// streetSide returns the longest stretch of the lot line that paving touches,
// or the whole lot line and false.
func streetSide(lotLine geom.Ring, paving geom.Region) (side, bool) {
	touching := touchingSides(lotLine, newOutline(widened(paving, lotLineSlack)))
	if len(touching) == 0 {
		return append(side(slices.Clone(lotLine)), lotLine[0]), false
	}
	return slices.MinFunc(touching, side.better), true
}

// touchingSides returns the stretches of the lot line inside near, each as long
// as it goes on round corners.
func touchingSides(lotLine geom.Ring, near *outline) []side {
	var out []side
	for e := range lotLine.Edges() {
		for _, s := range near.covered(e, nil) {
			a, b := along(e, s.lo), along(e, s.hi)
			if n := len(out); n > 0 && out[n-1][len(out[n-1])-1] == a {
				out[n-1] = append(out[n-1], b)
			} else {
				out = append(out, side{a, b})
			}
		}
	}
	if n := len(out); n > 1 && out[n-1][len(out[n-1])-1] == out[0][0] {
		out[0] = append(out[n-1], out[0][1:]...)
		out = out[:n-1]
	}
	return out
}

// along returns the grid point at a share of the length of s.
func along(s geom.Segment, share float64) geom.Point {
	switch share {
	case 0:
		return s.A
	case 1:
		return s.B
	}
	return s.A.Add(s.B.Sub(s.A).Vec().Scale(share).Round())
}

// longestSide returns the longest straight piece of the lot line.
func longestSide(lotLine geom.Ring) side {
	var sides []side
	for e := range lotLine.Edges() {
		sides = append(sides, side{e.A, e.B})
	}
	return slices.MinFunc(sides, side.better)
}

func largest(g geom.Region) geom.Polygon {
	return slices.MaxFunc(g, func(a, b geom.Polygon) int {
		return cmp.Or(cmp.Compare(geom.Region{a}.Area2(), geom.Region{b}.Area2()), b[0][0].Compare(a[0][0]))
	})
}

// frontPoint returns the point of the house's outline nearest the street from
// which a trench can get to most of the lot.
func frontPoint(house geom.Polygon, street side, g *ground) geom.Point {
	points := frontPoints(house[0], street)
	if len(g.free.region) > 0 {
		main := geom.Region{largest(g.free.region)}
		for _, p := range points {
			if q, ok := g.exit(p); ok && main.Has(q) {
				return p
			}
		}
	}
	return points[0]
}

// exit returns where a trench from p, a point of a house's outline, would come
// into free ground.
func (g *ground) exit(p geom.Point) (geom.Point, bool) {
	q, ok := g.comeOut(p)
	if !ok || !p.Within(q, gridSlack) {
		return p, false
	}
	if g.free.region.Has(q) {
		return q, true
	}
	return g.gate(q)
}

// frontPoints returns the points of the outline that may be the nearest to the
// street: its corners, and on each edge the points nearest to the corners and
// the middle of the street. They come in the order of preference.
func frontPoints(outline geom.Ring, street side) []geom.Point {
	toward := slices.Clone(street)
	middle, open := street.middle(), street[0] != street[len(street)-1]
	if open {
		toward = append(toward, middle)
	}
	points := slices.Clone(outline)
	for e := range outline.Edges() {
		for _, p := range toward {
			points = append(points, e.Nearest(p))
		}
	}
	slices.SortFunc(points, geom.Point.Compare)
	points = slices.Compact(points)
	away, off := make(map[geom.Point]int64), make(map[geom.Point]int64)
	for _, p := range points {
		away[p] = street.distanceMM(p)
		if open {
			off[p] = p.Sub(middle).Norm2()
		}
	}
	slices.SortStableFunc(points, func(a, b geom.Point) int {
		return cmp.Or(cmp.Compare(away[a], away[b]), cmp.Compare(off[a], off[b]))
	})
	return points
}

// distanceMM returns the distance of p from s in whole millimetres.
func (s side) distanceMM(p geom.Point) int64 {
	best := p.DistanceMM(s[0])
	for e := range geom.Line(s).Edges() {
		best = min(best, e.DistanceMM(p))
	}
	return int64(best)
}
