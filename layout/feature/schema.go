package feature

// Type is the type of a property.
type Type string

// The types a property may have. A Real is always written with a decimal
// point and an Integer never, so that readers tell them apart.
const (
	String  Type = "string"
	Integer Type = "integer"
	Real    Type = "real"
	Boolean Type = "boolean"
)

// Geometry is a GeoJSON geometry type.
type Geometry string

// The geometry types that are written.
const (
	Point        Geometry = "Point"
	LineString   Geometry = "LineString"
	Polygon      Geometry = "Polygon"
	MultiPolygon Geometry = "MultiPolygon"
)

// Field describes a property.
type Field struct {
	Name     string
	Type     Type
	Unit     string // of a Real, as a symbol; empty for a pure number
	Decimals int    // of a Real, always written in full
	Meaning  string
}

// Layer describes a layer of the output.
type Layer struct {
	Name     string // value of the property "layer"
	Geometry Geometry
	Meaning  string
	Fields   []Field // in the order written; the first two are "lot" and "layer"
}

// Schema returns the layers in the order in which a lot's features are written.
func Schema() []Layer {
	out := make([]Layer, len(layers))
	for i, l := range layers {
		out[i] = l.Layer
		out[i].Fields = append([]Field(nil), l.Fields...)
	}
	return out
}
