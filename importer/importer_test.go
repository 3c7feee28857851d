package importer_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/importer"
	"lotwright/layout"
)

func TestCheckLotID(t *testing.T) {
	for id, ok := range map[string]bool{
		"A-001":                     true,
		"../../etc/passwd":          true,
		"x'); DROP TABLE lots; --":  true,
		"<script>alert(1)</script>": true,
		"=1+1":                      true,
		"Straße 5 / é 東":            true,
		"a b":                       true,
		strings.Repeat("x", 128):    true,
		strings.Repeat("x", 129):    false,
		strings.Repeat("é", 65):     false,
		"":                          false,
		" a":                        false,
		"a\u00a0":                   false,
		"a\x00b":                    false,
		"a\nb":                      false,
		"a\x7f":                     false,
		"a\u0085b":                  false,
		"a\u202eb":                  false, // right-to-left override
		"a\u200bb":                  false, // zero-width space
		"a\ufeffb":                  false,
		"a\u2028b":                  false,
		"e\u0301":                   false, // not composed
		"a\xff":                     false,
	} {
		f, got := importer.CheckLotID(id, 128)
		assert.Equal(t, ok, got, "%q", id)
		if !ok {
			assert.Equal(t, "lot.id_invalid", f.Rule)
			assert.Equal(t, importer.ScopeLot, f.Scope)
		}
	}
}

// What a finding says can be shown on a terminal whatever the input held.
func TestFindingString(t *testing.T) {
	f := importer.Fault("ring.self_intersection", "edges of ring %d cross", 0).At(importer.Position{-30, 40}).
		Of(importer.Feature{File: "a\x1b[2J.geojson", Index: 4, Lot: "x\ny", Layer: layout.LayerBuilding})
	f.Offset = 17
	assert.Equal(t, `"a\x1b[2J.geojson": lot "x\ny": features[4]: layer "building": ring.self_intersection: edges of ring 0 cross at -30.0000000, 40.0000000 (byte 17)`, f.String())
	assert.Equal(t, "batch.empty: no lots", importer.Refuse(-1, "batch.empty", "no lots").Error())
}

// The order is full: equal only when all is equal.
func TestFindingOrder(t *testing.T) {
	base := importer.Warning("b.rule", "text").At(importer.Position{1, 2})
	base.File, base.Lot, base.Feature = "f", "l", 3
	variants := []importer.Finding{base}
	for _, change := range []func(*importer.Finding){
		func(f *importer.Finding) { f.File = "g" },
		func(f *importer.Finding) { f.Lot = "m" },
		func(f *importer.Finding) { f.Feature = 4 },
		func(f *importer.Finding) { f.Layer = "wall" },
		func(f *importer.Finding) { f.Rule = "a.rule" },
		func(f *importer.Finding) { f.Severity = layout.SeverityError },
		func(f *importer.Finding) { f.Text = "other" },
		func(f *importer.Finding) { f.Place = nil },
		func(f *importer.Finding) { f.Place = &importer.Position{1, 3} },
		func(f *importer.Finding) { f.Offset = 5 },
	} {
		v := base
		change(&v)
		variants = append(variants, v)
	}
	for i, a := range variants {
		for j, b := range variants {
			assert.Equal(t, i == j, a.Compare(b) == 0, "%d %d", i, j)
			assert.Equal(t, a.Compare(b), -b.Compare(a))
		}
	}
	shuffled := slices.Clone(variants)
	slices.Reverse(shuffled)
	importer.SortFindings(shuffled)
	importer.SortFindings(variants)
	assert.Equal(t, variants, shuffled)
}

func TestLimitsDefaults(t *testing.T) {
	l := importer.Limits{Rings: 3, MostArea: 7}.OrDefaults()
	assert.Equal(t, 3, l.Rings)
	assert.InDelta(t, 7, l.MostArea, 0)
	assert.Equal(t, int64(256<<20), l.Body)
	assert.Equal(t, 64, l.Depth)
	assert.Equal(t, 128, l.LotID)
}

func TestBounds(t *testing.T) {
	assert.True(t, importer.EmptyBounds().Empty())
	assert.True(t, importer.Geometry{}.Bounds().Empty())
	b := importer.EmptyBounds().Grow(importer.Position{1, 2}).Grow(importer.Position{3, 1})
	assert.Equal(t, importer.Bounds{Min: importer.Position{1, 1}, Max: importer.Position{3, 2}}, b)
	assert.Equal(t, importer.Position{2, 1.5}, b.Center())
	assert.True(t, b.Overlaps(importer.Bounds{Min: importer.Position{3, 2}, Max: importer.Position{4, 4}}))
	assert.False(t, b.Overlaps(importer.EmptyBounds()))
	assert.True(t, importer.EmptyBounds().Grow(importer.Position{0, 0}).Pad(-1, -1).Empty())
}
