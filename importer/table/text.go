package table

import (
	"context"
	"encoding/json"
	"io"
	"iter"
	"math"
	"strconv"
	"unicode/utf8"

	"lotwright/importer"
)

// Text returns the rows as newline-delimited GeoJSON. lotProperty is the column
// with the lot's id; may be empty. lonLat undoes the system of the table; nil
// leaves coordinates as they are. The text must be closed; closing does not
// disturb a reading that ended.
func Text(ctx context.Context, t Table, lotProperty string, lonLat func(importer.Position) importer.Position) io.ReadCloser {
	r := &text{properties: t.properties(lotProperty), lonLat: lonLat}
	var columns []string
	for _, p := range r.properties {
		columns = append(columns, p.column)
	}
	r.next, r.stop = iter.Pull2(t.Rows(ctx, columns))
	return r
}

type text struct {
	properties []property
	lonLat     func(importer.Position) importer.Position // may be nil
	next       func() (Row, error, bool)
	stop       func()
	rows       int
	buffer     []byte
	unread     []byte // the rest of buffer
	err        error
}

// Read writes out one row after the other.
func (r *text) Read(p []byte) (int, error) {
	for len(r.unread) == 0 {
		if r.err == nil {
			r.err = r.advance()
		}
		if r.err != nil {
			return 0, r.err
		}
	}
	n := copy(p, r.unread)
	r.unread = r.unread[n:]
	return n, nil
}

// Close ends the reading of the table.
func (r *text) Close() error {
	r.stop()
	return nil
}

// advance writes the next row into the buffer; io.EOF after the last.
func (r *text) advance() error {
	row, err, ok := r.next()
	if !ok {
		return io.EOF
	}
	if err != nil {
		return err
	}
	r.rows++
	if r.lonLat != nil {
		for _, part := range row.Geometry.Parts {
			for _, line := range part {
				for i, p := range line {
					line[i] = r.lonLat(p)
				}
			}
		}
	}
	r.buffer, err = r.appendRow(r.buffer[:0], row)
	r.unread = r.buffer
	return err
}

func (r *text) appendRow(dst []byte, row Row) (_ []byte, err error) {
	dst = append(dst, `{"type":"Feature"`...)
	if row.ID != "" {
		dst = append(append(dst, `,"id":`...), row.ID...)
	}
	dst = append(dst, `,"properties":{`...)
	for i, p := range r.properties {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = append(appendString(dst, p.name), ':')
		if dst, err = r.appendValue(dst, p, row.Values[i]); err != nil {
			return dst, err
		}
	}
	return append(appendGeometry(append(dst, `},"geometry":`...), row), "}\n"...), nil
}

// appendValue writes a cell. A whole number in the column of lots or layers is
// written as text: a column has one type, so nothing can be mixed up.
func (r *text) appendValue(dst []byte, p property, value any) ([]byte, error) {
	switch v := value.(type) {
	case nil:
		return append(dst, "null"...), nil
	case string:
		if !utf8.ValidString(v) && p.told {
			return append(dst, "null"...), nil
		}
		if !utf8.ValidString(v) {
			return dst, r.refuse("encoding.not_utf8", "column %q holds text that is not UTF-8", p.column)
		}
		return appendString(dst, v), nil
	case int64:
		return appendWhole(dst, p, v), nil
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return append(dst, "null"...), nil
		}
		return appendNumber(dst, p, v), nil
	case bool:
		return strconv.AppendBool(dst, v), nil
	}
	if p.told {
		return append(dst, "null"...), nil
	}
	return dst, r.refuse("property.type", "column %q holds neither text nor a number", p.column)
}

func appendWhole(dst []byte, p property, v int64) []byte {
	switch {
	case p.label:
		return appendString(dst, strconv.FormatInt(v, 10))
	case p.name == fixedColumn:
		return strconv.AppendBool(dst, v != 0)
	}
	return strconv.AppendInt(dst, v, 10)
}

// appendNumber writes what databases made of a whole number as one.
func appendNumber(dst []byte, p property, v float64) []byte {
	const exact = 1 << 53
	if v == math.Trunc(v) && math.Abs(v) < exact {
		return appendWhole(dst, p, int64(v))
	}
	return strconv.AppendFloat(dst, v, 'g', -1, 64)
}

func (r *text) refuse(rule, format string, args ...any) error {
	refusal := importer.Refuse(-1, rule, format, args...)
	refusal.Finding.Feature = r.rows - 1
	return refusal
}

func appendString(dst []byte, s string) []byte {
	quoted, _ := json.Marshal(s) // a string cannot fail
	return append(dst, quoted...)
}

func appendGeometry(dst []byte, row Row) []byte {
	g := row.Geometry
	if row.Unread != "" {
		return append(appendString(append(dst, `{"type":`...), row.Unread), '}')
	}
	if g.Type == importer.NoGeometry {
		return append(dst, "null"...)
	}
	dst = append(appendString(append(dst, `{"type":`...), string(g.Type)), `,"coordinates":`...)
	return append(appendCoordinates(dst, g), '}')
}

// appendCoordinates nests the coordinates as the type has them.
func appendCoordinates(dst []byte, g importer.Geometry) []byte {
	switch g.Type {
	case importer.Point:
		return appendPosition(dst, g.Parts[0][0][0])
	case importer.MultiPoint:
		return appendList(dst, g.Parts, func(dst []byte, part [][]importer.Position) []byte {
			return appendPosition(dst, part[0][0])
		})
	case importer.LineString:
		return appendList(dst, g.Parts[0][0], appendPosition)
	case importer.MultiLineString:
		return appendList(dst, g.Parts, func(dst []byte, part [][]importer.Position) []byte {
			return appendList(dst, part[0], appendPosition)
		})
	case importer.Polygon:
		return appendPolygon(dst, g.Parts[0])
	}
	return appendList(dst, g.Parts, appendPolygon)
}

func appendPolygon(dst []byte, rings [][]importer.Position) []byte {
	return appendList(dst, rings, func(dst []byte, ring []importer.Position) []byte {
		return appendList(dst, ring, appendPosition)
	})
}

func appendPosition(dst []byte, p importer.Position) []byte {
	return append(appendCoordinate(append(appendCoordinate(append(dst, '['), p[0]), ','), p[1]), ']')
}

// appendCoordinate writes what is no number as null, which refuses the feature
// in the same words as in GeoJSON.
func appendCoordinate(dst []byte, v float64) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return append(dst, "null"...)
	}
	return strconv.AppendFloat(dst, v, 'g', -1, 64)
}

func appendList[E any](dst []byte, list []E, one func([]byte, E) []byte) []byte {
	dst = append(dst, '[')
	for i, e := range list {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = one(dst, e)
	}
	return append(dst, ']')
}
