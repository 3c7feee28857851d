package join_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/join"
)

// set is a list of features in memory.
type set []importer.Feature

func (s set) Len() int                       { return len(s) }
func (s set) Feature(i int) importer.Feature { return s[i] }
func (s set) Bounds(i int) (importer.Bounds, bool) {
	b := s[i].Geometry.Bounds()
	return b, !b.Empty()
}

func feature(t importer.GeometryType, xy ...float64) importer.Feature {
	var ps []importer.Position
	for i := 0; i < len(xy); i += 2 {
		ps = append(ps, importer.Position{-30 + xy[i]/85_394, 40 + xy[i+1]/111_035})
	}
	return importer.Feature{Geometry: importer.Geometry{Type: t, Parts: [][][]importer.Position{{ps}}}}
}

func box(x0, y0, x1, y1 float64) importer.Feature {
	return feature(importer.Polygon, x0, y0, x1, y0, x1, y1, x0, y1, x0, y0)
}

func match(t *testing.T, parcels, features set) ([]join.Match, []string) {
	matches, findings, err := join.Features(context.Background(), parcels, features)
	require.NoError(t, err)
	var rules []string
	for _, f := range findings {
		rules = append(rules, f.Rule)
	}
	return matches, rules
}

func TestJoinByHand(t *testing.T) {
	parcels := set{box(0, 0, 20, 20), box(20, 0, 40, 20), feature(importer.Polygon, 45, 0, 65, 0, 65, 20, 60, 20, 60, 5, 50, 5, 50, 20, 45, 20, 45, 0)}
	for name, c := range map[string]struct {
		x     importer.Feature
		to    []int
		rules []string
	}{
		"area inside":             {box(5, 5, 10, 10), []int{0}, nil},
		"area across":             {box(15, 5, 30, 10), []int{0, 1}, nil},
		"area half and half":      {box(15, 5, 25, 10), []int{0, 1}, []string{"join.doubtful"}},
		"area 15 cm across":       {box(15, 5, 20.15, 10), []int{0}, nil},
		"area around everything":  {box(-100, -100, 100, 100), []int{0, 1, 2}, []string{"join.doubtful"}},
		"narrow area on its own":  {feature(importer.Polygon, 5, 5, 15, 5, 15, 5.1, 5, 5.1, 5, 5), []int{0}, nil},
		"in a bay of the parcel":  {box(52, 8, 58, 18), nil, []string{"join.orphan"}},
		"centre in the bay":       {box(47, 8, 63, 12), []int{2}, []string{"join.doubtful"}},
		"area beside":             {box(41, 5, 44, 8), nil, []string{"join.orphan"}},
		"area of no size":         {feature(importer.Polygon, 5, 5, 5, 5, 5, 5, 5, 5), nil, []string{"join.orphan"}},
		"point inside":            {feature(importer.Point, 25, 5), []int{1}, nil},
		"point between two":       {feature(importer.Point, 20, 5), []int{0}, nil},
		"point 40 cm out":         {feature(importer.Point, 40.4, 5), []int{1}, nil},
		"point 60 cm out":         {feature(importer.Point, 40.6, 5), nil, []string{"join.orphan"}},
		"line inside":             {feature(importer.LineString, 5, 5, 15, 15), []int{0}, nil},
		"line across":             {feature(importer.LineString, 5, 5, 35, 15), []int{0, 1}, []string{"join.doubtful"}},
		"line on the common edge": {feature(importer.LineString, 20, 5, 20, 15), []int{0, 1}, nil},
		"line 30 cm out":          {feature(importer.LineString, -0.3, 5, -0.3, 15), []int{0}, nil},
		"line 60 cm out":          {feature(importer.LineString, -0.6, 5, -0.6, 15), nil, []string{"join.orphan"}},
		"without geometry":        {importer.Feature{}, nil, []string{"join.orphan"}},
	} {
		t.Run(name, func(t *testing.T) {
			matches, rules := match(t, parcels, set{c.x})
			var to []int
			for _, m := range matches {
				to = append(to, m.Parcel)
			}
			assert.Equal(t, c.to, to)
			assert.Equal(t, c.rules, rules)
		})
	}
}

// What cannot be read may be a building on any lot near it.
func TestUnreadableFeature(t *testing.T) {
	parcels := set{box(0, 0, 20, 20), box(20, 0, 40, 20)}
	broken := box(15, 5, 18, 8)
	broken.Findings = []importer.Finding{importer.Fault("coords.not_number", "a string")}
	matches, _ := match(t, parcels, set{broken})
	assert.Equal(t, []join.Match{{Feature: 0, Parcel: 0}}, matches)

	for rule, x := range map[string]importer.Feature{
		"coords.not_number":      {Findings: broken.Findings},
		"coords.looks_projected": feature(importer.Point, 1e9, 1e9),
		"coords.out_of_range":    feature(importer.Point, 0, 60*111_035),
	} {
		_, _, err := join.Features(context.Background(), parcels, set{x})
		var refusal *importer.Refusal
		require.ErrorAs(t, err, &refusal)
		assert.Equal(t, rule, refusal.Finding.Rule)
		assert.Equal(t, importer.ScopeRequest, refusal.Finding.Scope)
	}
}

// Remarks are listed up to a limit and counted beyond it.
func TestManyOrphans(t *testing.T) {
	var far set
	for range 1500 {
		far = append(far, feature(importer.Point, 500, 500))
	}
	_, findings, err := join.Features(context.Background(), set{box(0, 0, 20, 20)}, far)
	require.NoError(t, err)
	require.Len(t, findings, 1001)
	assert.Equal(t, "and 500 more like these", findings[1000].Text)
}

func TestCancelledJoin(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, _, err := join.Features(ctx, set{box(0, 0, 20, 20)}, set{box(0, 0, 5, 5)})
	assert.ErrorIs(t, err, context.Canceled)
}
