package geopackage

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"

	"lotwright/layout/feature"
)

// decoded is a feature as it was encoded, taken apart, so that the values here
// are those of every other form of the map.
type decoded struct {
	layer      string
	properties map[string]json.RawMessage
	kind       string // of the geometry; empty: none
	positions  json.RawMessage
}

func decode(encoded []byte) (decoded, error) {
	var f struct {
		Properties map[string]json.RawMessage
		Geometry   *struct {
			Type        string
			Coordinates json.RawMessage
		}
	}
	if err := json.Unmarshal(encoded, &f); err != nil {
		return decoded{}, err
	}
	d := decoded{properties: f.Properties}
	if f.Geometry != nil {
		d.kind, d.positions = f.Geometry.Type, f.Geometry.Coordinates
	}
	err := json.Unmarshal(f.Properties["layer"], &d.layer)
	return d, err
}

// value returns a property as its column holds it.
func (d decoded) value(f feature.Field) (any, error) {
	raw, ok := d.properties[f.Name]
	if !ok {
		return nil, fmt.Errorf("property %s is missing", f.Name)
	}
	var target any
	switch f.Type {
	case feature.String:
		target = new(*string)
	case feature.Integer:
		target = new(*int64)
	case feature.Real:
		target = new(*float64)
	case feature.Boolean:
		target = new(*bool)
	}
	if err := json.Unmarshal(raw, target); err != nil {
		return nil, fmt.Errorf("property %s: %w", f.Name, err)
	}
	return pointed(target), nil
}

// pointed returns what a pointer to a pointer points at; nil for null.
func pointed(target any) any {
	switch p := target.(type) {
	case **string:
		return orNil(*p)
	case **int64:
		return orNil(*p)
	case **float64:
		return orNil(*p)
	case **bool:
		return orNil(*p)
	}
	return nil
}

func orNil[T any](p *T) any {
	if p == nil {
		return nil
	}
	return *p
}

type position [2]float64

// box is the bounds of positions; the zero box holds none.
type box struct {
	min, max position
	some     bool
}

func (b box) grown(p position) box {
	if !b.some {
		return box{p, p, true}
	}
	for i, v := range p {
		b.min[i], b.max[i] = min(b.min[i], v), max(b.max[i], v)
	}
	return b
}

func (b box) with(c box) box { return b.grown(c.min).grown(c.max) }

// Codes of well-known binary.
var wkbCodes = map[feature.Geometry]uint32{feature.Point: 1, feature.LineString: 2, feature.Polygon: 3, feature.MultiPolygon: 6}

// geometry returns the GeoPackage binary of the geometry (clause 2.1.3) and its
// bounds; nil when there is none.
func (d decoded) geometry(want feature.Geometry) ([]byte, box, error) {
	switch {
	case d.kind == "":
		return nil, box{}, nil
	case d.kind != string(want):
		return nil, box{}, fmt.Errorf("a %s in a layer of %ss", d.kind, want)
	}
	var b blob
	switch want {
	case feature.Point:
		var p position
		err := json.Unmarshal(d.positions, &p)
		b.head(want)
		b.position(p)
		return b.packed(false), b.bounds, err
	case feature.LineString:
		var line []position
		err := json.Unmarshal(d.positions, &line)
		b.head(want)
		b.line(line)
		return b.packed(true), b.bounds, err
	case feature.Polygon:
		var rings [][]position
		err := json.Unmarshal(d.positions, &rings)
		b.polygon(rings)
		return b.packed(true), b.bounds, err
	}
	var polygons [][][]position
	err := json.Unmarshal(d.positions, &polygons)
	b.head(want)
	b.count(len(polygons))
	for _, rings := range polygons {
		b.polygon(rings)
	}
	return b.packed(true), b.bounds, err
}

// blob is well-known binary in the making, little-endian.
type blob struct {
	bytes  []byte
	bounds box
}

func (b *blob) count(n int) { b.bytes = binary.LittleEndian.AppendUint32(b.bytes, uint32(n)) }

func (b *blob) head(g feature.Geometry) {
	b.bytes = append(b.bytes, 1)
	b.count(int(wkbCodes[g]))
}

func (b *blob) number(v float64) {
	b.bytes = binary.LittleEndian.AppendUint64(b.bytes, math.Float64bits(v))
}

func (b *blob) position(p position) {
	b.bounds = b.bounds.grown(p)
	b.number(p[0])
	b.number(p[1])
}

func (b *blob) line(line []position) {
	b.count(len(line))
	for _, p := range line {
		b.position(p)
	}
}

func (b *blob) polygon(rings [][]position) {
	b.head(feature.Polygon)
	b.count(len(rings))
	for _, r := range rings {
		b.line(r)
	}
}

// packed puts the header before the geometry: magic, version, flags, system and
// bounds, which readers use to skip what they do not show.
func (b *blob) packed(envelope bool) []byte {
	const littleEndian, withBounds = 1, 1 << 1
	out := blob{bytes: []byte{'G', 'P', 0, littleEndian}}
	if envelope {
		out.bytes[3] |= withBounds
	}
	out.count(wgs84)
	if envelope {
		for _, v := range []float64{b.bounds.min[0], b.bounds.max[0], b.bounds.min[1], b.bounds.max[1]} {
			out.number(v)
		}
	}
	return append(out.bytes, b.bytes...)
}
