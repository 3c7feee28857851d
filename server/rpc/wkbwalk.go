package rpc

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// The kinds of well-known binary geometries that are taken (OGC 06-103r4, table
// 7). The members of a kind with several have the kind three below.
const (
	wkbPoint = iota + 1
	wkbLineString
	wkbPolygon
	wkbMultiPoint
	wkbMultiLineString
	wkbMultiPolygon
)

// wkbNames has the GeoJSON types of the kinds that are taken, and for the others
// what their makers call them.
var wkbNames = map[uint32]string{
	0: "Geometry", wkbPoint: "Point", wkbLineString: "LineString", wkbPolygon: "Polygon",
	wkbMultiPoint: "MultiPoint", wkbMultiLineString: "MultiLineString", wkbMultiPolygon: "MultiPolygon",
	7: "GeometryCollection", 8: "CircularString", 9: "CompoundCurve", 10: "CurvePolygon", 11: "MultiCurve",
	12: "MultiSurface", 13: "Curve", 14: "Surface", 15: "PolyhedralSurface", 16: "TIN", 17: "Triangle",
}

// Flags of the extended form, beside the kind.
const (
	wkbZ    = 0x8000_0000
	wkbM    = 0x4000_0000
	wkbSRID = 0x2000_0000
)

// wkbISO is what the ISO form adds to the kind for Z; twice that is for M,
// three times for both.
const wkbISO = 1000

// wkbNumbers is how many numbers a position has, by what the type code has
// beside the kind.
var wkbNumbers = map[uint32]int{
	0:    2,
	wkbZ: 3, wkbM: 3, wkbZ | wkbM: 4,
	wkbISO: 3, 2 * wkbISO: 3, 3 * wkbISO: 4,
}

// wgs84 is the SRID of WGS 84 degrees in the EPSG register.
const wgs84 = 4326

// wkbHeader is what a geometry begins with.
type wkbHeader struct {
	order   binary.ByteOrder
	kind    uint32
	beside  uint32 // what the type code has beside kind and [wkbSRID]
	numbers int    // a position
}

func (h wkbHeader) isISO() bool { return h.beside > 0 && h.beside < wkbM }

// wkbWalk goes through a geometry and checks everything but its shape.
type wkbWalk struct {
	data []byte
	at   int
}

func (w *wkbWalk) rest() []byte { return w.data[w.at:] }

// geometry passes over a geometry: one by itself, or a member of another.
func (w *wkbWalk) geometry(of *wkbHeader) (h wkbHeader, err error) {
	if h, err = w.header(of); err != nil {
		return h, err
	}
	switch h.kind {
	case wkbPoint:
		return h, w.position(h)
	case wkbLineString:
		return h, w.line(h)
	case wkbPolygon:
		return h, w.each(h, func() error { return w.line(h) })
	}
	return h, w.each(h, func() error {
		_, err := w.geometry(&h)
		return err
	})
}

func (w *wkbWalk) header(of *wkbHeader) (h wkbHeader, err error) {
	if h.order, err = w.byteOrder(); err != nil {
		return h, err
	}
	code, err := w.number(h.order)
	if err != nil {
		return h, err
	}
	if h.kind = code &^ (wkbZ | wkbM | wkbSRID); h.kind == code {
		h.kind %= wkbISO
	}
	h.beside = code&^wkbSRID - h.kind
	if h.numbers, err = h.check(code, of); err != nil || code&wkbSRID == 0 {
		return h, err
	}
	srid, err := w.number(h.order)
	if err == nil && srid != 0 && srid != wgs84 {
		err = fmt.Errorf("got SRID %d, want %d, 0 or none", int32(srid), wgs84)
	}
	return h, err
}

func (w *wkbWalk) byteOrder() (binary.ByteOrder, error) {
	b, err := w.take(1)
	switch {
	case err != nil:
		return nil, err
	case b[0] == 0:
		return binary.BigEndian, nil
	case b[0] == 1:
		return binary.LittleEndian, nil
	case b[0] == '0':
		return nil, errors.New("got hexadecimal text, want the bytes it stands for")
	case b[0] == 'G':
		return nil, errors.New("got the header of a GeoPackage geometry, want what follows it")
	}
	return nil, fmt.Errorf("got byte order %d, want 0 or 1", b[0])
}

// check returns how many numbers a position has, for a header whose type code
// is taken in its place.
func (h wkbHeader) check(code uint32, of *wkbHeader) (numbers int, err error) {
	name, known := wkbNames[h.kind]
	numbers, ok := wkbNumbers[h.beside]
	switch {
	case !known || !ok:
		return 0, fmt.Errorf("got type code %d, which is not known", code)
	case of != nil && h.kind != of.kind-3:
		return 0, fmt.Errorf("got a %s in a %s", name, wkbNames[of.kind])
	case of != nil && h.beside != of.beside:
		return 0, fmt.Errorf("got a member of other dimensions than the %s has", wkbNames[of.kind])
	case h.kind < wkbPoint || h.kind > wkbMultiPolygon:
		return 0, fmt.Errorf("got a %s, want a Point, LineString or Polygon, or a Multi of one", name)
	}
	return numbers, nil
}

// each passes over as many things as the number before them says. Every one
// takes some bytes, so that no number keeps it busy beyond the end.
func (w *wkbWalk) each(h wkbHeader, one func() error) error {
	n, err := w.number(h.order)
	for i := uint32(0); i < n && err == nil; i++ {
		err = one()
	}
	return err
}

func (w *wkbWalk) line(h wkbHeader) error {
	return w.each(h, func() error { return w.position(h) })
}

// position passes over a position, which must be finite.
func (w *wkbWalk) position(h wkbHeader) error {
	b, err := w.take(8 * h.numbers)
	if err != nil {
		return err
	}
	for i := range 2 {
		if !finite(math.Float64frombits(h.order.Uint64(b[8*i:]))) {
			w.at -= len(b)
			return errors.New("got a position that is empty or not finite")
		}
	}
	return nil
}

func (w *wkbWalk) number(order binary.ByteOrder) (uint32, error) {
	b, err := w.take(4)
	if err != nil {
		return 0, err
	}
	return order.Uint32(b), nil
}

func (w *wkbWalk) take(n int) ([]byte, error) {
	if n > len(w.rest()) {
		return nil, errors.New("the bytes end before the geometry does")
	}
	b := w.data[w.at : w.at+n]
	w.at += n
	return b, nil
}
