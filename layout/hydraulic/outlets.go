package hydraulic

import "math"

// Christiansen returns the factor F that the friction loss of a lateral's full
// inlet flow over its full length is multiplied by when the water leaves through
// n equal, evenly spaced outlets, the first one spacing from the inlet; m is the
// exponent of the flow in the friction formula (1.852 for Hazen–Williams, 2 for
// Darcy–Weisbach). F = 1/(m+1) + 1/(2n) + √(m−1)/(6n²) (Christiansen 1942); one
// outlet has exactly 1. For rough checks by hand: [Solve] needs no such factor.
func Christiansen(n int, m float64) float64 {
	if n <= 1 {
		return 1
	}
	k := float64(n)
	return 1/(m+1) + 1/(2*k) + math.Sqrt(m-1)/(6*k*k)
}

// ChristiansenHalf is [Christiansen] with the first outlet half a spacing from
// the inlet.
func ChristiansenHalf(n int, m float64) float64 {
	if n <= 1 {
		return 1
	}
	k := float64(n)
	return (k*Christiansen(n, m) - 0.5) / (k - 0.5)
}
