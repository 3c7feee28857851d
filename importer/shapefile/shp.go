package shapefile

import (
	"bufio"
	"encoding/binary"
	"errors"
	"io"
	"math"

	"lotwright/importer"
	"lotwright/importer/table"
)

// shapes is the .shp part that is being read.
type shapes struct {
	name string
	io.Closer
	from  *bufio.Reader
	left  int64 // bytes that should still come, by the header
	kind  uint32
	rings int // in one shape, at most
	body  []byte
}

// The types of shapes that are read (page 4 of the description); those with
// heights are ten more, those with measures twenty.
const (
	nullShape  = 0
	point      = 1
	polyLine   = 3
	polygon    = 5
	multiPoint = 8
	multiPatch = 31
)

// recordBytes is the length of a record up to which it is looked into, several
// times what the limits on positions let through.
const recordBytes = 8 << 20

func (s *shapes) fault(format string, args ...any) error {
	return importer.Refuse(-1, "shp.corrupt", "%.80q: "+format, append([]any{s.name}, args...)...)
}

// header reads the 100 bytes that shapefiles begin with.
func (s *shapes) header() error {
	const length, code, version = 100, 9994, 1000
	var head [length]byte
	if _, err := io.ReadFull(s.from, head[:]); err != nil {
		return s.early(err, "its header")
	}
	if binary.BigEndian.Uint32(head[:]) != code || binary.LittleEndian.Uint32(head[28:]) != version {
		return s.fault("it does not begin as a shapefile does")
	}
	s.left = 2*int64(int32(binary.BigEndian.Uint32(head[24:]))) - length
	s.kind = binary.LittleEndian.Uint32(head[32:])
	return nil
}

func (s *shapes) early(err error, where string) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return s.fault("it ends within %s", where)
	}
	return err
}

// next reads the next shape; io.EOF after the last.
func (s *shapes) next(number int) (table.Row, error) {
	const head = 8
	if s.left <= 0 {
		return table.Row{}, io.EOF
	}
	var h [head]byte
	if _, err := io.ReadFull(s.from, h[:]); err != nil {
		return table.Row{}, s.early(err, "its records")
	}
	length := 2 * int64(int32(binary.BigEndian.Uint32(h[4:])))
	s.left -= head + length
	if length < 4 || s.left < 0 {
		return table.Row{}, s.fault("record %d is %d bytes long, more than the file has or less than a shape takes", number, length)
	}
	if length > recordBytes {
		_, err := io.CopyN(io.Discard, s.from, length)
		return table.Row{Unread: "a shape of more than 8 MiB"}, s.early(err, "a record")
	}
	if int64(cap(s.body)) < length {
		s.body = make([]byte, length)
	}
	s.body = s.body[:length]
	if _, err := io.ReadFull(s.from, s.body); err != nil {
		return table.Row{}, s.early(err, "a record")
	}
	row, err := s.shape(s.body)
	if err != nil {
		err = s.fault("record %d: %v", number, err)
	}
	return row, err
}

func (s *shapes) shape(body []byte) (row table.Row, err error) {
	kind := binary.LittleEndian.Uint32(body)
	body = body[4:]
	switch {
	case kind == nullShape:
		return row, nil
	case kind != s.kind:
		return row, errors.New("its type is not that of the file")
	case kind == multiPatch:
		row.Unread = "MultiPatch"
		return row, nil
	case kind > 30:
		return row, errors.New("its type is not known")
	}
	switch kind % 10 {
	case point:
		row.Geometry, err = pointShape(body)
	case multiPoint:
		row.Geometry, err = multiPointShape(body)
	case polyLine:
		var lines [][]importer.Position
		lines, err = parts(body)
		row.Geometry = lineShape(lines)
	case polygon:
		var rings [][]importer.Position
		if rings, err = parts(body); err == nil && len(rings) > s.rings {
			row.Unread = "a polygon of too many rings"
			return row, nil
		}
		row.Geometry = polygonShape(rings)
	default:
		err = errors.New("its type is not known")
	}
	return row, err
}

var errShort = errors.New("its point or part count is larger than the record")

func pointShape(body []byte) (g importer.Geometry, err error) {
	if len(body) < 16 {
		return g, errShort
	}
	p := position(body)
	if math.IsNaN(p[0]) && math.IsNaN(p[1]) { // empty
		return g, nil
	}
	return importer.Geometry{Type: importer.Point, Parts: [][][]importer.Position{{{p}}}}, nil
}

const boxBytes = 32 // of the bounds that stand before counts

func multiPointShape(body []byte) (g importer.Geometry, err error) {
	if len(body) < boxBytes+4 {
		return g, errShort
	}
	n, points := binary.LittleEndian.Uint32(body[boxBytes:]), body[boxBytes+4:]
	if uint64(n)*16 > uint64(len(points)) {
		return g, errShort
	}
	g.Type = importer.MultiPoint
	for i := range int(n) {
		g.Parts = append(g.Parts, [][]importer.Position{{position(points[16*i:])}})
	}
	return g, nil
}

// parts reads the parts of a line or polygon: bounds, two counts, where each
// part begins, and the points of all.
func parts(body []byte) (lines [][]importer.Position, err error) {
	if len(body) < boxBytes+8 {
		return nil, errShort
	}
	nParts, nPoints := binary.LittleEndian.Uint32(body[boxBytes:]), binary.LittleEndian.Uint32(body[boxBytes+4:])
	body = body[boxBytes+8:]
	if 4*uint64(nParts)+16*uint64(nPoints) > uint64(len(body)) {
		return nil, errShort
	}
	starts, points := body[:4*nParts], body[4*nParts:]
	for i := range int(nParts) {
		from, to := binary.LittleEndian.Uint32(starts[4*i:]), nPoints
		if i+1 < int(nParts) {
			to = binary.LittleEndian.Uint32(starts[4*i+4:])
		}
		if from > to || to > nPoints {
			return nil, errors.New("its parts are not in order")
		}
		line := make([]importer.Position, 0, to-from)
		for k := from; k < to; k++ {
			line = append(line, position(points[16*k:]))
		}
		lines = append(lines, line)
	}
	return lines, nil
}

func position(b []byte) importer.Position {
	return importer.Position{
		math.Float64frombits(binary.LittleEndian.Uint64(b)),
		math.Float64frombits(binary.LittleEndian.Uint64(b[8:])),
	}
}

func lineShape(lines [][]importer.Position) importer.Geometry {
	switch len(lines) {
	case 0:
		return importer.Geometry{}
	case 1:
		return importer.Geometry{Type: importer.LineString, Parts: [][][]importer.Position{lines}}
	}
	g := importer.Geometry{Type: importer.MultiLineString}
	for _, l := range lines {
		g.Parts = append(g.Parts, [][]importer.Position{l})
	}
	return g
}
