package postgis

import (
	"encoding/json"
	"errors"
	"math"
	"slices"

	"github.com/twpayne/go-geom"
	"github.com/twpayne/go-geom/encoding/ewkb"
	"github.com/twpayne/go-geom/encoding/geojson"
)

// srid is that of longitude and latitude on WGS 84.
const srid = 4326

// mostPositions is how many an outline may have to be shown: the database mends
// it, which must not take long.
const mostPositions = 20_000

// parcel is the outline of a lot as EWKB, or nothing.
func (s *Store) parcel(content []byte) []byte {
	if s.options.Parcel == nil {
		return nil
	}
	var polygons [][][]geom.Coord
	positions := 0
	for _, p := range s.options.Parcel(content) {
		var rings [][]geom.Coord
		for _, r := range p {
			ring, ok := ringOf(r)
			if positions += len(ring); !ok || positions > mostPositions {
				return nil
			}
			rings = append(rings, ring)
		}
		if len(rings) > 0 {
			polygons = append(polygons, rings)
		}
	}
	m, err := geom.NewMultiPolygon(geom.XY).SetSRID(srid).SetCoords(polygons)
	if err != nil || len(polygons) == 0 {
		return nil
	}
	return extended(m)
}

// ringOf is a ring that the database takes: closed, of numbers, with four
// positions at least.
func ringOf(positions [][2]float64) (ring []geom.Coord, ok bool) {
	for _, p := range positions {
		if math.IsNaN(p[0]+p[1]) || math.IsInf(p[0]+p[1], 0) {
			return nil, false
		}
		ring = append(ring, geom.Coord{p[0], p[1]})
	}
	if len(ring) > 0 && !slices.Equal(ring[0], ring[len(ring)-1]) {
		ring = append(ring, slices.Clone(ring[0]))
	}
	return ring, len(ring) >= 4
}

func extended(g geom.T) []byte {
	b, err := ewkb.Marshal(g, ewkb.NDR)
	if err != nil {
		return nil // a kind that it does not know
	}
	return b
}

// drawing is what mapping tools are shown of a design.
type drawing struct {
	figures  []byte // a JSON object
	region   []byte // EWKB
	heads    marks
	trenches marks
}

// marks are features of a layer.
type marks struct {
	shapes     [][]byte // EWKB
	properties []string // JSON objects
}

var errWhole = errors.New("not a whole drawing")

// drawn takes a design's features apart. What cannot be read is not shown.
func (s *Store) drawn(content []byte) drawing {
	nothing := drawing{figures: []byte("{}")}
	if s.options.GeoJSON == nil {
		return nothing
	}
	d, err := drawingOf(s.options.GeoJSON(content))
	if err != nil {
		return nothing
	}
	return d
}

func drawingOf(text []byte) (drawing, error) {
	var all struct {
		Features []struct {
			Properties json.RawMessage
			Geometry   json.RawMessage
		}
	}
	d := drawing{figures: []byte("{}")}
	if len(text) == 0 {
		return d, nil
	}
	if err := json.Unmarshal(text, &all); err != nil {
		return d, err
	}
	for _, f := range all.Features {
		var of struct{ Layer string }
		if err := json.Unmarshal(f.Properties, &of); err != nil {
			return d, err
		}
		var err error
		switch of.Layer {
		case "lot":
			d.figures = f.Properties
			d.region, err = shape(f.Geometry, (*geom.MultiPolygon)(nil))
		case "head":
			err = d.heads.add(f.Geometry, f.Properties, (*geom.Point)(nil))
		case "trench":
			err = d.trenches.add(f.Geometry, f.Properties, (*geom.LineString)(nil))
		}
		if err != nil {
			return d, err
		}
	}
	return d, nil
}

func (m *marks) add(geometry, properties []byte, want geom.T) error {
	b, err := shape(geometry, want)
	m.shapes, m.properties = append(m.shapes, b), append(m.properties, string(properties))
	return err
}

// shape is a GeoJSON geometry of the wanted type as EWKB; nothing for null.
func shape(text []byte, want geom.T) ([]byte, error) {
	if len(text) == 0 || string(text) == "null" {
		return nil, nil
	}
	var g geom.T
	if err := geojson.Unmarshal(text, &g); err != nil {
		return nil, err
	}
	switch g := g.(type) {
	case *geom.MultiPolygon:
		if _, ok := want.(*geom.MultiPolygon); ok {
			return extended(g.SetSRID(srid)), nil
		}
	case *geom.Point:
		if _, ok := want.(*geom.Point); ok {
			return extended(g.SetSRID(srid)), nil
		}
	case *geom.LineString:
		if _, ok := want.(*geom.LineString); ok {
			return extended(g.SetSRID(srid)), nil
		}
	}
	return nil, errWhole
}
