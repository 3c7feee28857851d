package feature

import (
	"cmp"
	"slices"
	"strconv"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Positions are written to 8 decimals of a degree (contract 5), at most 1.1 mm.
// Rounding to that grid can fold a sliver of a region over itself, so regions
// are rebuilt on it by the same exact overlay that made them.
const (
	positionsPerDegree = 100_000_000
	eightZeros         = "00000000"
)

// grid takes places in a lot's plane to whole 1e-8 degrees of longitude and
// latitude, counted from the plane's origin.
type grid struct {
	plane  layout.Plane // nil: nothing has a place
	origin geom.Point   // in 1e-8 degrees
}

func newGrid(plane layout.Plane) grid {
	if plane == nil {
		return grid{}
	}
	return grid{plane: plane, origin: roundedDegrees(plane.LonLat(0, 0))}
}

func roundedDegrees(lon, lat float64) geom.Point {
	return geom.Vec{X: lon * positionsPerDegree, Y: lat * positionsPerDegree}.Round()
}

func (g grid) at(v geom.Vec) geom.Point {
	return roundedDegrees(g.plane.LonLat(v.X, v.Y)).Sub(g.origin)
}

// chain returns the places on the grid; ok is false where they leave the range
// in which the overlay is exact, as they can only near a pole or across the
// 180th meridian.
func (g grid) chain(places []geom.Vec) (out []geom.Point, ok bool) {
	out = make([]geom.Point, len(places))
	for i, v := range places {
		out[i] = g.at(v)
		if max(out[i].X, -out[i].X, out[i].Y, -out[i].Y) > geom.MaxCoord {
			return nil, false
		}
	}
	return out, true
}

// shape is a geometry that can be written; one that is empty is written as null.
type shape func(dst []byte, g grid) []byte

func (s shape) appendOrNull(dst []byte, g grid) []byte {
	if g.plane != nil {
		if out := s(dst, g); len(out) > len(dst) {
			return out
		}
	}
	return append(dst, "null"...)
}

func point(p geom.Point) shape {
	return func(dst []byte, g grid) []byte {
		dst = append(dst, `{"type":"Point","coordinates":`...)
		return append(g.appendPosition(dst, g.at(p.Vec())), '}')
	}
}

// line drops repeated positions; a line that shrinks to one is empty.
func line(l geom.Line) shape {
	return func(dst []byte, g grid) []byte {
		positions, _ := g.chain(vecs(l))
		positions = slices.Compact(positions)
		if len(positions) < 2 {
			return dst
		}
		dst = append(dst, `{"type":"LineString","coordinates":`...)
		return append(appendList(dst, positions, g.appendPosition), '}')
	}
}

func multiPolygon(r geom.Region) shape {
	return func(dst []byte, g grid) []byte {
		var rings []geom.Ring
		for ring := range r.Rings() {
			positions, ok := g.chain(vecs(ring))
			if !ok {
				return dst
			}
			rings = append(rings, positions)
		}
		region := geom.NormalizePositive(rings)
		if len(region) == 0 {
			return dst
		}
		dst = append(dst, `{"type":"MultiPolygon","coordinates":`...)
		return append(appendList(dst, region, g.appendPolygon), '}')
	}
}

// outline is the polygon inside a ring that may run either way round. Where
// rounding pinches it in two, the larger part stands for it.
func outline(places []geom.Vec) shape {
	return func(dst []byte, g grid) []byte {
		positions, _ := g.chain(places)
		ring := geom.Ring(positions)
		if ring.Area2() < 0 {
			ring = ring.Reversed()
		}
		region := geom.NormalizePositive([]geom.Ring{ring})
		if len(region) == 0 {
			return dst
		}
		largest := slices.MaxFunc(region, func(p, q geom.Polygon) int {
			return cmp.Compare(geom.Region{p}.Area2(), geom.Region{q}.Area2())
		})
		dst = append(dst, `{"type":"Polygon","coordinates":`...)
		return append(g.appendPolygon(dst, largest), '}')
	}
}

func vecs(r []geom.Point) []geom.Vec {
	out := make([]geom.Vec, len(r))
	for i, p := range r {
		out[i] = p.Vec()
	}
	return out
}

func (g grid) appendPolygon(dst []byte, p geom.Polygon) []byte {
	return appendList(dst, p, g.appendRing)
}

// appendRing closes the ring, as GeoJSON wants it.
func (g grid) appendRing(dst []byte, r geom.Ring) []byte {
	return appendList(dst, append(slices.Clone(r), r[0]), g.appendPosition)
}

func (g grid) appendPosition(dst []byte, p geom.Point) []byte {
	p = p.Add(g.origin)
	dst = appendDegrees(append(dst, '['), p.X)
	return append(appendDegrees(append(dst, ','), p.Y), ']')
}

// appendDegrees writes v units of 1e-8 degrees as a decimal fraction.
func appendDegrees(dst []byte, v int64) []byte {
	if v < 0 {
		dst, v = append(dst, '-'), -v
	}
	dst = append(strconv.AppendInt(dst, v/positionsPerDegree, 10), '.')
	low := strconv.FormatInt(v%positionsPerDegree, 10)
	dst = append(dst, eightZeros[len(low):]...)
	return append(dst, low...)
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
