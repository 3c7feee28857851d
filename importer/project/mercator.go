// Package project moves positions between WGS 84 longitude and latitude and
// planes: the lot's own ([Plane]) and the projected systems that files of
// survey offices come in ([System]).
package project

import "math"

// Ellipsoid is an ellipsoid of revolution.
type Ellipsoid struct {
	A    float64 // equatorial radius, metres
	InvF float64 // inverse flattening
}

// The ellipsoids in use: of the World Geodetic System 1984, and the Geodetic
// Reference System 1980 under ETRS89 and NAD83. Their meridians differ by less
// than 0.1 mm.
var (
	WGS84 = Ellipsoid{A: 6378137, InvF: 298.257223563}
	GRS80 = Ellipsoid{A: 6378137, InvF: 298.257222101}
)

// seriesOrder is the order of the Krüger series: at order 6 it is good to 5 nm
// within 35° of the central meridian (Karney 2011, section 5).
const seriesOrder = 6

// TransverseMercator is the ellipsoidal transverse Mercator projection by
// Krüger's series in the third flattening, as given by C. F. F. Karney,
// "Transverse Mercator with an accuracy of a few nanometers", J. Geodesy 85
// (2011) 475–485, equations 7–12, 14–21, 35 and 36. Lengths are in metres,
// angles in degrees.
type TransverseMercator struct {
	CentralMeridian             float64
	FalseEasting, FalseNorthing float64
	radius                      float64 // of the rectifying sphere, times the scale
	e                           float64 // first eccentricity
	toConformal, fromConformal  [seriesOrder]float64
}

// NewTransverseMercator returns the projection with the given central meridian
// (degrees) and scale there.
func NewTransverseMercator(el Ellipsoid, centralMeridian, scale float64) TransverseMercator {
	f := 1 / el.InvF
	n := f / (2 - f)
	n2 := n * n
	return TransverseMercator{
		CentralMeridian: centralMeridian,
		radius:          scale * el.A / (1 + n) * (1 + n2*(1./4+n2*(1./64+n2/256))),
		e:               math.Sqrt(f * (2 - f)),
		toConformal:     alpha(n),
		fromConformal:   beta(n),
	}
}

// alpha returns the coefficients of Karney's equation 35.
func alpha(n float64) [seriesOrder]float64 {
	return [seriesOrder]float64{
		poly(n, 1, 1./2, -2./3, 5./16, 41./180, -127./288, 7891./37800),
		poly(n, 2, 13./48, -3./5, 557./1440, 281./630, -1983433./1935360),
		poly(n, 3, 61./240, -103./140, 15061./26880, 167603./181440),
		poly(n, 4, 49561./161280, -179./168, 6601661./7257600),
		poly(n, 5, 34729./80640, -3418889./1995840),
		poly(n, 6, 212378941./319334400),
	}
}

// beta returns the coefficients of Karney's equation 36.
func beta(n float64) [seriesOrder]float64 {
	return [seriesOrder]float64{
		poly(n, 1, 1./2, -2./3, 37./96, -1./360, -81./512, 96199./604800),
		poly(n, 2, 1./48, 1./15, -437./1440, 46./105, -1118711./3870720),
		poly(n, 3, 17./480, -37./840, -209./4480, 5569./90720),
		poly(n, 4, 4397./161280, -11./504, -830251./7257600),
		poly(n, 5, 4583./161280, -108847./3991680),
		poly(n, 6, 20648693./638668800),
	}
}

// poly returns c[0]·n^from + c[1]·n^(from+1) + …
func poly(n float64, from int, c ...float64) float64 {
	sum := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		sum = sum*n + c[i]
	}
	return sum * math.Pow(n, float64(from))
}

// Forward returns the easting and northing of a longitude and latitude.
func (t *TransverseMercator) Forward(lon, lat float64) (x, y float64) {
	sinL, cosL := math.Sincos(radians(lon - t.CentralMeridian))
	tau := t.conformal(math.Tan(radians(lat)))
	xi := math.Atan2(tau, cosL)
	eta := math.Asinh(sinL / math.Hypot(tau, cosL))
	dXi, dEta := series(&t.toConformal, xi, eta)
	return t.FalseEasting + t.radius*(eta+dEta), t.FalseNorthing + t.radius*(xi+dXi)
}

// Inverse returns the longitude and latitude of an easting and northing.
func (t *TransverseMercator) Inverse(x, y float64) (lon, lat float64) {
	xi, eta := (y-t.FalseNorthing)/t.radius, (x-t.FalseEasting)/t.radius
	dXi, dEta := series(&t.fromConformal, xi, eta)
	xi, eta = xi-dXi, eta-dEta
	sinXi, cosXi := math.Sincos(xi)
	sinhEta := math.Sinh(eta)
	tau := t.geographic(sinXi / math.Hypot(sinhEta, cosXi))
	return t.CentralMeridian + degrees(math.Atan2(sinhEta, cosXi)), degrees(math.Atan(tau))
}

// series sums the trigonometric series of equations 11 and 14: c_j times
// sin 2jξ cosh 2jη and cos 2jξ sinh 2jη.
func series(c *[seriesOrder]float64, xi, eta float64) (dXi, dEta float64) {
	for j := seriesOrder; j >= 1; j-- {
		sin, cos := math.Sincos(2 * float64(j) * xi)
		u := 2 * float64(j) * eta
		dXi += c[j-1] * sin * math.Cosh(u)
		dEta += c[j-1] * cos * math.Sinh(u)
	}
	return dXi, dEta
}

// conformal returns the tangent of the conformal latitude for the tangent of a
// geographic latitude (equations 7–9).
func (t *TransverseMercator) conformal(tau float64) float64 {
	sec := math.Hypot(1, tau)
	sigma := math.Sinh(t.e * math.Atanh(t.e*tau/sec))
	return tau*math.Hypot(1, sigma) - sigma*sec
}

// geographic inverts conformal by Newton's method (equations 19–21); two or
// three steps reach full precision.
func (t *TransverseMercator) geographic(tauC float64) float64 {
	const steps = 5
	e2m := 1 - t.e*t.e
	tau := tauC / e2m
	for range steps {
		c := t.conformal(tau)
		tau += (tauC - c) / math.Hypot(1, c) * (1 + e2m*tau*tau) / (e2m * math.Hypot(1, tau))
	}
	return tau
}

func radians(deg float64) float64 { return deg * (math.Pi / 180) }
func degrees(rad float64) float64 { return rad * (180 / math.Pi) }
