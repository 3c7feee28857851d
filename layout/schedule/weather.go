package schedule

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	_ "embed"
)

// DemoWeatherCSV is an invented climate, as a weather file; it goes with [DemoSite].
//
//go:embed demo_climate.csv
var DemoWeatherCSV string

// DemoSite is the invented place of [DemoWeatherCSV].
var DemoSite = Site{LatitudeDeg: 40, ElevationM: 300}

// DemoClimate is the climate of [DemoWeatherCSV].
func DemoClimate() (Climate, error) {
	return ParseWeather(strings.NewReader(DemoWeatherCSV), "invented demonstration climate", &DemoSite)
}

// Limits of a weather file.
const (
	maxWeatherBytes = 16 << 20
	maxWeatherRows  = 40000 // about a century of days
)

// WeatherError says what is wrong in a weather file, and where.
type WeatherError struct {
	Line   int    // from 1; 0 for the file as a whole
	Column string // empty for the line as a whole
	Rule   string
}

// Error writes the place before the rule.
func (e *WeatherError) Error() string {
	var b strings.Builder
	b.WriteString("weather")
	if e.Line > 0 {
		fmt.Fprintf(&b, " line %d", e.Line)
	}
	if e.Column != "" {
		fmt.Fprintf(&b, ", column %s", e.Column)
	}
	return b.String() + ": " + e.Rule
}

// weatherRow is one line, as read.
type weatherRow struct {
	line       int
	month      int       // 1 to 12
	date       time.Time // zero in a file of months
	et0, rain  Reading
	maxC, minC Reading
	weather    Weather
}

// weatherColumn is a column of numbers that a file may have.
type weatherColumn struct {
	name      string
	toSI      func(float64) float64
	low, high float64 // in SI, beyond any weather
	cell      func(*weatherRow) *Reading
}

func asIs(v float64) float64         { return v }
func fromInches(v float64) float64   { return v * millimetresPerInch }
func fromDegreesF(v float64) float64 { return (v - 32) / 1.8 }
func fromMPH(v float64) float64      { return v * 0.44704 } // exact

func et0Cell(r *weatherRow) *Reading  { return &r.et0 }
func rainCell(r *weatherRow) *Reading { return &r.rain }
func maxCell(r *weatherRow) *Reading  { return &r.maxC }
func minCell(r *weatherRow) *Reading  { return &r.minC }
func dewCell(r *weatherRow) *Reading  { return &r.weather.DewPointC }
func windCell(r *weatherRow) *Reading { return &r.weather.WindMPS }

// weatherColumns are the columns of numbers; those of one cell in two units
// exclude each other.
var weatherColumns = []weatherColumn{
	{"et0_mm", asIs, 0, float64(maxMonthET0), et0Cell},
	{"et0_in", fromInches, 0, float64(maxMonthET0), et0Cell},
	{"rain_mm", asIs, 0, float64(maxMonthRain), rainCell},
	{"rain_in", fromInches, 0, float64(maxMonthRain), rainCell},
	{"tmax_c", asIs, -60, 60, maxCell},
	{"tmax_f", fromDegreesF, -60, 60, maxCell},
	{"tmin_c", asIs, -60, 60, minCell},
	{"tmin_f", fromDegreesF, -60, 60, minCell},
	{"dew_c", asIs, -60, 40, dewCell},
	{"dew_f", fromDegreesF, -60, 40, dewCell},
	{"vapour_kpa", asIs, 0, 10, func(r *weatherRow) *Reading { return &r.weather.VapourKPa }},
	{"rh_max_pct", asIs, 0, 100, func(r *weatherRow) *Reading { return &r.weather.HumidityMaxPct }},
	{"rh_min_pct", asIs, 0, 100, func(r *weatherRow) *Reading { return &r.weather.HumidityMinPct }},
	{"rh_mean_pct", asIs, 0, 100, func(r *weatherRow) *Reading { return &r.weather.HumidityMeanPct }},
	{"wind_mps", asIs, 0, 60, windCell},
	{"wind_mph", fromMPH, 0, 60, windCell},
	{"sun_h", asIs, 0, 24, func(r *weatherRow) *Reading { return &r.weather.SunshineHours }},
	{"solar_mj", asIs, 0, 50, func(r *weatherRow) *Reading { return &r.weather.SolarMJ }},
}

// ParseWeather reads a weather file: CSV with a line of column names, in any
// order and letter case. Lines that begin with # are remarks.
//
// A file of months has a column month (1 to 12, each once); a file of days a
// column date (2025-07-31, each once, every month at least once, years as they
// come: the mean year is taken). Both need rain_mm or rain_in, of the whole
// month or the day, and either et0_mm or et0_in, likewise, or temperatures,
// from which ET0 is worked out for the site:
//
//	tmax_c tmin_c (or _f)            mean of the days' highest and lowest
//	dew_c (or _f), vapour_kpa, rh_mean_pct, rh_max_pct with rh_min_pct
//	wind_mps (or wind_mph)           at the site's height of measurement
//	sun_h, solar_mj                  hours of sunshine, MJ/m², of a day
//
// An empty cell is a value that was not measured. A column that is not known is
// refused, since it may be a slip of the pen in one that is. The error is a
// [*WeatherError] unless reading itself fails. The site may be nil where the
// file gives ET0.
func ParseWeather(r io.Reader, name string, site *Site) (Climate, error) {
	rows, err := readWeather(r)
	if err != nil {
		return Climate{}, err
	}
	if rows[0].date.IsZero() {
		return climateOfMonths(name, rows, site)
	}
	return climateOfDays(name, rows, site)
}

// readWeather reads the lines of a file; there is at least one.
func readWeather(r io.Reader) ([]weatherRow, error) {
	limited := &io.LimitedReader{R: r, N: maxWeatherBytes + 1}
	c := csv.NewReader(limited)
	c.Comment, c.TrimLeadingSpace, c.ReuseRecord = '#', true, true
	header, err := c.Read()
	if err != nil {
		return nil, tableFault(err, "the file holds no line of column names")
	}
	read, err := readers(header)
	if err != nil {
		return nil, err
	}
	var rows []weatherRow
	for {
		record, err := c.Read()
		if limited.N <= 0 || len(rows) > maxWeatherRows {
			return nil, &WeatherError{Rule: fmt.Sprintf("the file is larger than %d MiB or %d lines", maxWeatherBytes>>20, maxWeatherRows)}
		}
		if errors.Is(err, io.EOF) && len(rows) > 0 {
			return rows, nil
		}
		if err != nil {
			return nil, tableFault(err, "the file holds column names but no weather")
		}
		line, _ := c.FieldPos(0)
		row, err := readRow(line, record, read)
		if err != nil {
			return nil, err
		}
		rows = append(rows, row)
	}
}

// tableFault is an error of the CSV reader with its line, or the given rule at
// the end of the file.
func tableFault(err error, atEnd string) error {
	var parse *csv.ParseError
	switch {
	case errors.Is(err, io.EOF):
		return &WeatherError{Rule: atEnd}
	case errors.As(err, &parse):
		return &WeatherError{Line: parse.Line, Rule: parse.Err.Error()}
	}
	return fmt.Errorf("weather: %w", err)
}

// cellReader reads one cell into a row.
type cellReader struct {
	name string
	read func(row *weatherRow, text string) error
}

// readers finds what reads each column.
func readers(header []string) ([]cellReader, error) {
	var read []cellReader
	var names []string
	for _, h := range header {
		name := strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\uFEFF")))
		cell, known := readerOf(name)
		switch {
		case !known:
			return nil, &WeatherError{Line: 1, Column: strconv.Quote(name), Rule: "not a column of a weather file; known are month, date, " + columnNames()}
		case slices.Contains(names, name):
			return nil, &WeatherError{Line: 1, Column: name, Rule: "stands twice"}
		}
		names = append(names, name)
		read = append(read, cell)
	}
	return read, checkColumns(names)
}

func readerOf(name string) (cellReader, bool) {
	switch name {
	case "month":
		return cellReader{name, readMonth}, true
	case "date":
		return cellReader{name, readDate}, true
	}
	i := slices.IndexFunc(weatherColumns, func(c weatherColumn) bool { return c.name == name })
	if i < 0 {
		return cellReader{}, false
	}
	return cellReader{name, weatherColumns[i].read}, true
}

func columnNames() string {
	var names []string
	for _, c := range weatherColumns {
		names = append(names, c.name)
	}
	return strings.Join(names, ", ")
}

// checkColumns says which column is missing or one too many.
func checkColumns(names []string) error {
	has := func(name string) bool { return slices.Contains(names, name) }
	either := func(a, b string) bool { return has(a) || has(b) }
	for _, pair := range [][2]string{
		{"month", "date"}, {"et0_mm", "et0_in"}, {"rain_mm", "rain_in"}, {"tmax_c", "tmax_f"},
		{"tmin_c", "tmin_f"}, {"dew_c", "dew_f"}, {"wind_mps", "wind_mph"},
	} {
		if has(pair[0]) && has(pair[1]) {
			return &WeatherError{Line: 1, Column: pair[1], Rule: "excludes " + pair[0]}
		}
	}
	switch {
	case !either("month", "date"):
		return &WeatherError{Line: 1, Rule: "a weather file needs a column month or date"}
	case !either("rain_mm", "rain_in"):
		return &WeatherError{Line: 1, Rule: "a weather file needs a column rain_mm or rain_in"}
	case !either("et0_mm", "et0_in") && !(either("tmax_c", "tmax_f") && either("tmin_c", "tmin_f")):
		return &WeatherError{Line: 1, Rule: "a weather file needs a column et0_mm or et0_in, or temperatures tmax_c and tmin_c"}
	}
	return nil
}

func readRow(line int, record []string, read []cellReader) (weatherRow, error) {
	row := weatherRow{line: line}
	for i, cell := range read {
		if err := cell.read(&row, strings.TrimSpace(record[i])); err != nil {
			return row, &WeatherError{Line: line, Column: cell.name, Rule: err.Error()}
		}
	}
	if !row.rain.Known {
		return row, &WeatherError{Line: line, Column: "rain", Rule: "is empty; write 0 where none fell"}
	}
	if row.maxC.Known && row.minC.Known && row.minC.Value > row.maxC.Value {
		return row, &WeatherError{Line: line, Column: "tmin", Rule: "is above tmax"}
	}
	return row, nil
}

func readMonth(row *weatherRow, text string) error {
	m, err := strconv.Atoi(text)
	if err != nil || m < 1 || m > monthsPerYear {
		return fmt.Errorf("%q is not a month, 1 to 12", text)
	}
	row.month = m
	return nil
}

func readDate(row *weatherRow, text string) error {
	d, err := time.Parse(time.DateOnly, text)
	if err != nil || d.IsZero() {
		return fmt.Errorf("%q is not a date such as 2025-07-31", text)
	}
	row.date, row.month = d, int(d.Month())
	return nil
}

func (c weatherColumn) read(row *weatherRow, text string) error {
	if text == "" {
		return nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("%q is not a number", text)
	}
	si := c.toSI(v)
	if si < c.low || si > c.high {
		return fmt.Errorf("%s is no weather", text)
	}
	*c.cell(row) = Measured(si)
	return nil
}

// climateOfMonths takes twelve rows, one a month in any order.
func climateOfMonths(name string, rows []weatherRow, site *Site) (Climate, error) {
	var months [monthsPerYear]*weatherRow
	for i := range rows {
		m := &months[rows[i].month-1]
		if *m != nil {
			return Climate{}, &WeatherError{Line: rows[i].line, Column: "month", Rule: fmt.Sprintf("%d stands on line %d already", rows[i].month, (*m).line)}
		}
		*m = &rows[i]
	}
	c := Climate{Name: name}
	for m, row := range months {
		if row == nil {
			return Climate{}, &WeatherError{Rule: fmt.Sprintf("no line for month %d", m+1)}
		}
		row.weather.DayOfYear = MidMonthDay(m + 1)
		row.weather.SoilHeatMJ = soilHeatOf(months, m)
		et0, err := row.et0PerDay(site)
		if err != nil {
			return Climate{}, err
		}
		whole := row.et0Of(et0.PerDay * Depth(daysInMonth[m]))
		c.Months[m] = MonthClimate{ET0: whole, Rain: Depth(row.rain.Value), Method: et0.Method, MinC: row.minC}
	}
	return c, nil
}

// soilHeatOf is G from the months before and after, 0 where their temperatures
// are not known.
func soilHeatOf(months [monthsPerYear]*weatherRow, m int) float64 {
	before, after := months[(m+monthsPerYear-1)%monthsPerYear], months[(m+1)%monthsPerYear]
	if before == nil || after == nil || !before.warmthKnown() || !after.warmthKnown() {
		return 0
	}
	return MonthSoilHeatMJ(before.meanC(), after.meanC())
}

func (r *weatherRow) warmthKnown() bool { return r.maxC.Known && r.minC.Known }
func (r *weatherRow) meanC() float64    { return (r.maxC.Value + r.minC.Value) / 2 }

// et0Of is the ET0 that the line gives, else the one worked out.
func (r *weatherRow) et0Of(workedOut Depth) Depth {
	if r.et0.Known {
		return Depth(r.et0.Value)
	}
	return workedOut
}

// et0PerDay works out ET0, unless the line gives it.
func (r *weatherRow) et0PerDay(site *Site) (ET0, error) {
	switch {
	case r.et0.Known:
		return ET0{Method: MethodGiven}, nil
	case !r.warmthKnown():
		return ET0{}, &WeatherError{Line: r.line, Rule: "gives neither ET0 nor both temperatures"}
	case site == nil:
		return ET0{}, &WeatherError{Line: r.line, Rule: "ET0 from temperatures needs the latitude of the place"}
	}
	r.weather.MaxC, r.weather.MinC = r.maxC.Value, r.minC.Value
	et0, err := Reference(*site, r.weather)
	if err != nil {
		return ET0{}, &WeatherError{Line: r.line, Rule: err.Error()}
	}
	return et0, nil
}

// maxDayET0 is beyond any day on earth.
const maxDayET0 = 30

// climateOfDays takes days in any order, each once.
func climateOfDays(name string, rows []weatherRow, site *Site) (Climate, error) {
	lines := map[time.Time]int{}
	var days []DayClimate
	for i := range rows {
		row := &rows[i]
		if line, twice := lines[row.date]; twice {
			return Climate{}, &WeatherError{Line: row.line, Column: "date", Rule: fmt.Sprintf("%s stands on line %d already", row.date.Format(time.DateOnly), line)}
		}
		lines[row.date] = row.line
		row.weather.DayOfYear = row.date.YearDay()
		et0, err := row.et0PerDay(site)
		if err != nil {
			return Climate{}, err
		}
		if row.et0.Value > maxDayET0 {
			return Climate{}, &WeatherError{Line: row.line, Column: "et0", Rule: fmt.Sprintf("%v mm is not the ET0 of a day", row.et0.Value)}
		}
		days = append(days, DayClimate{Date: row.date, ET0: row.et0Of(et0.PerDay), Rain: Depth(row.rain.Value), Method: et0.Method, MinC: row.minC})
	}
	slices.SortFunc(days, func(a, b DayClimate) int { return a.Date.Compare(b.Date) })
	c, err := ClimateOfDays(name, days)
	if err != nil {
		return Climate{}, &WeatherError{Rule: err.Error()}
	}
	if err := c.validate(); err != nil {
		return Climate{}, &WeatherError{Rule: err.Error()}
	}
	return c, nil
}
