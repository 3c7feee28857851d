package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"lotwright/layout"
)

// demand is what one zone needs in one month.
type demand struct {
	net         Depth   // of the month; 0 for none
	dailyUse    Depth   // of the plants, rain or not
	deficit     float64 // days' use that the roots hold ready
	netPerWeek  Depth
	rateMMPerH  float64
	multiplier  float64
	soil        Soil
	slopePct    float64
	daysOfMonth int
}

// demandOf is what zone z needs in a month, 0 to 11.
func (p *planner) demandOf(z Zone, month int) demand {
	days := daysInMonth[month]
	use := Depth(z.PlantFactor) * p.climate.Months[month].ET0
	net := use - p.effective[month]
	if net < leastMonthNeed || !p.watered(month) || z.idle() {
		net = 0
	}
	d := demand{
		net: net, dailyUse: use / Depth(days), netPerWeek: net * daysPerWeek / Depth(days),
		rateMMPerH: z.rateIfRun(), multiplier: z.Multiplier(),
		soil: z.Soil, slopePct: z.SlopePct, daysOfMonth: days,
	}
	if use > 0 {
		d.deficit = float64(p.ready(z) / d.dailyUse)
	}
	return d
}

// watered says whether month, 0 to 11, is watered at all.
func (p *planner) watered(month int) bool {
	if p.season.Given() {
		return p.season.Has(time.Month(month + 1))
	}
	return !p.climate.Months[month].frosty()
}

// ready is the depth that the zone's roots may draw.
func (p *planner) ready(z Zone) Depth { return z.Soil.ReadilyAvailable(z.RootDepth, p.depletion) }

// cyclesOn are the cycles of a watering on so many days a week.
func (d demand) cyclesOn(days int) Cycles {
	minutes := RunMinutes(d.netPerWeek/Depth(days), d.rateMMPerH, d.multiplier)
	return d.soil.CycleAndSoak(minutes, d.rateMMPerH, d.slopePct)
}

// timetable is one way to spread a month's waterings over the week.
type timetable struct {
	runs    []Run
	program []DayProgram
	longest int // minutes of the busiest day
}

// month plans one month, and says when its window is too short.
func (p *planner) month(month time.Month) (Month, []Finding) {
	i := int(month) - 1
	var demands []demand
	for _, z := range p.zones {
		demands = append(demands, p.demandOf(z, i))
	}
	t := p.spread(demands, p.allowed)
	climate := p.climate.Months[i]
	m := Month{
		Month: month, ET0: climate.ET0, Rain: climate.Rain, EffectiveRain: p.effective[i],
		Runs: t.runs, Program: t.program, LongestDay: t.longest,
	}
	for z := range m.Runs {
		p.account(&m.Runs[z], demands[z], p.zones[z])
		m.Volume += m.Runs[z].Volume
	}
	if over := t.longest - p.window.Minutes(); over > 0 {
		return m, []Finding{p.windowFinding(month, demands, t, over)}
	}
	return m, nil
}

// account fills in what a run gives in the month: the whole minutes programmed,
// on the mean number of such days in the month.
func (p *planner) account(r *Run, d demand, z Zone) {
	r.Need = d.net
	r.IntervalDays = IntervalDays(p.ready(z), d.dailyUse)
	minutes := float64(r.MinutesPerWeek()) * float64(d.daysOfMonth) / daysPerWeek
	r.Applied = Depth(d.rateMMPerH * minutes / minutesPerHour / d.multiplier)
	r.Volume = layout.Volume(z.Flow.LPM() * minutes)
}

// spread tries, in this order, and takes the first timetable that fits in the
// window, else the one that misses it least:
//
//  1. every zone on the fewest days its soil asks for, the same days for alike zones;
//  2. the same number of days, but zones on different days, to even out the load;
//  3. the same with at least two days a week, three, and so on.
//
// Few long waterings come first because roots follow water down.
func (p *planner) spread(demands []demand, allowed Weekdays) timetable {
	patterns := patternsWithin(allowed)
	best := p.arrange(demands, patterns, 1, false)
	for least := 1; least <= allowed.Count() && best.longest > p.window.Minutes(); least++ {
		if t := p.arrange(demands, patterns, least, true); t.longest < best.longest {
			best = t
		}
	}
	return best
}

// arrange gives every zone its days and puts the runs in sequence.
func (p *planner) arrange(demands []demand, patterns []pattern, least int, evenly bool) timetable {
	var t timetable
	var load [daysPerWeek]int
	for _, d := range demands {
		var r Run
		if d.net > 0 {
			fitting := daysFor(d, patterns, least)
			r.Days = fitting[0].days
			r.Cycles = d.cyclesOn(r.Days.Count())
			if evenly {
				r.Days = lightest(fitting, load, r.Cycles.Total())
			}
			for _, day := range r.Days.List() {
				load[day] += r.Cycles.Total()
			}
		}
		t.runs = append(t.runs, r)
	}
	t.program = p.program(t.runs)
	for _, day := range t.program {
		t.longest = max(t.longest, day.Minutes())
	}
	return t
}

// daysFor are the patterns that would do for a demand, all with the same number
// of days: the fewest days that keep within what roots hold; where none does,
// those that let the soil dry least.
func daysFor(d demand, patterns []pattern, least int) []pattern {
	limit := d.deficit
	if !slices.ContainsFunc(patterns, func(q pattern) bool { return q.days.Count() >= least && q.deficit <= limit }) {
		limit = math.Inf(1)
		for _, q := range patterns {
			if q.days.Count() >= least {
				limit = min(limit, q.deficit)
			}
		}
	}
	var fitting []pattern
	for _, q := range patterns {
		if q.days.Count() < least || q.deficit > limit {
			continue
		}
		if len(fitting) > 0 && q.days.Count() > fitting[0].days.Count() {
			break
		}
		fitting = append(fitting, q)
	}
	return fitting
}

// lightest is the pattern whose busiest day is least busy with minutes added.
func lightest(fitting []pattern, load [daysPerWeek]int, minutes int) Weekdays {
	best, least := fitting[0].days, math.MaxInt
	for _, q := range fitting {
		busiest, sum := 0, 0
		for _, day := range q.days.List() {
			busiest = max(busiest, load[day]+minutes)
			sum += load[day]
		}
		if key := busiest*1e6 + sum; key < least { // ties by the sum of loads
			best, least = q.days, key
		}
	}
	return best
}

// program puts each day's runs in sequence; days with the same zones share one.
func (p *planner) program(runs []Run) []DayProgram {
	var out []DayProgram
	index := map[string]int{}
	for _, day := range EveryDay.List() {
		var today []waiting
		var key strings.Builder
		for z, r := range runs {
			if r.Days.Has(day) {
				today = append(today, waiting{zone: z, left: r.Cycles.Count, cycles: r.Cycles})
				fmt.Fprintf(&key, "%d ", z)
			}
		}
		if len(today) == 0 {
			continue
		}
		if i, known := index[key.String()]; known {
			out[i].Days |= On(day)
			continue
		}
		index[key.String()] = len(out)
		out = append(out, DayProgram{Days: On(day), Starts: sequence(p.zones, today, p.window.FromMinute)})
	}
	return out
}

// windowFinding says by how much a month misses its window, and what would cure it.
func (p *planner) windowFinding(month time.Month, demands []demand, t timetable, over int) Finding {
	f := Finding{Rule: RuleWindow, Month: month, Minutes: over}
	f.Text = fmt.Sprintf("%s: the busiest day takes %s, %s more than the window %s allows",
		month, hours(t.longest), hours(over), p.window)
	var cures []string
	if t.longest <= minutesPerDay {
		wider := Window{p.window.FromMinute, (p.window.FromMinute + t.longest) % minutesPerDay}
		cures = append(cures, fmt.Sprintf("widen the window to %s", wider))
	}
	if extra := p.daysThatCure(demands); extra != 0 {
		cures = append(cures, fmt.Sprintf("also allow %s", extra))
	}
	if len(cures) == 0 {
		cures = append(cures, "no window of a day and no choice of days is enough: split the lawn over more than one supply, or accept less water")
	}
	f.Cure = strings.Join(cures, ", or ")
	return f
}

// daysThatCure are the fewest days that, allowed as well, would make a month
// fit; none if all seven do not.
func (p *planner) daysThatCure(demands []demand) Weekdays {
	least := leastMinutesPerWeek(demands)
	for _, more := range p.allowed.supersets() {
		if least > more.Count()*p.window.Minutes() {
			continue // not even without soaking
		}
		if p.spread(demands, more).longest <= p.window.Minutes() {
			return more &^ p.allowed
		}
	}
	return 0
}

// leastMinutesPerWeek is what the demands take, each on the number of days that
// rounding to whole minutes favours.
func leastMinutesPerWeek(demands []demand) int {
	sum := 0
	for _, d := range demands {
		least := math.MaxInt
		for days := 1; days <= daysPerWeek; days++ {
			least = min(least, days*d.cyclesOn(days).Total())
		}
		sum += least
	}
	return sum
}

// hours writes minutes as "3 h 05 min".
func hours(minutes int) string {
	if minutes < minutesPerHour {
		return fmt.Sprintf("%d min", minutes)
	}
	return fmt.Sprintf("%d h %02d min", minutes/minutesPerHour, minutes%minutesPerHour)
}

// frostFindings names the months that freeze: those left unwatered for it and
// those watered all the same.
func (p *planner) frostFindings(r Result) []Finding {
	var left, watered []string
	for i, m := range p.climate.Months {
		switch name := time.Month(i + 1).String(); {
		case !m.frosty():
		case r.Months[i].Volume > 0:
			watered = append(watered, name)
		case !p.season.Given():
			left = append(left, name)
		}
	}
	var all []Finding
	if len(watered) > 0 {
		all = append(all, Finding{
			Rule: RuleFrost, Text: "watered although nights freeze: " + strings.Join(watered, ", "),
			Cure: "shorten the season; ice on walks is slippery and bursts pipes",
		})
	}
	if len(left) > 0 {
		all = append(all, Finding{
			Rule: RuleFrost, Text: "not watered, since nights freeze: " + strings.Join(left, ", "),
			Cure: "give a season to water all the same",
		})
	}
	return all
}

// groundFindings are what each zone's soil and slope have to say, in order of zones.
func (p *planner) groundFindings(r Result) []Finding {
	var all []Finding
	for i, z := range p.zones {
		if f, found := p.depletionFinding(r, i); found {
			all = append(all, f)
		}
		if z.idle() {
			all = append(all, Finding{
				Rule: RuleIdle, Zone: z.Label, Text: fmt.Sprintf("zone %s wets next to nothing and is never run", z.Label),
				Cure: "move its heads, or leave the zone out",
			})
			continue
		}
		if z.Soil.RunsOff(z.RateMMPerH(), z.SlopePct) {
			all = append(all, Finding{
				Rule: RuleRunOff, Zone: z.Label,
				Text: fmt.Sprintf("zone %s: %.0f mm/h on %s at %.0f %% slope runs off within a minute", z.Label, z.RateMMPerH(), z.Soil.Name, z.SlopePct),
				Cure: "heads of a lower precipitation rate, or drip",
			})
		}
		if z.Soil.Steep(z.SlopePct) {
			all = append(all, Finding{
				Rule: RuleSlope, Zone: z.Label,
				Text: fmt.Sprintf("zone %s: a slope of %.0f %% is beyond the intake table; its last column is used", z.Label, z.SlopePct),
				Cure: "measure the intake on the slope, or use heads of a low precipitation rate",
			})
		}
	}
	return all
}

// depletionFinding is the month in which a zone's roots draw most beyond what
// is allowed, if there is one.
func (p *planner) depletionFinding(r Result, zone int) (Finding, bool) {
	z := p.zones[zone]
	worst, found := 1+1e-9, Finding{} // a day's rounding error is forgiven
	for m := range r.Months {
		run := r.Months[m].Runs[zone]
		if run.Days == 0 {
			continue
		}
		d := p.demandOf(z, m)
		if share := run.Days.largestDeficit() / d.deficit; share > worst {
			worst = share
			lacking := Depth(run.Days.largestDeficit()) * d.dailyUse
			found = Finding{
				Rule: RuleDepletion, Month: time.Month(m + 1), Zone: z.Label,
				Text: fmt.Sprintf("%s: zone %s lacks up to %v before a watering on %s; its roots may draw %v",
					time.Month(m+1), z.Label, lacking, run.Days, p.ready(z)),
				Cure: "allow days that lie more evenly, or grow deeper roots",
			}
		}
	}
	return found, found.Rule != ""
}
