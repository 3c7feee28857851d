package assemble

import (
	"cmp"
	"math"
	"slices"

	"lotwright/importer"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// addHead keeps a head with fixed set; other heads are results of an earlier
// design.
func (b *builder) addHead(x importer.Feature) {
	if !x.Properties.Fixed {
		b.findOf(x, importer.Warning("head.not_fixed", "a head without fixed: true was left out"))
		return
	}
	pin, ok := b.setting(x)
	if !ok {
		return
	}
	for p := range x.Geometry.Positions {
		at, dist := b.ontoParcel(b.plane.Point(p))
		switch {
		case dist > SnapMM:
			b.findOf(x, b.at(outside(x), at))
		case inside(b.lot.Building, at), inside(b.lot.Wall, at):
			b.findOf(x, b.at(importer.Fault("head.in_building", "the pinned head lies in a building or a wall"), at))
		case inside(b.lot.Water, at):
			b.findOf(x, b.at(importer.Fault("head.in_water", "the pinned head lies in a pool or pond"), at))
		default:
			pin.At = at
			b.addPin(x, pin)
		}
	}
}

func inside(g geom.Region, p geom.Point) bool { return g.Locate(p) == geom.Interior }

// addPin keeps a pin, once: a head that is drawn twice is one, if it is set alike.
func (b *builder) addPin(x importer.Feature, pin layout.Pin) {
	i := slices.IndexFunc(b.lot.Pinned, func(p layout.Pin) bool { return p.At == pin.At })
	switch {
	case i < 0:
		b.lot.Pinned = append(b.lot.Pinned, pin)
	case b.lot.Pinned[i] != pin:
		b.findOf(x, b.at(importer.Fault("head.twice", "two pinned heads, set differently, lie at one place"), pin.At))
	}
}

// setting is what a pinned head is set to, as far as it tells.
func (b *builder) setting(x importer.Feature) (pin layout.Pin, ok bool) {
	faults := len(b.findings)
	throw, _ := b.quantity([]importer.Feature{x}, anySign, unit{"throw_m", 1}, unit{"throw_ft", layout.MetresPerFoot})
	start, _ := x.Properties.Get("arc_start_deg")
	sweep, _ := x.Properties.Get("arc_sweep_deg")
	if throw < 0 || throw > layout.MaxThrow.Metres() {
		b.findOf(x, importer.Fault("property.out_of_range", "a throw of %.4g m is not between none and %v", throw, layout.MaxThrow))
	}
	if !(math.Abs(start) <= mostTurned) || !(sweep >= 0 && sweep <= fullCircle) {
		b.findOf(x, importer.Fault("property.out_of_range", "an arc from %g° over %g° makes no sense", start, sweep))
	}
	return layout.Pin{Throw: layout.Length(throw), Model: x.Properties.GetText("model"), ArcStart: start, ArcSweep: sweep}, len(b.findings) == faults
}

// fullCircle is all round, and mostTurned beyond any way to write a bearing, in
// degrees.
const (
	fullCircle = 360
	mostTurned = 3600
)

func sortPins(pins []layout.Pin) {
	slices.SortFunc(pins, func(p, q layout.Pin) int {
		return cmp.Or(p.At.Compare(q.At), cmp.Compare(p.Model, q.Model), cmp.Compare(p.Throw, q.Throw),
			cmp.Compare(p.ArcStart, q.ArcStart), cmp.Compare(p.ArcSweep, q.ArcSweep))
	})
}
