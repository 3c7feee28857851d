package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"lotwright/layout/design"
	"lotwright/layout/schedule"
	"lotwright/layout/takeoff"
	"lotwright/server/sheet"
	"lotwright/server/table"
)

// lotRun designs lots for the sake of what follows from them.
type lotRun struct {
	inputFlags
	waterFlags
	designFlags
	runFlags
	progressFlags
}

func (l *lotRun) settings() (s design.Settings, err error) {
	if s, err = l.designFlags.settings(); err != nil {
		return s, err
	}
	s.Supply, err = l.water()
	return s, err
}

// into designs the lots and puts them into a sink, which is opened once the
// command line is understood and the input found good.
func (l *lotRun) into(ctx context.Context, c *console, s design.Settings, open func() (sink, error)) error {
	workers, err := l.workers()
	if err != nil {
		return err
	}
	lots, err := l.open(ctx, c)
	if err != nil {
		return err
	}
	defer lots.Close()
	to, err := open()
	if err != nil {
		return err
	}
	count := &countSink{tally: newTally()}
	all := sinks{count, to, progressSink{l.start(c.err, lots.len())}}
	missing, err := l.designAll(ctx, plan{settings: s, workers: workers}, lots, all)
	if err != nil {
		all.drop()
		return err
	}
	if err := all.keep(); err != nil {
		return err
	}
	writeMissing(c.err, count.missing, count.lots)
	return verdict(ctx, count, missing)
}

// takeoffCommand lists what to buy, cut and dig.
type takeoffCommand struct {
	lotRun
	partFlags
	Out    string `short:"o" required:"" placeholder:"FILE" help:"Parts of every lot with prices: .csv, .xlsx (with totals and a cut list over all lots), or - for CSV on stdout." group:"Output:"`
	Totals string `placeholder:"FILE.csv" help:"Totals of the batch." group:"Output:"`
}

// Help is shown below the summary by takeoff --help.
func (takeoffCommand) Help() string {
	return `The lots are designed with the flags of design, and every line names the heads, pipes and trenches it comes from. What the price list has no price for is listed as such and not counted.

Examples:

    lotwright takeoff lots.geojson --static-pressure 65psi --flow-test 10gpm@52psi -o parts.xlsx
    lotwright takeoff lots.geojson --head-pressure 55psi --prices ours.csv --totals totals.csv -o parts.csv

Exit code: 0 all lots designed, 1 fault or interrupted, 2 usage, 3 some lots not designed.`
}

// Run lists the parts.
func (k *takeoffCommand) Run(ctx context.Context, c *console) error {
	s, err := k.settings()
	if err != nil {
		return err
	}
	prices, err := k.prices()
	if err != nil {
		return err
	}
	how := takeoff.Settings{Sticks: k.Sticks, Bore: boreOf, Wire: wireFor}
	return k.into(ctx, c, s, func() (sink, error) { return newPartsSink(c, k, prices, how) })
}

// partsSink writes bills as they come, as CSV or into a workbook.
type partsSink struct {
	prices takeoff.PriceList
	how    takeoff.Settings
	totals string
	out    target
	lines  *takeoff.LineWriter
	book   *table.Workbook // nil: CSV
	batch  takeoff.Batch
}

func newPartsSink(c *console, k *takeoffCommand, prices takeoff.PriceList, how takeoff.Settings) (sink, error) {
	out, err := c.open(k.Out)
	if err != nil {
		return nil, err
	}
	s := &partsSink{prices: prices, how: how, totals: k.Totals, out: out, lines: takeoff.NewLineWriter(out)}
	if strings.EqualFold(filepath.Ext(k.Out), ".xlsx") {
		s.book, err = table.New()
	}
	if err != nil {
		out.drop()
	}
	return s, err
}

func (s *partsSink) put(o *outcome) error {
	if len(o.design.Heads) == 0 {
		return nil
	}
	list, err := takeoff.Of(o.design, atController(s.how, o.item.Lot, o.design))
	if err != nil {
		return err
	}
	bill := takeoff.Priced(list, s.prices)
	s.batch.Add(list, bill)
	if s.book != nil {
		return s.book.Add(list, bill)
	}
	return s.lines.Write(bill)
}

func (s *partsSink) keep() error {
	if s.book != nil {
		defer s.book.Close()
		cuts, err := s.batch.Cut(s.how)
		if err == nil {
			err = s.book.Write(s.out, &s.batch, cuts)
		}
		if err != nil {
			s.out.drop()
			return err
		}
	}
	if s.totals == "" {
		return s.out.keep()
	}
	return errors.Join(s.out.keep(), writeFile(s.totals, func(w io.Writer) error { return takeoff.WriteTotals(w, &s.batch) }))
}

func (s *partsSink) drop() {
	s.out.drop()
	if s.book != nil {
		_ = s.book.Close() // nothing of it is kept
	}
}

// scheduleCommand works out run times.
type scheduleCommand struct {
	lotRun
	runTimeFlags
	Out     string `short:"o" required:"" placeholder:"FILE.csv" help:"Run times of every zone, month by month; - for stdout." group:"Output:"`
	Program string `placeholder:"FILE.csv" help:"What to enter into any controller: a row a start." group:"Output:"`
}

// Help is shown below the summary by schedule --help.
func (scheduleCommand) Help() string {
	return `The lots are designed with the flags of design; run times follow from soil, slope, climate and the days and hours allowed. Cycles are no longer than the soil takes in, with soaks between.

Examples:

    lotwright schedule lots.geojson --static-pressure 65psi --flow-test 10gpm@52psi --soil loam --water-days tue,fri -o run_times.csv
    lotwright schedule lots.geojson --head-pressure 55psi --weather station.csv --program program.csv -o -

Exit code: 0 all lots designed, 1 fault or interrupted, 2 usage, 3 some lots not designed.`
}

// Run works out the run times.
func (k *scheduleCommand) Run(ctx context.Context, c *console) error {
	s, err := k.settings()
	if err != nil {
		return err
	}
	var j wholeJob
	if err := k.readPlan(&j); err != nil {
		return usageError{err}
	}
	return k.into(ctx, c, s, func() (sink, error) { return newRunTimeSink(c, k, j) })
}

// runTimeSink writes run times as they come.
type runTimeSink struct {
	job           wholeJob
	runs, program *rowFile // the program is nil unless asked for
}

func newRunTimeSink(c *console, k *scheduleCommand, j wholeJob) (sink, error) {
	s := &runTimeSink{job: j}
	out, err := c.open(k.Out)
	if err != nil {
		return nil, err
	}
	if s.runs, err = newRows(out, schedule.RunHeader()); err != nil || k.Program == "" {
		return s, err
	}
	s.program, err = newRowFile(k.Program, schedule.ProgramHeader())
	if err != nil {
		s.runs.drop()
	}
	return s, err
}

func (s *runTimeSink) put(o *outcome) error {
	in := s.job.plan
	if in.Zones = s.job.zonesOf(o.design); len(in.Zones) == 0 {
		return nil
	}
	r, err := schedule.Plan(in)
	if err != nil {
		return fmt.Errorf("lot %s: run times: %w", o.design.LotID, err)
	}
	id := inert(o.design.LotID)
	if s.program != nil {
		err = s.program.writeAll(schedule.ProgramRows(id, r))
	}
	return errors.Join(err, s.runs.writeAll(schedule.RunRows(id, r)))
}

func (s *runTimeSink) keep() error {
	if s.program == nil {
		return s.runs.keep()
	}
	return errors.Join(s.runs.keep(), s.program.keep())
}

func (s *runTimeSink) drop() {
	s.runs.drop()
	if s.program != nil {
		s.program.drop()
	}
}

// sheetCommand prints the field sheets.
type sheetCommand struct {
	lotRun
	sheetFlags
	Out string `short:"o" required:"" placeholder:"BOOK.pdf" help:"Book of all sheets, with totals and an index map; more than 500 lots make several." group:"Output:"`
}

// Help is shown below the summary by sheet --help.
func (sheetCommand) Help() string {
	return `A sheet has the plan to scale, stake-out by two tapes, tables of heads, trench and pipe, and the order of work with its cautions. design --packet binds parts, cut lists and run times in as well.

Examples:

    lotwright sheet lots.geojson --static-pressure 65psi --flow-test 10gpm@52psi -o book.pdf
    lotwright sheet lots.geojson --head-pressure 3.8bar --paper a4 --units metric --lot 12 -o lot12.pdf

Exit code: 0 all lots designed, 1 fault or interrupted, 2 usage, 3 some lots not designed.`
}

// Run prints the sheets.
func (k *sheetCommand) Run(ctx context.Context, c *console) error {
	s, err := k.settings()
	if err != nil {
		return err
	}
	var j wholeJob
	if err := k.readDate(&j); err != nil {
		return usageError{err}
	}
	j.sheets = k.sheets(j.date)
	return k.into(ctx, c, s, func() (sink, error) { return &bookSink{books{job: j, path: k.Out}}, nil })
}

// bookSink binds the sheets as they come.
type bookSink struct{ books }

func (s *bookSink) put(o *outcome) error {
	made, err := sheet.New(sheet.Lot{Lot: o.item.Lot, Design: o.design}, s.job.sheets)
	if err != nil {
		return err
	}
	return s.books.bindIn(sheet.Lot{Lot: o.item.Lot, Design: o.design}, made)
}

func (s *bookSink) keep() error { return s.books.bind() }
func (s *bookSink) drop()       {}
