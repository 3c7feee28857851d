package shapefile

import (
	"slices"

	"lotwright/importer"
)

// ring is a ring of a polygon with what is needed to sort rings.
type ring struct {
	positions []importer.Position
	bounds    importer.Bounds
	area2     float64 // twice the signed area; positive counter-clockwise
	hole      bool
}

// polygonShape sorts the rings of a shape into polygons: those that run
// clockwise are shells, the others holes of the smallest shell around them (page
// 8 of the description). Where a hole has no shell, the makers did not know
// that: then what counts is how many rings lie around each.
func polygonShape(lines [][]importer.Position) importer.Geometry {
	var rings []ring
	for _, l := range lines {
		r := ring{positions: l, bounds: importer.EmptyBounds()}
		for i, p := range l {
			r.bounds = r.bounds.Grow(p)
			q, o := l[(i+1)%len(l)], l[0]
			r.area2 += (p[0]-o[0])*(q[1]-o[1]) - (q[0]-o[0])*(p[1]-o[1])
		}
		r.hole = r.area2 > 0
		rings = append(rings, r)
	}
	if !eachHoleHasShell(rings) {
		for i := range rings {
			rings[i].hole = len(around(rings, i))%2 == 1
		}
	}
	return polygons(rings)
}

func eachHoleHasShell(rings []ring) bool {
	for i, r := range rings {
		if r.hole && !slices.ContainsFunc(around(rings, i), func(k int) bool { return !rings[k].hole }) {
			return false
		}
	}
	return true
}

// around lists the rings that the i-th lies in.
func around(rings []ring, i int) (out []int) {
	for k := range rings {
		if k != i && rings[k].contains(rings[i]) {
			out = append(out, k)
		}
	}
	return out
}

// cornersTried is how many corners of a ring are looked at to find one that is
// not on the line of another; honest rings touch in a few.
const cornersTried = 64

// contains reports whether s lies in r, told by the first corner of s that is
// not on the line of r; rings of one polygon do not cross.
func (r ring) contains(s ring) bool {
	if !(r.bounds.Min[0] <= s.bounds.Min[0] && r.bounds.Min[1] <= s.bounds.Min[1] &&
		s.bounds.Max[0] <= r.bounds.Max[0] && s.bounds.Max[1] <= r.bounds.Max[1]) || r.bounds == s.bounds && abs(r.area2) <= abs(s.area2) {
		return false
	}
	for _, p := range s.positions[:min(len(s.positions), cornersTried)] {
		if in, on := r.holds(p); !on {
			return in
		}
	}
	return abs(r.area2) > abs(s.area2) // all on the line: inscribed
}

func abs(v float64) float64 { return max(v, -v) }

// holds says whether a place is in the ring, or on its line.
func (r ring) holds(p importer.Position) (in, on bool) {
	for i, a := range r.positions {
		b := r.positions[(i+1)%len(r.positions)]
		if (a[1] > p[1]) == (b[1] > p[1]) {
			if a[1] == p[1] && b[1] == p[1] && min(a[0], b[0]) <= p[0] && p[0] <= max(a[0], b[0]) {
				return false, true
			}
			continue
		}
		side := (b[0]-a[0])*(p[1]-a[1]) - (p[0]-a[0])*(b[1]-a[1])
		switch {
		case side == 0:
			return false, true
		case (side > 0) == (b[1] > a[1]):
			in = !in
		}
	}
	return in, slices.Contains(r.positions, p)
}

// polygons puts each hole into the smallest shell around it.
func polygons(rings []ring) importer.Geometry {
	g := importer.Geometry{Type: importer.Polygon}
	at := map[int]int{} // shell to its polygon
	for i, r := range rings {
		if !r.hole {
			at[i] = len(g.Parts)
			g.Parts = append(g.Parts, [][]importer.Position{r.positions})
		}
	}
	for i, r := range rings {
		if !r.hole {
			continue
		}
		shell := -1
		for _, k := range around(rings, i) {
			if !rings[k].hole && (shell < 0 || abs(rings[k].area2) < abs(rings[shell].area2)) {
				shell = k
			}
		}
		if shell < 0 { // rings that cross
			g.Parts = append(g.Parts, [][]importer.Position{r.positions})
			continue
		}
		g.Parts[at[shell]] = append(g.Parts[at[shell]], r.positions)
	}
	switch len(g.Parts) {
	case 0:
		return importer.Geometry{}
	case 1:
		return g
	}
	g.Type = importer.MultiPolygon
	return g
}
