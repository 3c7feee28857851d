package schedule_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/schedule"
)

func parse(text string, site *schedule.Site) (schedule.Climate, error) {
	return schedule.ParseWeather(strings.NewReader(text), "test", site)
}

// twelve writes a file of months with the same line for each.
func twelve(header, line string) string {
	text := "month," + header + "\n"
	for m := 1; m <= 12; m++ {
		text += fmt.Sprintf("%d,%s\n", m, line)
	}
	return text
}

func TestMonthsWithET0(t *testing.T) {
	c, err := parse("\uFEFF"+twelve("ET0_in, Rain_MM", "2, 10.5"), nil)
	require.NoError(t, err)
	for _, m := range c.Months {
		assert.Equal(t, schedule.MonthClimate{ET0: 50.8, Rain: 10.5, Method: schedule.MethodGiven}, m)
	}
	assert.Empty(t, c.Days)
}

// TestMonthsFromTemperatures: July in Lyon (FAO-56, Example 20) from
// temperatures alone is Hargreaves; with sunshine it is Penman–Monteith with
// soil heat from June and August, here alike, so none.
func TestMonthsFromTemperatures(t *testing.T) {
	lyon := &schedule.Site{LatitudeDeg: degrees(45, 43), ElevationM: 200}
	c, err := parse(twelve("rain_mm,tmax_c,tmin_c", "0,26.6,14.8"), lyon)
	require.NoError(t, err)
	assert.Equal(t, schedule.MethodHargreaves, c.Months[6].Method)
	assert.InDelta(t, 31*5.033, c.Months[6].ET0.MM(), 31*0.001)

	fahrenheit, err := parse(twelve("rain_mm,tmax_f,tmin_f", "0,79.88,58.64"), lyon)
	require.NoError(t, err)
	assert.InDelta(t, c.Months[6].ET0.MM(), fahrenheit.Months[6].ET0.MM(), 1e-9)

	c, err = parse(twelve("rain_mm,tmax_c,tmin_c,solar_mj,wind_mph", "0,26.6,14.8,22.29,"), lyon)
	require.NoError(t, err)
	assert.Equal(t, schedule.MethodPenmanMonteith, c.Months[6].Method)
	assert.InDelta(t, 31*4.56, c.Months[6].ET0.MM(), 31*0.01)
}

func TestDays(t *testing.T) {
	var b strings.Builder
	b.WriteString("date,et0_mm,rain_in\n")
	for d := time.Date(2024, 12, 31, 0, 0, 0, 0, time.UTC); d.Year() == 2024; d = d.AddDate(0, 0, -1) {
		fmt.Fprintf(&b, "%s,%d,0.5\n", d.Format(time.DateOnly), int(d.Month()))
	}
	c, err := parse(b.String(), nil)
	require.NoError(t, err)
	require.Len(t, c.Days, 366)
	assert.Equal(t, "2024-01-01", c.Days[0].Date.Format(time.DateOnly), "in order, whatever the file's")
	assert.InDelta(t, 7*31, c.Months[6].ET0.MM(), 1e-9)
	assert.InDelta(t, 2*28, c.Months[1].ET0.MM(), 1e-9, "29 days of a leap year count as a mean year's 28")
	rain, err := c.EffectiveRain(schedule.RainDaily)
	require.NoError(t, err)
	assert.InDelta(t, 31*0.4, rain[0].Inches(), 1e-9)
}

func TestWeatherErrorsNameThePlace(t *testing.T) {
	months := twelve("et0_mm,rain_mm", "100,20")
	cases := []struct{ text, want string }{
		{"", "weather: the file holds no line of column names"},
		{"month,et0_mm,rain_mm\n", "weather: the file holds column names but no weather"},
		{"month,et0_mm,rain_mm,snow\n", `weather line 1, column "snow": not a column`},
		{"month,month,et0_mm,rain_mm\n", "weather line 1, column month: stands twice"},
		{"month,date,et0_mm,rain_mm\n", "weather line 1, column date: excludes month"},
		{"month,et0_mm,et0_in,rain_mm\n", "column et0_in: excludes et0_mm"},
		{"et0_mm,rain_mm\n", "weather line 1: a weather file needs a column month or date"},
		{"month,et0_mm\n", "needs a column rain_mm"},
		{"month,rain_mm,tmax_c\n", "needs a column et0_mm"},
		{"month,et0_mm,rain_mm\n1,2,3,4\n", "weather line 2: wrong number of fields"},
		{"month,et0_mm,rain_mm\n1,2,\"3\n", "weather line"},
		{"month,et0_mm,rain_mm\n13,2,3\n", `weather line 2, column month: "13" is not a month`},
		{"month,et0_mm,rain_mm\n1,x,3\n", `weather line 2, column et0_mm: "x" is not a number`},
		{"month,et0_mm,rain_mm\n1,NaN,3\n", `column et0_mm: "NaN" is not a number`},
		{"month,et0_mm,rain_mm\n1,-2,3\n", "column et0_mm: -2 is no weather"},
		{"month,et0_mm,rain_mm\n1,2,\n", "weather line 2, column rain: is empty"},
		{"month,rain_mm,tmax_c,tmin_c\n1,2,10,11\n", "weather line 2, column tmin: is above tmax"},
		{"date,et0_mm,rain_mm\n2025-02-30,2,3\n", `column date: "2025-02-30" is not a date`},
		{"date,et0_mm,rain_mm\n2025-02-03,2,3\n2025-02-03,2,3\n", "weather line 3, column date: 2025-02-03 stands on line 2 already"},
		{"date,et0_mm,rain_mm\n2025-02-03,2,3\n", "no day of January"},
		{"date,et0_mm,rain_mm\n2025-02-03,31,3\n", "weather line 2, column et0: 31 mm is not the ET0 of a day"},
		{months + "7,100,20\n", "weather line 14, column month: 7 stands on line 8 already"},
		{strings.Replace(months, "7,100,20\n", "", 1), "weather: no line for month 7"},
		{twelve("rain_mm,tmax_c,tmin_c", "1,20,10"), "weather line 2: ET0 from temperatures needs the latitude"},
		{twelve("rain_mm,tmax_c,tmin_c", "1,20,"), "weather line 2: gives neither ET0 nor both temperatures"},
	}
	for _, c := range cases {
		_, err := parse(c.text, nil)
		assert.ErrorContains(t, err, c.want, c.text)
		var placed *schedule.WeatherError
		assert.ErrorAs(t, err, &placed)
	}
	_, err := parse(twelve("rain_mm,tmax_c,tmin_c", "1,20,10"), &schedule.Site{LatitudeDeg: 95})
	assert.ErrorContains(t, err, "weather line 2: latitude (degrees) is 95")
	_, err = schedule.ParseWeather(failing{}, "test", nil)
	assert.ErrorContains(t, err, "the disk is gone")
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, errors.New("the disk is gone") }

func TestWeatherFileIsLimited(t *testing.T) {
	endless := "date,et0_mm,rain_mm\n" + strings.Repeat("2025-02-03,2,3\n", 40002)
	_, err := parse(endless, nil)
	assert.ErrorContains(t, err, "larger than")
}

func TestDemoClimate(t *testing.T) {
	c, err := schedule.DemoClimate()
	require.NoError(t, err)
	assert.Contains(t, schedule.DemoWeatherCSV, "invented")
	assert.Contains(t, c.Name, "invented")
	for i, m := range c.Months {
		assert.Equal(t, schedule.MethodPenmanMonteith, m.Method)
		if i > 0 && i < 7 {
			assert.Greater(t, m.ET0, c.Months[i-1].ET0, "it rises to July")
		}
	}
	assert.InDelta(t, 6.5, c.Months[6].ET0.MM()/31, 1, "a dry summer's day")
}

// FuzzWeather: whatever the bytes, either an error that names a rule or twelve
// months that a plan can use.
func FuzzWeather(f *testing.F) {
	f.Add([]byte(schedule.DemoWeatherCSV))
	f.Add([]byte(twelve("et0_mm,rain_mm", "100,20")))
	f.Add([]byte("date,tmax_f,tmin_f,rain_in\n2025-01-01,50,30,0\n"))
	f.Add([]byte("month,rain_mm,et0_mm\n\"1\",\"2\n\",3"))
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := schedule.ParseWeather(strings.NewReader(string(text)), "fuzz", &schedule.DemoSite)
		if err != nil {
			var placed *schedule.WeatherError
			if !errors.As(err, &placed) || placed.Rule == "" {
				t.Fatalf("%v", err)
			}
			return
		}
		for _, m := range c.Months {
			if !(m.ET0 >= 0 && m.ET0 < 1000 && m.Rain >= 0) || math.IsInf(m.Rain.MM(), 0) {
				t.Fatalf("%+v", m)
			}
		}
		if _, err := schedule.Plan(schedule.Input{Zones: []schedule.Zone{tenMM("Z1")}, Climate: c}); err != nil {
			t.Fatal(err)
		}
	})
}
