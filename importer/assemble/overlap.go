package assemble

import (
	"context"
	"slices"

	"github.com/tidwall/rtree"

	"lotwright/importer"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// overlapArea is the area in m² that two parcels must share for it to be more
// than the drawing of their common line.
const overlapArea = 1.0

// outline is a parcel's place in the batch.
type outline struct {
	lot int
	ref ref
}

// findOverlaps remarks on parcels that overlap: each lot is designed alone, so
// what they share is watered twice.
func (b *Batch) findOverlaps(ctx context.Context) error {
	var tree rtree.RTreeG[int]
	outlines, boxes := b.outlines()
	for k, box := range boxes {
		tree.Insert(box.Min, box.Max, k)
	}
	for k, box := range boxes {
		if err := ctx.Err(); err != nil {
			return err
		}
		var near []int
		tree.Search(box.Min, box.Max, func(_, _ [2]float64, other int) bool {
			if other > k && outlines[other].lot != outlines[k].lot && sharedDegrees(box, boxes[other]) {
				near = append(near, other)
			}
			return true
		})
		slices.Sort(near)
		b.compareParcels(outlines, k, near)
	}
	return nil
}

// outlines lists every parcel with its bounds, in the order of the lots.
func (b *Batch) outlines() (all []outline, boxes []importer.Bounds) {
	for i, l := range b.lots {
		for _, r := range b.refs[l.from:l.to] {
			f := b.files[r.file]
			if box, ok := f.Bounds(int(r.feature)); ok && !f.isLoose() {
				all, boxes = append(all, outline{i, r}), append(boxes, box)
			}
		}
	}
	return all, boxes
}

// sharedDegrees reports whether two boxes share enough for the parcels in them
// to share overlapArea.
func sharedDegrees(a, b importer.Bounds) bool {
	w := min(a.Max[0], b.Max[0]) - max(a.Min[0], b.Min[0])
	h := min(a.Max[1], b.Max[1]) - max(a.Min[1], b.Min[1])
	dLon, dLat := project.DegreesAround(a.Center()[1], 1)
	return w/dLon*(h/dLat) > overlapArea
}

// compareParcels compares one parcel with those near it.
func (b *Batch) compareParcels(outlines []outline, k int, near []int) {
	if len(near) == 0 {
		return
	}
	defer func() {
		if r := recover(); r != nil {
			f := importer.Warning("lot.overlap_unknown", "the parcel could not be compared with its neighbours: %v", r)
			f.Lot, f.Scope = b.ID(outlines[k].lot), importer.ScopeNone
			b.findings = append(b.findings, f)
		}
	}()
	first := b.load(outlines[k])
	if !measurable(first.Geometry) {
		return
	}
	plane := project.NewPlane(first.Geometry.Bounds().Center())
	region := plane.Region(first.Geometry)
	for _, other := range near {
		second := b.load(outlines[other])
		if !measurable(second.Geometry) {
			continue
		}
		shared := geom.Intersection(region, plane.Region(second.Geometry))
		if area := shared.AreaM2(); area > overlapArea {
			f := importer.Found(layout.SeverityWarning, "lot.overlap",
				"shares %.1f m² with lot %q; each is designed alone", area, b.ID(outlines[other].lot))
			f = f.Of(first).At(plane.Place(shared[0][0][0]))
			f.Lot, f.Layer = b.ID(outlines[k].lot), layout.LayerParcel
			b.findings = append(b.findings, f)
		}
	}
}

// measurable reports whether a parcel's coordinates are fit for a plane.
func measurable(g importer.Geometry) bool {
	_, ok := checkRange(g)
	return ok && isArea(g) && !g.Bounds().Empty() && !tooWide(g.Bounds())
}

func (b *Batch) load(o outline) importer.Feature {
	return b.files[o.ref.file].Feature(int(o.ref.feature))
}
