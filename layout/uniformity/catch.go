package uniformity

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"lotwright/layout"
)

// CatchTest is how a catch-can test was run. What is not known is zero.
type CatchTest struct {
	RunTime time.Duration // of each zone
	// MouthCM2 is the area of a can's mouth in cm², all being alike: it turns
	// volumes into depths.
	MouthCM2 float64
	Wind     *Speed // the highest noted; nil: none was noted
	Rule     CountRule
}

// Speed is a wind speed in metres per second.
type Speed float64

// metresPerSecondPerMPH is exact.
const metresPerSecondPerMPH = 0.44704

// MPH returns the speed of v miles per hour.
func MPH(v float64) Speed { return Speed(v * metresPerSecondPerMPH) }

// MPH returns s in miles per hour.
func (s Speed) MPH() float64 { return float64(s) / metresPerSecondPerMPH }

// String writes s in both systems, for messages.
func (s Speed) String() string { return fmt.Sprintf("%.1f mph (%.1f m/s)", s.MPH(), float64(s)) }

// RoundMouthCM2 returns the area of a round mouth in cm².
func RoundMouthCM2(diameter layout.Length) float64 {
	return math.Pi / 4 * diameter.Metres() * diameter.Metres() * squareCentimetres
}

const (
	squareCentimetres  = 1e4 // in a square metre
	cm2PerSquareInch   = 6.4516
	millimetresPerCM   = 10
	secondsPerMinute   = 60.0
	leastCans          = 24  // landscapemanagement.net, step-by-step audit
	enoughMLPerSqInch  = 1.5 // the same: a mouth of 30 in² should hold 45 ml
	evenLeast          = 0.8 // CU; Scott and Corry, California Agriculture
	countedInQuarters  = 4
	mostWindMPH        = 5 // ASAE S398.1, as cited in the audit guidelines of 2009
	mlPerCM2PerDepthMM = 1.0 / millimetresPerCM
)

// Audit is what a catch-can test tells.
type Audit struct {
	Unit  CanUnit
	Whole ZoneCatch
	// Zones holds the zones that the file tells apart, by number.
	Zones []ZoneCatch
	// Notes are what the published guides for such tests would object to.
	Notes []layout.Note
}

// ZoneCatch is what the cans of a zone tell, or all of them.
type ZoneCatch struct {
	Zone       int // 0: all cans
	Statistics     // in the unit of the readings

	MeanDepthMM        float64 // 0 where the mouth is not known
	Precipitation      Rate    // 0 where the mouth or the run time is not known
	PrecipitationKnown bool
}

// RunTimeFor is how long water must run until a depth has fallen on average,
// longer by [Statistics.RunTimeMultiplier] so that the lower half gets it too;
// 0 where the precipitation rate is not known or is none.
func (z ZoneCatch) RunTimeFor(depthMM float64) time.Duration {
	m := z.RunTimeMultiplier()
	if !z.PrecipitationKnown || z.Precipitation <= 0 || math.IsInf(m, 1) {
		return 0
	}
	return time.Duration(depthMM / z.Precipitation.MMPerHour() * m * float64(time.Hour))
}

// DepthMM is the depth that a reading means; false where the mouth is not known.
func (t CatchTest) DepthMM(reading float64, unit CanUnit) (float64, bool) {
	switch {
	case unit == CanDepth:
		return reading, true
	case t.MouthCM2 > 0:
		return reading / (t.MouthCM2 * mlPerCM2PerDepthMM), true
	}
	return 0, false
}

// rate is the precipitation rate of a depth caught in the run time.
func (t CatchTest) rate(depthMM float64) Rate { return Rate(depthMM / t.RunTime.Hours()) }

// Assess works out the statistics of a test: of all cans, and of each zone where
// the file tells zones apart. It fails when there are no cans, or a run time or
// mouth makes no sense.
func (t CatchTest) Assess(c Catch) (*Audit, error) {
	if !(t.RunTime >= 0) || !(t.MouthCM2 >= 0) || math.IsInf(t.MouthCM2, 1) {
		return nil, fmt.Errorf("catch cans: a run time of %v or a mouth of %v cm² makes no sense", t.RunTime, t.MouthCM2)
	}
	whole, err := t.zone(0, c.Cans, c.Unit)
	if err != nil {
		return nil, fmt.Errorf("catch cans: %w", err)
	}
	a := &Audit{Unit: c.Unit, Whole: whole}
	for _, z := range zonesOf(c.Cans) {
		figures, err := t.zone(z, ofZone(c.Cans, z), c.Unit)
		if err != nil {
			return nil, fmt.Errorf("catch cans, zone %d: %w", z, err)
		}
		a.Zones = append(a.Zones, figures)
	}
	a.Notes = t.notes(c, a)
	return a, nil
}

func (t CatchTest) zone(number int, cans []Can, unit CanUnit) (ZoneCatch, error) {
	var readings []float64
	for _, can := range cans {
		readings = append(readings, can.Reading)
	}
	s, err := Evaluate(readings, t.Rule)
	if err != nil {
		return ZoneCatch{}, err
	}
	z := ZoneCatch{Zone: number, Statistics: s}
	if depth, ok := t.DepthMM(s.Mean, unit); ok {
		z.MeanDepthMM = depth
		if t.RunTime > 0 {
			z.Precipitation, z.PrecipitationKnown = t.rate(depth), true
		}
	}
	return z, nil
}

// zonesOf lists the zones that cans name, by number.
func zonesOf(cans []Can) (zones []int) {
	for _, can := range cans {
		if can.Zone > 0 {
			zones = append(zones, can.Zone)
		}
	}
	slices.Sort(zones)
	return slices.Compact(zones)
}

func ofZone(cans []Can, zone int) (out []Can) {
	for _, can := range cans {
		if can.Zone == zone {
			out = append(out, can)
		}
	}
	return out
}

// notes holds the test against the published guides.
func (t CatchTest) notes(c Catch, a *Audit) (out []layout.Note) {
	note := func(severity layout.Severity, rule, format string, args ...any) {
		out = append(out, layout.Note{Rule: rule, Severity: severity, Text: fmt.Sprintf(format, args...)})
	}
	if n := len(c.Cans); n < leastCans {
		note(layout.SeverityWarning, "catch.few_cans", "%d cans; at least %d are asked for, all alike", n, leastCans)
	}
	if n := len(c.Cans); n%countedInQuarters != 0 {
		note(layout.SeverityInfo, "catch.count", "%d cans do not divide by four: what counts as the lowest quarter is a matter of rounding", n)
	}
	switch {
	case t.Wind == nil:
		note(layout.SeverityInfo, "catch.wind_unknown", "no wind was noted; a test counts up to %v", MPH(mostWindMPH))
	case *t.Wind > MPH(mostWindMPH):
		note(layout.SeverityWarning, "catch.windy", "wind of %v; a test counts up to %v", *t.Wind, MPH(mostWindMPH))
	}
	if c.Unit == CanVolume && t.MouthCM2 == 0 {
		note(layout.SeverityInfo, "catch.mouth_unknown", "the mouth of the cans is not known: no depth and no precipitation rate")
	}
	if t.RunTime == 0 {
		note(layout.SeverityInfo, "catch.run_time_unknown", "the run time is not known: no precipitation rate")
	}
	if need, ok := t.enough(c.Unit); ok && a.Whole.Mean < need {
		note(layout.SeverityWarning, "catch.small", "%.1f %s were caught on average and %.1f are asked for%s",
			a.Whole.Mean, c.Unit, need, t.runLonger(need/a.Whole.Mean))
	}
	if cu := a.Whole.CU; cu < evenLeast {
		note(layout.SeverityInfo, "catch.uneven", "CU is %.0f %%; %.0f %% is the usual lower limit", 100*cu, 100*evenLeast)
	}
	return append(out, dryCans(c.Cans)...)
}

// enough is the least mean reading for a test to be read well: 1.5 ml for every
// square inch of mouth, 2.3 mm deep.
func (t CatchTest) enough(unit CanUnit) (float64, bool) {
	if unit == CanDepth {
		return enoughMLPerSqInch / cm2PerSquareInch * millimetresPerCM, true
	}
	return t.MouthCM2 / cm2PerSquareInch * enoughMLPerSqInch, t.MouthCM2 > 0
}

// runLonger says how long the test should have run.
func (t CatchTest) runLonger(times float64) string {
	if t.RunTime == 0 || math.IsInf(times, 0) || math.IsNaN(times) {
		return ""
	}
	return fmt.Sprintf(": run for %.0f minutes", math.Ceil(t.RunTime.Minutes()*times))
}

// dryCans says which cans stayed dry, each at its place.
func dryCans(cans []Can) (out []layout.Note) {
	for _, can := range cans {
		if can.Reading == 0 {
			out = append(out, layout.Note{Rule: "catch.dry", Severity: layout.SeverityWarning, At: can.At,
				Text: can.name() + " stayed dry"})
		}
	}
	return out
}

// name is how a can is called in messages.
func (c Can) name() string {
	if c.Label == "" {
		return fmt.Sprintf("the can of line %d", c.Line)
	}
	return "can " + c.Label
}

// wettedRate is the rate that still counts as wetted when a throw is measured:
// 0.26 mm/h (ASABE S398.1, from memory of the standard).
const wettedRate Rate = 0.26

// WettedRadius is the throw that a line of cans from a head shows: the distance
// to the farthest place that still gets 0.26 mm/h, between the last can that
// does and the next by straight line. It fails when depths or times are not
// known, when fewer than two cans have a distance, when none is wetted, or when
// the farthest still is: then the throw is longer than the line.
func (t CatchTest) WettedRadius(c Catch) (layout.Length, error) {
	if t.RunTime <= 0 {
		return 0, fmt.Errorf("line of cans: the run time is not known")
	}
	type mark struct {
		along layout.Length
		rate  Rate
	}
	var marks []mark
	for _, can := range c.Cans {
		depth, ok := t.DepthMM(can.Reading, c.Unit)
		if !ok {
			return 0, fmt.Errorf("line of cans: the mouth of the cans is not known")
		}
		if can.Along != nil {
			marks = append(marks, mark{*can.Along, t.rate(depth)})
		}
	}
	slices.SortFunc(marks, func(a, b mark) int { return cmp.Or(cmp.Compare(a.along, b.along), cmp.Compare(a.rate, b.rate)) })
	last := -1
	for i, m := range marks {
		if m.rate >= wettedRate {
			last = i
		}
	}
	switch {
	case len(marks) < 2:
		return 0, fmt.Errorf("line of cans: at least two cans with a distance are needed")
	case last < 0:
		return 0, fmt.Errorf("line of cans: none got %v", wettedRate)
	case last == len(marks)-1:
		return 0, fmt.Errorf("line of cans: the farthest, at %v, is still wetted; the throw is longer", marks[last].along)
	}
	a, b := marks[last], marks[last+1]
	return a.along + (b.along-a.along)*layout.Length((a.rate-wettedRate)/(a.rate-b.rate)), nil
}
