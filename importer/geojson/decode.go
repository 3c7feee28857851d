package geojson

import (
	"strings"

	"lotwright/importer"
	"lotwright/layout"
)

// decode judges a raw feature and returns it with its geometry. text is the
// feature's text and base its offset in the file.
func (r *raw) decode(text []byte, base int64, limits importer.Limits) importer.Feature {
	f := importer.Feature{
		ID:         r.id.text,
		Lot:        r.lot.text,
		Layer:      layout.Layer(r.layer.text),
		Properties: importer.Properties{Quantities: r.quantities, Texts: r.texts, Fixed: r.fixed.kind == 't'},
		Joined:     r.joined.kind == 't',
	}
	if r.kind.text != "Feature" {
		f.Findings = append(f.Findings, importer.Fault("feature.type", "type is not \"Feature\""))
	}
	switch r.propertiesKind {
	case '{', 'n', 0:
	default:
		f.Findings = append(f.Findings, importer.Fault("feature.properties", "properties is %s", kindName(r.propertiesKind)))
	}
	switch r.id.kind {
	case '{', '[', 't', 'f':
		f.Findings = append(f.Findings, importer.Warning("feature.id_ignored", "the feature's id is %s and was ignored", kindName(r.id.kind)))
	}
	if r.badBBox {
		f.Findings = append(f.Findings, badBBox())
	}
	for _, name := range r.notNumbers {
		f.Findings = append(f.Findings, importer.Fault("property.not_number", "property %s is not a number", name))
	}
	d := geometryDecoder{raw: r, limits: limits, text: text, base: base}
	f.Geometry = d.decode()
	f.Findings = append(f.Findings, d.findings()...)
	return f
}

func badBBox() importer.Finding {
	return importer.Warning("bbox.ignored", "bbox is not four or six numbers and was ignored")
}

// geometryDecoder turns the text of the coordinates into positions, by the
// nesting that the geometry's type asks for.
type geometryDecoder struct {
	raw    *raw
	limits importer.Limits
	text   []byte
	base   int64

	s         *scanner
	fault     *importer.Finding // the first one
	extraDims bool
	vertices  int
}

func (d *geometryDecoder) findings() []importer.Finding {
	var fs []importer.Finding
	if d.fault != nil {
		fs = append(fs, *d.fault)
	}
	if d.extraDims {
		fs = append(fs, importer.Warning("coords.extra_dims", "numbers after the third of a position were ignored"))
	}
	return fs
}

func (d *geometryDecoder) refuse(rule, format string, args ...any) {
	if d.fault == nil {
		f := importer.Fault(rule, format, args...)
		if d.s != nil {
			f.Offset = d.s.offset()
		}
		d.fault = &f
	}
}

func (d *geometryDecoder) decode() importer.Geometry {
	switch d.raw.geometryKind {
	case '{':
	case 'n':
		return importer.Geometry{}
	default:
		d.refuse("geometry.type", "geometry is %s", kindName(d.raw.geometryKind))
		return importer.Geometry{}
	}
	g := importer.Geometry{Type: importer.GeometryType(d.raw.geometryType.text)}
	read := d.readerFor(g.Type)
	if read == nil {
		d.refuse("geometry.type", "geometry type %q is not read%s", d.raw.geometryType.text, advice(d.raw.geometryType.text))
		return g
	}
	if d.raw.coordsKind != '[' {
		d.refuse("geometry.coordinates", "coordinates: %s where an array is wanted", kindName(d.raw.coordsKind))
		return g
	}
	d.s = scanBytes(d.text[d.raw.coordsAt-d.base:d.raw.coordsEnd-d.base], d.raw.coordsAt, d.limits)
	g.Parts = read()
	return g
}

// advice is what to do about a geometry type of other formats.
func advice(kind string) string {
	if strings.Contains(kind, "Cur") || strings.Contains(kind, "Circular") || strings.Contains(kind, "Surface") {
		return "; draw its curves as straight pieces (ogr2ogr -nlt CONVERT_TO_LINEAR)"
	}
	return ""
}

// readerFor returns the method that reads coordinates nested as a type has
// them, into the one shape of [importer.Geometry].
func (d *geometryDecoder) readerFor(t importer.GeometryType) func() [][][]importer.Position {
	switch t {
	case importer.Point:
		return d.point
	case importer.MultiPoint:
		return func() (parts [][][]importer.Position) {
			d.each(func() { parts = append(parts, d.point()...) })
			return parts
		}
	case importer.LineString:
		return func() [][][]importer.Position { return [][][]importer.Position{{d.line()}} }
	case importer.MultiLineString:
		return func() (parts [][][]importer.Position) {
			d.each(func() { parts = append(parts, [][]importer.Position{d.line()}) })
			return parts
		}
	case importer.Polygon:
		return func() [][][]importer.Position { return [][][]importer.Position{d.polygon()} }
	case importer.MultiPolygon:
		return func() (parts [][][]importer.Position) {
			d.each(func() { parts = append(parts, d.polygon()) })
			return parts
		}
	}
	return nil
}

// each reads an array whose elements must be arrays. After the first fault
// everything is skipped.
func (d *geometryDecoder) each(element func()) {
	err := d.s.array(func() error {
		switch c := d.s.peek(); {
		case d.fault != nil:
			return d.s.skip()
		case c != '[':
			d.refuse("geometry.coordinates", "%s where an array is wanted", kindName(c))
			return d.s.skip()
		}
		element()
		return nil
	})
	if err != nil { // the text was checked when it was indexed
		d.refuse("file.changed", "the text is not what it was: %v", err)
	}
}

func (d *geometryDecoder) polygon() (rings [][]importer.Position) {
	d.each(func() {
		if len(rings) == d.limits.Rings {
			d.refuse("geometry.too_complex", "more than %d rings in one polygon", d.limits.Rings)
			return
		}
		rings = append(rings, d.line())
	})
	return rings
}

func (d *geometryDecoder) line() (line []importer.Position) {
	d.each(func() {
		if len(line) == d.limits.RingVertices {
			d.refuse("geometry.too_complex", "more than %d positions in one ring or line", d.limits.RingVertices)
			return
		}
		line = append(line, d.position())
	})
	return line
}

func (d *geometryDecoder) point() [][][]importer.Position {
	return [][][]importer.Position{{{d.position()}}}
}

// position reads one position. The third number, a height, is dropped: the
// plan is flat.
func (d *geometryDecoder) position() (p importer.Position) {
	if d.vertices++; d.vertices > d.limits.LotVertices {
		d.refuse("geometry.too_complex", "more than %d positions in one lot", d.limits.LotVertices)
	}
	n := 0
	err := d.s.array(func() error {
		c := d.s.peek()
		if !isNumberStart(c) {
			d.refuseCoordinate(c)
			return d.s.skip()
		}
		v, err := d.s.number()
		if n < len(p) {
			p[n] = v
		}
		n++
		return err
	})
	switch {
	case err != nil:
		d.refuse("file.changed", "the text is not what it was: %v", err)
	case n == 0:
		d.refuse("coords.position", "a position is empty")
	case n == 1:
		d.refuse("coords.position", "a position has one number")
	case n > 3:
		d.extraDims = true
	}
	return p
}

func (d *geometryDecoder) refuseCoordinate(kind byte) {
	if kind == '[' || kind == '{' {
		d.refuse("geometry.coordinates", "%s where a number is wanted", kindName(kind))
		return
	}
	d.refuse("coords.not_number", "%s where a number is wanted", kindName(kind))
}
