package stakeout

import (
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Along tells how to find a target on a straight side of an outline, such as a tap
// on a wall, where two tapes would run the same way: one tape along the side.
type Along struct {
	Target   Named
	From, To Named // the corners of the side, the nearer first
	Marks    int64 // whole quarter inches or centimetres from the nearer corner
	Distance layout.Length
	// Error is how far the place that the rounded distance leads to lies from
	// the target, rounded up to a tenth of a millimetre.
	Error layout.Length
}

// OffSide is how far a target may lie from a side and still be found on it. A
// judgement.
const OffSide layout.Length = 0.05

// OnSide looks for a side of the outlines that a target lies on and whose corners
// are references, on the first outline that has one; of several sides the one
// nearest to the target, then the first.
func OnSide(t Named, references []Named, g Graduation, outlines ...geom.Region) (best Along, ok bool) {
	for _, outline := range outlines {
		nearest := OffSide.Metres() * geom.MillimetresPerMetre
		for s := range outline.Edges() {
			if off := s.Nearest(t.At).DistanceMM(t.At); off < nearest || off == nearest && !ok {
				if a, found := along(t, s, references, g); found {
					best, nearest, ok = a, off, true
				}
			}
		}
		if ok {
			return best, true
		}
	}
	return Along{}, false
}

// along tapes a target on one side.
func along(t Named, s geom.Segment, references []Named, g Graduation) (Along, bool) {
	at := func(p geom.Point) int {
		return slices.IndexFunc(references, func(n Named) bool { return n.At == p })
	}
	i, j := at(s.A), at(s.B)
	if i < 0 || j < 0 {
		return Along{}, false
	}
	from, to := references[i], references[j]
	if to.At.Sub(t.At).Norm2() < from.At.Sub(t.At).Norm2() {
		from, to = to, from
	}
	side := to.At.Sub(from.At).Vec()
	marks := g.round(t.At.Sub(from.At).Vec().Dot(side) / side.Norm())
	a := Along{Target: t, From: from, To: to, Marks: max(0, marks), Distance: g.length(max(0, marks))}
	led := from.At.Vec().Add(side.Scale(math.Min(1, a.Distance.Metres()*geom.MillimetresPerMetre/side.Norm())))
	a.Error = roundedUp(led.Sub(t.At.Vec()).Norm())
	return a, true
}
