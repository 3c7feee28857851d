package assemble

import (
	"math"
	"slices"
	"strings"

	"lotwright/importer"
	"lotwright/layout"
)

func (b *builder) checkID() {
	if f, ok := importer.CheckLotID(b.id, b.limits.LotID); !ok {
		b.find(f)
	}
}

// checkFeatures checks what can be said of the features without looking at
// their coordinates.
func (b *builder) checkFeatures() {
	if n := len(b.features); n > b.limits.LotFeatures {
		b.find(tooManyFeatures(n, b.limits.LotFeatures))
		return
	}
	kept := b.features[:0]
	vertices := 0
	for _, x := range b.features {
		for _, f := range x.Findings {
			b.findOf(x, f)
		}
		vertices += x.Geometry.Vertices()
		if b.checkFeature(x) {
			kept = append(kept, x)
		}
	}
	b.features = kept
	if vertices > b.limits.LotVertices {
		b.find(importer.Fault("geometry.too_complex", "%d positions, the limit is %d", vertices, b.limits.LotVertices))
	}
}

func tooManyFeatures(n, limit int) importer.Finding {
	return importer.Fault("lot.too_many_features", "%d features, the limit is %d", n, limit)
}

// checkFeature checks layer and geometry type; false when the feature is to be
// left out.
func (b *builder) checkFeature(x importer.Feature) bool {
	if _, bad := importer.FirstError(x.Findings); bad {
		return false
	}
	types, known := geometryTypes[x.Layer]
	switch {
	case x.Layer == "":
		b.findOf(x, importer.Fault("layer.missing", "property layer is missing"))
	case !known:
		f := importer.Fault("layer.unknown", "layer %+q is not known; known are %s", string(x.Layer), layerNames())
		x.Layer = ""
		b.findOf(x, f)
	case x.Geometry.Type == importer.NoGeometry && x.Layer == layout.LayerParcel:
		b.findOf(x, importer.Fault("geometry.missing", "the parcel has no geometry"))
	case x.Geometry.Type == importer.NoGeometry:
		b.findOf(x, importer.Warning("geometry.missing", "a feature without geometry was left out"))
		return false
	case !slices.Contains(types, x.Geometry.Type):
		b.findOf(x, importer.Fault("geometry.type", "%s cannot be a %s", x.Layer, x.Geometry.Type))
	case !isWellFormed(x.Geometry):
		b.findOf(x, importer.Fault("geometry.coordinates", "the coordinates are not nested as a %s has them", x.Geometry.Type))
	default:
		return true
	}
	return false
}

// isWellFormed reports whether the parts of a geometry that came by another
// door than a reader are nested as its type has them.
func isWellFormed(g importer.Geometry) bool {
	if slices.Contains(areas, g.Type) {
		return true
	}
	return !slices.ContainsFunc(g.Parts, func(part [][]importer.Position) bool {
		return len(part) != 1 || slices.Contains(points, g.Type) && len(part[0]) != 1
	})
}

func layerNames() string {
	var names []string
	for _, l := range layout.InputLayers() {
		names = append(names, string(l))
	}
	return strings.Join(names, ", ")
}

var (
	areas  = []importer.GeometryType{importer.Polygon, importer.MultiPolygon}
	lines  = []importer.GeometryType{importer.LineString, importer.MultiLineString}
	points = []importer.GeometryType{importer.Point, importer.MultiPoint}
)

// geometryTypes lists what each layer may be drawn as.
var geometryTypes = map[layout.Layer][]importer.GeometryType{
	layout.LayerParcel:     areas,
	layout.LayerTurf:       areas,
	layout.LayerBed:        areas,
	layout.LayerBuilding:   areas,
	layout.LayerHardscape:  areas,
	layout.LayerWater:      areas,
	layout.LayerWall:       slices.Concat(lines, areas),
	layout.LayerTree:       slices.Concat(points, areas),
	layout.LayerNoDig:      areas,
	layout.LayerSleeve:     lines,
	layout.LayerSource:     points,
	layout.LayerController: points,
	layout.LayerSpotHeight: points,
	layout.LayerHead:       points,
}

// Bounds of usable coordinates, in degrees.
const (
	mostLatitude  = 90
	mostLongitude = 180
	// polarLatitude is where plans in metres end; no lawn lies beyond.
	polarLatitude = 85
	// notDegrees: beyond it a number is no angle but a length.
	notDegrees = 360
	// antimeridianEdge: a lot with coordinates beyond it on both sides lies
	// across the 180° meridian.
	antimeridianEdge = 179
	// nullIsland is how near to 0, 0 a lot is likely to be a failed geocoding.
	nullIsland = 0.01
)

// checkCoordinates checks the range of all coordinates.
func (b *builder) checkCoordinates() {
	east, west := false, false
	for _, x := range b.features {
		if f, ok := checkRange(x.Geometry); !ok {
			b.findOf(x, f)
			continue
		}
		for p := range x.Geometry.Positions {
			east = east || p[0] > antimeridianEdge
			west = west || p[0] < -antimeridianEdge
		}
	}
	if east && west {
		b.find(importer.Fault("coords.antimeridian", "the lot lies across the 180° meridian, where no plane is set up"))
	}
}

// checkRange returns the first coordinate that cannot be a place, if any.
func checkRange(g importer.Geometry) (importer.Finding, bool) {
	for p := range g.Positions {
		if f, ok := checkPosition(p); !ok {
			return f, false
		}
	}
	return importer.Finding{}, true
}

func checkPosition(p importer.Position) (importer.Finding, bool) {
	lon, lat := p[0], p[1]
	switch {
	case math.IsNaN(lon+lat) || math.IsInf(lon, 0) || math.IsInf(lat, 0):
		return importer.Fault("coords.not_number", "a coordinate is not a finite number"), false
	case math.Abs(lon) > notDegrees || math.Abs(lat) > notDegrees:
		return importer.Fault("coords.looks_projected",
			"%g, %g are projected metres or feet; send WGS 84 degrees, or name the system in a crs member", lon, lat), false
	case math.Abs(lat) > mostLatitude:
		return importer.Fault("coords.out_of_range",
			"latitude %g is outside [-90, 90]; longitude and latitude swapped?", lat), false
	case math.Abs(lon) > mostLongitude:
		return importer.Fault("coords.out_of_range", "longitude %g is outside [-180, 180]", lon), false
	case math.Abs(lat) > polarLatitude:
		return importer.Fault("coords.polar", "latitude %g is beyond %d°", lat, polarLatitude), false
	}
	return importer.Finding{}, true
}
