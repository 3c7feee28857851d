package certify

import "lotwright/layout/geom"

// Standing describes where heads may stand: in the lawn, at least a clearance
// from each kind of edge, or at one of the exceptions.
type Standing struct {
	EdgeMM     int64
	Edges      []geom.Segment // of paving, water and the lot line
	BuildingMM int64
	Buildings  []geom.Segment // edges of buildings and walls
	Exceptions []geom.Point
}

// excludes reports whether no head may stand anywhere in the box, exceptions
// apart: it lies outside the lawn, or all of it is too near to one edge. The
// points nearer to a segment than a distance are convex, so corners decide.
func (s *Standing) excludes(lawn geom.Region, b geom.Bounds) bool {
	return tooNear(s.Edges, s.EdgeMM, b) || tooNear(s.Buildings, s.BuildingMM, b) ||
		!lawn.Has(b.Min) && !edgeTouches(lawn, b)
}

func tooNear(edges []geom.Segment, mm int64, b geom.Bounds) bool {
	if mm == 0 {
		return false
	}
	around := b.Pad(mm)
	for _, e := range edges {
		if e.Bounds().Overlaps(around) && cornersWithin(e, mm-1, b) {
			return true
		}
	}
	return false
}

func cornersWithin(e geom.Segment, mm int64, b geom.Bounds) bool {
	for _, c := range corners(b) {
		if !e.WithinOf(c, mm) {
			return false
		}
	}
	return true
}
