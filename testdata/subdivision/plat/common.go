package plat

import "slices"

// Paving of the streets and what crosses lot lines.
const (
	arcWest, arcEast = -26.5, 20.0 // ends of Withy Arc, degrees from south

	kerbRadius = 6.5 // of the kerb at the corner of the streets

	// The public walk along the south side was laid a little over the lot
	// lines, as happens; distances from the arc's centre line.
	publicWalkIn, publicWalkOut = 6.4, halfRight + 0.2
)

func (d drawing) streets() {
	d.add("hardscape", Polygon, band(arcRadius-halfPaved, arcRadius+halfPaved))
	d.add("hardscape", Polygon, courtPaving())
	d.add("hardscape", Polygon, circle(bulbCentre, bulbPaved, 60))
	d.add("hardscape", Polygon, band(arcRadius+publicWalkIn, arcRadius+publicWalkOut))
}

// band is the ground between two distances from the arc's centre.
func band(inner, outer float64) []XY {
	return chain(arcFront(outer, arcWest, arcEast), backwards(arcFront(inner, arcWest, arcEast)))
}

// courtPaving is Teasel Court's paving, flared at both ends.
func courtPaving() []XY {
	const inner = arcRadius - halfPaved
	throatRadius := bulbThroat + halfRight - halfPaved // about the same centre as the right of way
	east := chain(backwards(corner(+1, halfPaved, inner, kerbRadius)), throat(+1, halfPaved, bulbPaved, throatRadius))
	west := chain(backwards(corner(-1, halfPaved, inner, kerbRadius)), throat(-1, halfPaved, bulbPaved, throatRadius))
	return chain(east, []XY{bulbCentre}, backwards(west), []XY{{0, 0}})
}

// Width of the drainage easement, all of it on the lots it crosses.
const easement = 3.0

// common draws what belongs to several lots: a wall on a lot line and an
// easement along rear lines.
func (d drawing) common() {
	d.add("wall", Line, []XY{polar(276, -11.2), polar(301, -11.2)}, lotID(2), lotID(3))
	rear := []XY{polar(297, 9.2), polar(296, 4.3), polar(298, -0.6)}
	inner := []XY{polar(298-easement, -0.6), polar(296-easement, 4.3), polar(297-easement, 9.2)}
	d.add("no_dig", Polygon, slices.Concat(rear, inner), lotID(5), lotID(6))
}
