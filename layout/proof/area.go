package proof

import "math/bits"

// areaUnits is the number of units of area in 1 mm². With it the area of a
// square as large as the plane is under 2^54.
const areaUnits = 1 << 8

// areaIn returns a lower bound on the area of lawn in b, too small by less
// than one unit for each edge given. The edges must include all of the lawn's
// that pass above the lower side of b.
//
// On an upright line the lawn lies below the edges that run left and above
// those that run right. So its length within b is the sum of the heights of
// the former over the lower side of b less that of the latter, no height taken
// as more than that of b.
func areaIn(b box, edges []segment) int64 {
	sum := int64(0)
	for _, e := range edges {
		if e.a.x > e.b.x {
			sum += areaUnder(segment{e.b, e.a}, b, false)
		} else {
			sum -= areaUnder(e, b, true)
		}
	}
	return max(sum, 0)
}

// areaUnder returns the area within b below e, which runs from left to right,
// rounded up or down to a unit.
func areaUnder(e segment, b box, up bool) int64 {
	from, to := max(e.a.x, b.min.x), min(e.b.x, b.max.x)
	around := e.box()
	switch {
	case from >= to || around.max.y <= b.min.y:
		return 0
	case around.min.y >= b.max.y:
		return (to - from) * (b.max.y - b.min.y) * areaUnits
	case e.a.y == e.b.y:
		return (to - from) * (e.a.y - b.min.y) * areaUnits
	}
	// The height of e over a level y0 is (dy·(x−ax) + (ay−y0)·dx) / dx. The
	// integral of its positive part is that of a ramp: the numerator squared
	// over 2·dx·dy. The height over the lower side, cut off at the height of
	// b, is the difference of two positive parts.
	d := e.b.minus(e.a)
	var n wide
	n.addSquare(d.y*(to-e.a.x) + (e.a.y-b.min.y)*d.x)
	n.subSquare(d.y*(to-e.a.x) + (e.a.y-b.max.y)*d.x)
	n.subSquare(d.y*(from-e.a.x) + (e.a.y-b.min.y)*d.x)
	n.addSquare(d.y*(from-e.a.x) + (e.a.y-b.max.y)*d.x)
	area, rest := n.magnitude().over(2*d.x*magnitudeOf(d.y), areaUnits)
	if up && rest > 0 {
		area++
	}
	return area
}

func magnitudeOf(v int64) int64 { return max(v, -v) }

// wide is a whole number of 128 bits, in two's complement.
type wide struct{ hi, lo uint64 }

// addSquare adds the square of v, and subSquare takes it off, if v is positive.
func (n *wide) addSquare(v int64) {
	hi, lo := bits.Mul64(uint64(max(0, v)), uint64(max(0, v)))
	var carry uint64
	n.lo, carry = bits.Add64(n.lo, lo, 0)
	n.hi, _ = bits.Add64(n.hi, hi, carry)
}

func (n *wide) subSquare(v int64) {
	hi, lo := bits.Mul64(uint64(max(0, v)), uint64(max(0, v)))
	var borrow uint64
	n.lo, borrow = bits.Sub64(n.lo, lo, 0)
	n.hi, _ = bits.Sub64(n.hi, hi, borrow)
}

func (n wide) magnitude() wide {
	if int64(n.hi) >= 0 {
		return n
	}
	lo, borrow := bits.Sub64(0, n.lo, 0)
	hi, _ := bits.Sub64(0, n.hi, borrow)
	return wide{hi, lo}
}

// over returns n·units/d rounded down, which must be less than 2^63, and what is
// left over. A numerator is under 2^47, so n is under 2^96.
func (n wide) over(d, units int64) (quotient, rest int64) {
	hi, lo := bits.Mul64(n.lo, uint64(units))
	q, r := bits.Div64(hi+n.hi*uint64(units), lo, uint64(d))
	return int64(q), int64(r)
}
