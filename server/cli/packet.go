package cli

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/feature"
	"lotwright/layout/geom"
	"lotwright/layout/schedule"
	"lotwright/layout/takeoff"
	"lotwright/server/sheet"
	"lotwright/server/table"
)

// Names within a packet.
const (
	lotsDir       = "lots"
	linesName     = "takeoff.csv"
	totalsName    = "totals.csv"
	workbookName  = "takeoff.xlsx"
	budgetName    = "pressure.csv"
	runTimesName  = "run_times.csv"
	programName   = "program.csv"
	waterUseName  = "water_use.csv"
	calendarName  = "program.ics"
	networkName   = "network.inp"
	lotDesignName = "design.geojson"
	winterName    = "winter.txt"
	rulesName     = "rules.txt"
)

// packetSink writes what follows from the designs: a folder for each lot, and
// for the batch tables of all lots and totals. It keeps no lot: rows go out as
// they come.
type packetSink struct {
	job   wholeJob
	names *fileNames
	batch takeoff.Batch
	lines *takeoff.LineWriter
	book  *table.Workbook
	books books

	linesFile                    target
	budget, runs, program, water *rowFile
}

func newPacketSink(j wholeJob) (s *packetSink, err error) {
	s = &packetSink{job: j, names: newFileNames(), books: books{job: j, path: filepath.Join(j.folder, bookName+".pdf")}}
	defer func() {
		if err != nil {
			s.drop()
		}
	}()
	if s.linesFile, err = createFile(filepath.Join(j.folder, linesName)); err != nil {
		return s, err
	}
	s.lines = takeoff.NewLineWriter(s.linesFile)
	for _, f := range []struct {
		to     **rowFile
		name   string
		header []string
	}{
		{&s.budget, budgetName, budgetHeader}, {&s.runs, runTimesName, schedule.RunHeader()},
		{&s.program, programName, schedule.ProgramHeader()}, {&s.water, waterUseName, waterUseHeader},
	} {
		if *f.to, err = newRowFile(filepath.Join(j.folder, f.name), f.header); err != nil {
			return s, err
		}
	}
	s.book, err = table.New()
	return s, err
}

func (s *packetSink) put(o *outcome) error {
	_, err := s.putLot(o)
	return err
}

// putLot writes what follows from a lot's design and returns the tables that go
// on its sheet.
func (s *packetSink) putLot(o *outcome) (tables []sheet.Table, err error) {
	folder := filepath.Join(s.job.folder, lotsDir, s.names.of(o.design.LotID))
	if err := writeFile(filepath.Join(folder, lotDesignName), func(w io.Writer) error {
		m := feature.NewWriter(w, feature.Collection)
		if err := m.WriteFeatures(o.features); err != nil {
			return err
		}
		return m.Close()
	}); err != nil {
		return nil, err
	}
	if tables, err = s.tables(folder, o.item.Lot, o.design); err != nil {
		return nil, err
	}
	return tables, s.books.add(folder, o.item, o.design, tables)
}

// tables writes the tables of a lot and returns those that go on its sheet.
func (s *packetSink) tables(folder string, lot *layout.Lot, d *layout.Design) (out []sheet.Table, err error) {
	if len(d.Heads) == 0 {
		return nil, nil
	}
	us := s.job.sheets.Units != sheet.Metric
	list, bill, err := s.putParts(folder, lot, d)
	if err != nil {
		return nil, err
	}
	out = append(out, partsTable(bill, us), cutTable(list.Cuts, us))
	if err := errors.Join(s.putPressure(folder, d), s.putTexts(folder, lot, d)); err != nil {
		return nil, err
	}
	plan, err := s.putRunTimes(folder, d)
	if err != nil {
		return nil, err
	}
	if plan != nil {
		out = append(out, runTimeTable(*plan))
	}
	if d.Water != nil && len(d.Water.Budget) > 0 {
		out = append(out, pressureTable(d.Water, us))
	}
	return out, nil
}

// putParts writes take-off and bill.
func (s *packetSink) putParts(folder string, lot *layout.Lot, d *layout.Design) (list takeoff.List, bill takeoff.Bill, err error) {
	if list, err = takeoff.Of(d, atController(s.job.takeoff, lot, d)); err != nil {
		return list, bill, err
	}
	bill = takeoff.Priced(list, s.job.prices)
	s.batch.Add(list, bill)
	if err := errors.Join(s.lines.Write(bill), s.book.Add(list, bill)); err != nil {
		return list, bill, err
	}
	return list, bill, writeFile(filepath.Join(folder, linesName), func(w io.Writer) error { return takeoff.NewLineWriter(w).Write(bill) })
}

// atController tells a take-off how far the controller hangs from the point of
// connection, where that is known: as the crow flies.
func atController(s takeoff.Settings, lot *layout.Lot, d *layout.Design) takeoff.Settings {
	if lot.Controller != nil {
		s.ControllerRun = layout.Length(lot.Controller.DistanceMM(d.Network.POC) / geom.MillimetresPerMetre)
	}
	return s
}

var budgetHeader = []string{"lot", "head", "row", "item", "label", "loss_kpa", "loss_psi", "left_kpa", "left_psi"}

// putPressure writes the pressure budget, and the network for other programs.
func (s *packetSink) putPressure(folder string, d *layout.Design) error {
	if d.Water == nil {
		return nil
	}
	for i, row := range d.Water.Budget {
		cells := []string{inert(d.LotID), d.Water.BudgetHead, fmt.Sprint(i + 1), row.Item, row.Label}
		for _, p := range []layout.Pressure{row.Loss, row.Left} {
			cells = append(cells, fmt.Sprintf("%.2f", p.KPa()), fmt.Sprintf("%.2f", p.PSI()))
		}
		if err := s.budget.write(cells); err != nil {
			return err
		}
	}
	if len(d.Water.EPANET) == 0 {
		return nil
	}
	return writeFile(filepath.Join(folder, networkName), func(w io.Writer) error {
		_, err := w.Write(d.Water.EPANET)
		return err
	})
}

// putTexts writes the winter and spring sheet, and what published rules say.
func (s *packetSink) putTexts(folder string, lot *layout.Lot, d *layout.Design) error {
	return errors.Join(
		writeFile(filepath.Join(folder, winterName), design.Winter(lot, d, s.job.design).WriteText),
		writeFile(filepath.Join(folder, rulesName), design.CheckRules(lot, d, s.job.rules, nil).WriteText))
}

var waterUseHeader = []string{"lot", "month", "volume_l", "volume_gal", "cost", "baseline_l", "baseline_gal", "baseline"}

// putRunTimes plans the run times of a lot. Zones that are not known, for want of
// a measured flow, have none.
func (s *packetSink) putRunTimes(folder string, d *layout.Design) (*schedule.Result, error) {
	in := s.job.plan
	if in.Zones = s.job.zonesOf(d); len(in.Zones) == 0 {
		return nil, nil
	}
	r, err := schedule.Plan(in)
	if err != nil {
		return nil, fmt.Errorf("lot %s: run times: %w", d.LotID, err)
	}
	id := inert(d.LotID)
	return &r, errors.Join(
		s.runs.writeAll(schedule.RunRows(id, r)), s.program.writeAll(schedule.ProgramRows(id, r)), s.putWaterUse(id, r),
		writeFile(filepath.Join(folder, runTimesName), func(w io.Writer) error {
			return schedule.WriteCSV(w, schedule.RunHeader(), schedule.RunRows(id, r))
		}),
		writeFile(filepath.Join(folder, calendarName), func(w io.Writer) error {
			return schedule.WriteCalendar(w, schedule.Calendar{Lot: d.LotID, Year: s.job.date.Year(), Stamp: s.job.date}, r)
		}))
}

func (s *packetSink) putWaterUse(id string, r schedule.Result) error {
	var volumes [12]layout.Volume
	for i, m := range r.Months {
		volumes[i] = m.Volume
	}
	cost, err := s.job.tariff.Year(volumes)
	if err != nil {
		return err
	}
	for i, m := range r.Months {
		row := []string{id, m.Month.String()}
		row = append(row, litresAndGallons(m.Volume)...)
		row = append(append(row, cost.Months[i].String()), litresAndGallons(r.Savings.Months[i])...)
		if err := s.water.write(append(row, r.Savings.Statement)); err != nil {
			return err
		}
	}
	return nil
}

func litresAndGallons(v layout.Volume) []string {
	return []string{fmt.Sprintf("%.0f", v.Litres()), fmt.Sprintf("%.0f", v.Litres()/layout.LitresPerGallon)}
}

// zonesOf lists the zones of a design: a variable-throw head is one by itself.
func (j *wholeJob) zonesOf(d *layout.Design) (out []schedule.Zone) {
	if d.HeadKind != layout.FixedArc {
		for _, h := range d.Heads {
			out = append(out, schedule.HeadZone(h))
		}
		return j.onSoil(out)
	}
	if d.Water == nil {
		return nil
	}
	for _, z := range d.Water.Zones {
		var heads []layout.Head
		var wet []geom.Region
		for _, h := range d.Heads {
			if h.Zone == z.Number {
				heads, wet = append(heads, h), append(wet, regionOf(h.Wetted))
			}
		}
		zone := schedule.GroupZone(fmt.Sprintf("V%d", z.Number), heads, geom.Union(wet...).AreaM2())
		if d.Uniformity != nil {
			zone.DULowQuarter = uniformityOf(d, heads)
		}
		out = append(out, zone)
	}
	return j.onSoil(out)
}

// uniformityOf is DU_lq where the heads of a zone water: of their family's area
// where families are mixed, else of the lawn.
func uniformityOf(d *layout.Design, heads []layout.Head) float64 {
	for _, a := range d.Areas {
		if len(heads) > 0 && a.Family == heads[0].Family {
			return a.DULowQuarter
		}
	}
	return d.Uniformity.DULowQuarter
}

func regionOf(outline []geom.Vec) geom.Region {
	var ring geom.Ring
	for _, v := range outline {
		ring = append(ring, v.Round())
	}
	return geom.Normalize([]geom.Ring{ring})
}

func (j *wholeJob) onSoil(zones []schedule.Zone) []schedule.Zone {
	for i := range zones {
		zones[i].Soil, zones[i].SlopePct = j.soil, j.slope
	}
	return zones
}

func (s *packetSink) keep() error {
	cuts, err := s.batch.Cut(s.job.takeoff)
	if err != nil {
		s.drop()
		return err
	}
	defer s.book.Close()
	faults := []error{
		s.books.bind(totalsTable(&s.batch, s.job.sheets.Units != sheet.Metric)),
		writeFile(filepath.Join(s.job.folder, workbookName), func(w io.Writer) error { return s.book.Write(w, &s.batch, cuts) }),
		writeFile(filepath.Join(s.job.folder, totalsName), func(w io.Writer) error { return takeoff.WriteTotals(w, &s.batch) }),
		s.linesFile.keep(), s.budget.keep(), s.runs.keep(), s.program.keep(), s.water.keep(),
	}
	return errors.Join(faults...)
}

func (s *packetSink) drop() {
	if s.linesFile != nil {
		s.linesFile.drop()
	}
	for _, f := range []*rowFile{s.budget, s.runs, s.program, s.water} {
		if f != nil {
			f.drop()
		}
	}
	if s.book != nil {
		_ = s.book.Close() // nothing of it is kept
	}
}

// rowFile is a CSV file that rows are added to.
type rowFile struct {
	target
	csv *csv.Writer
}

func newRowFile(path string, header []string) (*rowFile, error) {
	t, err := createFile(path)
	if err != nil {
		return nil, err
	}
	return newRows(t, header)
}

func newRows(t target, header []string) (*rowFile, error) {
	f := &rowFile{t, csv.NewWriter(t)}
	return f, f.write(header)
}

func (f *rowFile) write(row []string) error { return f.csv.Write(row) }

func (f *rowFile) writeAll(rows [][]string) error {
	for _, row := range rows {
		if err := f.write(row); err != nil {
			return err
		}
	}
	return nil
}

func (f *rowFile) keep() error {
	f.csv.Flush()
	if err := f.csv.Error(); err != nil {
		f.drop()
		return err
	}
	return f.target.keep()
}

// fileNames names the files of lots. Lots whose ids differ only in case keep
// apart where file names do not.
type fileNames struct{ used map[string]bool }

func newFileNames() *fileNames { return &fileNames{used: map[string]bool{}} }

func (n *fileNames) of(id string) string {
	name := safeName(id)
	if n.used[strings.ToLower(name)] {
		name = hashedName(id)
	}
	n.used[strings.ToLower(name)] = true
	return name
}
