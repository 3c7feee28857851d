package stakeout

import (
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// What makes a corner a reference.
const (
	// LeastTurnDeg is how far an outline must turn for its corner to be found
	// again. A judgement.
	LeastTurnDeg = 20
	// LeastSpacing keeps references from being taken for one another. The
	// design of record.
	LeastSpacing layout.Length = 0.3
)

// References lists the corners that can be taped from: first those of buildings
// on the lot, then those of the lot, each outline clockwise from its north-west.
// A corner too near one listed before is left out. The result does not depend
// on the order of polygons or where outlines start.
func References(building, parcel geom.Region) []Named {
	var out []Named
	add := func(prefix string, corners []geom.Point, ok func(geom.Point) bool) {
		n := 0
		for _, p := range corners {
			if ok(p) && !crowded(p, out) {
				n++
				out = append(out, Named{fmt.Sprintf("%s%d", prefix, n), p})
			}
		}
	}
	add("B", corners(building), parcel.Has)
	add("L", corners(parcel), func(p geom.Point) bool { return building.Locate(p) != geom.Interior })
	return out
}

func crowded(p geom.Point, list []Named) bool {
	return slices.ContainsFunc(list, func(n Named) bool { return n.At.Within(p, LeastSpacing.Millimetres()-1) })
}

// corners lists the corners that stick out, outline by outline.
func corners(g geom.Region) []geom.Point {
	var shells []geom.Ring
	for _, p := range g {
		shells = append(shells, clockwise(p[0]))
	}
	slices.SortFunc(shells, func(a, b geom.Ring) int { return compareNorthWest(a[0], b[0]) })
	var out []geom.Point
	for _, ring := range shells {
		for i, p := range ring {
			if sticksOut(ring[(i+len(ring)-1)%len(ring)], p, ring[(i+1)%len(ring)]) {
				out = append(out, p)
			}
		}
	}
	return out
}

// clockwise returns a shell the other way round, from its most north-western
// corner.
func clockwise(shell geom.Ring) geom.Ring {
	ring := shell.Reversed()
	first := 0
	for i, p := range ring {
		if compareNorthWest(p, ring[first]) < 0 {
			first = i
		}
	}
	return append(slices.Clone(ring[first:]), ring[:first]...)
}

// compareNorthWest orders places from the north-west to the south-east.
func compareNorthWest(p, q geom.Point) int {
	if c := (p.X - p.Y) - (q.X - q.Y); c != 0 {
		return int(c)
	}
	return p.Compare(q)
}

var leastTurn = math.Tan(LeastTurnDeg * math.Pi / 180)

// sticksOut reports whether a clockwise outline turns right at p, and enough.
func sticksOut(before, p, after geom.Point) bool {
	in, out := p.Sub(before), after.Sub(p)
	turn, ahead := -in.Cross(out), in.Dot(out)
	return turn > 0 && (ahead <= 0 || float64(turn) >= leastTurn*float64(ahead))
}

// GrazeMM is how deep a tape may cut into a building: along a wall it bends
// round what sticks out so little. A judgement.
const GrazeMM = 20

// Past returns for [Settings].Sees whether a straight tape passes the buildings
// by.
func Past(building geom.Region) (func(a, b geom.Point) bool, error) {
	core, err := geom.Buffer(building, -GrazeMM, geom.MitreJoin)
	if err != nil {
		return nil, fmt.Errorf("stakeout: %w", err)
	}
	return func(a, b geom.Point) bool {
		if core.Has(a) || core.Has(b) {
			return false
		}
		tape := geom.Segment{A: a, B: b}
		for e := range core.Edges() {
			if e.Touches(tape) {
				return false
			}
		}
		return true
	}, nil
}
