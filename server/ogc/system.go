package ogc

import (
	"fmt"
	"math"

	"lotwright/importer/project"
)

// system is a coordinate reference system that features are given in.
type system struct {
	uri     string
	forward func(lon, lat float64) (x, y float64) // nil: degrees as they are
}

// crs84 is longitude and latitude on WGS 84, in this order.
var crs84 = system{uri: "http://www.opengis.net/def/crs/OGC/1.3/CRS84"}

// gridDecimals of metres are a tenth of a millimetre, well within the grid of
// 1e-8 degrees that features lie on: no two corners fall together.
const gridDecimals = 4

// Latitudes that the grids of the Universal Transverse Mercator system are for.
const southernmost, northernmost = -80, 84

// utm is the grid of a place: easting and northing in metres.
func utm(lon, lat float64) (system, bool) {
	if lat < southernmost || lat > northernmost {
		return system{}, false
	}
	zone := min(int(math.Floor((lon+180)/6))+1, 60)
	t := project.NewTransverseMercator(project.WGS84, float64(6*zone-183), 0.9996)
	t.FalseEasting = 500000
	code := 32600 + zone
	if lat < 0 {
		t.FalseNorthing = 10000000
		code += 100
	}
	return system{fmt.Sprintf("http://www.opengis.net/def/crs/EPSG/0/%d", code), t.Forward}, true
}

// systems are those of a batch: degrees, and the grid of its middle.
func (x *index) systems() []system {
	list := []system{crs84}
	if x.bounds.some() {
		west, south, east, north := x.bounds.degrees()
		if s, ok := utm((west+east)/2, (south+north)/2); ok {
			list = append(list, s)
		}
	}
	return list
}

func (x *index) uris() (out []string) {
	for _, s := range x.systems() {
		out = append(out, s.uri)
	}
	return out
}

// system reads the parameter crs or bbox-crs.
func (c call) system(name string, x *index) (system, error) {
	uri, ok := c.query[name]
	if !ok {
		return crs84, nil
	}
	for _, s := range x.systems() {
		if s.uri == uri {
			return s, nil
		}
	}
	return system{}, badRequest("%s: got %q, want one of %v", name, uri, x.uris())
}

// header is that of an answer with features in the system (18-058r1,
// requirement /req/crs/ogc-crs-header).
func (s system) header() map[string]string {
	return map[string]string{"Content-Crs": "<" + s.uri + ">"}
}
