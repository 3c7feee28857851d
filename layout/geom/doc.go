// Package geom is the planar geometry kernel: points, rings and regions on a
// grid of whole millimetres, exact predicates on them, and the overlay
// operations wrapped so that what comes back is on the grid again.
//
// # Plane and exactness
//
// Coordinates are signed whole millimetres in some local plane with its origin
// near the figure. Any coordinate may have a magnitude up to [MaxCoord]
// (about 4.2 km); within that range every predicate of this package (side,
// containment, crossing, range) is decided in integers without rounding.
// Floats appear only in areas and lengths.
//
// # Conventions
//
// A [Ring] is open: its last point is not its first one again. In a [Region]
// shells run counter-clockwise and holes clockwise, so the interior is always
// on the left of an edge. Regions are closed point sets: their edges belong to
// them.
package geom
