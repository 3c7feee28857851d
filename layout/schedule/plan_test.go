package schedule_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lotwright/layout"
	"lotwright/layout/schedule"
)

// july is a climate in which only July evaporates: 5 mm a day.
func july() schedule.Climate {
	var c schedule.Climate
	c.Months[6] = schedule.MonthClimate{ET0: 155, Rain: 40}
	return c
}

// tenMM waters 10 mm an hour on 60 m², evenly.
func tenMM(label string) schedule.Zone {
	return schedule.Zone{Label: label, Flow: 10, AreaM2: 60, RunMultiplier: 1}
}

func plan(t require.TestingT, in schedule.Input) schedule.Result {
	r, err := schedule.Plan(in)
	require.NoError(t, err)
	return r
}

// TestPlanByHand: 0.8 · 155 mm is 124 mm in July, 28 mm a week, 168 min at
// 10 mm/h. Loam holds 1.9 in/ft, 0.475 in ready in 6 in of roots: 12.07 mm,
// 3.02 days of 4 mm. Three evenly spread days (gaps 2, 2, 3) run it down to
// 3.00; two days at best to 4. So 56 min on three days, in one cycle, since
// loam takes 13.7 mm/h.
func TestPlanByHand(t *testing.T) {
	r := plan(t, schedule.Input{Zones: []schedule.Zone{tenMM("Z1")}, Climate: july(), Rain: schedule.RainNone})
	assert.Equal(t, schedule.StatusFits, r.Status)
	assert.Empty(t, r.Findings)
	run := r.Months[6].Runs[0]
	assert.Equal(t, schedule.Cycles{Count: 1, Minutes: 56}, run.Cycles)
	assert.Equal(t, 3, run.IntervalDays)
	assert.Equal(t, 3, run.Days.Count())
	assert.Equal(t, 168, run.MinutesPerWeek())
	assert.InDelta(t, 124, run.Need.MM(), 1e-9)
	assert.InDelta(t, 124, run.Applied.MM(), 1e-9)
	assert.InDelta(t, 124*60, r.Volume.Litres(), 1e-6)
	require.Len(t, r.Months[6].Program, 1)
	assert.Equal(t, schedule.DayProgram{
		Days: run.Days, Starts: []schedule.Start{{Zone: 0, Label: "Z1", FromMinute: 22 * 60, Minutes: 56}},
	}, r.Months[6].Program[0])
	for m := range r.Months {
		if m != 6 {
			assert.Empty(t, r.Months[m].Program)
			assert.Zero(t, r.Months[m].Volume)
		}
	}
}

// TestRainIsCredited: a quarter of 40 mm is 10 mm off 124.
func TestRainIsCredited(t *testing.T) {
	r := plan(t, schedule.Input{Zones: []schedule.Zone{tenMM("Z1")}, Climate: july()})
	assert.InDelta(t, 114, r.Months[6].Runs[0].Need.MM(), 1e-9)
	assert.InDelta(t, 10, r.Months[6].EffectiveRain.MM(), 1e-9)
}

// TestUnevennessLengthensRuns: the multiplier goes into minutes and volume, not
// into the depth that the plants get.
func TestUnevennessLengthensRuns(t *testing.T) {
	z := tenMM("Z1")
	z.RunMultiplier = 1.5
	r := plan(t, schedule.Input{Zones: []schedule.Zone{z}, Climate: july(), Rain: schedule.RainNone})
	assert.Equal(t, 3*84, r.Months[6].Runs[0].MinutesPerWeek())
	assert.InDelta(t, 124, r.Months[6].Runs[0].Applied.MM(), 1e-9)
	assert.InDelta(t, 1.5*124*60, r.Volume.Litres(), 1e-6)
}

// TestClayIsCycled: while one zone soaks the other runs.
func TestClayIsCycled(t *testing.T) {
	a, b := tenMM("Z1"), tenMM("Z2")
	a.Soil, b.Soil = soil(t, "clay"), soil(t, "clay")
	r := plan(t, schedule.Input{Zones: []schedule.Zone{a, b}, Climate: july(), Rain: schedule.RainNone, Window: schedule.Window{FromMinute: 60, ToMinute: 14 * 60}})
	c := r.Months[6].Runs[0].Cycles
	require.Greater(t, c.Count, 1)
	assert.Equal(t, 93, c.SoakMinutes, "0.20 in at 0.13 in/h are 92.3 min")
	starts := r.Months[6].Program[0].Starts
	assert.Equal(t, []string{"Z1", "Z2", "Z1", "Z2"}, []string{starts[0].Label, starts[1].Label, starts[2].Label, starts[3].Label})
	assert.Equal(t, starts[0].ToMinute(), starts[1].FromMinute)
	assert.Equal(t, starts[0].ToMinute()+93, starts[2].FromMinute)
}

// TestShortWindow: two zones of 168 min a week on one allowed day need 336 min;
// the window has 60. A wider one, or more days, cure it.
func TestShortWindow(t *testing.T) {
	in := schedule.Input{
		Zones: []schedule.Zone{tenMM("Z1"), tenMM("Z2")}, Climate: july(), Rain: schedule.RainNone,
		Days: schedule.On(time.Monday), Window: schedule.Window{FromMinute: 240, ToMinute: 300},
	}
	r := plan(t, in)
	require.Equal(t, schedule.StatusWindowShort, r.Status)
	f := r.Findings[0]
	assert.Equal(t, schedule.RuleWindow, f.Rule)
	assert.Equal(t, time.July, f.Month)
	assert.Equal(t, 336-60, f.Minutes)
	assert.Contains(t, f.Text, "July: the busiest day takes 5 h 36 min, 4 h 36 min more than the window 04:00-05:00")
	assert.Contains(t, f.Cure, "widen the window to 04:00-09:36")
	assert.Contains(t, f.Cure, "also allow")

	depletion := r.Findings[1]
	assert.Equal(t, schedule.RuleDepletion, depletion.Rule)
	assert.Equal(t, "Z1", depletion.Zone)
	assert.Contains(t, depletion.Text, "lacks up to 1.10 in (28.0 mm) before a watering on Mon")

	in.Window.ToMinute = 240 + 336
	assert.Equal(t, schedule.StatusFits, plan(t, in).Status, "the wider window cures it")
	in.Window.ToMinute, in.Days = 300, schedule.EveryDay
	assert.Equal(t, schedule.StatusFits, plan(t, in).Status, "and so do more days: zones on different days")
}

// TestNothingHelps: thirty zones of 168 min a week are 5040 min, half the week.
func TestNothingHelps(t *testing.T) {
	in := schedule.Input{Climate: july(), Rain: schedule.RainNone, Window: schedule.Window{FromMinute: 0, ToMinute: 60}, Days: schedule.On(time.Monday)}
	for i := range 30 {
		in.Zones = append(in.Zones, tenMM(string(rune('a'+i))))
	}
	r := plan(t, in)
	assert.Equal(t, schedule.StatusWindowShort, r.Status)
	assert.Contains(t, r.Findings[0].Cure, "no window of a day")
}

// TestWholeDay: midnight to midnight is a day, not the window taken by default.
func TestWholeDay(t *testing.T) {
	day, err := schedule.ParseWindow("00:00-00:00")
	require.NoError(t, err)
	r := plan(t, schedule.Input{Zones: []schedule.Zone{tenMM("Z1")}, Climate: july(), Window: day})
	assert.Equal(t, 1440, r.Window.Minutes())
	assert.Zero(t, r.Months[6].Program[0].Starts[0].FromMinute)
}

func TestGroundFindings(t *testing.T) {
	z := zoneOf(10, 100) // 9.6 in/h, where 0.08 in run off within a minute at 4.8
	z.SlopePct, z.Soil = 30, soil(t, "clay")
	r := plan(t, schedule.Input{Zones: []schedule.Zone{z}, Climate: july()})
	var rules []schedule.Rule
	for _, f := range r.Findings {
		rules = append(rules, f.Rule)
		assert.NotEmpty(t, f.Cure)
	}
	assert.Contains(t, rules, schedule.RuleRunOff)
	assert.Contains(t, rules, schedule.RuleSlope)
}

// TestIdleZone: a pinned head that wets nothing is never run, and stops nobody.
func TestIdleZone(t *testing.T) {
	r := plan(t, schedule.Input{Zones: []schedule.Zone{schedule.HeadZone(layout.Head{Label: "H1", Flow: 17}), tenMM("H2")}, Climate: july()})
	assert.Zero(t, r.Months[6].Runs[0].Cycles)
	assert.Zero(t, r.Volume-r.Months[6].Runs[1].Volume)
	assert.Positive(t, r.Months[6].Runs[1].Volume)
	require.Len(t, r.Findings, 1)
	assert.Equal(t, schedule.RuleIdle, r.Findings[0].Rule)

	tiny := schedule.HeadZone(layout.Head{Label: "H1", Flow: 17, WettedArea: 0.5})
	r = plan(t, schedule.Input{Zones: []schedule.Zone{tiny}, Climate: july()})
	assert.Equal(t, 1, r.Months[6].Runs[0].MinutesPerWeek()/r.Months[6].Runs[0].Days.Count(), "a minute is the least")
	assert.Equal(t, schedule.RuleRunOff, r.Findings[0].Rule)
}

func TestSavings(t *testing.T) {
	c := july()
	c.Months[7] = schedule.MonthClimate{ET0: 77.5}
	in := schedule.Input{Zones: []schedule.Zone{tenMM("Z1")}, Climate: c, Rain: schedule.RainNone}
	r := plan(t, in)
	assert.Contains(t, r.Savings.Statement, "run times of July")
	assert.Contains(t, r.Savings.Statement, "an assumption")
	assert.InDelta(t, 2*124*60, r.Savings.Baseline.Litres(), 1e-6, "July's run times in August too")
	assert.InDelta(t, (124-62)*60, r.Savings.Saved.Litres(), 1e-6)
	assert.InDelta(t, 0.25, r.Savings.Share, 1e-9)

	in.Baseline = schedule.Baseline{WeeklyDepth: schedule.Inches(0.7), Season: schedule.Season{From: time.December, To: time.January}}
	r = plan(t, in)
	assert.Equal(t, "0.70 in (17.8 mm) of water a week on every zone, from December to January", r.Savings.Statement)
	assert.InDelta(t, 17.78*60*62/7, r.Savings.Baseline.Litres(), 1e-6)
	assert.Negative(t, r.Savings.Saved.Litres(), "an honest minus")

	in.Baseline = schedule.Baseline{Metered: &[12]layout.Volume{6: 20000}}
	r = plan(t, in)
	assert.InDelta(t, 20000-(124+62)*60, r.Savings.Saved.Litres(), 1e-6)
	assert.Contains(t, r.Savings.Statement, "metered")

	r = plan(t, schedule.Input{Zones: in.Zones})
	assert.Contains(t, r.Savings.Statement, "waters in no month")
	assert.Zero(t, r.Savings.Share)
}

// TestFrost: a month whose nights freeze goes dry unless the season says
// otherwise, and either way the reader is told.
func TestFrost(t *testing.T) {
	c := july()
	c.Months[7] = schedule.MonthClimate{ET0: 100, MinC: schedule.Measured(-0.1)}
	in := schedule.Input{Zones: []schedule.Zone{tenMM("Z1")}, Climate: c}
	r := plan(t, in)
	assert.Zero(t, r.Months[7].Volume)
	require.Len(t, r.Findings, 1)
	assert.Equal(t, "not watered, since nights freeze: August", r.Findings[0].Text)
	assert.Equal(t, schedule.StatusFits, r.Status)

	in.Season = schedule.Season{From: time.August, To: time.June}
	r = plan(t, in)
	assert.Zero(t, r.Months[6].Volume, "out of season")
	assert.Positive(t, r.Months[7].Volume)
	require.Len(t, r.Findings, 1)
	assert.Equal(t, "watered although nights freeze: August", r.Findings[0].Text)
}

func TestParseSeason(t *testing.T) {
	for text, want := range map[string]schedule.Season{
		"": {}, "4-10": {From: 4, To: 10}, "apr - October": {From: 4, To: 10}, "12-2": {From: 12, To: 2},
	} {
		s, err := schedule.ParseSeason(text)
		require.NoError(t, err)
		assert.Equal(t, want, s, text)
	}
	for _, text := range []string{"4", "0-3", "ap-oct", "4-13", "-"} {
		_, err := schedule.ParseSeason(text)
		assert.ErrorContains(t, err, "season such as", text)
	}
	winter := schedule.Season{From: time.November, To: time.February}
	assert.True(t, winter.Has(time.January))
	assert.False(t, winter.Has(time.March))
	assert.Equal(t, "November to February", winter.String())
}

func TestBadInputIsNamed(t *testing.T) {
	cases := map[string]func(*schedule.Input){
		"at least one zone":      func(in *schedule.Input) { in.Zones = nil },
		"no label":               func(in *schedule.Input) { in.Zones[0].Label = "" },
		`two zones are called`:   func(in *schedule.Input) { in.Zones = append(in.Zones, in.Zones[0]) },
		`"Z1": area`:             func(in *schedule.Input) { in.Zones[0].AreaM2 = -1 },
		`"Z1": flow`:             func(in *schedule.Input) { in.Zones[0].Flow = layout.Flow(math.NaN()) },
		`"Z1": precipitation`:    func(in *schedule.Input) { in.Zones[0].AreaM2 = 9e5 },
		`"Z1": DU`:               func(in *schedule.Input) { in.Zones[0].DULowQuarter = 65 },
		`"Z1": slope`:            func(in *schedule.Input) { in.Zones[0].SlopePct = -1 },
		"depletion":              func(in *schedule.Input) { in.Depletion = 50 },
		"ET0 of July":            func(in *schedule.Input) { in.Climate.Months[6].ET0 = -1 },
		"rain of July":           func(in *schedule.Input) { in.Climate.Months[6].Rain = schedule.Depth(math.Inf(1)) },
		"window":                 func(in *schedule.Input) { in.Window.FromMinute = 1440 },
		"needs daily weather":    func(in *schedule.Input) { in.Rain = schedule.RainDaily },
		"mm a week":              func(in *schedule.Input) { in.Baseline.WeeklyDepth = -1 },
		"give both":              func(in *schedule.Input) { in.Baseline.Season.From = 3 },
		"metered in January":     func(in *schedule.Input) { in.Baseline.Metered = &[12]layout.Volume{-1} },
		`"mud": available water`: func(in *schedule.Input) { in.Zones[0].Soil = schedule.Soil{Name: "mud"} },
		`"mud": intake`:          func(in *schedule.Input) { in.Zones[0].Soil = schedule.Soil{Name: "mud", AvailableMMPerM: 100} },
		`"mud": surface storage `: func(in *schedule.Input) {
			in.Zones[0].Soil = schedule.Soil{Name: "mud", AvailableMMPerM: 100, IntakeMMPerH: [4]float64{1, 1, 1, 1}}
		},
	}
	for want, spoil := range cases {
		in := schedule.Input{Zones: []schedule.Zone{tenMM("Z1")}, Climate: july()}
		spoil(&in)
		_, err := schedule.Plan(in)
		assert.ErrorContains(t, err, want)
	}
}

// randomInput draws a lawn, a climate and what is allowed.
func randomInput(t *rapid.T) schedule.Input {
	soils := schedule.Soils()
	in := schedule.Input{
		Days:   schedule.Weekdays(rapid.IntRange(0, 127).Draw(t, "days")),
		Window: schedule.Window{FromMinute: 10 * rapid.IntRange(0, 143).Draw(t, "from"), ToMinute: 10 * rapid.IntRange(0, 143).Draw(t, "to")},
		Rain:   rapid.SampledFrom([]schedule.RainRule{"", schedule.RainNone, schedule.RainMonthly}).Draw(t, "rain rule"),
	}
	for i := range rapid.IntRange(1, 9).Draw(t, "zones") {
		in.Zones = append(in.Zones, schedule.Zone{
			Label: string(rune('A' + i)), Flow: layout.Flow(rapid.Float64Range(4, 40).Draw(t, "flow")),
			AreaM2:       rapid.Float64Range(40, 250).Draw(t, "area"),
			DULowQuarter: rapid.Float64Range(0.4, 1).Draw(t, "DU"), Soil: rapid.SampledFrom(soils).Draw(t, "soil"),
			SlopePct: rapid.Float64Range(0, 20).Draw(t, "slope"),
		})
	}
	for m := range in.Climate.Months {
		in.Climate.Months[m].ET0 = schedule.Depth(rapid.Float64Range(0, 250).Draw(t, "ET0"))
		in.Climate.Months[m].Rain = schedule.Depth(rapid.Float64Range(0, 250).Draw(t, "rain"))
	}
	return in
}

// TestPlansHoldUp judges random plans by code of its own: see checkMonth.
func TestPlansHoldUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := randomInput(t)
		r := plan(t, in)
		short := map[time.Month]int{}
		for _, f := range r.Findings {
			if f.Rule == schedule.RuleWindow {
				short[f.Month] = f.Minutes
			}
		}
		assert.Equal(t, len(short) > 0, r.Status == schedule.StatusWindowShort)
		year := 0.0
		for m := range r.Months {
			checkMonth(t, r, &r.Months[m], short[time.Month(m+1)])
			year += r.Months[m].Volume.Litres()
		}
		assert.InDelta(t, year, r.Volume.Litres(), 1e-6*(1+year))
		assert.InDelta(t, r.Savings.Baseline.Litres()-year, r.Savings.Saved.Litres(), 1e-6*(1+year))
	})
}

// checkMonth: only on allowed days; one zone at a time, from the window's
// beginning and not past its end by more than was said; every zone its cycles
// and soaks on each of its days; the month's water is what the program gives,
// and is the need to what rounding to minutes may cost.
func checkMonth(t *rapid.T, r schedule.Result, m *schedule.Month, over int) {
	seen := make([]schedule.Weekdays, len(r.Zones))
	longest := 0
	for _, p := range m.Program {
		if p.Days&^r.Allowed != 0 {
			t.Fatalf("%s: waters on %s", m.Month, p.Days&^r.Allowed)
		}
		checkDay(t, r, m, p)
		for _, s := range p.Starts {
			seen[s.Zone] |= p.Days
		}
		longest = max(longest, p.Starts[len(p.Starts)-1].ToMinute()-r.Window.FromMinute)
	}
	assert.Equal(t, max(0, longest-r.Window.Minutes()), over)
	for z, run := range m.Runs {
		assert.Equal(t, run.Days, seen[z])
		rounding := float64(max(1, run.Cycles.Count)) * float64(max(1, run.Days.Count())) / 60 * 5 * r.Zones[z].RateMMPerH()
		if run.Days != 0 && !r.Zones[z].Soil.RunsOff(r.Zones[z].RateMMPerH(), r.Zones[z].SlopePct) {
			assert.InDelta(t, run.Need.MM(), run.Applied.MM(), rounding)
		}
	}
}

func checkDay(t *rapid.T, r schedule.Result, m *schedule.Month, p schedule.DayProgram) {
	free := r.Window.FromMinute
	count := make([]int, len(r.Zones))
	ready := make([]int, len(r.Zones))
	for _, s := range p.Starts {
		c := m.Runs[s.Zone].Cycles
		if s.FromMinute < free || s.FromMinute < ready[s.Zone] || s.Minutes != c.Minutes || s.Label != r.Zones[s.Zone].Label {
			t.Fatalf("%s: %+v with the ground free from %d, ready at %d, %+v", m.Month, s, free, ready[s.Zone], c)
		}
		free = s.ToMinute()
		ready[s.Zone] = free + c.SoakMinutes
		count[s.Zone]++
	}
	for z, n := range count {
		if n != 0 && n != m.Runs[z].Cycles.Count {
			t.Fatalf("%s: zone %d runs %d of %d cycles", m.Month, z, n, m.Runs[z].Cycles.Count)
		}
	}
}
