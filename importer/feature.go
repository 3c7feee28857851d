package importer

import (
	"math"

	"lotwright/layout"
)

// Position is a WGS 84 longitude and latitude in degrees, or, before a file's
// own coordinate system has been undone, an easting and northing in metres.
type Position [2]float64

// GeometryType is a GeoJSON geometry type (RFC 7946 section 1.4).
type GeometryType string

// The geometry types that are read. A GeometryCollection is not among them: no
// layer is drawn as one.
const (
	NoGeometry      GeometryType = "" // geometry: null
	Point           GeometryType = "Point"
	MultiPoint      GeometryType = "MultiPoint"
	LineString      GeometryType = "LineString"
	MultiLineString GeometryType = "MultiLineString"
	Polygon         GeometryType = "Polygon"
	MultiPolygon    GeometryType = "MultiPolygon"
)

// Geometry is a geometry of any type in one shape: parts, their rings, their
// positions. A Point is one part with one ring of one position, a MultiPoint
// one such part a point; a LineString is one part with one ring, a
// MultiLineString one such part a line; a Polygon is one part. Rings of
// polygons are as the file had them: closed, mostly.
type Geometry struct {
	Type  GeometryType
	Parts [][][]Position
}

// Positions calls yield with every position of g in order, until it returns false.
func (g Geometry) Positions(yield func(Position) bool) {
	for _, part := range g.Parts {
		for _, ring := range part {
			for _, p := range ring {
				if !yield(p) {
					return
				}
			}
		}
	}
}

// Vertices counts the positions of g.
func (g Geometry) Vertices() int {
	n := 0
	for range g.Positions {
		n++
	}
	return n
}

// Bounds is a box in the coordinates of positions.
type Bounds struct{ Min, Max Position }

// EmptyBounds holds nothing and is the neutral element of [Bounds.Grow].
func EmptyBounds() Bounds {
	return Bounds{Min: Position{math.Inf(1), math.Inf(1)}, Max: Position{math.Inf(-1), math.Inf(-1)}}
}

// Empty reports whether b holds nothing.
func (b Bounds) Empty() bool { return !(b.Min[0] <= b.Max[0] && b.Min[1] <= b.Max[1]) }

// Grow returns the smallest box with b and p in it.
func (b Bounds) Grow(p Position) Bounds {
	return Bounds{
		Min: Position{min(b.Min[0], p[0]), min(b.Min[1], p[1])},
		Max: Position{max(b.Max[0], p[0]), max(b.Max[1], p[1])},
	}
}

// Overlaps reports whether b and c have a point in common.
func (b Bounds) Overlaps(c Bounds) bool {
	return b.Min[0] <= c.Max[0] && c.Min[0] <= b.Max[0] && b.Min[1] <= c.Max[1] && c.Min[1] <= b.Max[1]
}

// Pad returns b enlarged by dx and dy on both sides.
func (b Bounds) Pad(dx, dy float64) Bounds {
	return Bounds{Min: Position{b.Min[0] - dx, b.Min[1] - dy}, Max: Position{b.Max[0] + dx, b.Max[1] + dy}}
}

// Center returns the middle of b.
func (b Bounds) Center() Position {
	return Position{(b.Min[0] + b.Max[0]) / 2, (b.Min[1] + b.Max[1]) / 2}
}

// Bounds returns the box around g.
func (g Geometry) Bounds() Bounds {
	b := EmptyBounds()
	for p := range g.Positions {
		b = b.Grow(p)
	}
	return b
}

// Feature is one feature as it stood in its file.
type Feature struct {
	File  string
	Index int    // position among the features of the file, from 0
	ID    string // the feature's own id, as text; may be empty
	Lot   string
	Layer layout.Layer

	Geometry   Geometry
	Properties Properties

	// Joined is set when the feature was given to its lot by place, here or
	// before it came (properties.joined): being cut at the lot line is then a
	// matter of course.
	Joined bool

	// Findings are what reading the feature found. One of severity error
	// refuses the feature's lot.
	Findings []Finding
}

// Properties are the known properties of a feature.
type Properties struct {
	// Quantities holds the known numeric properties in the order of the file.
	Quantities []Quantity
	// Texts holds the known properties in words, in the order of the file.
	Texts []Text
	// Fixed is properties.fixed: a pinned head.
	Fixed bool
}

// Text is a property in words.
type Text struct{ Name, Value string }

// GetText returns the value of the named property in words; empty where there
// is none.
func (p Properties) GetText(name string) string {
	for _, t := range p.Texts {
		if t.Name == name {
			return t.Value
		}
	}
	return ""
}

// TextNames lists the properties in words that are read: those of designs as this
// program writes them, which come back edited or as built. Of turf, head names the
// heads asked for there. Numbers among them, such as zone, mean other things on
// other layers and are judged where they are used.
func TextNames() []string {
	return []string{"head", "model", "pipe", "material", "size",
		"kind", "from", "to", "surface", "at", "zone", "depth_m", "spanning_tree_m", "paving_crossings"}
}

// Quantity is a numeric property under its name, which carries the unit.
type Quantity struct {
	Name  string
	Value float64
}

// Get returns the value of the named quantity.
func (p Properties) Get(name string) (v float64, ok bool) {
	for _, q := range p.Quantities {
		if q.Name == name {
			return q.Value, true
		}
	}
	return 0, false
}

// QuantityNames lists the numeric properties that are read, with their units;
// all others are ignored.
func QuantityNames() []string {
	return []string{
		"static_pressure_psi", "static_pressure_kpa", "static_pressure_bar",
		"flow_gpm", "flow_lpm",
		"flow_pressure_psi", "flow_pressure_kpa", "flow_pressure_bar",
		"bucket_gal", "bucket_l", "bucket_s",
		"head_pressure_psi", "head_pressure_kpa", "head_pressure_bar",
		"height_m", "height_ft",
		"root_radius_m", "root_radius_ft",
		"throw_m", "throw_ft", "arc_start_deg", "arc_sweep_deg",
	}
}
