package assemble_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// Turf may name the heads that are asked for there, in any case, and of ground
// named twice the first in order has it. Elsewhere the property means other things.
func TestHeadsAskedForOnTurf(t *testing.T) {
	area := func(layer layout.Layer, heads string, west, east float64) importer.Feature {
		f := importer.Feature{Lot: "1", Layer: layer, Geometry: importer.Geometry{Type: importer.Polygon, Parts: [][][]importer.Position{{{
			{10 + west, 50}, {10 + east, 50}, {10 + east, 50.0002}, {10 + west, 50.0002}, {10 + west, 50}}}}}}
		if heads != "" {
			f.Properties.Texts = []importer.Text{{Name: "head", Value: heads}}
		}
		return f
	}
	features := []importer.Feature{
		area(layout.LayerParcel, "spray", 0, 0.0004),
		area(layout.LayerTurf, " Spray ", 0.0001, 0.0002),
		area(layout.LayerTurf, "rotor", 0.00015, 0.0003),
		area(layout.LayerTurf, "", 0.0003, 0.0004),
		area(layout.LayerBed, "spray", 0.00035, 0.0004),
	}
	for range len(features) {
		features = append(features[1:], features[0])
		item := assemble.Lot("1", features, assemble.Options{})
		require.NotNil(t, item.Lot, item.Findings)
		wishes := item.Lot.HeadWishes
		require.Len(t, wishes, 2)
		assert.Equal(t, "rotor", wishes[0].Heads)
		assert.Equal(t, "spray", wishes[1].Heads)
		assert.Zero(t, geom.Intersection(wishes[0].Ground, wishes[1].Ground).AreaM2())
		assert.InDelta(t, 3*wishes[1].Ground.AreaM2(), wishes[0].Ground.AreaM2(), 1)
	}
}
