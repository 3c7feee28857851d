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
	around := Bounds{Min: p, Max: p}.Pad(limit)
	for _, poly := range g {
		for _, ring := range poly {
			if ring.edgeNearerThan(p, limit, around) {
				return true
			}
		}
	}
	return false
}

func (r Ring) edgeNearerThan(p Point, limit int64, around Bounds) bool {
	for i, a := range r {
		s := Segment{a, r[(i+1)%len(r)]}
		if max(s.A.X, s.B.X) < around.Min.X || min(s.A.X, s.B.X) > around.Max.X ||
			max(s.A.Y, s.B.Y) < around.Min.Y || min(s.A.Y, s.B.Y) > around.Max.Y {
			continue
		}
		if s.NearerThan(p, limit) {
			return true
		}
	}
	return false
}
