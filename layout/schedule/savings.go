package schedule

import (
	"fmt"
	"time"

	"lotwright/layout"
)

// Baseline is what savings are counted against. A figure without one would be
// a bare claim, so it is always stated and may always be replaced. The zero
// value is a controller set once, to the run times of this plan's peak month,
// and left so through the season: an assumption.
type Baseline struct {
	// Metered are the volumes of twelve months as a meter showed them: the
	// best baseline there is. It comes before the others.
	Metered *[monthsPerYear]layout.Volume

	// WeeklyDepth is put on every zone each week of the season; without one, in
	// the months that the plan waters.
	WeeklyDepth Depth
	Season      Season
}

// Savings are a plan's volumes against a stated baseline. They may be negative.
type Savings struct {
	Statement string                       // what the baseline is, in words
	Months    [monthsPerYear]layout.Volume // of the baseline
	Baseline  layout.Volume                // of the year
	Saved     layout.Volume                // of the year
	Share     float64                      // of the baseline; 0 without one
}

// maxWeeklyDepth is beyond any lawn's: a judgement.
const maxWeeklyDepth Depth = 500

func (b Baseline) validate() error {
	if !(b.WeeklyDepth >= 0 && b.WeeklyDepth <= maxWeeklyDepth) {
		return fmt.Errorf("baseline: %v mm a week; it must lie between 0 and %v", b.WeeklyDepth.MM(), maxWeeklyDepth.MM())
	}
	if err := b.Season.validate(); err != nil {
		return fmt.Errorf("baseline: %w", err)
	}
	if b.Metered == nil {
		return nil
	}
	for i, v := range b.Metered {
		if !(v >= 0 && v < 1e12) {
			return fmt.Errorf("baseline: %v L metered in %s; it must be finite and not negative", v.Litres(), time.Month(i+1))
		}
	}
	return nil
}

// against counts a plan's savings.
func (b Baseline) against(r Result) Savings {
	s := b.stated(r)
	for _, v := range s.Months {
		s.Baseline += v
	}
	s.Saved = s.Baseline - r.Volume
	if s.Baseline > 0 {
		s.Share = float64(s.Saved / s.Baseline)
	}
	return s
}

// stated is the baseline month by month, and in words.
func (b Baseline) stated(r Result) Savings {
	switch {
	case b.Metered != nil:
		return Savings{Months: *b.Metered, Statement: "the volumes metered in the twelve months given"}
	case b.WeeklyDepth > 0:
		return b.weekly(r)
	}
	return setOnce(r)
}

func (b Baseline) weekly(r Result) Savings {
	area := 0.0
	for _, z := range r.Zones {
		area += z.AreaM2
	}
	s := Savings{Statement: fmt.Sprintf("%v of water a week on every zone, %s", b.WeeklyDepth, b.season())}
	for m := range s.Months {
		if b.covers(time.Month(m+1), r) {
			s.Months[m] = b.WeeklyDepth.On(area) * layout.Volume(daysInMonth[m]) / daysPerWeek
		}
	}
	return s
}

func (b Baseline) season() string {
	if !b.Season.Given() {
		return "in the months that this plan waters"
	}
	return "from " + b.Season.String()
}

func (b Baseline) covers(m time.Month, r Result) bool {
	if b.Season.Given() {
		return b.Season.Has(m)
	}
	return r.Months[m-1].Volume > 0
}

// setOnce is the baseline of a controller that is never touched.
func setOnce(r Result) Savings {
	peak, most := 0, 0.0
	for m, month := range r.Months {
		if daily := month.Volume.Litres() / float64(daysInMonth[m]); daily > most {
			peak, most = m, daily
		}
	}
	if most == 0 {
		return Savings{Statement: "none: this plan waters in no month"}
	}
	s := Savings{Statement: fmt.Sprintf(
		"a controller set once, to this plan's run times of %s, and left so in every month that needs any water (an assumption)", time.Month(peak+1))}
	for m, month := range r.Months {
		if month.Volume > 0 {
			s.Months[m] = layout.Volume(most * float64(daysInMonth[m]))
		}
	}
	return s
}
