package proof

import "math/big"

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
	squared := func(x, y0 int64) *big.Int {
		n := big.NewInt(max(0, d.y*(x-e.a.x)+(e.a.y-y0)*d.x))
		return n.Mul(n, n)
	}
	n := squared(to, b.min.y)
	n.Sub(n, squared(to, b.max.y)).Sub(n, squared(from, b.min.y)).Add(n, squared(from, b.max.y))
	n.Mul(n, big.NewInt(areaUnits))
	return quotient(n, big.NewInt(2*d.x*d.y), up)
}

// quotient returns n/d rounded up or down; it uses n and d up.
func quotient(n, d *big.Int, up bool) int64 {
	if d.Sign() < 0 {
		n.Neg(n)
		d.Neg(d)
	}
	if up {
		return -n.Div(n.Neg(n), d).Int64()
	}
	return n.Div(n, d).Int64() // towards −∞, as d > 0
}
