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
	noDig  geom.Region // a head stands in a hole
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
		noDig:  lot.NoDig,
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
	legal, err := geom.Buffer(lawn, -marginMM, geom.MitreJoin) // the edge of a bed keeps no distance, but is no place to stand
	if err != nil {
		return nil, fmt.Errorf("ground to stand on: %w", err)
	}
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
	closed, err := geom.Buffer(g.noDig, marginMM, geom.MitreJoin)
	if err != nil {
		return nil, fmt.Errorf("ground that must not be opened: %w", err)
	}
	return geom.Difference(legal, closed), nil
}

// Allows reports, exactly, whether a head may stand at p: inside the lawn with
// every clearance kept, or on the middle line of a strip too narrow for that.
func (g *Ground) Allows(p geom.Point) bool {
	if g.lawn.Locate(p) != geom.Interior || g.noDig.Has(p) {
		return false
	}
	if g.soft.EdgeNearerThan(p, g.clear.EdgeMM) || g.parcel.EdgeNearerThan(p, g.clear.EdgeMM) ||
		g.hard.EdgeNearerThan(p, g.clear.BuildingMM) {
		return slices.Contains(g.MiddleLine, p)
	}
	return true
}

// room is how well p keeps its clearances: the least ratio of a distance to
// the clearance wanted there, and the edge that distance is from. A spot with
// room 1 or more is legal.
func (g *Ground) room(p geom.Point) (room float64, edge geom.Segment) {
	room = math.Inf(1)
	for _, o := range [...]struct {
		outline geom.Region
		mm      int64
	}{{g.soft, g.clear.EdgeMM}, {g.parcel, g.clear.EdgeMM}, {g.hard, g.clear.BuildingMM}} {
		if o.mm <= 0 {
			continue
		}
		if s, d := o.outline.NearestEdge(p); d/float64(o.mm) < room {
			room, edge = d/float64(o.mm), s
		}
	}
	return room, edge
}

// middleStepMM is the spacing of the spots tried along narrow strips.
const middleStepMM = 250

// middleLine returns spots on the middle line of the lawn that lies farther
// from any legal ground than the clearances can explain: a grid over that lawn,
// each spot moved across the strip to where the room is largest.
func (g *Ground) middleLine() ([]geom.Point, error) {
	reach := 2 * max(g.clear.EdgeMM, g.clear.BuildingMM)
	if g.allNear(reach) {
		return nil, nil
	}
	strips, err := g.strips(reach)
	if err != nil {
		return nil, err
	}
	var out []geom.Point
	for _, p := range gridPoints(strips, middleStepMM) {
		if middle := g.centred(p); g.lawn.Locate(middle) == geom.Interior && !g.noDig.Has(middle) {
			out = append(out, middle)
		}
	}
	slices.SortFunc(out, geom.Point.Compare)
	return slices.Compact(out), nil
}

// strips returns the lawn farther than mm from legal ground.
func (g *Ground) strips(mm int64) (geom.Region, error) {
	near, err := geom.Buffer(g.Legal, mm+marginMM, geom.RoundJoin)
	if err != nil {
		return nil, fmt.Errorf("strips too narrow for the clearances: %w", err)
	}
	return withoutSmall(geom.Difference(g.lawn, near)), nil
}

// allNear reports whether every point of the lawn that middleLine would try
// lies within mm of legal ground, as on most lots: then there is no strip, and
// no outline to draw around it.
func (g *Ground) allNear(mm int64) bool {
	b := g.lawn.Bounds()
	for x := floorTo(b.Min.X, middleStepMM); x <= b.Max.X; x += middleStepMM {
		legal := upright(g.Legal, x)
		for _, lawn := range upright(g.lawn, x) {
			for y := -floorTo(1-lawn.from, middleStepMM); y <= lawn.to+1; y += middleStepMM {
				beside := slices.ContainsFunc(legal, func(l stretch) bool { return l.from-mm <= y && y <= l.to+mm })
				if !beside && !g.Legal.EdgeWithin(geom.Pt(x, y), mm) {
					return false
				}
			}
		}
	}
	return true
}

// stretch is part of an upright line.
type stretch struct{ from, to int64 }

// upright returns the stretches of the line at x that lie in g, to the
// millimetre, and those that are no more than a corner or an edge of g.
func upright(g geom.Region, x int64) []stretch {
	var crossings []int64
	var out []stretch
	for _, poly := range g {
		for _, ring := range poly {
			for i, a := range ring {
				b := ring[(i+1)%len(ring)]
				if a.X == x {
					out = append(out, stretch{a.Y, a.Y})
				}
				if a.X == x && b.X == x {
					out = append(out, stretch{min(a.Y, b.Y), max(a.Y, b.Y)})
				}
				if (a.X <= x) != (b.X <= x) {
					t := float64(x-a.X) / float64(b.X-a.X)
					crossings = append(crossings, a.Y+int64(math.Round(t*float64(b.Y-a.Y))))
				}
			}
		}
	}
	slices.Sort(crossings)
	for i := 0; i+1 < len(crossings); i += 2 {
		out = append(out, stretch{crossings[i], crossings[i+1]})
	}
	return out
}

// centred moves p at right angles to the edge that leaves it the least room
// until the room grows no more, with steps from 64 mm down to 1 mm. It does not
// move along the strip, or every spot would end where the strip is widest.
func (g *Ground) centred(p geom.Point) geom.Point {
	best, edge := g.room(p)
	along := edge.B.Sub(edge.A).Vec()
	across := geom.Vec{X: -along.Y, Y: along.X}.Scale(1 / along.Norm())
	at := func(mm float64) geom.Point { return p.Vec().Add(across.Scale(mm)).Round() }
	offset := 0.0
	for step := 64.0; step >= 1; step /= 2 {
		for moved := true; moved; {
			moved = false
			for _, mm := range [2]float64{offset - step, offset + step} {
				if r, _ := g.room(at(mm)); r > best && g.lawn.Has(at(mm)) {
					offset, best, moved = mm, r, true
				}
			}
		}
	}
	return at(offset)
}
