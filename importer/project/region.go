package project

import (
	"lotwright/importer"
	"lotwright/layout/geom"
)

// Rings returns the rings of one polygon on the grid, without the last
// position of each when it repeats the first.
func (p Plane) Rings(polygon [][]importer.Position) []geom.Ring {
	rings := make([]geom.Ring, len(polygon))
	for k, positions := range polygon {
		if n := len(positions); n > 1 && positions[0] == positions[n-1] {
			positions = positions[:n-1]
		}
		rings[k] = geom.Ring(p.Line(positions))
	}
	return rings
}

// Line returns the grid points nearest to the positions of a line.
func (p Plane) Line(positions []importer.Position) geom.Line {
	tm := p.projection()
	line := make(geom.Line, len(positions))
	for i, at := range positions {
		x, y := tm.Forward(at[0], at[1])
		line[i] = geom.Vec{X: x * geom.MillimetresPerMetre, Y: y * geom.MillimetresPerMetre}.Round()
	}
	return line
}

// Region returns the area of a polygonal geometry, whatever is wrong with its
// rings: to measure with, not to design on.
func (p Plane) Region(g importer.Geometry) geom.Region {
	var parts []geom.Region
	for _, polygon := range g.Parts {
		if rings := p.Rings(polygon); len(rings) > 0 {
			shell := geom.Normalize(rings[:1])
			parts = append(parts, geom.Difference(shell, geom.Normalize(rings[1:])))
		}
	}
	if len(parts) == 1 {
		return parts[0]
	}
	return geom.Union(parts...)
}
