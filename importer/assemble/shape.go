package assemble

import (
	"cmp"
	"slices"

	"lotwright/importer"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// shape is a feature drawn as an area, in the lot's plane.
type shape struct {
	feature  importer.Feature
	polygons [][]geom.Ring // as drawn: rings of each part
	cut      bool          // reached far beyond the parcel and was cut
}

const (
	// mostExtent bounds the parcel's width and height in metres, so that the
	// grid of the plane holds it.
	mostExtent = 3000
	// nearMetres is how far beyond the parcel's bounds features are looked at.
	// It exceeds [MostRootRadius].
	nearMetres = 60
)

// placeParcel finds the one parcel and sets up the plane on it.
func (b *builder) placeParcel() {
	var parcels []importer.Feature
	for _, x := range b.features {
		if x.Layer == layout.LayerParcel {
			parcels = append(parcels, x)
		}
	}
	if len(parcels) == 0 {
		b.find(importer.Fault("parcel.missing", "the lot has no parcel"))
		return
	}
	first := parcels[0]
	for _, x := range parcels[1:] {
		if !sameGeometry(first.Geometry, x.Geometry) {
			b.findOf(x, importer.Fault("parcel.duplicate", "the lot has two different parcels").At(x.Geometry.Bounds().Center()))
			return
		}
		b.findOf(x, importer.Warning("feature.duplicate", "the same parcel is there twice"))
	}
	b.checkRings(first)
	largest := largestShell(first.Geometry)
	if len(largest) == 0 {
		b.findOf(first, importer.Fault("parcel.zero_area", "the parcel has no outline"))
		return
	}
	b.bounds = first.Geometry.Bounds()
	b.checkNullIsland(first)
	if tooWide(b.bounds) {
		b.findOf(first, importer.Fault("parcel.too_large", "the parcel is more than %d m across", mostExtent))
		return
	}
	b.plane = project.NewPlane(project.Centroid(largest))
	b.lot.Plane = b.plane
	b.parcel = b.shapeOf(first)
}

// tooWide reports whether bounds exceed mostExtent.
func tooWide(b importer.Bounds) bool {
	dLon, dLat := project.DegreesAround(b.Center()[1], mostExtent)
	return b.Max[0]-b.Min[0] > dLon || b.Max[1]-b.Min[1] > dLat
}

func (b *builder) checkNullIsland(parcel importer.Feature) {
	zero := importer.Bounds{}.Pad(nullIsland, nullIsland)
	if b.bounds.Overlaps(zero) {
		b.findOf(parcel, importer.Warning("coords.null_island", "the lot lies at 0, 0; did the geocoding fail?"))
	}
}

// sameGeometry reports whether two geometries have the same outlines, wherever
// the rings start and whichever way they run.
func sameGeometry(g, h importer.Geometry) bool {
	return slices.EqualFunc(g.Parts, h.Parts, func(p, q [][]importer.Position) bool {
		return slices.EqualFunc(p, q, func(r, s []importer.Position) bool {
			return slices.Equal(project.OneForm(r), project.OneForm(s))
		})
	})
}

// largestShell returns the shell with the widest bounds; parts are compared by
// their bounds so that their order does not matter.
func largestShell(g importer.Geometry) (best []importer.Position) {
	var bestBox importer.Bounds
	for _, part := range g.Parts {
		if len(part) == 0 || len(part[0]) == 0 {
			continue
		}
		box := importer.Geometry{Parts: [][][]importer.Position{part[:1]}}.Bounds()
		if best == nil || compareBoxes(box, bestBox) > 0 {
			best, bestBox = part[0], box
		}
	}
	return best
}

func compareBoxes(a, b importer.Bounds) int {
	return cmp.Or(cmp.Compare(extent(a), extent(b)), slices.Compare(a.Min[:], b.Min[:]), slices.Compare(a.Max[:], b.Max[:]))
}

func extent(b importer.Bounds) float64 { return (b.Max[0] - b.Min[0]) * (b.Max[1] - b.Min[1]) }

// checkRings checks the number of positions of every ring of a polygon and
// whether it is closed.
func (b *builder) checkRings(x importer.Feature) {
	for _, part := range x.Geometry.Parts {
		for k, ring := range part {
			switch n := len(ring); {
			case n == 0:
				b.findOf(x, importer.Fault("ring.too_few", "ring %d is empty", k))
			case ring[0] != ring[n-1] && n >= 3:
				b.findOf(x, importer.Warning("ring.closed", "ring %d was not closed; its first position was repeated at the end", k).At(ring[0]))
			case n < 4:
				b.findOf(x, importer.Fault("ring.too_few", "ring %d has fewer than 4 positions", k).At(ring[0]))
			}
		}
	}
}

// shapeOf puts the polygons of a feature into the plane.
func (b *builder) shapeOf(x importer.Feature) shape {
	s := shape{feature: x}
	for _, part := range x.Geometry.Parts {
		s.polygons = append(s.polygons, b.plane.Rings(part))
	}
	return s
}

func isArea(g importer.Geometry) bool { return slices.Contains(areas, g.Type) }

// placeShapes cuts everything but the parcel to its neighbourhood and puts the
// areas into the plane.
func (b *builder) placeShapes() {
	near := project.Near(b.bounds, nearMetres)
	kept := b.features[:0]
	for _, x := range b.features {
		if x.Layer == layout.LayerParcel {
			continue
		}
		if isArea(x.Geometry) {
			b.checkRings(x)
		}
		box := x.Geometry.Bounds()
		if box.Empty() {
			b.findOf(x, emptyDropped())
			continue
		}
		var cut bool
		if x.Geometry, cut = project.Cut(x.Geometry, near); len(x.Geometry.Parts) == 0 {
			b.findOf(x, outside(x).At(box.Center()))
			continue
		}
		kept = append(kept, x)
		if isArea(x.Geometry) {
			s := b.shapeOf(x)
			s.cut = cut
			b.shapes = append(b.shapes, s)
		}
	}
	b.features = kept
}

// outside is the finding for a feature that has no part in its parcel. A point
// of connection or a pinned head out there is a mistake.
func outside(x importer.Feature) importer.Finding {
	switch x.Layer {
	case layout.LayerSource:
		return importer.Fault("source.outside", "the source lies outside the parcel")
	case layout.LayerHead:
		return importer.Fault("head.outside", "the pinned head lies outside the parcel")
	}
	return importer.Warning("feature.outside", "the feature lies outside the parcel and was left out")
}

func emptyDropped() importer.Finding {
	return importer.Warning("feature.empty_dropped", "a feature without extent was left out")
}

// Bounds of what simplification may do to a lot with too many corners: shift an
// outline by a centimetre in the mean, by 5 cm anywhere; below the accuracy of
// any survey a lot is drawn from and half of the least distance of a head from
// an edge.
var simplification = geom.Simplification{MeanMM: 10, MostMM: 50}

// simplifyParcel and simplifyShapes bring the parcel, and then all else on the
// lot, down to what can be designed.
func (b *builder) simplifyParcel() { b.simplify([]shape{b.parcel}) }
func (b *builder) simplifyShapes() { b.simplify(b.shapes) }

func (b *builder) simplify(shapes []shape) {
	before := corners(shapes)
	if before <= b.limits.Corners {
		return
	}
	for _, s := range shapes {
		for _, rings := range s.polygons {
			for k, r := range rings {
				rings[k] = geom.Simplify(r, simplification)
			}
		}
	}
	after := corners(shapes)
	if after > b.limits.Corners {
		b.find(importer.Fault("geometry.too_complex",
			"%d corners, %d after simplifying by 1 cm; the limit is %d", before, after, b.limits.Corners))
		return
	}
	b.find(importer.Warning("geometry.simplified",
		"outlines were simplified by 1 cm in the mean and 5 cm at most: %d of %d corners kept", after, before))
}

func corners(shapes []shape) int {
	n := 0
	for _, s := range shapes {
		for _, rings := range s.polygons {
			for _, r := range rings {
				n += len(r)
			}
		}
	}
	return n
}
