package plat

import "math"

// The streets, before the whole plat is turned. Withy Arc bends about a centre
// to the north; Teasel Court leaves it northwards along X = 0 and ends in a
// bulb. Lengths in metres, angles in degrees.
const (
	arcCentreY = 260.0
	arcRadius  = 260.0 // of the centre line
	halfRight  = 8.0   // half the width of a street's right of way
	halfPaved  = 4.5   // half the width of its paving

	bulbY      = 104.0
	bulbRight  = 15.0 // radius of the right of way
	bulbPaved  = 11.5
	bulbThroat = 12.0 // radius of the reverse curve into the bulb, at the right of way

	cornerRadius = 6.0 // of a street corner, at the right of way
	lotCurveStep = 6.0 // chords around the bulb
	arcCurveStep = 1.1 // chords along the arc
)

var (
	arcCentre  = XY{0, arcCentreY}
	bulbCentre = XY{0, bulbY}
)

// polar places a point on the arc: its distance from the arc's centre and its
// angle from straight south, positive to the east.
func polar(r, deg float64) XY { return arcCentre.add(direction(deg - 90).times(r)) }

// ray places a point seen from the bulb's centre, angles from east.
func ray(deg, distance float64) XY { return bulbCentre.add(direction(deg).times(distance)) }

func arcFront(r, fromDeg, toDeg float64) []XY {
	return round{arcCentre, r}.arc(fromDeg-90, toDeg-90, arcCurveStep)
}

func bulbFront(fromDeg, toDeg float64) []XY {
	return round{bulbCentre, bulbRight}.arc(fromDeg, toDeg, lotCurveStep)
}

// corner returns the curve that rounds the corner between Teasel Court, at the
// given half width, and Withy Arc, from the former to the latter. side is +1
// east of the court and -1 west of it.
func corner(side, half, arcR, radius float64) []XY {
	x := half + radius
	c := XY{side * x, arcCentreY - math.Sqrt((arcR-radius)*(arcR-radius)-x*x)}
	end := math.Asin(x/(arcR-radius)) * 180 / math.Pi // from straight south
	if side > 0 {
		return round{c, radius}.arc(180, 270+end, 15)
	}
	return round{c, radius}.arc(0, -90-end, 15)
}

// throat returns the reverse curve from Teasel Court into the bulb.
func throat(side, half, bulbR, radius float64) []XY {
	x := half + radius
	c := XY{side * x, bulbY - math.Sqrt((bulbR+radius)*(bulbR+radius)-x*x)}
	turn := math.Acos(x/(bulbR+radius)) * 180 / math.Pi
	if side > 0 {
		return round{c, radius}.arc(180, 180-turn, lotCurveStep)
	}
	return round{c, radius}.arc(0, turn, lotCurveStep)
}

// throatDeg is where the reverse curve meets the bulb, below east.
func throatDeg() float64 {
	return math.Acos((halfRight+bulbThroat)/(bulbRight+bulbThroat)) * 180 / math.Pi
}

// outlines returns the 24 lot outlines in order of their numbers.
func outlines() [][]XY {
	out := southOutlines()
	out = append(out, eastOutlines()...)
	out = append(out, bulbOutlines()...)
	return append(out, westOutlines()...)
}

// southOutlines: lots 1 to 7, outside the arc, from west to east.
func southOutlines() [][]XY {
	const front = arcRadius + halfRight
	lines := []struct{ deg, rear float64 }{
		{-21.5, 300}, {-16, 300}, {-11.2, 303}, {-5.2, 306}, {-0.6, 298}, {4.3, 296}, {9.2, 297}, {15.4, 306},
	}
	var out [][]XY
	for i := 1; i < len(lines); i++ {
		a, b := lines[i-1], lines[i]
		out = append(out, chain(backwards(arcFront(front, a.deg, b.deg)),
			[]XY{polar(a.rear, a.deg), polar(b.rear, b.deg)}))
	}
	return out
}

// Lots 8 to 12, east of the court.
const (
	northFront = arcRadius - halfRight
	eastRear   = 36.0 // X of the rear line of the lots on the court
	eastTop    = 57.0 // Y of the line between lots 11 and 12
)

func eastOutlines() [][]XY {
	south := XY{halfRight, 37}
	cornerRear := polar((arcCentreY-south.Y)/cosOf(7.6), 7.6)
	rear9 := polar(226, 11.9)
	tee := onLine(cornerRear, rear9, eastRear)
	round := corner(+1, halfRight, northFront, cornerRadius)
	split := XY{halfRight, eastTop}
	splitRear := XY{eastRear, eastTop}
	top := ray(eastRayDeg, eastRayLength())
	return [][]XY{
		chain(arcFront(northFront, 11.9, 17), []XY{polar(207, 17), {eastRear, eastTop}, tee, rear9}),
		chain(arcFront(northFront, 7.6, 11.9), []XY{rear9, tee, cornerRear}),
		chain(round, arcFront(northFront, cornerEndDeg(), 7.6), []XY{cornerRear, south}),
		{south, cornerRear, tee, splitRear, split},
		chain([]XY{split, splitRear, top}, bulbFront(eastRayDeg, -throatDeg()),
			backwards(throat(+1, halfRight, bulbRight, bulbThroat))),
	}
}

func cosOf(deg float64) float64 { return direction(deg).X }

func cornerEndDeg() float64 {
	return math.Asin((halfRight+cornerRadius)/(northFront-cornerRadius)) * 180 / math.Pi
}

// The lines between the lots around the bulb, as angles at its centre.
const (
	eastRayDeg = -32.0
	westRayDeg = 212.0
)

func eastRayLength() float64 { return eastRear / cosOf(eastRayDeg) }
func westRayLength() float64 { return westRear / cosOf(westRayDeg) }

// bulbOutlines: lots 13 to 17, counter-clockwise around the bulb.
func bulbOutlines() [][]XY {
	lines := []struct{ deg, length float64 }{
		{eastRayDeg, eastRayLength()}, {17, 48}, {66, 62}, {116, 58}, {163, 50}, {westRayDeg, westRayLength()},
	}
	var out [][]XY
	for i := 1; i < len(lines); i++ {
		a, b := lines[i-1], lines[i]
		out = append(out, chain(bulbFront(b.deg, a.deg), []XY{ray(a.deg, a.length), ray(b.deg, b.length)}))
	}
	return out
}

// Lots 18 to 24, west of the court: two on it, the corner, two on the arc, the
// flag lot behind them and one beyond its pole.
const (
	westRear = -41.0
	westTop  = 57.5
	flagTop  = 75.5 // Y of the flag lot's far corner
)

func westOutlines() [][]XY {
	south := XY{-halfRight, 38}
	cornerRear := polar((arcCentreY-south.Y)/cosOf(8.2), -8.2)
	rear21, rear22, pole := polar(225, -13), polar(225, -18), polar(222, -19.4)
	tee := onLine(cornerRear, rear21, westRear)
	round := corner(-1, halfRight, northFront, cornerRadius)
	split := XY{-halfRight, westTop}
	splitRear := XY{westRear, westTop}
	top := ray(westRayDeg, westRayLength())
	return [][]XY{
		chain(throat(-1, halfRight, bulbRight, bulbThroat), bulbFront(180+throatDeg(), westRayDeg),
			[]XY{top, splitRear, split}),
		{south, split, splitRear, tee, cornerRear},
		chain([]XY{south, cornerRear}, arcFront(northFront, -8.2, -cornerEndDeg()), backwards(round)),
		chain(arcFront(northFront, -13, -8.2), []XY{cornerRear, tee, rear21}),
		chain(arcFront(northFront, -18, -13), []XY{rear21, rear22}),
		chain(arcFront(northFront, -19.4, -18), []XY{rear22, rear21, tee, top, {-73, flagTop}, pole}),
		chain(arcFront(northFront, -24.6, -19.4), []XY{pole, polar(219, -24.6)}),
	}
}
