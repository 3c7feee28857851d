package assemble_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/layout"
)

// fixed is a pinned head on the lot of these tests.
func fixed(x, y float64) importer.Feature {
	f := point(layout.LayerHead, x, y)
	f.Properties.Fixed = true
	return f
}

// TestPins reads pinned heads with what they are set to, whatever the order of
// the features, and refuses a lot with one that cannot stand where it is drawn.
func TestPins(t *testing.T) {
	parcel := area(layout.LayerParcel, box(0, 0, 20, 20))
	house := area(layout.LayerBuilding, box(5, 5, 10, 10))
	pool := area(layout.LayerWater, box(12, 12, 15, 15))
	set := with(with(with(fixed(2, 3), "throw_m", 4.2), "arc_start_deg", 90), "arc_sweep_deg", 180)
	set.Properties.Texts = []importer.Text{{Name: "model", Value: "spray 15"}}
	for name, c := range map[string]struct {
		features []importer.Feature
		rules    []string
		pins     int
	}{
		"place only":          {[]importer.Feature{fixed(2, 3)}, nil, 1},
		"one that is set":     {[]importer.Feature{set, fixed(18, 3)}, nil, 2},
		"not fixed":           {[]importer.Feature{point(layout.LayerHead, 2, 3)}, []string{"head.not_fixed"}, 0},
		"drawn twice":         {[]importer.Feature{set, set}, nil, 1},
		"two at one place":    {[]importer.Feature{set, fixed(2, 3)}, []string{"head.twice"}, 0},
		"in the house":        {[]importer.Feature{fixed(7, 7)}, []string{"head.in_building"}, 0},
		"in the pool":         {[]importer.Feature{fixed(13, 13)}, []string{"head.in_water"}, 0},
		"outside":             {[]importer.Feature{fixed(-3, 3)}, []string{"head.outside"}, 0},
		"on the lot line":     {[]importer.Feature{fixed(-0.2, 3)}, nil, 1},
		"throws backwards":    {[]importer.Feature{with(fixed(2, 3), "throw_m", -1)}, []string{"property.out_of_range"}, 0},
		"throws a mile":       {[]importer.Feature{with(fixed(2, 3), "throw_ft", 5280)}, []string{"property.out_of_range"}, 0},
		"more than all round": {[]importer.Feature{with(fixed(2, 3), "arc_sweep_deg", 400)}, []string{"property.out_of_range"}, 0},
		"two throws":          {[]importer.Feature{with(with(fixed(2, 3), "throw_m", 4), "throw_ft", 4)}, []string{"property.conflict"}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			all := append([]importer.Feature{parcel, house, pool}, c.features...)
			item := assemble.Lot("lot", all, assemble.Options{})
			assert.Equal(t, c.rules, rules(item), "%v", item.Findings)
			_, bad := importer.FirstError(item.Findings)
			require.Equal(t, bad, item.Lot == nil)
			if bad {
				f, _ := importer.FirstError(item.Findings)
				assert.Equal(t, "lot", f.Lot)
				assert.Equal(t, layout.LayerHead, f.Layer)
				return
			}
			require.Len(t, item.Lot.Pinned, c.pins)
			slices.Reverse(all)
			assert.Equal(t, item.Lot.Pinned, assemble.Lot("lot", all, assemble.Options{}).Lot.Pinned)
		})
	}
	lot := assemble.Lot("lot", []importer.Feature{parcel, set}, assemble.Options{}).Lot
	pin := lot.Pinned[0]
	pin.At = lot.PinnedAt()[0]
	assert.Equal(t, layout.Pin{At: pin.At, Throw: 4.2, Model: "spray 15", ArcStart: 90, ArcSweep: 180}, pin)
}

// TestHeadsTellNothingOfTheSupply: what a head of a design takes is not what the
// tap gives.
func TestHeadsTellNothingOfTheSupply(t *testing.T) {
	parcel := area(layout.LayerParcel, box(0, 0, 20, 20))
	lot := assemble.Lot("lot", []importer.Feature{parcel, with(fixed(2, 3), "flow_lpm", 17)}, assemble.Options{}).Lot
	require.NotNil(t, lot)
	assert.Equal(t, layout.Supply{}, lot.Supply)
}

// TestDesignBesideItsLot: what came of a design is set aside whole where it is
// asked for, and else left out but for heads that are fixed.
func TestDesignBesideItsLot(t *testing.T) {
	features := []importer.Feature{area(layout.LayerParcel, box(0, 0, 20, 20)), fixed(2, 3), point(layout.LayerHead, 4, 4),
		point("valve", 1, 1), line("trench", 0, 0, 5, 5), area("dry", box(0, 0, 1, 1)), area("lot", box(0, 0, 20, 20))}
	plain := assemble.Lot("lot", features, assemble.Options{})
	require.NotNil(t, plain.Lot, "%v", plain.Findings)
	assert.Empty(t, plain.Drawn)
	assert.Len(t, plain.Lot.Pinned, 1)
	assert.Equal(t, []string{"head.not_fixed", "layer.design"}, rules(plain))
	edited := assemble.Lot("lot", features, assemble.Options{Designs: true})
	require.NotNil(t, edited.Lot)
	assert.Len(t, edited.Drawn, 6)
	assert.Empty(t, edited.Lot.Pinned)
	assert.Empty(t, edited.Findings)
}
