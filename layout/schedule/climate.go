package schedule

import (
	"errors"
	"fmt"
	"time"
)

// Climate is what the sky takes and gives in the months of a mean year.
type Climate struct {
	Name   string
	Months [monthsPerYear]MonthClimate // from January

	// Days are the days the months were summed from, in order of date; empty
	// where the months were given. Only [RainDaily] needs them.
	Days []DayClimate
}

// MonthClimate is one whole month of 28 to 31 days.
type MonthClimate struct {
	ET0    Depth
	Rain   Depth
	Method ET0Method // how ET0 was found; empty where unknown
	MinC   Reading   // mean of the days' lowest temperatures
}

// DayClimate is one day.
type DayClimate struct {
	Date   time.Time // at midnight UTC
	ET0    Depth
	Rain   Depth
	Method ET0Method
	MinC   Reading
}

// RainRule is how much of the rain is credited.
type RainRule string

// The rules. The zero value is [RainQuarter].
const (
	RainQuarter RainRule = "quarter" // a quarter of each month's rain, as ordinances of California type allow of the year's
	RainNone    RainRule = "none"    // no credit
	RainDaily   RainRule = "daily"   // day by day, see [EffectiveDay]; needs daily weather
	RainMonthly RainRule = "monthly" // a curve on the month's rain, see [EffectiveMonth]
)

// ParseRainRule reads a rule's name; empty is [RainQuarter].
func ParseRainRule(name string) (RainRule, error) {
	switch r := RainRule(name); r {
	case "":
		return RainQuarter, nil
	case RainQuarter, RainNone, RainDaily, RainMonthly:
		return r, nil
	}
	return "", fmt.Errorf("rain rule %q is not known; known are quarter, none, daily, monthly", name)
}

// Shares of a day's rain, in inches: effrain page of texaset.tamu.edu.
const (
	dayLostIn    = 0.1 // wets leaves only
	dayFullIn    = 1.0 // credited whole up to here, if above dayLostIn
	dayPartIn    = 2.0 // dayPartShare of what lies between dayFullIn and this
	dayPartShare = 2.0 / 3
)

// EffectiveDay is what a day's rain is worth to roots: nothing up to 0.1 in,
// then all but that 0.1 in up to 1 in, two thirds of the second inch, and
// nothing of what is above 2 in (effrain page of texaset.tamu.edu).
func EffectiveDay(rain Depth) Depth {
	in := rain.Inches()
	full := min(in, dayFullIn) - dayLostIn
	part := dayPartShare * max(0, min(in, dayPartIn)-dayFullIn)
	return Inches(max(0, full) + part)
}

// EffectiveMonth is what a month's rain is worth by the curve of FAO's
// crop-water manuals, from memory: P(125 − 0.2P)/125 up to 250 mm, 125 + 0.1P
// above.
func EffectiveMonth(rain Depth) Depth {
	if rain > 250 {
		return 125 + 0.1*rain
	}
	return rain * (125 - 0.2*rain) / 125
}

// quarterShare is the credit of [RainQuarter].
const quarterShare = 0.25

// EffectiveRain is the credited rain of each month.
func (c Climate) EffectiveRain(rule RainRule) ([monthsPerYear]Depth, error) {
	var out [monthsPerYear]Depth
	if rule == RainDaily {
		return c.effectiveByDay()
	}
	for i, m := range c.Months {
		switch rule {
		case RainQuarter, "":
			out[i] = quarterShare * m.Rain
		case RainMonthly:
			out[i] = EffectiveMonth(m.Rain)
		case RainNone:
		default:
			return out, fmt.Errorf("rain rule %q is not known", rule)
		}
	}
	return out, nil
}

func (c Climate) effectiveByDay() ([monthsPerYear]Depth, error) {
	if len(c.Days) == 0 {
		return [monthsPerYear]Depth{}, errors.New("rain day by day needs daily weather; these are months")
	}
	return meanMonths(c.Days, func(d DayClimate) Depth { return EffectiveDay(d.Rain) }), nil
}

// meanMonths is the sum of a mean year's months: the mean of all days of that
// month, in whatever year, times its length.
func meanMonths(days []DayClimate, value func(DayClimate) Depth) [monthsPerYear]Depth {
	var sum [monthsPerYear]Depth
	var count [monthsPerYear]int
	for _, d := range days {
		m := d.Date.Month() - 1
		sum[m] += value(d)
		count[m]++
	}
	for m := range sum {
		if count[m] > 0 {
			sum[m] *= Depth(daysInMonth[m]) / Depth(count[m])
		}
	}
	return sum
}

// ClimateOfDays sums days to the months of a mean year. Every month must have a day.
func ClimateOfDays(name string, days []DayClimate) (Climate, error) {
	c := Climate{Name: name, Days: days}
	var seen [monthsPerYear]ET0Method
	for _, d := range days {
		m := d.Date.Month() - 1
		if seen[m] == "" || d.Method == MethodHargreaves { // the weaker method names the month
			seen[m] = d.Method
		}
		if seen[m] == "" {
			seen[m] = MethodGiven
		}
	}
	et0 := meanMonths(days, func(d DayClimate) Depth { return d.ET0 })
	rain := meanMonths(days, func(d DayClimate) Depth { return d.Rain })
	for m := range c.Months {
		if seen[m] == "" {
			return Climate{}, fmt.Errorf("no day of %s; a year's schedule needs every month", time.Month(m+1))
		}
		c.Months[m] = MonthClimate{ET0: et0[m], Rain: rain[m], Method: seen[m], MinC: meanLowest(days, time.Month(m+1))}
	}
	return c, nil
}

// meanLowest is the mean of a month's known lowest temperatures.
func meanLowest(days []DayClimate, month time.Month) Reading {
	sum, count := 0.0, 0
	for _, d := range days {
		if d.MinC.Known && d.Date.Month() == month {
			sum += d.MinC.Value
			count++
		}
	}
	if count == 0 {
		return Reading{}
	}
	return Measured(sum / float64(count))
}

// frostBelowC is the mean lowest temperature below which a month is left
// unwatered unless a season is given: water freezes on walks and in pipes. A
// judgement.
const frostBelowC = 0.0

// frosty says whether the month is known to freeze.
func (m MonthClimate) frosty() bool { return m.MinC.Known && m.MinC.Value < frostBelowC }

// Bounds of a month's depths, beyond any climate on earth.
const (
	maxMonthET0  Depth = 600
	maxMonthRain Depth = 10000
)

func (c Climate) validate() error {
	for i, m := range c.Months {
		if !(m.ET0 >= 0 && m.ET0 <= maxMonthET0) {
			return fmt.Errorf("climate: ET0 of %s is %v mm; it must lie between 0 and %v", time.Month(i+1), m.ET0.MM(), maxMonthET0.MM())
		}
		if !(m.Rain >= 0 && m.Rain <= maxMonthRain) {
			return fmt.Errorf("climate: rain of %s is %v mm; it must lie between 0 and %v", time.Month(i+1), m.Rain.MM(), maxMonthRain.MM())
		}
	}
	return nil
}
