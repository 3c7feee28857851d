package plat

import (
	"fmt"
	"math"
	"slices"

	"github.com/peterstace/simplefeatures/geom"
)

// sliver is the area in m² below which what a cut leaves over is rounding.
const sliver = 0.05

// Labelled returns every feature cut at the lot lines, each piece with the one
// lot it lies in. Streets come into it where their paving lies over a line.
func (s *Survey) Labelled() ([]Feature, error) {
	var out []Feature
	for _, f := range s.Features {
		pieces, err := s.cut(f)
		if err != nil {
			return nil, fmt.Errorf("cutting %s of %v: %w", f.Layer, f.Lots, err)
		}
		out = append(out, pieces...)
	}
	return out, nil
}

func (s *Survey) cut(f Feature) ([]Feature, error) {
	if f.Kind != Polygon {
		return perLot(f), nil
	}
	var out []Feature
	for _, l := range s.Lots {
		rings, err := within(f.At, l.Outline)
		if err != nil {
			return nil, err
		}
		for _, ring := range rings {
			out = append(out, Feature{f.Layer, []string{l.ID}, Polygon, ring})
		}
	}
	return out, nil
}

// perLot repeats a feature for each of its lots.
func perLot(f Feature) []Feature {
	var out []Feature
	for _, id := range f.Lots {
		out = append(out, Feature{f.Layer, []string{id}, f.Kind, f.At})
	}
	return out
}

// within returns the pieces of a ring inside a lot, the ring itself where no
// more than a sliver lies outside.
func within(ring, outline []XY) ([][]XY, error) {
	common, err := geom.Intersection(polygonOf(ring), polygonOf(outline))
	if err != nil {
		return nil, err
	}
	if math.Abs(common.Area()-area(ring)) < sliver {
		return [][]XY{ring}, nil
	}
	var out [][]XY
	for _, g := range common.Dump() {
		if p, ok := g.AsPolygon(); ok && p.Area() >= sliver {
			out = append(out, ringOf(p))
		}
	}
	return out, nil
}

func polygonOf(ring []XY) geom.Geometry {
	var flat []float64
	for _, p := range append(slices.Clone(ring), ring[0]) {
		flat = append(flat, p.X, p.Y)
	}
	return geom.NewPolygonXY(flat).AsGeometry()
}

// ringOf returns a polygon's outline on the grid, counter-clockwise, from its
// lowest corner.
func ringOf(p geom.Polygon) []XY {
	seq := p.ExteriorRing().Coordinates()
	ring := make([]XY, seq.Length()-1)
	for i := range ring {
		xy := seq.GetXY(i)
		ring[i] = XY{xy.X, xy.Y}.snapped()
	}
	if area(ring) < 0 {
		slices.Reverse(ring)
	}
	first := slices.IndexFunc(ring, func(p XY) bool { return p == slices.MinFunc(ring, lowest) })
	return slices.Compact(slices.Concat(ring[first:], ring[:first]))
}

func lowest(a, b XY) int {
	switch {
	case a.Y < b.Y || a.Y == b.Y && a.X < b.X:
		return -1
	case a == b:
		return 0
	}
	return 1
}
