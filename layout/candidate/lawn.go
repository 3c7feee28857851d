// Package candidate works out the ground of a design: the lawn to irrigate,
// where heads may stand on it, the spots worth trying, and the points that
// stand for the lawn when reach is counted.
package candidate

import (
	"fmt"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// MinPieceM2 is the area, in m², under which a separate piece of lawn is left
// out (contract 4.2).
const MinPieceM2 = 0.5

// LawnSettings say what counts as lawn.
type LawnSettings struct {
	LeastStripMM int64 // narrower lawn is left out; 0: none is
	IrrigateBeds bool
}

// Lawn is the irrigated region and what was left out of it.
type Lawn struct {
	Region geom.Region // P of contract 4.2
	Narrow geom.Region // too narrow or too small to irrigate
}

// Irrigated returns the lawn of a lot: the parcel, or its turf where that is
// given, less everything that lies on it; opened by half the least strip
// width; without the pieces under [MinPieceM2]. Obstacles may overlap: they
// are united, never summed.
func Irrigated(lot *layout.Lot, s LawnSettings) (Lawn, error) {
	open := lot.Parcel
	if lot.HasTurf {
		open = geom.Intersection(lot.Parcel, lot.Turf)
	}
	obstacles := geom.Union(lot.Building, lot.Hardscape, lot.Water, lot.Wall)
	if !s.IrrigateBeds {
		obstacles = geom.Union(obstacles, lot.Bed)
	}
	open = geom.Difference(open, obstacles)
	kept := open
	if s.LeastStripMM > 0 {
		var err error
		if kept, err = geom.Opened(open, s.LeastStripMM/2); err != nil {
			return Lawn{}, fmt.Errorf("leaving out narrow strips: %w", err)
		}
	}
	kept = withoutSmall(kept)
	return Lawn{Region: kept, Narrow: geom.Difference(open, kept)}, nil
}

func withoutSmall(g geom.Region) geom.Region {
	var out geom.Region
	for _, poly := range g {
		if poly.AreaM2() >= MinPieceM2 {
			out = append(out, poly)
		}
	}
	return out
}
