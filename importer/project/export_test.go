package project

import "lotwright/importer"

// LambertForTest returns the inverse of a cone with the given standard
// parallels, latitude and longitude of origin.
func LambertForTest(el Ellipsoid, angles [4]float64, easting, northing float64) func(importer.Position) importer.Position {
	return newCone(coneSettings{ellipsoid: el, lat1: angles[0], lat2: angles[1], lat0: angles[2], lon0: angles[3],
		easting0: easting, northing0: northing}).inverse
}
