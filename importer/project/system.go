package project

import (
	"math"
	"strconv"
	"strings"

	"lotwright/importer"
)

// System is a coordinate reference system whose coordinates can be turned into
// WGS 84 longitude and latitude.
type System struct {
	Code int    // EPSG; 0 for OGC:CRS84 and for systems known by their definition
	Name string // for messages: EPSG:32615, or the name in the definition
	// LonLat undoes the system; nil when its coordinates are longitude and
	// latitude already.
	LonLat func(importer.Position) importer.Position
}

// Degrees reports whether the system's coordinates are longitude and latitude.
func (s System) Degrees() bool { return s.LonLat == nil }

// Lookup finds a system by the name that crs members carry: an OGC URN or URL,
// or the authority and code with a colon between. Systems whose datum is within
// two metres of WGS 84 by definition (ETRS89, NAD83) are taken for it: a lot
// may shift as a whole, its shape does not change.
func Lookup(name string) (System, bool) {
	authority, code := splitName(name)
	switch {
	case authority == "OGC" && (code == "CRS84" || code == "84"):
		return System{Name: "OGC:CRS84"}, true
	case authority != "EPSG":
		return System{}, false
	}
	n, err := strconv.Atoi(code)
	if err != nil {
		return System{}, false
	}
	return LookupCode(n)
}

// LookupCode finds a system by its EPSG code.
func LookupCode(code int) (System, bool) {
	lonLat, ok := byCode(code)
	return System{Code: code, Name: "EPSG:" + strconv.Itoa(code), LonLat: lonLat}, ok
}

// splitName takes urn:ogc:def:crs:EPSG::32615, urn:ogc:def:crs:OGC:1.3:CRS84,
// http://www.opengis.net/def/crs/EPSG/0/32615 and EPSG:32615 apart.
func splitName(name string) (authority, code string) {
	s := strings.ToUpper(strings.TrimSpace(name))
	s = strings.ReplaceAll(s, "/", ":")
	if k := strings.Index(s, "DEF:CRS:"); k >= 0 {
		s = s[k+len("DEF:CRS:"):]
	}
	parts := strings.Split(s, ":")
	if len(parts) < 2 {
		return "", ""
	}
	return parts[0], parts[len(parts)-1]
}

func byCode(code int) (lonLat func(importer.Position) importer.Position, ok bool) {
	switch {
	case code == 4326, code == 4258, code == 4269: // WGS 84, ETRS89, NAD83
		return nil, true
	case code == 3857:
		return fromWebMercator, true
	case code > 32600 && code <= 32660:
		return utm(WGS84, code-32600, 0), true
	case code > 32700 && code <= 32760:
		return utm(WGS84, code-32700, southernNorthing), true
	case code >= 25828 && code <= 25838: // ETRS89 / UTM
		return utm(GRS80, code-25800, 0), true
	case code >= 26901 && code <= 26923: // NAD83 / UTM
		return utm(GRS80, code-26900, 0), true
	case code == 2154: // RGF93 / Lambert-93
		return lambert93.inverse, true
	case code >= 3942 && code <= 3950: // RGF93 / CC42 to CC50
		c := frenchCone(float64(code - 3900))
		return c.inverse, true
	}
	return nil, false
}

// Parameters of the Universal Transverse Mercator grid (EPSG method 9824).
const (
	utmScale         = 0.9996
	utmEasting       = 500_000.0
	southernNorthing = 10_000_000.0
)

func utm(el Ellipsoid, zone int, northing float64) func(importer.Position) importer.Position {
	tm := NewTransverseMercator(el, float64(6*zone-183), utmScale)
	tm.FalseEasting, tm.FalseNorthing = utmEasting, northing
	return func(p importer.Position) importer.Position {
		lon, lat := tm.Inverse(p[0], p[1])
		return importer.Position{lon, lat}
	}
}

// fromWebMercator undoes EPSG method 1024: a sphere of the equatorial radius
// under latitudes of the ellipsoid.
func fromWebMercator(p importer.Position) importer.Position {
	return importer.Position{degrees(p[0] / WGS84.A), degrees(math.Atan(math.Sinh(p[1] / WGS84.A)))}
}
