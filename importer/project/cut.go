package project

import (
	"lotwright/importer"
)

// Near returns the bounds padded by a length in metres on every side.
func Near(b importer.Bounds, metres float64) importer.Bounds {
	dLon, dLat := DegreesAround(b.Center()[1], metres)
	return b.Pad(dLon, dLat)
}

// Cut cuts a geometry to a box in degrees, so that a road or a lake need not
// be looked at as a whole for every lot it touches. Areas stay areas of the
// same number of rings, but may run along the sides of the box twice; a line may
// come apart. cut tells whether anything was taken away.
func Cut(g importer.Geometry, box importer.Bounds) (out importer.Geometry, cut bool) {
	if within(box, g.Bounds().Min) && within(box, g.Bounds().Max) {
		return g, false
	}
	out.Type = g.Type
	for _, part := range g.Parts {
		switch g.Type {
		case importer.Point, importer.MultiPoint:
			if len(part) > 0 && len(part[0]) > 0 && within(box, part[0][0]) {
				out.Parts = append(out.Parts, part)
			}
		case importer.LineString, importer.MultiLineString:
			for _, line := range part {
				out.Parts = append(out.Parts, cutLine(line, box)...)
			}
		default:
			if rings := cutArea(part, box); len(rings) > 0 {
				out.Parts = append(out.Parts, rings)
			}
		}
	}
	return out, true
}

// side is a half plane: the positions whose coordinate on an axis, times sign,
// is at most limit.
type side struct {
	axis  int
	sign  float64
	limit float64
}

func (s side) depth(p importer.Position) float64 { return s.limit - s.sign*p[s.axis] }

func sides(box importer.Bounds) [4]side {
	return [4]side{{0, 1, box.Max[0]}, {0, -1, -box.Min[0]}, {1, 1, box.Max[1]}, {1, -1, -box.Min[1]}}
}

// cutArea cuts every ring side by side (Sutherland and Hodgman 1974). Holes of
// which nothing is left go, and so does an area without a shell.
func cutArea(rings [][]importer.Position, box importer.Bounds) [][]importer.Position {
	var out [][]importer.Position
	for k, ring := range rings {
		for _, s := range sides(box) {
			ring = s.cutRing(ring)
		}
		if len(ring) == 0 && k == 0 {
			return nil
		}
		if len(ring) > 0 {
			out = append(out, ring)
		}
	}
	return out
}

func (s side) cutRing(ring []importer.Position) []importer.Position {
	var out []importer.Position
	for i, b := range ring {
		a := ring[(i+len(ring)-1)%len(ring)]
		if (s.depth(a) < 0) != (s.depth(b) < 0) {
			out = append(out, s.meet(a, b))
		}
		if s.depth(b) >= 0 {
			out = append(out, b)
		}
	}
	return out
}

// meet returns where the edge from a to b, whose ends lie on different sides,
// passes the limit.
func (s side) meet(a, b importer.Position) importer.Position {
	u := s.depth(a) / (s.depth(a) - s.depth(b))
	p := importer.Position{a[0] + u*(b[0]-a[0]), a[1] + u*(b[1]-a[1])}
	p[s.axis] = s.sign * s.limit
	return p
}

// cutLine returns the pieces of a line that lie in the box, each a part of its
// own.
func cutLine(line []importer.Position, box importer.Bounds) (parts [][][]importer.Position) {
	var piece []importer.Position
	end := func() {
		if len(piece) > 1 {
			parts = append(parts, [][]importer.Position{piece})
		}
		piece = nil
	}
	for i := 1; i < len(line); i++ {
		a, b, ok := cutEdge(line[i-1], line[i], box)
		if !ok {
			end()
			continue
		}
		if len(piece) == 0 || piece[len(piece)-1] != a {
			end()
			piece = append(piece, a)
		}
		piece = append(piece, b)
	}
	end()
	return parts
}

func cutEdge(a, b importer.Position, box importer.Bounds) (p, q importer.Position, ok bool) {
	for _, s := range sides(box) {
		switch da, db := s.depth(a), s.depth(b); {
		case da < 0 && db < 0:
			return a, b, false
		case da < 0:
			a = s.meet(a, b)
		case db < 0:
			b = s.meet(a, b)
		}
	}
	return a, b, true
}
