package uniformity_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout/uniformity"
)

func TestGenericProfilesAreValid(t *testing.T) {
	names := map[string]bool{}
	for _, p := range uniformity.GenericProfiles() {
		assert.NoError(t, p.Validate(), p.Name)
		assert.False(t, names[p.Name], "two profiles named %q", p.Name)
		names[p.Name] = true
	}
	assert.Len(t, names, 4)
	assert.NoError(t, uniformity.Profile{}.Validate(), "the zero profile stands for a cone")
}

func TestBadProfiles(t *testing.T) {
	type points = []uniformity.ProfilePoint
	for name, c := range map[string]struct {
		points  points
		message string
	}{
		"one point":         {points{{0, 1}}, "from share 0 to share 1"},
		"starts late":       {points{{0.1, 1}, {1, 0}}, "from share 0 to share 1"},
		"ends early":        {points{{0, 1}, {0.9, 0}}, "from share 0 to share 1"},
		"share repeated":    {points{{0, 1}, {0.5, 1}, {0.5, 0}, {1, 0}}, "point 3: shares must rise"},
		"share falls":       {points{{0, 1}, {0.5, 1}, {0.4, 1}, {1, 0}}, "point 3: shares must rise"},
		"share no number":   {points{{0, 1}, {math.NaN(), 1}, {1, 0}}, "point 2: shares must rise"},
		"negative rate":     {points{{0, 1}, {1, -1}}, "point 2: rate -1"},
		"rate no number":    {points{{0, math.NaN()}, {1, 1}}, "point 1: rate NaN"},
		"rate out of range": {points{{0, 1}, {1, math.Inf(1)}}, "point 2: rate +Inf"},
		"no water":          {points{{0, 0}, {1, 0}}, "has no water"},
	} {
		err := uniformity.Profile{Name: name, Points: c.points}.Validate()
		assert.ErrorContains(t, err, c.message, name)
		assert.ErrorContains(t, err, name)
	}
}
