package geom

import (
	"errors"
	"fmt"

	sf "github.com/peterstace/simplefeatures/geom"
)

// Join is the shape of a widened outline at its corners.
type Join int

// The joins.
const (
	RoundJoin Join = iota // arcs, 16 chords to the quarter circle
	MitreJoin             // corners stay corners, up to [MitreLimit]
)

// MitreLimit is how far a mitred corner may reach, in multiples of the buffer
// distance, before it is cut off: corners below about 23° are.
const MitreLimit = 5

// quarterSegments keeps the sagitta of a 0.3 m arc below 0.4 mm, under the grid.
const quarterSegments = 16

// Buffer returns g widened by mm millimetres, or shrunk when mm is negative.
func Buffer(g Region, mm int64, join Join) (Region, error) {
	if len(g) == 0 || mm == 0 {
		return g, nil
	}
	return bufferGeometry(toMultiPolygon(g).AsGeometry(), mm, join)
}

// LineBuffer returns the points within mm millimetres of the line l.
func LineBuffer(l Line, mm int64) (Region, error) {
	if len(l) < 2 || mm <= 0 {
		return nil, nil
	}
	xy := make([]float64, 0, 2*len(l))
	for _, p := range l {
		xy = append(xy, float64(p.X), float64(p.Y))
	}
	return bufferGeometry(sf.NewLineStringXY(xy...).AsGeometry(), mm, RoundJoin)
}

// Disc returns the points within mm millimetres of p.
func Disc(p Point, mm int64) (Region, error) {
	return bufferGeometry(sf.NewPointXY(float64(p.X), float64(p.Y)).AsGeometry(), mm, RoundJoin)
}

// Opened returns g eroded by mm millimetres and dilated again, within g: what
// is narrower than 2·mm goes, corners stay.
func Opened(g Region, mm int64) (Region, error) {
	core, err := Buffer(g, -mm, MitreJoin)
	if err != nil || len(core) == 0 {
		return nil, err
	}
	// One millimetre more on the way back makes up for the rounding of both
	// steps; the intersection takes away what is too much.
	wide, err := Buffer(core, mm+1, MitreJoin)
	if err != nil {
		return nil, err
	}
	return Intersection(wide, g), nil
}

func bufferGeometry(g sf.Geometry, mm int64, join Join) (out Region, err error) {
	defer func() {
		if r := recover(); r != nil {
			out, err = nil, fmt.Errorf("buffer by %d mm: %v", mm, r)
		}
	}()
	opts := []sf.BufferOption{sf.BufferQuadSegments(quarterSegments), sf.BufferSimplifyFactor(0)}
	if join == MitreJoin {
		opts = append(opts, sf.BufferJoinStyleMitre(MitreLimit))
	}
	b, err := sf.Buffer(g, float64(mm), opts...)
	if err != nil {
		return nil, fmt.Errorf("buffer by %d mm: %w", mm, err)
	}
	return fromGeometry(b)
}

func toMultiPolygon(g Region) sf.MultiPolygon {
	polys := make([]sf.Polygon, 0, len(g))
	for _, poly := range g {
		rings := make([]sf.LineString, 0, len(poly))
		for _, ring := range poly {
			rings = append(rings, toLineString(ring))
		}
		polys = append(polys, sf.NewPolygon(rings))
	}
	return sf.NewMultiPolygon(polys)
}

func toLineString(r Ring) sf.LineString {
	xy := make([]float64, 0, 2*len(r)+2)
	for _, p := range r {
		xy = append(xy, float64(p.X), float64(p.Y))
	}
	xy = append(xy, float64(r[0].X), float64(r[0].Y))
	return sf.NewLineStringXY(xy...)
}

var errNotPolygonal = errors.New("result is not polygonal")

// fromGeometry rounds a polygonal geometry to the grid and nodes it again.
func fromGeometry(g sf.Geometry) (Region, error) {
	var rings []Ring
	switch {
	case g.IsEmpty():
		return nil, nil
	case g.IsPolygon():
		rings = appendPolygon(rings, g.MustAsPolygon())
	case g.IsMultiPolygon():
		for _, p := range g.MustAsMultiPolygon().Dump() {
			rings = appendPolygon(rings, p)
		}
	default:
		return nil, errNotPolygonal
	}
	return Normalize(rings), nil
}

func appendPolygon(rings []Ring, p sf.Polygon) []Ring {
	for _, ls := range p.ForceCCW().DumpRings() {
		seq := ls.Coordinates()
		ring := make(Ring, 0, seq.Length())
		for i := range seq.Length() - 1 {
			xy := seq.GetXY(i)
			ring = append(ring, Vec{xy.X, xy.Y}.Round())
		}
		rings = append(rings, ring)
	}
	return rings
}
