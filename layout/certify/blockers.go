package certify

import "lotwright/layout/geom"

// maxCorners is the number of corners of a lawn up to which chords are looked
// for; beyond it only its edges block.
const maxCorners = 150

// leastChordMM is the length up to which chords are not worth their while.
const leastChordMM = 128

// chords returns the segments between corners of the lawn, longer than
// leastChordMM, that run outside it: no view over the lawn crosses one.
func chords(lawn geom.Region) []geom.Segment {
	var corners []geom.Point
	var edges []geom.Segment
	for s := range lawn.Edges() {
		corners = append(corners, s.A)
		edges = append(edges, s)
	}
	if len(corners) > maxCorners {
		return nil
	}
	var out []geom.Segment
	for i, a := range corners {
		for _, b := range corners[:i] {
			if s := (geom.Segment{A: a, B: b}); !a.Within(b, leastChordMM) && runsOutside(s, lawn, edges) {
				out = append(out, s)
			}
		}
	}
	return out
}

// runsOutside reports whether the open segment s, between two corners, meets
// neither the lawn's interior nor its edges.
func runsOutside(s geom.Segment, lawn geom.Region, edges []geom.Segment) bool {
	for _, e := range edges {
		if e.A != s.A && e.A != s.B && s.Has(e.A) || s.Crosses(e) {
			return false
		}
	}
	mid := s.A.Add(s.B)
	return doubledOutside(lawn, mid)
}

// doubledOutside reports whether m, in doubled coordinates, lies outside the
// lawn and on none of its edges.
func doubledOutside(lawn geom.Region, m geom.Point) bool {
	inside := false
	for e := range lawn.Edges() {
		a, b := e.A.Add(e.A), e.B.Add(e.B)
		if (geom.Segment{A: a, B: b}).Has(m) {
			return false
		}
		if (a.Y > m.Y) != (b.Y > m.Y) && (geom.Orient(a, b, m) > 0) == (b.Y > a.Y) {
			inside = !inside
		}
	}
	return !inside
}
