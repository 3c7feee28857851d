package geopackage

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"lotwright/importer"
)

// systemMismatch: a geometry is in another system than its table says.
type systemMismatch struct{ geometry, table int64 }

func (m *systemMismatch) Error() string {
	return fmt.Sprintf("the geometry is in the system with srs_id %d, the table in %d", m.geometry, m.table)
}

// envelopeBytes is the length of the envelope by its code (clause 2.1.3.1.1).
var envelopeBytes = [8]int{0, 32, 48, 48, 64, -1, -1, -1}

// decode reads a GeoPackage binary geometry: a header, then well-known binary.
// unread is the type of what is sound but not read.
func decode(blob []byte, srs int64) (g importer.Geometry, unread string, err error) {
	const header = 8
	if len(blob) < header || blob[0] != 'G' || blob[1] != 'P' || blob[2] != 0 {
		return g, "", errors.New("the geometry does not begin as a GeoPackage's does")
	}
	flags := blob[3]
	var order binary.ByteOrder = binary.BigEndian
	if flags&1 != 0 {
		order = binary.LittleEndian
	}
	envelope := envelopeBytes[flags>>1&7]
	if envelope < 0 || len(blob) < header+envelope {
		return g, "", errors.New("the geometry's envelope is not one of a GeoPackage")
	}
	if has := int64(int32(order.Uint32(blob[4:]))); has != srs {
		return g, "", &systemMismatch{has, srs}
	}
	if flags&(1<<5) != 0 {
		return g, "a vendor's own geometry", nil
	}
	if flags&(1<<4) != 0 { // empty
		return g, "", nil
	}
	r := wkbReader{data: blob[header+envelope:]}
	g, unread, err = r.geometry(0)
	if err == nil && len(r.data) > 0 {
		err = fmt.Errorf("%d bytes are left over after the geometry", len(r.data))
	}
	return g, unread, err
}

// wkbDepth is how deep geometries may lie in each other.
const wkbDepth = 8

// wkbReader consumes well-known binary (ISO 19125-1 and the thousands of ISO/IEC
// 13249-3 for heights and measures, which are skipped).
type wkbReader struct {
	data  []byte
	order binary.ByteOrder
}

// wkbTypes are the types that are read, and the names of the others.
var wkbTypes = map[uint32]string{
	1: "Point", 2: "LineString", 3: "Polygon", 4: "MultiPoint", 5: "MultiLineString", 6: "MultiPolygon", 7: "GeometryCollection",
	8: "CircularString", 9: "CompoundCurve", 10: "CurvePolygon", 11: "MultiCurve", 12: "MultiSurface",
	13: "Curve", 14: "Surface", 15: "PolyhedralSurface", 16: "TIN", 17: "Triangle",
}

// head consumes byte order and type; numbers is how many a position has.
func (r *wkbReader) head() (kind uint32, numbers int, err error) {
	if len(r.data) < 5 || r.data[0] > 1 {
		return 0, 0, errors.New("the geometry has no byte order and type")
	}
	r.order = binary.BigEndian
	if r.data[0] == 1 {
		r.order = binary.LittleEndian
	}
	code := r.order.Uint32(r.data[1:])
	r.data = r.data[5:]
	const z, m = 1 << 31, 1 << 30 // as GDAL wrote heights before the thousands
	numbers = 2 + int(code>>31) + int(code>>30&1)
	code &^= z | m
	if thousand := code / 1000; thousand > 0 && thousand <= 3 {
		numbers += [4]int{0, 1, 1, 2}[thousand]
		code %= 1000
	}
	if _, known := wkbTypes[code]; !known || numbers > 4 {
		return 0, 0, fmt.Errorf("the geometry's type %d is not known", code)
	}
	return code, numbers, nil
}

// count consumes a number of elements, each of at least so many bytes.
func (r *wkbReader) count(what string, least int) (int, error) {
	if len(r.data) < 4 {
		return 0, fmt.Errorf("the number of %s is missing", what)
	}
	n := r.order.Uint32(r.data)
	r.data = r.data[4:]
	if uint64(n)*uint64(least) > uint64(len(r.data)) {
		return 0, fmt.Errorf("%d %s do not fit into %d bytes", n, what, len(r.data))
	}
	return int(n), nil
}

func (r *wkbReader) geometry(depth int) (g importer.Geometry, unread string, err error) {
	if depth > wkbDepth {
		return g, "", fmt.Errorf("geometries lie in each other more than %d deep", wkbDepth)
	}
	kind, numbers, err := r.head()
	if err != nil {
		return g, "", err
	}
	g.Type = importer.GeometryType(wkbTypes[kind])
	switch kind {
	case 1:
		g.Parts, err = r.point(numbers)
		if err == nil && len(g.Parts) == 0 {
			g.Type = importer.NoGeometry
		}
	case 2:
		var line []importer.Position
		line, err = r.line(numbers)
		g.Parts = [][][]importer.Position{{line}}
	case 3:
		var rings [][]importer.Position
		rings, err = r.polygon(numbers)
		g.Parts = [][][]importer.Position{rings}
	case 4, 5, 6:
		g.Parts, err = r.members(kind-3, depth)
	case 7:
		err = r.collection(depth)
		return importer.Geometry{}, wkbTypes[kind], err
	default:
		r.data = nil // not looked into
		return importer.Geometry{}, wkbTypes[kind], nil
	}
	return g, "", err
}

// members reads the parts of a multi-geometry, which must all be of one type.
func (r *wkbReader) members(of uint32, depth int) (parts [][][]importer.Position, err error) {
	n, err := r.count("parts", 5)
	for ; n > 0 && err == nil; n-- {
		var part importer.Geometry
		var unread string
		part, unread, err = r.geometry(depth + 1)
		if err == nil && (unread != "" || part.Type != importer.NoGeometry && string(part.Type) != wkbTypes[of]) {
			err = fmt.Errorf("a multi-geometry of %ss holds something else", wkbTypes[of])
		}
		parts = append(parts, part.Parts...)
	}
	return parts, err
}

// collection walks through a collection, which is not read but must be sound.
func (r *wkbReader) collection(depth int) error {
	n, err := r.count("geometries", 5)
	for ; n > 0 && err == nil; n-- {
		_, _, err = r.geometry(depth + 1)
	}
	return err
}

// point is empty when its coordinates are not numbers (clause 2.1.3).
func (r *wkbReader) point(numbers int) ([][][]importer.Position, error) {
	line, err := r.positions(1, numbers)
	if err != nil || math.IsNaN(line[0][0]) && math.IsNaN(line[0][1]) {
		return nil, err
	}
	return [][][]importer.Position{{line}}, nil
}

func (r *wkbReader) polygon(numbers int) ([][]importer.Position, error) {
	n, err := r.count("rings", 4)
	if err != nil {
		return nil, err
	}
	rings := make([][]importer.Position, n)
	for i := range rings {
		if rings[i], err = r.line(numbers); err != nil {
			return nil, err
		}
	}
	return rings, nil
}

func (r *wkbReader) line(numbers int) ([]importer.Position, error) {
	n, err := r.count("positions", 8*numbers)
	if err != nil {
		return nil, err
	}
	return r.positions(n, numbers)
}

func (r *wkbReader) positions(n, numbers int) ([]importer.Position, error) {
	if len(r.data) < 8*n*numbers {
		return nil, errors.New("the geometry ends early")
	}
	line := make([]importer.Position, n)
	for i := range line {
		for axis := range line[i] {
			line[i][axis] = math.Float64frombits(r.order.Uint64(r.data[8*axis:]))
		}
		r.data = r.data[8*numbers:]
	}
	return line, nil
}
