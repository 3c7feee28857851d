package cli

import (
	"fmt"
	"io"
	"path/filepath"
	"time"

	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/hydraulic"
	"lotwright/layout/rules"
	"lotwright/layout/schedule"
	"lotwright/layout/takeoff"
	"lotwright/server/sheet"
)

// priceFlags say what things cost.
type priceFlags struct {
	Prices string `placeholder:"FILE.csv" help:"Price list: columns item, size, unit, price and labour_minutes. Default: an invented one, in no real currency." group:"Parts:"`
}

func (f priceFlags) prices() (takeoff.PriceList, error) {
	if f.Prices == "" {
		return takeoff.InventedPrices(), nil
	}
	list, err := readTable("--prices", f.Prices, takeoff.ReadPrices)
	if err != nil {
		return list, usageError{err}
	}
	return list, nil
}

// partFlags say what parts are made of and cost.
type partFlags struct {
	priceFlags
	Sticks []layout.Length `sep:"," placeholder:"20ft,10ft" help:"Lengths that pipe is sold in." group:"Parts:"`
}

// runTimeFlags say what run times rest on.
type runTimeFlags struct {
	Soil    string  `placeholder:"loam" help:"Soil of the lawn." group:"Run times:"`
	Slope   float64 `placeholder:"2" help:"Its slope, per cent." group:"Run times:"`
	Weather string  `placeholder:"FILE.csv" help:"Monthly or daily weather. Default: an invented climate." group:"Run times:"`
	Days    string  `name:"water-days" placeholder:"mon,wed,fri" help:"Days on which watering may begin. Default: any." group:"Run times:"`
	Window  string  `name:"water-window" placeholder:"22:00-06:00" help:"When water may run." group:"Run times:"`
	Season  string  `placeholder:"apr-oct" help:"Months that are watered. Default: those not known to freeze." group:"Run times:"`
	Rain    string  `placeholder:"quarter" help:"Rule for the rain that counts: quarter, daily or monthly." group:"Run times:"`
	Tiers   string  `placeholder:"8@3.00,20@4.50,6.00" help:"Water rates by tier: up to 8 units at 3.00, up to 20 at 4.50, all above at 6.00. Default: invented ones." group:"Run times:"`
}

// sheetFlags say how sheets are printed.
type sheetFlags struct {
	Paper    string `enum:"letter,a4" default:"letter" help:"Paper of the field sheets." group:"Output:"`
	Units    string `enum:"us,metric" default:"us" help:"Units of the field sheets." group:"Output:"`
	DateText string `name:"date" placeholder:"2026-05-01" help:"Date to put on what is printed. Default: today." group:"Output:"`
}

// ruleFlags choose published rules.
type ruleFlags struct {
	Rules   []string `sep:"," placeholder:"us-tx" help:"Published rules to hold the designs against, besides the general ones: names of rules or places." group:"Rules:"`
	NoRules []string `sep:"," placeholder:"ID" help:"Rules or places to leave out." group:"Rules:"`
}

// jobFlags ask for what follows from a design, and say what it rests on.
type jobFlags struct {
	partFlags
	runTimeFlags
	ruleFlags
	sheetFlags
}

// wholeJob is what the flags ask for, understood.
type wholeJob struct {
	folder  string // empty: nothing asked for
	prices  takeoff.PriceList
	takeoff takeoff.Settings
	plan    schedule.Input // without zones
	soil    schedule.Soil
	slope   float64
	tariff  schedule.Tariff
	sheets  sheet.Settings
	rules   []rules.Rule
	design  design.Settings // that the lots are designed with
	date    time.Time
}

// job reads the flags; faults are of usage.
func (f jobFlags) job() (j wholeJob, err error) {
	if j.prices, err = f.prices(); err != nil {
		return j, err
	}
	j.takeoff = takeoff.Settings{Sticks: f.Sticks, Bore: boreOf, Wire: wireFor}
	for _, read := range []func(*wholeJob) error{f.readPlan, f.readTariff, f.readDate, f.readRules} {
		if err := read(&j); err != nil {
			return j, usageError{err}
		}
	}
	j.sheets = f.sheets(j.date)
	return j, nil
}

// sheets are the settings of the sheets.
func (f sheetFlags) sheets(date time.Time) sheet.Settings {
	s := sheet.Settings{Date: date}
	if f.Paper == "a4" {
		s.Size = sheet.A4
	}
	if f.Units == "metric" {
		s.Units = sheet.Metric
	}
	return s
}

func boreOf(material, size string) (layout.Length, bool) {
	p, ok := hydraulic.SizeOf(material, size)
	return p.Inside, ok
}

// wireFor is the thinnest copper wire that takes a valve's current so far with no
// more than the usual drop.
func wireFor(oneWay layout.Length) (string, bool) {
	w, ok := hydraulic.ThinnestWire(hydraulic.CopperWires(), hydraulic.Circuit{OneWay: oneWay}, hydraulic.DefaultVoltageDrop)
	return fmt.Sprintf("%d AWG", w.AWG), ok
}

func (f runTimeFlags) readPlan(j *wholeJob) (err error) {
	in := &j.plan
	if f.Soil != "" {
		if j.soil, err = schedule.SoilNamed(f.Soil); err != nil {
			return fmt.Errorf("--soil: %w", err)
		}
	}
	if j.slope = f.Slope; !(f.Slope >= 0 && f.Slope <= 100) {
		return fmt.Errorf("--slope: %v %% is no slope of a lawn", f.Slope)
	}
	if in.Days, err = schedule.ParseWeekdays(f.Days); err != nil {
		return fmt.Errorf("--water-days: %w", err)
	}
	if in.Window, err = schedule.ParseWindow(f.Window); err != nil {
		return fmt.Errorf("--water-window: %w", err)
	}
	if f.Season != "" {
		if in.Season, err = schedule.ParseSeason(f.Season); err != nil {
			return fmt.Errorf("--season: %w", err)
		}
	}
	if in.Rain, err = schedule.ParseRainRule(f.Rain); err != nil {
		return fmt.Errorf("--rain: %w", err)
	}
	if f.Weather == "" {
		in.Climate, err = schedule.DemoClimate()
		return err
	}
	in.Climate, err = readTable("--weather", f.Weather, func(r io.Reader) (schedule.Climate, error) {
		return schedule.ParseWeather(r, filepath.Base(f.Weather), nil)
	})
	return err
}

func (f runTimeFlags) readTariff(j *wholeJob) (err error) {
	j.tariff = schedule.DefaultTariff()
	if f.Tiers != "" {
		if j.tariff.Tiers, err = schedule.ParseTiers(f.Tiers); err != nil {
			return fmt.Errorf("--tiers: %w", err)
		}
	}
	return nil
}

func (f ruleFlags) readRules(j *wholeJob) error {
	all, err := rules.Published()
	if err != nil {
		return err
	}
	if j.rules, err = rules.Select(all, f.Rules, f.NoRules); err != nil {
		return fmt.Errorf("--rules: %w", err)
	}
	return nil
}

func (f sheetFlags) readDate(j *wholeJob) (err error) {
	if f.DateText == "" {
		j.date = time.Now()
		return nil
	}
	if j.date, err = time.Parse(time.DateOnly, f.DateText); err != nil {
		return fmt.Errorf("--date: %q is not a date such as 2026-05-01", f.DateText)
	}
	return nil
}
