package schedule_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/schedule"
)

// demoPlan is three zones under the invented climate: two variable-throw heads
// on clay loam, and a group of fixed-arc heads on a slope of sandy loam.
func demoPlan(t require.TestingT) schedule.Result {
	climate, err := schedule.DemoClimate()
	require.NoError(t, err)
	h1 := schedule.HeadZone(layout.Head{Label: "H1", Flow: layout.GPM(4.7), WettedArea: 110})
	h2 := schedule.HeadZone(layout.Head{Label: "H2", Flow: layout.GPM(4.7), WettedArea: 85})
	z3 := schedule.GroupZone("Z3", []layout.Head{{Flow: 9}, {Flow: 9}, {Flow: 4.5}}, 33)
	h1.Soil, h2.Soil = soil(t, "clay loam"), soil(t, "clay loam")
	z3.Soil, z3.SlopePct = soil(t, "sandy loam"), 10
	return plan(t, schedule.Input{Zones: []schedule.Zone{h1, h2, z3}, Climate: climate})
}

// ExamplePlan prints a year for three zones under the invented climate.
func ExamplePlan() {
	climate, err := schedule.DemoClimate()
	if err != nil {
		fmt.Println(err)
		return
	}
	zones := []schedule.Zone{
		schedule.HeadZone(layout.Head{Label: "H1", Flow: layout.GPM(4.7), WettedArea: 110}),
		schedule.HeadZone(layout.Head{Label: "H2", Flow: layout.GPM(4.7), WettedArea: 85}),
	}
	year, err := schedule.Plan(schedule.Input{Zones: zones, Climate: climate})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("month      ET0    H1: days, minutes   H2: days, minutes    water")
	for _, m := range year.Months {
		h1, h2 := m.Runs[0], m.Runs[1]
		fmt.Printf("%-9s  %3.0f mm  %d × %2d min          %d × %2d min          %4.1f m³\n", m.Month, m.ET0.MM(),
			h1.Days.Count(), h1.Cycles.Total(), h2.Days.Count(), h2.Cycles.Total(), m.Volume.Litres()/1000)
	}
	fmt.Printf("%s; %.0f m³ a year, %.0f %% less than\n%s\n", year.Status, year.Volume.Litres()/1000, 100*year.Savings.Share, year.Savings.Statement)
	fmt.Println(year.Findings[0].Text)
	// Output:
	// month      ET0    H1: days, minutes   H2: days, minutes    water
	// January     31 mm  0 ×  0 min          0 ×  0 min           0.0 m³
	// February    41 mm  0 ×  0 min          0 ×  0 min           0.0 m³
	// March       76 mm  2 × 45 min          2 × 35 min          12.6 m³
	// April      108 mm  2 × 68 min          2 × 53 min          18.5 m³
	// May        143 mm  3 × 60 min          3 × 46 min          25.1 m³
	// June       176 mm  4 × 61 min          4 × 47 min          32.9 m³
	// July       203 mm  5 × 55 min          5 × 43 min          38.6 m³
	// August     184 mm  4 × 62 min          4 × 48 min          34.7 m³
	// September  136 mm  3 × 62 min          3 × 48 min          25.2 m³
	// October     89 mm  2 × 57 min          2 × 44 min          15.9 m³
	// November    47 mm  0 ×  0 min          0 ×  0 min           0.0 m³
	// December    30 mm  0 ×  0 min          0 ×  0 min           0.0 m³
	// fits; 203 m³ a year, 33 % less than
	// a controller set once, to this plan's run times of July, and left so in every month that needs any water (an assumption)
	// not watered, since nights freeze: January, February, November, December
}

func TestRunTable(t *testing.T) {
	r := demoPlan(t)
	rows := schedule.RunRows("=lot", r)
	require.Len(t, rows, 12*3)
	litres := 0.0
	for i, row := range rows {
		require.Len(t, row, len(schedule.RunHeader()))
		assert.Equal(t, strconv.Itoa(i/3+1), row[1])
		assert.Equal(t, []string{"H1", "H2", "Z3"}[i%3], row[2])
		v, err := strconv.ParseFloat(row[15], 64)
		require.NoError(t, err)
		litres += v
		assert.Equal(t, "'=lot", row[0], "no formula reaches a spreadsheet")
	}
	assert.InDelta(t, r.Volume.Litres(), litres, 0.5*36)
}

// TestProgramTable: a controller set by the table alone gives each zone the
// month's minutes.
func TestProgramTable(t *testing.T) {
	r := demoPlan(t)
	var file bytes.Buffer
	require.NoError(t, schedule.WriteCSV(&file, schedule.ProgramHeader(), schedule.ProgramRows("7", r)))
	rows, err := csv.NewReader(&file).ReadAll()
	require.NoError(t, err)
	assert.Equal(t, schedule.ProgramHeader(), rows[0])
	minutes := map[string]int{}
	for _, row := range rows[1:] {
		n, err := strconv.Atoi(row[7])
		require.NoError(t, err)
		minutes[row[1]+row[6]] += n * len(strings.Fields(row[2]))
		assert.Regexp(t, `^\d\d:\d\d$`, row[3])
	}
	for _, m := range r.Months {
		for z, run := range m.Runs {
			assert.Equal(t, run.MinutesPerWeek(), minutes[fmt.Sprint(int(m.Month))+r.Zones[z].Label])
		}
	}
}

func calendar(t *testing.T, lot string, r schedule.Result) string {
	var b bytes.Buffer
	require.NoError(t, schedule.WriteCalendar(&b, schedule.Calendar{
		Lot: lot, Year: 2026, Stamp: time.Date(2026, 3, 1, 12, 30, 5, 0, time.FixedZone("", -6*3600)),
	}, r))
	return b.String()
}

// unfolded undoes the folding and returns the lines (RFC 5545, section 3.1).
func unfolded(t *testing.T, text string) []string {
	for _, line := range strings.SplitAfter(strings.TrimSuffix(text, "\r\n"), "\r\n") {
		assert.LessOrEqual(t, len(strings.TrimSuffix(line, "\r\n")), 75)
		assert.NotContains(t, strings.TrimSuffix(line, "\r\n"), "\r")
	}
	assert.Equal(t, strings.Count(text, "\n"), strings.Count(text, "\r\n"), "no bare line feed")
	return strings.Split(strings.TrimSuffix(strings.ReplaceAll(text, "\r\n ", ""), "\r\n"), "\r\n")
}

// property returns the values of one property, in order.
func property(lines []string, name string) []string {
	var values []string
	for _, l := range lines {
		if v, ok := strings.CutPrefix(l, name+":"); ok {
			values = append(values, v)
		}
	}
	return values
}

// TestCalendarCarriesTheProgram: every date of 2026 that the rules name,
// expanded here by walking the year, has exactly the runs of its month.
func TestCalendarCarriesTheProgram(t *testing.T) {
	r := demoPlan(t)
	lines := unfolded(t, calendar(t, "7", r))
	rules, starts, texts := property(lines, "RRULE"), property(lines, "DTSTART"), property(lines, "DESCRIPTION")
	require.NotEmpty(t, rules)
	require.Len(t, starts, len(rules))
	require.Len(t, texts, len(rules))
	shape := regexp.MustCompile(`^FREQ=WEEKLY;BYMONTH=([\d,]+);BYDAY=([A-Z,]+)$`)
	minutes := map[time.Month]int{} // in July 2026 and the like, all zones
	for i, rule := range rules {
		parts := shape.FindStringSubmatch(rule)
		require.NotNil(t, parts, rule)
		runs := 0
		for _, n := range regexp.MustCompile(`(\d+) min`).FindAllStringSubmatch(texts[i], -1) {
			v, err := strconv.Atoi(n[1])
			require.NoError(t, err)
			runs += v
		}
		first := ""
		for d := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC); d.Year() == 2026; d = d.AddDate(0, 0, 1) {
			if slices.Contains(strings.Split(parts[1], ","), strconv.Itoa(int(d.Month()))) &&
				slices.Contains(strings.Split(parts[2], ","), strings.ToUpper(d.Weekday().String()[:2])) {
				minutes[d.Month()] += runs
				first = cmpOr(first, d.Format("20060102"))
			}
		}
		assert.Equal(t, first+"T220000", starts[i], "the first event is one that the rule names")
	}
	for _, m := range r.Months {
		want := 0
		for d := time.Date(2026, m.Month, 1, 0, 0, 0, 0, time.UTC); d.Month() == m.Month; d = d.AddDate(0, 0, 1) {
			for _, run := range m.Runs {
				if run.Days.Has(d.Weekday()) {
					want += run.Cycles.Total()
				}
			}
		}
		assert.Equal(t, want, minutes[m.Month], "%s", m.Month)
	}
}

func cmpOr(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func TestCalendarIsSteady(t *testing.T) {
	r := demoPlan(t)
	a, b := calendar(t, "7", r), calendar(t, "7", r)
	assert.Equal(t, a, b)
	lines := unfolded(t, a)
	uids := property(lines, "UID")
	other := property(unfolded(t, calendar(t, "8", r)), "UID")
	slices.Sort(uids)
	assert.Len(t, slices.Compact(append(slices.Clone(uids), other...)), len(uids)+len(other))
	for _, stamp := range property(lines, "DTSTAMP") {
		assert.Equal(t, "20260301T183005Z", stamp, "in UTC")
	}
}

// TestCalendarEscapes: commas, semicolons, backslashes and line ends of a lot's
// name, and letters of several octets where a line must be folded.
func TestCalendarEscapes(t *testing.T) {
	long := strings.Repeat("é", 60) + strings.Repeat("x", 200)
	name := "a,b;c\\d\ne\rf\x00 " + long + "\xff"
	lines := unfolded(t, calendar(t, name, demoPlan(t)))
	assert.Equal(t, `Watering\, lot a\,b\;c\\d\nef `+long+"\uFFFD", property(lines, "SUMMARY")[0])
}

func TestEmptyCalendar(t *testing.T) {
	r := plan(t, schedule.Input{Zones: []schedule.Zone{tenMM("Z1")}})
	assert.Equal(t, "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Lotwright//schedule//EN\r\nCALSCALE:GREGORIAN\r\nEND:VCALENDAR\r\n", calendar(t, "", r))
	assert.ErrorContains(t, schedule.WriteCalendar(&bytes.Buffer{}, schedule.Calendar{}, r), "year 0")
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestWriteErrorsAreReported(t *testing.T) {
	r := demoPlan(t)
	assert.ErrorContains(t, schedule.WriteCSV(full{}, schedule.RunHeader(), schedule.RunRows("", r)), "no space left")
	assert.ErrorContains(t, schedule.WriteCalendar(full{}, schedule.Calendar{Year: 2026}, r), "no space left")
}
