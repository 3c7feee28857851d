// Package plat draws the invented subdivision Larkenfold: 24 lots on a bent
// street and a court, with houses, drives, walks, pools and all that a sprinkler
// plan must deal with. Nothing in it is a real place; its coordinates lie in
// the open ocean.
package plat

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Name of the subdivision.
const Name = "Larkenfold"

// DefaultSeed fixes the small differences between houses.
const DefaultSeed = 24

// turnDeg turns the whole plat, so that no lot lies square to the axes.
const turnDeg = 13.0

// Kind is the geometry of a feature.
type Kind string

// The kinds of feature.
const (
	Point   Kind = "Point"
	Line    Kind = "LineString"
	Polygon Kind = "Polygon"
)

// Feature is one thing on the plat. A polygon is one ring, not closed by a
// repeated point.
type Feature struct {
	Layer string
	Lots  []string // whose it is; none for streets
	Kind  Kind
	At    []XY
}

// Lot is one parcel and the water that serves it.
type Lot struct {
	ID      string
	Outline []XY
	Supply  []Property
}

// Property is one name and number among a feature's properties.
type Property struct {
	Name  string
	Value float64
}

// Survey is the subdivision as drawn, nothing cut at lot lines.
type Survey struct {
	Lots     []Lot
	Features []Feature
}

// drawing is a survey in the making.
type drawing struct {
	*Survey
	rng *rand.Rand
}

// Generate draws the subdivision.
func Generate(seed uint64) *Survey {
	d := drawing{&Survey{}, rand.New(rand.NewPCG(seed, 0))}
	for i, outline := range outlines() {
		d.Lots = append(d.Lots, Lot{ID: lotID(i + 1), Outline: outline, Supply: d.supply(i + 1)})
	}
	d.streets()
	for _, p := range plans() {
		d.build(p)
	}
	d.common()
	d.settle()
	return d.Survey
}

func lotID(number int) string { return fmt.Sprintf("LK-%02d", number) }

// between draws a number from lo to hi in steps of 5 cm, as houses are built.
func (d drawing) between(lo, hi float64) float64 {
	const step = 0.05
	return lo + step*float64(d.rng.IntN(int(math.Round((hi-lo)/step))+1))
}

// lowPressureLot stands highest and at the end of the line: its tap brings a
// head only just into its rated band, and 5 psi less would not.
const lowPressureLot = 17

// bucketLots were measured with a bucket and a watch instead of a meter.
var bucketLots = map[int]bool{4: true, 14: true}

func (d drawing) supply(number int) []Property {
	static, flow, held := d.between(60, 66), d.between(9, 11), d.between(50, 53)
	round := func(v float64) float64 { return math.Round(v*2) / 2 }
	switch {
	case number == lowPressureLot:
		return []Property{{"static_pressure_psi", 54}, {"flow_gpm", 8}, {"flow_pressure_psi", 46}}
	case bucketLots[number]:
		return []Property{{"static_pressure_psi", round(static)}, {"bucket_gal", 5}, {"bucket_s", round(300 / flow)}}
	}
	return []Property{{"static_pressure_psi", round(static)}, {"flow_gpm", round(flow)}, {"flow_pressure_psi", round(held)}}
}

func (d drawing) add(layer string, kind Kind, at []XY, lots ...string) {
	d.Features = append(d.Features, Feature{layer, lots, kind, at})
}

// settle turns the plat, puts every place on the millimetre grid and gives
// neighbouring outlines the same corners along their common lines.
func (d drawing) settle() {
	for _, l := range d.Lots {
		settleAll(l.Outline)
	}
	for _, f := range d.Features {
		settleAll(f.At)
	}
	for i := range d.Lots {
		d.Lots[i].Outline = withCorners(d.Lots[i].Outline, d.Lots)
	}
}

func settleAll(at []XY) {
	for i, p := range at {
		at[i] = p.turned(turnDeg).snapped()
	}
}

// sameLine is how far, in metres, a corner on the grid may lie off a line it
// was constructed on.
const sameLine = 0.0015

// withCorners inserts into a ring the corners of all lots that lie on its edges.
func withCorners(ring []XY, lots []Lot) []XY {
	var out []XY
	for i, a := range ring {
		out = append(out, a)
		out = append(out, cornersOn(a, ring[(i+1)%len(ring)], lots)...)
	}
	return out
}

func cornersOn(a, b XY, lots []Lot) []XY {
	var on []XY
	along := b.sub(a).times(1 / b.sub(a).norm())
	for _, l := range lots {
		for _, p := range l.Outline {
			t := p.sub(a).dot(along)
			if t > sameLine && t < b.sub(a).norm()-sameLine && math.Abs(p.sub(a).cross(along)) < sameLine {
				on = append(on, p)
			}
		}
	}
	slices.SortFunc(on, func(p, q XY) int { return cmp.Compare(p.sub(a).dot(along), q.sub(a).dot(along)) })
	return slices.Compact(on)
}
