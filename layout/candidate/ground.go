package candidate

import (
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Clearances are the least distances of a head, in millimetres (contract 4.3).
type Clearances struct {
	EdgeMM     int64 // from paving, water and the lot line
	BuildingMM int64 // from buildings and walls
}

// Ground is where heads may stand on a lawn.
type Ground struct {
	lawn   geom.Region
	soft   geom.Region // paving and water
	parcel geom.Region
	hard   geom.Region // buildings and walls
	clear  Clearances

	// Legal is the part of the lawn that keeps every clearance, drawn
	// [marginMM] inside its true edge.
	Legal geom.Region
	// MiddleLine holds spots on the middle line of strips too narrow for the
	// clearances; they are legal all the same.
	MiddleLine []geom.Point
}

// marginMM keeps a drawn clearance line on the safe side of the true one:
// chords of its arcs lie up to 0.4 mm and rounded points up to 0.7 mm inside.
const marginMM = 2

// NewGround works out where heads may stand on the lawn of a lot.
func NewGround(lot *layout.Lot, lawn geom.Region, c Clearances) (*Ground, error) {
	g := &Ground{
		lawn:   lawn,
		parcel: lot.Parcel,
		soft:   geom.Union(lot.Hardscape, lot.Water),
		hard:   geom.Union(lot.Building, lot.Wall),
		clear:  c,
	}
	legal, err := g.keepClear(lawn)
	if err != nil {
		return nil, err
	}
	g.Legal = legal
	g.MiddleLine, err = g.middleLine()
	return g, err
}

func (g *Ground) keepClear(lawn geom.Region) (geom.Region, error) {
	legal := lawn
	if c := g.clear.EdgeMM; c > 0 {
		within, err := geom.Buffer(g.parcel, -(c + marginMM), geom.MitreJoin)
		if err != nil {
			return nil, fmt.Errorf("clearance from the lot line: %w", err)
		}
		apart, err := geom.Buffer(g.soft, c+marginMM, geom.RoundJoin)
		if err != nil {
			return nil, fmt.Errorf("clearance from paving: %w", err)
		}
		legal = geom.Difference(geom.Intersection(legal, within), apart)
	}
	if c := g.clear.BuildingMM; c > 0 {
		apart, err := geom.Buffer(g.hard, c+marginMM, geom.RoundJoin)
		if err != nil {
			return nil, fmt.Errorf("clearance from buildings: %w", err)
		}
		legal = geom.Difference(legal, apart)
	}
	return legal, nil
}

// Allows reports, exactly, whether a head may stand at p: inside the lawn with
// every clearance kept, or on the middle line of a strip too narrow for that.
func (g *Ground) Allows(p geom.Point) bool {
	if g.lawn.Locate(p) != geom.Interior {
		return false
	}
	if g.clear.EdgeMM > 0 && (g.soft.EdgeWithin(p, g.clear.EdgeMM-1) || g.parcel.EdgeWithin(p, g.clear.EdgeMM-1)) ||
		g.clear.BuildingMM > 0 && g.hard.EdgeWithin(p, g.clear.BuildingMM-1) {
		return slices.Contains(g.MiddleLine, p)
	}
	return true
}

// room is how well p keeps its clearances: the least ratio of a distance to
// the clearance wanted there. A spot with room 1 or more is legal.
func (g *Ground) room(p geom.Point) float64 {
	room := math.Inf(1)
	if c := float64(g.clear.EdgeMM); c > 0 {
		room = min(g.soft.DistanceMM(p), g.parcel.DistanceMM(p)) / c
	}
	if c := float64(g.clear.BuildingMM); c > 0 {
		room = min(room, g.hard.DistanceMM(p)/c)
	}
	return room
}

// middleStepMM is the spacing of the spots tried along narrow strips.
const middleStepMM = 250

// middleLine returns spots on the middle line of the lawn that lies farther
// from any legal ground than the clearances can explain: from a grid over that
// lawn each spot climbs to where the room is largest nearby.
func (g *Ground) middleLine() ([]geom.Point, error) {
	reach := 2 * max(g.clear.EdgeMM, g.clear.BuildingMM)
	near, err := geom.Buffer(g.Legal, reach+marginMM, geom.RoundJoin)
	if err != nil {
		return nil, fmt.Errorf("strips too narrow for the clearances: %w", err)
	}
	strips := withoutSmall(geom.Difference(g.lawn, near))
	var out []geom.Point
	for _, p := range gridPoints(strips, middleStepMM) {
		if top := g.climb(p); g.lawn.Locate(top) == geom.Interior {
			out = append(out, top)
		}
	}
	slices.SortFunc(out, geom.Point.Compare)
	return slices.Compact(out), nil
}

// climb walks from p uphill on room until no neighbour is higher, with steps
// from 64 mm down to 1 mm.
func (g *Ground) climb(p geom.Point) geom.Point {
	best := g.room(p)
	for step := int64(64); step > 0; step /= 2 {
		for moved := true; moved; {
			moved = false
			for _, d := range compass {
				q := geom.Pt(p.X+d.X*step, p.Y+d.Y*step)
				if r := g.room(q); r > best && g.lawn.Has(q) {
					p, best, moved = q, r, true
				}
			}
		}
	}
	return p
}

var compass = [8]geom.Point{{X: 1}, {X: 1, Y: 1}, {Y: 1}, {X: -1, Y: 1}, {X: -1}, {X: -1, Y: -1}, {Y: -1}, {X: 1, Y: -1}}
