package schedule

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestLargestDeficit: known weeks by hand, and all 127 by walking through a
// hundred weeks day by day, starting so full that no watering is wasted.
func TestLargestDeficit(t *testing.T) {
	assert.InDelta(t, 7, On(time.Wednesday).largestDeficit(), 1e-12)
	assert.InDelta(t, 1, EveryDay.largestDeficit(), 1e-12)
	assert.InDelta(t, 6, On(time.Monday, time.Tuesday).largestDeficit(), 1e-12)
	assert.InDelta(t, 4, On(time.Monday, time.Thursday).largestDeficit(), 1e-12)
	for w := Weekdays(1); w <= EveryDay; w++ {
		assert.InDelta(t, walkedDeficit(w), w.largestDeficit(), 1e-9, w.String())
	}
}

// walkedDeficit starts with the soil as dry as may be and lets the walk find
// how much less would have done.
func walkedDeficit(w Weekdays) float64 {
	each := 7 / float64(w.Count())
	start := 100.0
	lacking, most, least := start, 0.0, start
	for day := range 700 {
		lacking++
		if w.Has(time.Weekday(day % 7)) {
			most = max(most, lacking)
			lacking -= each
			least = min(least, lacking)
		}
	}
	return most - least
}

func TestPatternsWithin(t *testing.T) {
	patterns := patternsWithin(On(time.Monday, time.Wednesday, time.Friday))
	require.Len(t, patterns, 7)
	assert.Equal(t, "Mon", patterns[0].days.String())
	assert.Equal(t, "Mon Fri", patterns[3].days.String(), "gaps of 4 and 3; before Mon Wed with 2 and 5")
	assert.Equal(t, "Mon Wed Fri", patterns[6].days.String())
	assert.Len(t, patternsWithin(EveryDay), 127)
	assert.Equal(t, On(time.Sunday, time.Monday), On(time.Monday).supersets()[0])
	assert.Empty(t, EveryDay.supersets())
}

func TestParseWeekdays(t *testing.T) {
	for text, want := range map[string]string{
		"": "Sun Mon Tue Wed Thu Fri Sat", "mon,wed,Friday": "Mon Wed Fri", " sat  SUNDAY ": "Sun Sat",
	} {
		w, err := ParseWeekdays(text)
		require.NoError(t, err)
		assert.Equal(t, want, w.String())
	}
	_, err := ParseWeekdays("mon,moonday")
	assert.ErrorContains(t, err, "moonday")
}

func TestParseWindow(t *testing.T) {
	for text, minutes := range map[string]int{"": 480, "22:00-06:00": 480, "04:30 - 06:00": 90, "00:00-00:00": 1440} {
		w, err := ParseWindow(text)
		require.NoError(t, err)
		assert.Equal(t, minutes, w.Minutes(), text)
	}
	for _, text := range []string{"22:00", "22-6", "25:00-06:00", "22:00-06:0x"} {
		_, err := ParseWindow(text)
		assert.Error(t, err, text)
	}
	assert.Equal(t, "22:00-06:00", DefaultWindow.String())
}
