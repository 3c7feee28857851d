package trench

import (
	"math"

	"lotwright/layout/geom"
)

// rootSlack is how far, in mm, the outline of a root zone may be moved outward
// to save corners: nobody knows it to a hand's breadth, and a circle drawn with
// 64 corners would be most of the chart.
const rootSlack = 100

// coarsened returns g with runs of short edges round its convex corners replaced
// by one corner where the edges before and after meet, as long as that corner
// is within mm of what it replaces. Nothing of g is lost.
func coarsened(g geom.Region, mm int64) geom.Region {
	rings := make([]geom.Ring, 0, len(g))
	for ring := range g.Rings() {
		rings = append(rings, coarseRing(ring, mm))
	}
	return geom.Normalize(rings)
}

// coarseRing keeps the first edge and then, again and again, the furthest one
// that the last one kept can be prolonged to.
func coarseRing(ring geom.Ring, mm int64) geom.Ring {
	var out geom.Ring
	n := len(ring)
	edge := func(i int) geom.Segment { return geom.Segment{A: ring[i%n], B: ring[(i+1)%n]} }
	turnsLeft := func(i int) bool { return geom.Orient(edge(i-1).A, edge(i).A, edge(i).B) > 0 }
	for i := 0; i < n; {
		corner, next := edge(i).B, i+1
		for j := i + 2; j <= n; j++ {
			p, ok := prolonged(edge(i), edge(j))
			if !turnsLeft(j-1) || !turnsLeft(j) || !ok || !within(p, ring, i+1, j, mm) {
				break
			}
			corner, next = p, j
		}
		out = append(out, corner)
		i = next
	}
	return out
}

// prolonged returns the grid point where s and t meet when s is prolonged
// forward and t backward, having turned left by less than a right angle.
func prolonged(s, t geom.Segment) (geom.Point, bool) {
	d, e := s.B.Sub(s.A), t.B.Sub(t.A)
	den := d.Cross(e)
	if den <= 0 || d.Dot(e) <= 0 {
		return geom.Point{}, false
	}
	share := float64(t.A.Sub(s.A).Cross(e)) / float64(den)
	if share < 1 {
		return geom.Point{}, false
	}
	return along(s, share), true
}

// within reports whether p is at most mm from the part of the ring between its
// corners from and to.
func within(p geom.Point, ring geom.Ring, from, to int, mm int64) bool {
	best := math.Inf(1)
	for i := from; i < to; i++ {
		best = min(best, geom.Segment{A: ring[i%len(ring)], B: ring[(i+1)%len(ring)]}.DistanceMM(p))
	}
	return best <= float64(mm)
}
