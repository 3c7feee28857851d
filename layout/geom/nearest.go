package geom

import "math"

// NearestEdge returns the edge of g nearest to p and its distance in
// millimetres. Ties go to the edge met first. For the empty region the
// distance is +Inf.
func (g Region) NearestEdge(p Point) (Segment, float64) {
	best, bestDist := Segment{}, math.Inf(1)
	for s := range g.Edges() {
		if d := s.DistanceMM(p); d < bestDist {
			best, bestDist = s, d
		}
	}
	return best, bestDist
}

// EdgeWithin reports, exactly, whether some edge of g is at most limit mm from p.
func (g Region) EdgeWithin(p Point, limit int64) bool {
	for s := range g.Edges() {
		if s.WithinOf(p, limit) {
			return true
		}
	}
	return false
}

// EdgeNearerThan reports, exactly, whether some edge of g is less than limit mm
// from p.
func (g Region) EdgeNearerThan(p Point, limit int64) bool {
	for s := range g.Edges() {
		if s.NearerThan(p, limit) {
			return true
		}
	}
	return false
}
