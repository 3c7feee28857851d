package cli

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"slices"

	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/drawing"
	"lotwright/layout/takeoff"
)

// compareCommand designs every lot at several pressures or for several coverage
// targets.
type compareCommand struct {
	inputFlags
	Pressure     []layout.Pressure `required:"" xor:"scenarios" sep:"," placeholder:"40psi,50psi,60psi" help:"Pressures to compare: at the heads, or, with --static-pressure and a test, in the street." group:"Water:"`
	Targets      []share           `required:"" xor:"scenarios" sep:"," placeholder:"90%,95%,97%,100%" help:"Coverages to compare, instead of pressures." group:"Design:"`
	HeadPressure *layout.Pressure  `placeholder:"55psi" help:"With --targets: pressure at every head." group:"Water:"`
	supplyFlags
	designFlags
	priceFlags
	Workers int    `placeholder:"N" help:"Lots worked on at a time; default: one a processor."`
	CSV     string `name:"csv" placeholder:"FILE.csv" help:"Totals, a line a scenario." group:"Output:"`
	JSON    string `name:"json" placeholder:"FILE.json" help:"The same totals as JSON." group:"Output:"`
	Table   string `placeholder:"FILE.csv" help:"Heads of every lot, a column a scenario; empty where not designed." group:"Output:"`
	Chart   string `placeholder:"FILE.svg" help:"Chart of heads against pressure or coverage." group:"Output:"`
	progressFlags
}

// Help is shown below the summary by compare --help.
func (compareCommand) Help() string {
	return `The pressures displace what the lots' own properties say. With --static-pressure and --flow-test or --bucket, they are static pressures in the street: the test is carried over with the loss it measured.

Heads that do at a lower pressure, or for a higher coverage, are tried at the next one too: a lot never needs more heads because there is more pressure or less to reach.

Examples:

    lotwright compare lots.geojson --pressure 40psi,50psi,60psi
    lotwright compare lots.geojson --pressure 40psi,50psi,60psi --prices ours.csv --csv totals.csv
    lotwright compare lots.geojson --targets 90%,95%,97%,99%,100% --head-pressure 55psi --chart coverage.svg
    lotwright compare lots.geojson --pressure 45psi,60psi --static-pressure 60psi --flow-test 6gpm@50psi --csv totals.csv --chart heads.svg

Exit code: 0 every lot designed in one scenario at least, 1 fault or interrupted, 2 usage, 3 some lots designed in none.`
}

// changedShown is how many lots with changing head counts the terminal lists.
const changedShown = 40

// comparison gathers what compare prints.
type comparison struct {
	axis      string // what is compared
	scenarios []scenario
	prices    takeoff.PriceList
	totals    []*tally
	lots      int
	changed   [][]string // rows of the first [changedShown]
	changes   int
	missing   []outcomeNote // lots designed in no scenario
	undone    []string      // lots left when the run was interrupted
	table     *csv.Writer   // nil: not asked for
}

// Run compares the pressures.
func (k *compareCommand) Run(ctx context.Context, c *console) error {
	settings, err := k.settings()
	if err != nil {
		return err
	}
	workers, err := runFlags{Workers: k.Workers}.workers()
	if err != nil {
		return err
	}
	lots, err := k.open(ctx, c)
	if err != nil {
		return err
	}
	defer lots.Close()
	result := k.comparison(settings)
	if result.prices, err = k.prices(); err != nil {
		return err
	}
	err = k.withTable(result, func() error { return k.compareAll(ctx, c, compareRun{lots, settings, workers, result}) })
	if err != nil {
		return err
	}
	if err := k.report(c, result); err != nil {
		return err
	}
	switch {
	case len(result.undone) > 0:
		return interrupted(result.lots, result.undone)
	case len(result.missing) > 0:
		return errNotDesigned
	}
	return nil
}

// compareRun is one comparison under way.
type compareRun struct {
	lots     *lotList
	settings design.Settings
	workers  int
	result   *comparison
}

// settings puts the supply beside the settings of the design.
func (k *compareCommand) settings() (design.Settings, error) {
	flags := k.designFlags
	flags.Effort = orElse(flags.Effort, "quick")
	s, err := flags.settings()
	if err != nil {
		return s, err
	}
	for _, p := range k.Pressure {
		if p <= 0 {
			return s, usagef("--pressure: %v is no pressure to design for", p)
		}
	}
	if k.HeadPressure != nil {
		if len(k.Targets) == 0 || k.StaticPressure != nil {
			return s, usagef("--head-pressure goes with --targets, and not with --static-pressure")
		}
		s.Supply = atHeads(*k.HeadPressure)
		return s, nil
	}
	s.Supply, err = k.supply()
	return s, err
}

func (k *compareCommand) comparison(s design.Settings) *comparison {
	r := &comparison{}
	switch {
	case len(k.Targets) > 0:
		r.axis = "Share of the lawn to reach"
		for _, t := range k.Targets {
			r.scenarios = append(r.scenarios, scenario{target: float64(t)})
		}
	case s.Supply != (layout.Supply{}):
		r.axis = "Static pressure in the street"
	default:
		r.axis = "Pressure at the heads"
	}
	for _, p := range k.Pressure {
		r.scenarios = append(r.scenarios, scenario{pressure: p})
	}
	for range r.scenarios {
		r.totals = append(r.totals, newTally())
	}
	return r
}

// compareAll designs every lot in every scenario.
func (k *compareCommand) compareAll(ctx context.Context, c *console, run compareRun) error {
	shown := k.start(c.err, run.lots.len())
	defer shown.end()
	begun, err := ordered(ctx, run.lots.len(), run.workers,
		func(i int) []*outcome { return inScenarios(ctx, run.lots.item(i), run.settings, run.result.scenarios) },
		func(_ int, outcomes []*outcome) error {
			id := outcomes[0].item.ID
			if slices.ContainsFunc(outcomes, func(o *outcome) bool { return o.design == nil }) {
				run.result.undone = append(run.result.undone, id)
				return nil
			}
			shown.step(id, "compared")
			return run.result.add(outcomes)
		})
	run.result.undone = append(run.result.undone, run.lots.idsFrom(begun)...)
	return err
}

// add counts one lot.
func (r *comparison) add(outcomes []*outcome) error {
	r.lots++
	row := []string{outcomes[0].design.LotID}
	for i, o := range outcomes {
		r.totals[i].add(o.design)
		if o.design.Status == layout.StatusDesigned {
			list, err := takeoff.Of(o.design, takeoff.Settings{})
			if err != nil {
				return err
			}
			r.totals[i].addBill(takeoff.Priced(list, r.prices))
		}
		row = append(row, headCount(o.design))
	}
	if !slices.ContainsFunc(row[1:], func(heads string) bool { return heads != "" }) {
		r.missing = append(r.missing, outcomes[len(outcomes)-1].note())
	}
	if len(slices.Compact(slices.Clone(row[1:]))) > 1 {
		r.changes++
		if r.changes <= changedShown {
			r.changed = append(r.changed, row)
		}
	}
	if r.table == nil {
		return nil
	}
	row[0] = inert(row[0])
	return r.table.Write(row)
}

// headCount is empty for a lot that is not designed.
func headCount(d *layout.Design) string {
	if d.Status != layout.StatusDesigned {
		return ""
	}
	return fmt.Sprint(len(d.Heads))
}

// withTable runs the comparison with the per-lot table open.
func (k *compareCommand) withTable(r *comparison, run func() error) error {
	if k.Table == "" {
		return run()
	}
	return writeFile(k.Table, func(w io.Writer) error {
		r.table = csv.NewWriter(w)
		header := []string{"lot"}
		for _, sc := range r.scenarios {
			header = append(header, "heads_"+sc.column())
		}
		if err := r.table.Write(header); err != nil {
			return err
		}
		if err := run(); err != nil {
			return err
		}
		r.table.Flush()
		return r.table.Error()
	})
}

// report writes the files of totals and prints the tables.
func (k *compareCommand) report(c *console, r *comparison) error {
	for _, f := range []struct {
		path  string
		write func(io.Writer) error
	}{{k.CSV, r.writeCSV}, {k.JSON, r.writeJSON}, {k.Chart, r.writeChart}} {
		if f.path == "" {
			continue
		}
		if err := writeFile(f.path, f.write); err != nil {
			return err
		}
	}
	if !k.Quiet {
		r.writeTotals(c.out)
		r.writeChanges(c.out)
	}
	writeMissing(c.err, r.missing, r.lots)
	return nil
}

// totalColumns are the columns of the totals, the same in the CSV file.
var totalColumns = []string{"pressure_psi", "pressure_kpa", "coverage_target", "lots", "designed", "infeasible", "invalid", "failed", "heads", "heads_bound", "heads_a_lot", "trench_m", "trench_ft", "pipe_m", "pipe_ft", "parts_cost", "labour_cost", "cost", "least_throw_slack_m"}

func totalRow(sc scenario, t *tally) []string {
	row := append(sc.cells(), fmt.Sprint(t.lots))
	for _, s := range []layout.Status{layout.StatusDesigned, layout.StatusInfeasible, layout.StatusInvalid, layout.StatusFailed} {
		row = append(row, fmt.Sprint(t.byStatus[s]))
	}
	return append(row, fmt.Sprint(t.heads), fmt.Sprint(t.bound), fmt.Sprintf("%.3f", t.headsPerLot()),
		fmt.Sprintf("%.1f", t.trench.Metres()), fmt.Sprintf("%.1f", t.trench.Feet()),
		fmt.Sprintf("%.1f", t.pipe.Metres()), fmt.Sprintf("%.1f", t.pipe.Feet()),
		t.cost.Parts.String(), t.cost.Labour.String(), t.cost.Total().String(), fmt.Sprintf("%.3f", t.leastSlack.Metres()))
}

func (r *comparison) writeCSV(w io.Writer) error {
	rows := [][]string{totalColumns}
	for i, sc := range r.scenarios {
		rows = append(rows, totalRow(sc, r.totals[i]))
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// writeJSON writes the totals as an array of objects; a cell that is a number is
// one, and an empty one is null.
func (r *comparison) writeJSON(w io.Writer) error {
	rows := []map[string]any{}
	for i, sc := range r.scenarios {
		row := map[string]any{}
		for k, cell := range totalRow(sc, r.totals[i]) {
			row[totalColumns[k]] = nil
			if cell != "" {
				row[totalColumns[k]] = json.Number(cell)
			}
		}
		rows = append(rows, row)
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(rows)
}

func (r *comparison) writeChart(w io.Writer) error {
	c := drawing.Chart{Title: "Heads against pressure, " + plural(r.lots, "lot"), Axis: r.axis}
	if r.scenarios[0].target > 0 {
		c.Title = "Heads against coverage, " + plural(r.lots, "lot")
	}
	for i, sc := range r.scenarios {
		t := r.totals[i]
		c.Points = append(c.Points, drawing.ChartPoint{
			Pressure: sc.pressure, Target: sc.target, Heads: t.heads, Designed: t.designed(), Infeasible: t.byStatus[layout.StatusInfeasible],
		})
	}
	return drawing.ScenarioChart(w, c)
}

func (r *comparison) writeTotals(w io.Writer) {
	fmt.Fprintln(w, r.axis)
	g := &grid{header: []string{"SCENARIO", "DESIGNED", "INFEASIBLE", "REFUSED", "HEADS", "BOUND", "A LOT", "TRENCH", "", "PIPE", "", "COST"}}
	for i, sc := range r.scenarios {
		t := r.totals[i]
		g.add(sc.name(), fmt.Sprint(t.designed()), fmt.Sprint(t.byStatus[layout.StatusInfeasible]),
			fmt.Sprint(t.byStatus[layout.StatusInvalid]+t.byStatus[layout.StatusFailed]),
			fmt.Sprint(t.heads), fmt.Sprint(t.bound), fmt.Sprintf("%.2f", t.headsPerLot()),
			fmt.Sprintf("%.0f m", t.trench.Metres()), fmt.Sprintf("%.0f ft", t.trench.Feet()),
			fmt.Sprintf("%.0f m", t.pipe.Metres()), fmt.Sprintf("%.0f ft", t.pipe.Feet()), fmt.Sprintf("%.0f", t.cost.Total().Units()))
	}
	g.write(w)
	fmt.Fprintln(w, "Cost: parts and labour by the price list, in its currency; --prices gives your own.")
}

// writeChanges lists the lots whose number of heads depends on the scenario.
func (r *comparison) writeChanges(w io.Writer) {
	fmt.Fprintf(w, "\nThe number of heads changes on %d of %s", r.changes, plural(r.lots, "lot"))
	if r.changes == 0 {
		fmt.Fprintln(w, ".")
		return
	}
	fmt.Fprintln(w, ":")
	g := &grid{header: []string{"LOT"}}
	for _, sc := range r.scenarios {
		g.header = append(g.header, sc.name())
	}
	for _, row := range r.changed {
		cells := []string{oneLine(row[0])}
		for _, heads := range row[1:] {
			cells = append(cells, orElse(heads, "none"))
		}
		g.rows = append(g.rows, cells)
	}
	g.write(w)
	if more := r.changes - len(r.changed); more > 0 {
		fmt.Fprintf(w, "and %d more; --table writes them all\n", more)
	}
}
