package zoning

import (
	"math"
	"slices"

	"lotwright/layout/geom"
)

// spanMeasure measures zones by minimum spanning trees.
type spanMeasure struct {
	at   []geom.Point
	tap  geom.Point
	dist [][]int64 // between heads; the last row and column are the tap's

	near []int64 // scratch of length
}

func newSpanMeasure(heads []Head, s Settings) *spanMeasure {
	m := &spanMeasure{tap: s.TapAt}
	for _, h := range heads {
		m.at = append(m.at, h.At)
	}
	between := s.Distance
	if between == nil {
		between = m.straight
	}
	n := len(heads)
	m.dist = make([][]int64, n+1)
	for i := range m.dist {
		m.dist[i] = make([]int64, n+1)
		for j := range i {
			from, to := i, j
			if i == n {
				from = Tap
			}
			m.dist[i][j] = min(between(from, to), noWay)
			m.dist[j][i] = m.dist[i][j]
		}
	}
	return m
}

// straight is the distance as the crow flies, to the nearest millimetre.
func (m *spanMeasure) straight(i, j int) int64 {
	return int64(math.Round(m.place(i).DistanceMM(m.place(j))))
}

func (m *spanMeasure) place(i int) geom.Point {
	if i == Tap {
		return m.tap
	}
	return m.at[i]
}

func (m *spanMeasure) reaches(head int) bool { return m.dist[head][len(m.at)] < noWay }

// length grows a minimum spanning tree from the tap (Prim 1957).
func (m *spanMeasure) length(heads []int) int64 {
	m.near = m.near[:0]
	for _, h := range heads {
		m.near = append(m.near, m.dist[len(m.at)][h])
	}
	total := int64(0)
	for range heads {
		k := nearest(m.near)
		total += m.near[k]
		m.near[k] = inTree
		from := m.dist[heads[k]]
		for i, h := range heads {
			m.near[i] = min(m.near[i], from[h]) // inTree stays
		}
	}
	return total
}

// inTree marks what is joined already.
const inTree = -1

func nearest(near []int64) int {
	best := -1
	for k, d := range near {
		if d != inTree && (best < 0 || d < near[best]) {
			best = k
		}
	}
	return best
}

// sequence goes round the tap, counter-clockwise from east.
func (m *spanMeasure) sequence(heads []int) []int {
	out := slices.Clone(heads)
	slices.SortStableFunc(out, func(i, j int) int {
		return compareBearings(m.at[i].Sub(m.tap), m.at[j].Sub(m.tap))
	})
	return out
}

// compareBearings orders directions counter-clockwise from east. No direction at
// all counts as east.
func compareBearings(a, b geom.Point) int {
	if x, y := lower(a), lower(b); x != y {
		if x {
			return 1
		}
		return -1
	}
	switch cross := a.Cross(b); {
	case cross > 0:
		return -1
	case cross < 0:
		return 1
	}
	return 0
}

// lower reports whether a bearing is half a turn or more from east.
func lower(a geom.Point) bool { return a.Y < 0 || a.Y == 0 && a.X < 0 }
