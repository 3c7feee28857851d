package schedule

import (
	"errors"
	"fmt"
	"time"

	"lotwright/layout"
)

// Input is what a plan is made from. Zones and Climate are needed; all else may
// be left zero.
type Input struct {
	Zones     []Zone
	Climate   Climate
	Days      Weekdays // on which watering may begin; 0 for every day
	Window    Window
	Season    Season // outside it nothing is watered; none: every month not known to freeze
	Rain      RainRule
	Depletion float64  // share of the available water that may be drawn; 0 for [DefaultDepletion]
	Baseline  Baseline // what savings are counted against
}

// Status is whether a plan can be kept.
type Status string

// The statuses.
const (
	StatusFits        Status = "fits"         // every month fits in the window
	StatusWindowShort Status = "window_short" // some month does not; findings say which, by how much and what would cure it
)

// Rule is what a finding is about.
type Rule string

// The rules of findings.
const (
	RuleWindow    Rule = "window_short" // the day's runs do not fit in the window
	RuleDepletion Rule = "depletion"    // between waterings roots draw more than allowed
	RuleRunOff    Rule = "run_off"      // even the shortest cycle runs off
	RuleSlope     Rule = "slope"        // steeper than the intake table covers
	RuleIdle      Rule = "idle"         // a zone that wets next to nothing
	RuleFrost     Rule = "frost"        // months left unwatered because they freeze, or watered although they do
)

// Finding is something the reader must know or decide.
type Finding struct {
	Rule    Rule
	Month   time.Month // 0 where it holds in any month
	Zone    string     // empty where it concerns all
	Minutes int        // over the window, for RuleWindow
	Text    string
	Cure    string
}

// Result is a year's plan.
type Result struct {
	Status   Status
	Findings []Finding
	Zones    []Zone // with defaults filled in
	Window   Window
	Allowed  Weekdays
	Season   Season
	Rain     RainRule
	Months   [monthsPerYear]Month
	Volume   layout.Volume // of the year
	Savings  Savings
}

// Month is the plan of one month.
type Month struct {
	Month         time.Month
	ET0           Depth
	Rain          Depth
	EffectiveRain Depth
	Runs          []Run // one a zone, in order of zones
	Program       []DayProgram
	LongestDay    int // minutes from first start to last end on the busiest day
	Volume        layout.Volume
}

// Run is what one zone does in one month. A zone that needs no water has no
// days and no cycles.
type Run struct {
	Need         Depth    // net, of the month
	IntervalDays int      // longest the soil allows between waterings
	Days         Weekdays // on which it waters
	Cycles       Cycles   // of a watering
	Applied      Depth    // of the month, as programmed, unevenness made up for
	Volume       layout.Volume
}

// MinutesPerWeek is how long the zone runs in a week.
func (r Run) MinutesPerWeek() int { return r.Cycles.Total() * r.Days.Count() }

// DayProgram is what runs on days that are alike.
type DayProgram struct {
	Days   Weekdays
	Starts []Start
}

// Minutes is the time from the first start to the last end.
func (p DayProgram) Minutes() int {
	if len(p.Starts) == 0 {
		return 0
	}
	last := p.Starts[0].ToMinute()
	for _, s := range p.Starts {
		last = max(last, s.ToMinute())
	}
	return last - p.Starts[0].FromMinute
}

// leastMonthNeed is the need below which a month goes unwatered: the soil holds
// several times as much. A judgement.
const leastMonthNeed Depth = 3

// Plan makes a year's plan. An error means that the input is not a lawn or a
// climate; a window that is too short is a status.
func Plan(in Input) (Result, error) {
	p, err := newPlanner(in)
	if err != nil {
		return Result{}, err
	}
	if err := in.Baseline.validate(); err != nil {
		return Result{}, err
	}
	r := Result{Status: StatusFits, Zones: p.zones, Window: p.window, Allowed: p.allowed, Season: p.season, Rain: p.rain}
	for m := range r.Months {
		var tooShort []Finding
		r.Months[m], tooShort = p.month(time.Month(m + 1))
		r.Volume += r.Months[m].Volume
		r.Findings = append(r.Findings, tooShort...)
	}
	if len(r.Findings) > 0 {
		r.Status = StatusWindowShort
	}
	r.Findings = append(r.Findings, p.frostFindings(r)...)
	r.Findings = append(r.Findings, p.groundFindings(r)...)
	r.Savings = in.Baseline.against(r)
	return r, nil
}

// planner holds the settled input.
type planner struct {
	zones     []Zone
	climate   Climate
	effective [monthsPerYear]Depth
	allowed   Weekdays
	window    Window
	season    Season
	rain      RainRule
	depletion float64
}

func newPlanner(in Input) (*planner, error) {
	if len(in.Zones) == 0 {
		return nil, errors.New("a plan needs at least one zone")
	}
	p := &planner{
		climate: in.Climate, allowed: in.Days & EveryDay, window: in.Window, season: in.Season, rain: in.Rain,
		depletion: orDefault(in.Depletion, DefaultDepletion),
	}
	if p.allowed == 0 {
		p.allowed = EveryDay
	}
	if p.window == (Window{}) {
		p.window = DefaultWindow
	}
	if p.rain == "" {
		p.rain = RainQuarter
	}
	if !(p.depletion > 0 && p.depletion <= 1) {
		return nil, fmt.Errorf("allowable depletion is %v; it must lie above 0 and not above 1", p.depletion)
	}
	labels := map[string]bool{}
	for _, z := range in.Zones {
		z = z.withDefaults()
		if labels[z.Label] {
			return nil, fmt.Errorf("two zones are called %q", z.Label)
		}
		labels[z.Label] = true
		p.zones = append(p.zones, z)
	}
	return p, p.validate()
}

func (p *planner) validate() error {
	var err error
	if p.effective, err = p.climate.EffectiveRain(p.rain); err != nil {
		return err
	}
	for _, z := range p.zones {
		if err := z.validate(); err != nil {
			return err
		}
	}
	return errors.Join(p.climate.validate(), p.window.validate(), p.season.validate())
}
