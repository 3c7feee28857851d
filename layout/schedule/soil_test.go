package schedule_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lotwright/layout"
	"lotwright/layout/schedule"
)

func soil(t require.TestingT, name string) schedule.Soil {
	s, err := schedule.SoilNamed(name)
	require.NoError(t, err)
	return s
}

// inPerHour returns mm/h.
func inPerHour(v float64) float64 { return schedule.Inches(v).MM() }

// TestCycleFormulas: 0.20 in of storage, 1.5 in/h on a soil that takes 0.35
// in/h. The schedule method of the trade, worked by hand: 60·0.20/1.15 and
// 60·0.20/0.35 minutes.
func TestCycleFormulas(t *testing.T) {
	storage := schedule.Inches(0.20)
	assert.InDelta(t, 10.43, schedule.LongestCycleMinutes(inPerHour(1.5), inPerHour(0.35), storage), 0.005)
	assert.InDelta(t, 34.3, schedule.SoakMinutes(inPerHour(0.35), storage), 0.05)
	assert.True(t, math.IsInf(schedule.LongestCycleMinutes(8, 8, storage), 1), "the soil takes all")
}

// TestSoilsLieInPublishedRanges: UC Davis for available water (in/ft), and for
// the two coarse soils the intake range of the Colorado document (in/h).
func TestSoilsLieInPublishedRanges(t *testing.T) {
	available := map[string][2]float64{
		"sand": {0.75, 1.25}, "loamy sand": {0.75, 1.25}, "sandy loam": {1.25, 1.75}, "loam": {1.5, 2.3},
		"silt loam": {1.5, 2.3}, "clay loam": {1.75, 2.5}, "clay": {1.6, 2.5},
	}
	soils := schedule.Soils()
	require.Len(t, soils, len(available))
	for i, s := range soils {
		inPerFt := s.AvailableMMPerM * layout.MetresPerFoot / 25.4
		assert.Greater(t, inPerFt, available[s.Name][0], s.Name)
		assert.Less(t, inPerFt, available[s.Name][1], s.Name)
		assert.NotEmpty(t, s.Source)
		if i > 0 {
			assert.Less(t, s.IntakeOn(0), soils[i-1].IntakeOn(0), "finer soil takes water more slowly: %s", s.Name)
		}
		for _, slope := range []float64{4, 8, 12} {
			assert.Less(t, s.IntakeOn(slope+1), s.IntakeOn(slope), "%s at %v %%", s.Name, slope)
			assert.Less(t, s.StorageOn(slope+1), s.StorageOn(slope), "%s at %v %%", s.Name, slope)
		}
	}
	assert.InDelta(t, inPerHour(4), soil(t, "sand").IntakeOn(0), 1e-9)
	assert.InDelta(t, inPerHour(0.33), soil(t, "loam").IntakeOn(10), 1e-9)
	assert.False(t, soil(t, "").Steep(16))
	assert.True(t, soil(t, "").Steep(16.1))
}

func TestSoilNames(t *testing.T) {
	assert.Equal(t, "loam", soil(t, "").Name)
	assert.Equal(t, "sandy loam", soil(t, " Sandy_Loam ").Name)
	_, err := schedule.SoilNamed("moon dust")
	assert.ErrorContains(t, err, "clay loam")
}

func TestCycleAndSoak(t *testing.T) {
	s := schedule.Soil{IntakeMMPerH: [4]float64{inPerHour(0.35)}, Storage: schedule.Inches(0.20)}
	assert.Equal(t, schedule.Cycles{}, s.CycleAndSoak(0, inPerHour(1.5), 0))
	assert.Equal(t, schedule.Cycles{Count: 1, Minutes: 10}, s.CycleAndSoak(10, inPerHour(1.5), 0))
	assert.Equal(t, schedule.Cycles{Count: 2, Minutes: 6, SoakMinutes: 35}, s.CycleAndSoak(11, inPerHour(1.5), 0))
	assert.Equal(t, schedule.Cycles{Count: 2, Minutes: 5, SoakMinutes: 35}, s.CycleAndSoak(10.9, inPerHour(1.5), 0), "10 is nearer than 12")
	assert.Equal(t, schedule.Cycles{Count: 1, Minutes: 1}, s.CycleAndSoak(0.2, inPerHour(1.5), 0), "never less than a minute")
	assert.Equal(t, schedule.Cycles{Count: 3, Minutes: 10, SoakMinutes: 35}, s.CycleAndSoak(30, inPerHour(1.5), 0))
	assert.Equal(t, schedule.Cycles{Count: 1, Minutes: 300}, s.CycleAndSoak(300, inPerHour(0.35), 0))
	assert.False(t, s.RunsOff(inPerHour(1.5), 0))
	assert.True(t, s.RunsOff(inPerHour(13), 0))
}

// TestCyclesNeverRunOff: on every built-in soil the water that stands on the
// ground, followed minute by minute, never passes the storage, and the run is
// met to half a minute a cycle.
func TestCyclesNeverRunOff(t *testing.T) {
	soils := schedule.Soils()
	rapid.Check(t, func(t *rapid.T) {
		s := soils[rapid.IntRange(0, len(soils)-1).Draw(t, "soil")]
		slope := rapid.Float64Range(0, 20).Draw(t, "slope")
		rate := rapid.Float64Range(1, 60).Draw(t, "rate")
		run := rapid.Float64Range(1, 240).Draw(t, "run")
		c := s.CycleAndSoak(run, rate, slope)
		if s.RunsOff(rate, slope) {
			return
		}
		if standing := worstStanding(c, rate, s.IntakeOn(slope)); standing > s.StorageOn(slope).MM()+1e-9 {
			t.Fatalf("%v: %.2f mm stand, %v hold", c, standing, s.StorageOn(slope))
		}
		if off := math.Abs(run - float64(c.Total())); off > 0.5*float64(c.Count)+1e-9 {
			t.Fatalf("%v for %v minutes", c, run)
		}
	})
}

// worstStanding follows the water on the surface minute by minute.
func worstStanding(c schedule.Cycles, rate, intake float64) float64 {
	standing, worst := 0.0, 0.0
	for range c.Count {
		for range c.Minutes {
			standing = max(0, standing+(rate-intake)/60)
			worst = max(worst, standing)
		}
		standing = max(0, standing-intake*float64(c.SoakMinutes)/60)
	}
	return worst
}
