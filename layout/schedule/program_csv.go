package schedule

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
)

// RunHeader names the columns of [RunRows].
func RunHeader() []string {
	return []string{
		"lot", "month", "zone", "need_mm", "need_in", "interval_days", "days", "waterings_per_week",
		"cycles", "minutes_per_cycle", "soak_minutes", "minutes_per_watering", "minutes_per_week",
		"applied_mm", "applied_in", "volume_l", "volume_gal",
	}
}

// RunRows is the months × zones table, a row each. The lot may be empty.
func RunRows(lot string, r Result) [][]string {
	var rows [][]string
	for _, m := range r.Months {
		for z, run := range m.Runs {
			rows = append(rows, []string{
				inert(lot), number(int(m.Month)), inert(r.Zones[z].Label),
				decimal(run.Need.MM(), 1), decimal(run.Need.Inches(), 2),
				number(run.IntervalDays), run.Days.String(), number(run.Days.Count()),
				number(run.Cycles.Count), number(run.Cycles.Minutes), number(run.Cycles.SoakMinutes),
				number(run.Cycles.Total()), number(run.MinutesPerWeek()),
				decimal(run.Applied.MM(), 1), decimal(run.Applied.Inches(), 2),
				decimal(run.Volume.Litres(), 0), decimal(run.Volume.Gallons(), 0),
			})
		}
	}
	return rows
}

// ProgramHeader names the columns of [ProgramRows].
func ProgramHeader() []string {
	return []string{"lot", "month", "days", "start", "end", "after_midnight", "zone", "minutes"}
}

// ProgramRows is what to enter into any controller, a row a start in order of
// time. Days are those on which the program begins; after_midnight is 1 for a
// start on the morning after.
func ProgramRows(lot string, r Result) [][]string {
	var rows [][]string
	for _, m := range r.Months {
		for _, p := range m.Program {
			for _, s := range p.Starts {
				rows = append(rows, []string{
					inert(lot), number(int(m.Month)), p.Days.String(), clock(s.FromMinute), clock(s.ToMinute()),
					number(s.FromMinute / minutesPerDay), inert(s.Label), number(s.Minutes),
				})
			}
		}
	}
	return rows
}

// WriteCSV writes a table with its header.
func WriteCSV(w io.Writer, header []string, rows [][]string) error {
	c := csv.NewWriter(w)
	if err := c.Write(header); err != nil {
		return err
	}
	return c.WriteAll(rows) // flushes
}

func number(v int) string { return strconv.Itoa(v) }

func decimal(v float64, places int) string { return strconv.FormatFloat(v, 'f', places, 64) }

// inert keeps a cell of text from being run as a formula by a spreadsheet.
func inert(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}
