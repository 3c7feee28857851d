package assemble

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"lotwright/importer"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// Shares and areas, in square metres, below which something is a remainder of
// drawing or rounding.
const (
	// sliverArea and sliverShare bound the parts of a parcel that are dropped
	// as slivers; the design drops lawn of that size too.
	sliverArea  = 0.5
	sliverShare = 0.01
	// clippedArea is how much of a feature may lie outside the parcel before
	// being cut is worth a word.
	clippedArea = 0.1
)

// mendParcel makes the parcel's region: one polygon.
func (b *builder) mendParcel() {
	x := b.parcel.feature
	region, touch := b.mend(b.parcel)
	if _, bad := importer.FirstError(b.findings); bad {
		return
	}
	main, slivers := splitOffSlivers(region)
	area := main.AreaM2()
	switch {
	case area == 0:
		b.findOf(x, zeroArea())
	case len(main) > 1 && len(x.Geometry.Parts) > 1:
		b.findOf(x, importer.Fault("parcel.multipart", "the parcel has %d parts; a trench between them would leave the lot", len(main)))
	case len(main) > 1:
		f := importer.Fault("ring.self_touch", "the outline touches itself, so that the inside is not connected")
		if touch != nil {
			f = b.at(f, *touch)
		}
		b.findOf(x, f)
	case area < b.limits.LeastArea:
		b.findOf(x, importer.Fault("parcel.too_small", "the parcel has %.2g m², the least is %g m²", area, b.limits.LeastArea))
	case area > b.limits.MostArea:
		b.findOf(x, importer.Fault("parcel.too_large", "the parcel has %.0f m², the most is %.0f m²", area, b.limits.MostArea))
	}
	if len(slivers) > 0 {
		b.findOf(x, b.at(importer.Warning("parcel.sliver_dropped", "slivers of %.3f m² beside the parcel were dropped", slivers.AreaM2()), slivers[0][0][0]))
	}
	b.lot.Parcel = main
}

func zeroArea() importer.Finding {
	return importer.Fault("parcel.zero_area", "the parcel's area is 0 m²; were its coordinates rounded to fewer than 6 decimals?")
}

// splitOffSlivers parts a region from those of its polygons that are slivers
// beside the largest.
func splitOffSlivers(g geom.Region) (main, slivers geom.Region) {
	largest := 0.0
	for _, p := range g {
		largest = max(largest, p.AreaM2())
	}
	for _, p := range g {
		if a := p.AreaM2(); a < largest && a <= sliverArea && a <= sliverShare*largest {
			slivers = append(slivers, p)
		} else {
			main = append(main, p)
		}
	}
	return main, slivers
}

// mend makes the region of a shape, and files what was wrong with it. touch is
// the first place where a ring touches itself.
func (b *builder) mend(s shape) (region geom.Region, touch *geom.Point) {
	var parts []geom.Region
	for _, rings := range s.polygons {
		part, flaws := geom.Mend(rings)
		for _, flaw := range flaws {
			if flaw.Kind == geom.FlawTouch || flaw.Kind == geom.FlawNoise {
				if touch == nil || flaw.At.Compare(*touch) < 0 {
					touch = &flaw.At
				}
				if s.cut {
					continue // edges where it was cut, drawn by nobody
				}
			}
			b.findOf(s.feature, b.at(flawFinding(s.feature, flaw), flaw.At))
		}
		parts = append(parts, part)
	}
	if len(parts) == 1 {
		return parts[0], touch
	}
	return geom.Union(parts...), touch
}

// flawFinding puts a flaw into words.
func flawFinding(x importer.Feature, f geom.Flaw) importer.Finding {
	switch f.Kind {
	case geom.FlawDuplicates:
		return importer.Warning("ring.duplicate_vertices", "%d repeated positions were removed from ring %d", f.Count, f.Ring)
	case geom.FlawSpike:
		return importer.Warning("ring.spike_removed", "%d spikes without width were removed from ring %d", f.Count, f.Ring)
	case geom.FlawNoise:
		return importer.Warning("ring.crossing_mended", "edges of ring %d cross by less than 20 cm; read as its outline", f.Ring)
	case geom.FlawTouch:
		return importer.Warning("ring.self_touch", "ring %d touches itself", f.Ring)
	case geom.FlawHoleMerged:
		return importer.Warning("ring.hole_merged", "ring %d meets ring %d along an edge; read as shell minus hole", f.Ring, f.Other)
	case geom.FlawHolesMerged:
		return importer.Warning("ring.holes_merged", "holes %d and %d overlap; read as one", f.Other, f.Ring)
	case geom.FlawRepeated:
		return importer.Warning("ring.duplicate", "ring %d repeats ring %d", f.Ring, f.Other)
	case geom.FlawEmptyHole:
		return importer.Warning("ring.empty_dropped", "hole %d has no area and was dropped", f.Ring)
	case geom.FlawCrossing:
		return importer.Fault("ring.self_intersection", "edges of ring %d cross", f.Ring)
	case geom.FlawRingsCross:
		return importer.Fault("ring.crosses", "ring %d crosses ring %d", f.Ring, f.Other)
	case geom.FlawHoleOutside:
		return importer.Fault("ring.hole_outside", "ring %d lies outside ring %d", f.Ring, f.Other)
	}
	if x.Layer == layout.LayerParcel {
		return zeroArea()
	}
	return emptyDropped()
}

// mendShapes makes the regions of all other areas, cut to the parcel.
func (b *builder) mendShapes() {
	b.regions, b.wishes = map[layout.Layer][]geom.Region{}, map[string][]geom.Region{}
	for _, s := range b.shapes {
		if region, _ := b.mend(s); len(region) > 0 {
			b.clip(s, region)
		}
	}
}

// clip cuts a region to the parcel and files it under its layer.
func (b *builder) clip(s shape, region geom.Region) {
	x := s.feature
	inside := geom.Intersection(region, b.lot.Parcel)
	if len(inside) == 0 {
		b.findOf(x, b.at(outside(x), region[0][0][0]))
		return
	}
	whole := region.AreaM2()
	if lost := whole - inside.AreaM2(); lost > clippedArea && !x.Joined {
		text := "most of it" // the whole was never looked at
		if !s.cut {
			text = fmt.Sprintf("%.0f %%", 100*lost/whole)
		}
		b.findOf(x, b.at(importer.Warning("feature.clipped", "cut at the lot line, %s dropped", text), inside[0][0][0]))
	}
	b.regions[x.Layer] = append(b.regions[x.Layer], inside)
	if heads := strings.ToLower(strings.TrimSpace(x.Properties.GetText("head"))); x.Layer == layout.LayerTurf && heads != "" {
		b.wishes[heads] = append(b.wishes[heads], inside)
	}
}

// addWishes files the lawn for which heads are asked, by the heads asked for. Of
// ground that two are asked for the first in order has it.
func (b *builder) addWishes() {
	var taken geom.Region
	for _, heads := range slices.Sorted(maps.Keys(b.wishes)) {
		ground := geom.Difference(union(b.wishes[heads]), taken)
		if taken = geom.Union(taken, ground); len(ground) > 0 {
			b.lot.HeadWishes = append(b.lot.HeadWishes, layout.HeadWish{Heads: heads, Ground: ground})
		}
	}
}

// unite joins the regions of each layer.
func (b *builder) unite() {
	_, b.lot.HasTurf = b.regions[layout.LayerTurf]
	for _, x := range b.features {
		b.lot.HasTurf = b.lot.HasTurf || x.Layer == layout.LayerTurf
	}
	for layer, region := range map[layout.Layer]*geom.Region{
		layout.LayerTurf:      &b.lot.Turf,
		layout.LayerBed:       &b.lot.Bed,
		layout.LayerBuilding:  &b.lot.Building,
		layout.LayerHardscape: &b.lot.Hardscape,
		layout.LayerWater:     &b.lot.Water,
		layout.LayerWall:      &b.lot.Wall,
		layout.LayerTree:      &b.lot.RootZone,
		layout.LayerNoDig:     &b.lot.NoDig,
	} {
		*region = union(b.regions[layer])
	}
}

// union unites regions in an order of their own.
func union(gs []geom.Region) geom.Region {
	if len(gs) == 0 {
		return nil
	}
	slices.SortFunc(gs, compareRegions)
	return geom.Union(gs...)
}

func compareRegions(g, h geom.Region) int {
	return slices.CompareFunc(g, h, func(p, q geom.Polygon) int {
		return slices.CompareFunc(p, q, func(r, s geom.Ring) int {
			return slices.CompareFunc(r, s, geom.Point.Compare)
		})
	})
}
