package project

import (
	"math"

	"lotwright/importer"
	"lotwright/layout/geom"
)

// Plane is a lot's own plane: transverse Mercator on WGS 84, central meridian
// through the origin, scale 1 there. It implements layout.Plane. Within 4 km of
// the origin its lengths are true to 0.2 mm a kilometre.
type Plane struct {
	lon, lat float64 // of the origin, degrees
	north    float64 // northing of the origin, metres
}

// originStep is the grid of plane origins, in degrees (about 1 cm): however the
// centroid was summed up, the same lot gets the same plane.
const originStep = 1e-7

// NewPlane returns the plane with its origin at the grid point nearest to a
// place.
func NewPlane(near importer.Position) Plane {
	p := Plane{lon: onGrid(near[0]), lat: onGrid(near[1])}
	tm := p.projection()
	_, p.north = tm.Forward(p.lon, p.lat)
	return p
}

func onGrid(deg float64) float64 {
	const steps = 1 / originStep
	return math.Round(deg*steps) / steps
}

// base holds the coefficients that do not depend on the place.
var base = NewTransverseMercator(WGS84, 0, 1)

func (p Plane) projection() TransverseMercator {
	tm := base
	tm.CentralMeridian = p.lon
	tm.FalseNorthing = -p.north
	return tm
}

// Origin returns the place of the plane's origin.
func (p Plane) Origin() importer.Position { return importer.Position{p.lon, p.lat} }

// LonLat returns the longitude and latitude of a place given in millimetres.
func (p Plane) LonLat(xMM, yMM float64) (lonDeg, latDeg float64) {
	tm := p.projection()
	return tm.Inverse(xMM/geom.MillimetresPerMetre, yMM/geom.MillimetresPerMetre)
}

// Place returns the longitude and latitude of a grid point.
func (p Plane) Place(q geom.Point) importer.Position {
	lon, lat := p.LonLat(float64(q.X), float64(q.Y))
	return importer.Position{lon, lat}
}

// Vec returns a position in millimetres of the plane.
func (p Plane) Vec(at importer.Position) geom.Vec {
	tm := p.projection()
	x, y := tm.Forward(at[0], at[1])
	return geom.Vec{X: x * geom.MillimetresPerMetre, Y: y * geom.MillimetresPerMetre}
}

// Point returns the grid point nearest to a position.
func (p Plane) Point(at importer.Position) geom.Point { return p.Vec(at).Round() }
