package rpc

import (
	"errors"
	"fmt"

	"github.com/twpayne/go-geom"
	"github.com/twpayne/go-geom/encoding/ewkb"
	"github.com/twpayne/go-geom/encoding/wkb"
)

// decodeWKB reads a geometry out of its well-known binary: the type that
// GeoJSON has for it and its parts, as in [Feature]. It looks through all of
// the bytes before it hands them to the decoder, which makes room for whatever
// number stands in them.
func decodeWKB(data []byte) (kind string, parts [][][][2]float64, err error) {
	w := wkbWalk{data: data}
	whole, err := w.geometry(nil)
	if err != nil {
		return "", nil, fmt.Errorf("at byte %d: %w", w.at, err)
	}
	if n := len(w.rest()); n > 0 {
		return "", nil, fmt.Errorf("at byte %d: %d bytes are left over", w.at, n)
	}
	g, err := unmarshalWKB(data, whole.isISO())
	if err != nil {
		return "", nil, err
	}
	return wkbNames[whole.kind], wkbParts(g), nil
}

func unmarshalWKB(data []byte, iso bool) (g geom.T, err error) {
	defer func() {
		if recover() != nil {
			err = errors.New("cannot be decoded")
		}
	}()
	if iso {
		return wkb.Unmarshal(data)
	}
	return ewkb.Unmarshal(data)
}

// wkbParts divides the coordinates of a decoded geometry.
func wkbParts(g geom.T) (parts [][][][2]float64) {
	c := wkbCoords{flat: g.FlatCoords(), numbers: g.Stride()}
	switch g := g.(type) {
	case *geom.Polygon:
		return [][][][2]float64{c.lines(g.Ends())}
	case *geom.MultiPolygon:
		for _, ends := range g.Endss() {
			parts = append(parts, c.lines(ends))
		}
		return parts
	case *geom.MultiPoint, *geom.MultiLineString:
		for _, line := range c.lines(g.Ends()) {
			parts = append(parts, [][][2]float64{line})
		}
		return parts
	}
	return [][][][2]float64{{c.line(len(c.flat))}}
}

// wkbCoords are coordinates one after another, from which lines are taken.
type wkbCoords struct {
	flat          []float64
	numbers, from int
}

func (c *wkbCoords) lines(ends []int) (out [][][2]float64) {
	for _, end := range ends {
		out = append(out, c.line(end))
	}
	return out
}

func (c *wkbCoords) line(end int) [][2]float64 {
	out := make([][2]float64, 0, (end-c.from)/c.numbers)
	for ; c.from < end; c.from += c.numbers {
		out = append(out, [2]float64{c.flat[c.from], c.flat[c.from+1]})
	}
	return out
}
