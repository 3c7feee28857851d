package schedule_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/schedule"
)

const (
	squareFoot = layout.MetresPerFoot * layout.MetresPerFoot // m²
	acre       = 43560 * squareFoot
)

// TestDepthIsVolume: irrigation-measurement bulletin scr23, list of
// equivalents, and the water-use page of lakearrowheadcsd.com.
func TestDepthIsVolume(t *testing.T) {
	assert.InEpsilon(t, 27154, schedule.Inches(1).On(acre).Gallons(), 5e-4)
	assert.InEpsilon(t, 325851, schedule.Inches(12).On(acre).Gallons(), 5e-4)
	assert.InEpsilon(t, 7.48, schedule.Inches(12).On(squareFoot).Gallons(), 5e-4)
	assert.InEpsilon(t, 0.6234, schedule.Inches(1).On(squareFoot).Gallons(), 1e-3)
	assert.Equal(t, "0.50 in (12.7 mm)", schedule.Inches(0.5).String())
}

func zoneOf(gpm, squareFeet float64) schedule.Zone {
	return schedule.Zone{Label: "Z1", Flow: layout.GPM(gpm), AreaM2: squareFeet * squareFoot}
}

func inchesPerHour(z schedule.Zone) float64 { return schedule.Depth(z.RateMMPerH()).Inches() }

// TestRates: 96.25·ΣQ/A (kpud.org/sprinklerRates.php); a deck's sample problem
// of six half and four quarter heads on 60 × 15 ft; New Mexico State
// University, Soils 456, chapter 5; heads 30 ft apart in rows 25 ft apart,
// whose area is taken once.
func TestRates(t *testing.T) {
	assert.InEpsilon(t, 96.25, inchesPerHour(zoneOf(1, 1)), 5e-4)
	assert.InEpsilon(t, 0.9625, inchesPerHour(zoneOf(10, 1000)), 5e-4)
	assert.InEpsilon(t, 0.856, inchesPerHour(zoneOf(6*1.0+4*0.5, 60*15)), 0.005)
	assert.InEpsilon(t, 0.867, inchesPerHour(zoneOf(18, 2000)), 0.002)
	assert.InEpsilon(t, 0.770, inchesPerHour(zoneOf(6, 30*25)), 0.002)
}

// TestMatchedPrecipitation: heads whose flow goes with their arc water at one
// rate (30 TAC §344.1(32)): 4.0, 2.0, 1.0 and 1.333 gpm for 360°, 180°, 90°
// and 120°.
func TestMatchedPrecipitation(t *testing.T) {
	full := zoneOf(4, 700).RateMMPerH()
	for arc, gpm := range map[float64]float64{180: 2, 90: 1, 120: 4.0 / 3} {
		assert.InEpsilon(t, full, zoneOf(gpm, 700*arc/360).RateMMPerH(), 1e-12, "%v°", arc)
	}
}

func TestZonesOfHeads(t *testing.T) {
	a := layout.Head{Label: "H1", Flow: 16, WettedArea: 120}
	b := layout.Head{Label: "H2", Flow: 8, WettedArea: 60}
	assert.InDelta(t, 8, schedule.HeadZone(a).RateMMPerH(), 1e-12)
	together := schedule.GroupZone("Z1", []layout.Head{a, b}, 144)
	assert.InDelta(t, 10, together.RateMMPerH(), 1e-12, "24 L/min on the 144 m² that the two wet together")
}

// TestRunTimes: a schedule page (60·depth/rate·multiplier), a State University
// of California turf tutorial's weekly form, an irrigation centre's note on the
// scheduling coefficient, and a can that fills ¼ in in 5 min.
func TestRunTimes(t *testing.T) {
	assert.InDelta(t, 19.2, schedule.RunMinutes(schedule.Inches(0.4), inPerHour(1.5), 1.2), 1e-9)
	weekly, starts := 1.75*0.8*0.9, 3.0 // ETo in a week (in), crop and adjustment factors
	assert.InDelta(t, weekly/1.5*60/starts*1.3,
		schedule.RunMinutes(schedule.Inches(weekly/starts), inPerHour(1.5), 1.3), 1e-9)
	assert.InDelta(t, 54, schedule.RunMinutes(schedule.Inches(0.5), inPerHour(1), 1.8), 1e-9, "30 min at the mean rate, coefficient 1.8")
	can := inPerHour(0.25 * 60 / 5)
	assert.InDelta(t, 20, schedule.RunMinutes(schedule.Inches(1), can, 1), 1e-9)
	runsOffAfter10 := schedule.Soil{IntakeMMPerH: [4]float64{can / 2}, Storage: schedule.Depth(can / 2 / 6)}
	assert.Equal(t, 2, runsOffAfter10.CycleAndSoak(20, can, 0).Count)
	assert.Equal(t, 10, runsOffAfter10.CycleAndSoak(20, can, 0).Minutes)
}

func TestMultiplier(t *testing.T) {
	assert.InDelta(t, 1, schedule.MultiplierOfDU(1), 1e-12)
	assert.InDelta(t, 1/0.7, schedule.Zone{DULowQuarter: 0.5}.Multiplier(), 1e-12)
	assert.InDelta(t, 1.25, schedule.Zone{DULowQuarter: 0.5, RunMultiplier: 1.25}.Multiplier(), 1e-12)
}

// TestInterval: 2.0 in/ft, 0.5 ft of roots, half of it: 0.5 in; 0.25 in a day
// at a factor of 0.8 uses 0.20 in: 2.5 days, so 2.
func TestInterval(t *testing.T) {
	s := schedule.Soil{AvailableMMPerM: schedule.Inches(2.0).MM() / layout.MetresPerFoot}
	ready := s.ReadilyAvailable(layout.Feet(0.5), 0.5)
	assert.InDelta(t, 0.5, ready.Inches(), 1e-12)
	assert.Equal(t, 2, schedule.IntervalDays(ready, schedule.Inches(0.25*0.8)))
	assert.Equal(t, 1, schedule.IntervalDays(ready, schedule.Inches(0.8)), "never less than a day")
	assert.Equal(t, 7, schedule.IntervalDays(ready, 0), "nothing is used")
}

// TestEffectiveDay: effrain page of texaset.tamu.edu.
func TestEffectiveDay(t *testing.T) {
	for rain, want := range map[float64]float64{0: 0, 0.05: 0, 0.1: 0, 0.5: 0.40, 1: 0.90, 1.5: 1.233, 2: 1.567, 3: 1.567} {
		assert.InDelta(t, want, schedule.EffectiveDay(schedule.Inches(rain)).Inches(), 0.001, "%v in", rain)
	}
}

// TestEffectiveMonth: the curve is from memory; the two branches meet at 250 mm.
func TestEffectiveMonth(t *testing.T) {
	for rain, want := range map[schedule.Depth]float64{0: 0, 85: 73.4, 100: 84.0, 250: 150, 300: 155} {
		assert.InDelta(t, want, schedule.EffectiveMonth(rain).MM(), 0.1, "%v", rain)
	}
}

func TestEffectiveRainOfAClimate(t *testing.T) {
	days := []schedule.DayClimate{}
	for d := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC); d.Year() == 2025; d = d.AddDate(0, 0, 1) {
		days = append(days, schedule.DayClimate{Date: d, ET0: 2, Rain: schedule.Inches(0.05)})
	}
	days[0].Rain = schedule.Inches(1)
	c, err := schedule.ClimateOfDays("even", days)
	require.NoError(t, err)
	assert.InDelta(t, 62, c.Months[0].ET0.MM(), 1e-9)
	assert.InDelta(t, 56, c.Months[1].ET0.MM(), 1e-9)
	january := map[schedule.RainRule]float64{"": (1 + 30*0.05) / 4, schedule.RainQuarter: (1 + 30*0.05) / 4, schedule.RainNone: 0, schedule.RainDaily: 0.9}
	for rule, want := range january {
		rain, err := c.EffectiveRain(rule)
		require.NoError(t, err)
		assert.InDelta(t, want, rain[0].Inches(), 1e-9, "%s", rule)
	}
	_, err = schedule.Climate{Months: c.Months}.EffectiveRain(schedule.RainDaily)
	assert.ErrorContains(t, err, "daily weather")
	_, err = c.EffectiveRain("guess")
	assert.ErrorContains(t, err, "guess")
	_, err = schedule.ClimateOfDays("short", days[:100])
	assert.ErrorContains(t, err, "no day of May")
}

// TestBudgets: the 2009 form of California's ordinance as a consultant quotes
// its worked example (ETo 51.1 in, 50 000 ft², factor 0.7), and two rows of a
// filed worksheet (ETo 43.0 in); its own figures follow from factors rounded to
// three digits.
func TestBudgets(t *testing.T) {
	assert.InEpsilon(t, 1108870, schedule.MaximumAppliedWater(schedule.Inches(51.1), 0.7, 50000*squareFoot, 0).Gallons(), 1e-9)
	lawn := schedule.EstimatedTotalWaterUse(schedule.Inches(43), schedule.PlantHigh, schedule.EfficiencyOverhead, 677*squareFoot)
	assert.InEpsilon(t, 19252, lawn.Gallons(), 5e-4)
	beds := schedule.EstimatedTotalWaterUse(schedule.Inches(43), schedule.PlantModerate, schedule.EfficiencyDrip, 204*squareFoot)
	assert.InEpsilon(t, 3357, beds.Gallons(), 1e-3)
	assert.InEpsilon(t, 3355.6, beds.Gallons(), 1e-3, "as the sheet prints")

	// The rule for a special area, by hand: 35.1·0.62·(0.7·1850 + 0.3·1200).
	special := schedule.MaximumAppliedWater(schedule.Inches(35.1), 0.7, 1850*squareFoot, 1200*squareFoot)
	assert.InDelta(t, 36016, special.Gallons(), 0.5)
	assert.InDelta(t, 0.55, schedule.AdjustmentResidential, 0)
	assert.InDelta(t, 0.45, schedule.AdjustmentOther, 0)
}

// TestLandscapeCoefficient: 0.5·1.0·1.0 of the WUCOLS guide, from memory.
func TestLandscapeCoefficient(t *testing.T) {
	assert.InDelta(t, 0.5, schedule.LandscapeCoefficient(schedule.PlantModerate, 1, 1), 0)
	assert.InDelta(t, 0.2*1.3*1.4, schedule.LandscapeCoefficient(schedule.PlantLow, 1.3, 1.4), 1e-12)
}
