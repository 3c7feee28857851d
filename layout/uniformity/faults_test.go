package uniformity_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/uniformity"
)

func TestBadHeads(t *testing.T) {
	inf := math.Inf(1)
	for name, c := range map[string]struct {
		spoil   func(*uniformity.Sprinkler)
		message string
	}{
		"kind":              {func(h *uniformity.Sprinkler) { h.Head.Kind = "drip" }, `kind "drip" is unknown`},
		"no throw":          {func(h *uniformity.Sprinkler) { h.Head.Throw = 0 }, "throw of 0 m"},
		"negative throw":    {func(h *uniformity.Sprinkler) { h.Head.Throw = -1 }, "throw of -1 m"},
		"throw no number":   {func(h *uniformity.Sprinkler) { h.Head.Throw = layout.Length(math.NaN()) }, "throw of NaN m"},
		"throw infinite":    {func(h *uniformity.Sprinkler) { h.Head.Throw = layout.Length(inf) }, "throw of +Inf m"},
		"throw over 1 mile": {func(h *uniformity.Sprinkler) { h.Head.Throw = 4000 }, "spans too many cells"},
		"least throw":       {func(h *uniformity.Sprinkler) { h.LeastThrow = 5 }, "least throw of 5 m"},
		"least negative":    {func(h *uniformity.Sprinkler) { h.LeastThrow = -1 }, "least throw of -1 m"},
		"least no number":   {func(h *uniformity.Sprinkler) { h.LeastThrow = layout.Length(math.NaN()) }, "least throw of NaN m"},
		"flow":              {func(h *uniformity.Sprinkler) { h.Head.Flow = -1 }, "flow of -1 L/min"},
		"flow no number":    {func(h *uniformity.Sprinkler) { h.Head.Flow = layout.Flow(math.NaN()) }, "flow of NaN L/min"},
		"flow infinite":     {func(h *uniformity.Sprinkler) { h.Head.Flow = layout.Flow(inf) }, "flow of +Inf L/min"},
		"no sweep":          {func(h *uniformity.Sprinkler) { h.Head.ArcSweep = 0 }, "sweep of 0°"},
		"too much sweep":    {func(h *uniformity.Sprinkler) { h.Head.ArcSweep = 361 }, "sweep of 361°"},
		"sweep no number":   {func(h *uniformity.Sprinkler) { h.Head.ArcSweep = math.NaN() }, "sweep of NaN°"},
		"start no number":   {func(h *uniformity.Sprinkler) { h.Head.ArcStart = math.NaN() }, "start bearing NaN°"},
		"start infinite":    {func(h *uniformity.Sprinkler) { h.Head.ArcStart = inf }, "start bearing +Inf°"},
		"profile": {func(h *uniformity.Sprinkler) {
			h.Profile = uniformity.Profile{Name: "stub", Points: []uniformity.ProfilePoint{{Share: 0, Rate: 1}}}
		}, `profile "stub" must run`},
		"dry beyond least": {func(h *uniformity.Sprinkler) {
			h.LeastThrow = 2.5
			h.Profile = uniformity.Profile{Name: "near", Points: []uniformity.ProfilePoint{{0, 1}, {0.5, 0}, {1, 0}}}
		}, `profile "near" has no water beyond the least throw`},
	} {
		h := fixedArc(0, 0, 5, 0, 90)
		h.Head.Label = "H7"
		c.spoil(&h)
		_, err := uniformity.Simulate(box(0, 0, 1000, 1000), []uniformity.Sprinkler{h}, uniformity.Settings{})
		assert.ErrorContains(t, err, c.message, name)
		assert.ErrorContains(t, err, `head "H7"`, name)
	}
}

func TestBadLawnsAndCells(t *testing.T) {
	metre := box(0, 0, 1000, 1000)
	huge := int64(1) << 40
	for name, c := range map[string]struct {
		lawn    geom.Region
		cell    layout.Length
		message string
	}{
		"no lawn":               {nil, 0, "no lawn"},
		"empty polygon":         {geom.Region{{}}, 0, "no lawn"},
		"no area":               {geom.Region{{{geom.Pt(0, 0), geom.Pt(9, 9)}}}, 0, "no centre of a cell of 250 mm"},
		"sliver between cells":  {box(0, 0, 1000, 100), 0, "no centre of a cell of 250 mm"},
		"cell negative":         {metre, -1, "a cell of -1 m"},
		"cell below the grid":   {metre, 0.0005, "a cell of 0.0005 m"},
		"cell no number":        {metre, layout.Length(math.NaN()), "a cell of NaN m"},
		"cell infinite":         {metre, layout.Length(math.Inf(1)), "a cell of +Inf m"},
		"too many cells":        {box(0, 0, 3_000_000, 3_000_000), 0, "choose a larger cell"},
		"coordinates too large": {box(-huge, -huge, huge, huge), 0, "choose a larger cell"},
	} {
		_, err := uniformity.Simulate(c.lawn, nil, uniformity.Settings{Cell: c.cell})
		assert.ErrorContains(t, err, c.message, name)
	}
}
