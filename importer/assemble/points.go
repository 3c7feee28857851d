package assemble

import (
	"cmp"
	"math"
	"slices"

	"lotwright/importer"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// SnapMM is how far outside the parcel a source may lie and still be taken for
// one on the lot line, in millimetres.
const SnapMM = 500

// addPoints adds the source, the controller, pinned heads and heights.
func (b *builder) addPoints() {
	b.addSource()
	b.addController()
	for _, x := range b.features {
		switch x.Layer {
		case layout.LayerSpotHeight:
			b.addHeight(x)
		case layout.LayerHead:
			b.addHead(x)
		}
	}
	sortPins(b.lot.Pinned)
	slices.SortFunc(b.lot.Heights, func(p, q layout.SpotHeight) int {
		return cmp.Or(p.At.Compare(q.At), cmp.Compare(p.Height, q.Height))
	})
	b.lot.Heights = slices.Compact(b.lot.Heights)
}

// places returns the distinct grid points of all features of a layer, and the
// first feature at each.
func (b *builder) places(layer layout.Layer) (at []geom.Point, of []importer.Feature) {
	for _, x := range b.features {
		if x.Layer != layer {
			continue
		}
		for p := range x.Geometry.Positions {
			if q := b.plane.Point(p); !slices.Contains(at, q) {
				at, of = append(at, q), append(of, x)
			}
		}
	}
	return at, of
}

func (b *builder) addSource() {
	at, of := b.places(layout.LayerSource)
	switch {
	case len(at) == 0:
		return
	case len(at) > 1:
		b.findOf(of[1], b.at(importer.Fault("source.multiple", "the lot has %d sources", len(at)), at[1]))
		return
	}
	p, dist := b.ontoParcel(at[0])
	switch {
	case dist > SnapMM:
		b.findOf(of[0], b.at(importer.Fault("source.outside", "the source lies %.2f m outside the parcel", metres(dist)), at[0]))
		return
	case dist > geom.NearMM:
		b.findOf(of[0], b.at(importer.Warning("source.snapped", "the source was moved %.2f m onto the parcel", metres(dist)), p))
	}
	b.lot.Source = &p
}

// addController keeps the controller if it hangs on the lot; the pipes do not
// depend on it.
func (b *builder) addController() {
	at, of := b.places(layout.LayerController)
	switch {
	case len(at) == 0:
		return
	case len(at) > 1:
		b.findOf(of[1], b.at(importer.Fault("controller.multiple", "the lot has %d controllers", len(at)), at[1]))
		return
	}
	p, dist := b.ontoParcel(at[0])
	if dist > SnapMM {
		b.findOf(of[0], b.at(outside(of[0]), at[0]))
		return
	}
	b.lot.Controller = &p
}

// ontoParcel returns p, or the nearest point of the parcel's outline when p
// lies outside, and how far that is in millimetres.
func (b *builder) ontoParcel(p geom.Point) (geom.Point, float64) {
	if b.lot.Parcel.Has(p) {
		return p, 0
	}
	edge, dist := b.lot.Parcel.NearestEdge(p)
	return edge.Nearest(p), dist
}

func metres(mm float64) float64 { return mm / geom.MillimetresPerMetre }

func (b *builder) addHeight(x importer.Feature) {
	h, ok := b.quantity([]importer.Feature{x}, anySign, unit{"height_m", 1}, unit{"height_ft", layout.MetresPerFoot})
	if !ok {
		b.findOf(x, importer.Warning("height.missing", "a spot height without height_m or height_ft was left out"))
		return
	}
	for p := range x.Geometry.Positions {
		b.lot.Heights = append(b.lot.Heights, layout.SpotHeight{At: b.plane.Point(p), Height: layout.Length(h)})
	}
}

// DefaultRootRadius is the radius of a tree's root zone when none is given;
// common practice, no source.
const DefaultRootRadius layout.Length = 1.5

// MostRootRadius bounds the radius of a root zone; wider ones are mistakes of
// units.
const MostRootRadius layout.Length = 50

// rootCorners is the number of corners of a drawn root zone.
const rootCorners = 16

// addTrees adds the root zones of trees drawn as points. A tree beyond the lot
// line may have roots on the lot.
func (b *builder) addTrees() {
	for _, x := range b.features {
		if x.Layer != layout.LayerTree || isArea(x.Geometry) {
			continue
		}
		radius := DefaultRootRadius
		if r, ok := b.quantity([]importer.Feature{x}, positive, unit{"root_radius_m", 1}, unit{"root_radius_ft", layout.MetresPerFoot}); ok {
			radius = layout.Length(r)
		}
		if radius > MostRootRadius {
			b.findOf(x, importer.Fault("property.out_of_range", "a root radius of %v is above %v", radius, MostRootRadius))
			continue
		}
		for p := range x.Geometry.Positions {
			zone := geom.Region{{disc(b.plane.Point(p), radius)}}
			if inside := geom.Intersection(zone, b.lot.Parcel); len(inside) > 0 {
				b.regions[x.Layer] = append(b.regions[x.Layer], inside)
			}
		}
	}
}

// disc returns a regular polygon whose sides touch the circle.
func disc(c geom.Point, radius layout.Length) geom.Ring {
	r := radius.Metres() * geom.MillimetresPerMetre / math.Cos(math.Pi/rootCorners)
	ring := make(geom.Ring, rootCorners)
	for k := range ring {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / rootCorners)
		ring[k] = c.Vec().Add(geom.Vec{X: r * cos, Y: r * sin}).Round()
	}
	return ring
}
