package cli

import (
	"context"
	"fmt"
	"runtime"
	"strings"

	"lotwright/layout"
	"lotwright/layout/design"
)

// designCommand designs every lot of the inputs.
type designCommand struct {
	inputFlags
	outputFlags
	waterFlags
	designFlags
	Packet string `placeholder:"DIR" help:"Folder for the whole job: beside what --out DIR/ writes, parts and cut lists, prices, pressure budgets, run times, and a folder a lot with its field sheet." group:"Output:"`
	jobFlags
	runFlags
	progressFlags
}

// Help is shown below the summary by design --help.
func (designCommand) Help() string {
	return `Lots come as GeoJSON features or rows of a GeoPackage with the properties "lot" and "layer", or as one file or table a layer. Tables named parcels, roofs, driveways and the like are known by their names; lotwright check shows what each was taken for. What a lot's own properties say of its water goes before the flags.

Examples:

    lotwright design lots.geojson --head-pressure 55psi -o out/
    lotwright design city.gpkg --lot-property PIN --head-pressure 55psi -o designs.gpkg
    lotwright design lots.geojson --static-pressure 65psi --flow-test 10gpm@52psi --packet job/
    lotwright design city.gpkg --lot-property PIN --head-pressure 55psi -o designs.gpkg
    lotwright design lots.geojson --static-pressure 60psi --bucket 5gal/45s -o designs.geojson.gz
    lotwright design --layer parcel=parcels.geojson --layer building=roofs.geojson --lot-property PIN --head-pressure 3.8bar -o out/
    lotwright design --layer parcel=city.gpkg:taxparcels --layer building=city.gpkg:roofs --head-pressure 55psi -o out/
    ogr2ogr -f GeoJSONSeq /vsistdout/ lots.gpkg | lotwright design - --head-pressure 55psi -o - | jq -c .

Exit code: 0 all lots designed, 1 fault or interrupted, 2 usage, 3 some lots not designed.`
}

// runFlags say how a run goes about its lots.
type runFlags struct {
	Workers  int  `placeholder:"N" help:"Lots worked on at a time; default: one a processor. The output does not depend on it."`
	FailFast bool `help:"Stop at the first lot that is not designed."`
}

// workers resolves the default.
func (f runFlags) workers() (int, error) {
	switch {
	case f.Workers < 0:
		return 0, usagef("--workers: %d is not a number of workers", f.Workers)
	case f.Workers == 0:
		return runtime.GOMAXPROCS(0), nil
	}
	return f.Workers, nil
}

// plan is a command line of design, understood.
type plan struct {
	settings    design.Settings
	destination destination
	job         wholeJob
	workers     int
}

func (d *designCommand) plan() (p plan, err error) {
	if p.settings, err = d.designFlags.settings(); err != nil {
		return p, err
	}
	if p.settings.Supply, err = d.water(); err != nil {
		return p, err
	}
	if p.job, err = d.job(); err != nil {
		return p, err
	}
	p.job.folder, p.job.design = d.Packet, p.settings
	if p.destination, err = d.outputFlags.within(d.Packet).destination(); err != nil {
		return p, err
	}
	if p.workers, err = d.workers(); err != nil {
		return p, err
	}
	return p, p.destination.notOver(d.files())
}

// Run designs the lots and writes what was asked for.
func (d *designCommand) Run(ctx context.Context, c *console) error {
	p, err := d.plan()
	if err != nil {
		return err
	}
	lots, err := d.open(ctx, c)
	if err != nil {
		return err
	}
	defer lots.Close()
	count := &countSink{tally: newTally()}
	all, err := c.sinks(p, lots, count, d.progressFlags)
	if err != nil {
		return err
	}
	missing, err := d.designAll(ctx, p, lots, all)
	if err != nil {
		all.drop()
		return err
	}
	if err := all.keep(); err != nil {
		return err
	}
	d.report(c, p, count, lots)
	return verdict(ctx, count, missing)
}

// designAll puts the outcome of every lot into the sink, in order, and returns
// the ids of those that are missing because the run ended early.
func (f runFlags) designAll(ctx context.Context, p plan, lots *lotList, to sink) (missing []string, err error) {
	begun, err := ordered(ctx, lots.len(), p.workers,
		func(i int) *outcome { return work(ctx, lots.item(i), p.settings) },
		func(_ int, o *outcome) error {
			if o.design == nil {
				missing = append(missing, o.item.ID)
				return nil
			}
			err := to.put(o)
			if err == nil && f.FailFast && o.design.Status != layout.StatusDesigned {
				return errStop
			}
			return err
		})
	return append(missing, lots.idsFrom(begun)...), err
}

// sinks opens everything that the plan writes, the counter first.
func (c *console) sinks(p plan, lots *lotList, count *countSink, f progressFlags) (all sinks, err error) {
	all = sinks{count}
	defer func() {
		if err != nil {
			all.drop()
		}
	}()
	drawn, err := c.openMap(p.destination)
	if err != nil {
		return all, err
	}
	all = append(all, drawn)
	if p.destination.table != "" {
		tableTarget, err := c.open(p.destination.table)
		if err != nil {
			return all, err
		}
		all = append(all, newTableSink(tableTarget))
	}
	if p.destination.pictures != "" {
		all = append(all, newPictureSink(p.destination.pictures))
	}
	if p.job.folder != "" {
		packet, err := newPacketSink(p.job)
		if err != nil {
			return all, err
		}
		all = append(all, packet)
	}
	return append(all, progressSink{f.start(c.err, lots.len())}), nil
}

// report writes the summary for people, and names what has no design. Where
// stdout carries the map, people read stderr.
func (d *designCommand) report(c *console, p plan, count *countSink, lots *lotList) {
	people := c.out
	if p.destination.mapFile == standardStream {
		people = c.err
	}
	if !d.Quiet {
		count.write(people)
		if n := len(lots.Findings()); n > 0 {
			fmt.Fprintf(people, "%s about the input as a whole: see lotwright check\n", plural(n, "remark"))
		}
	}
	writeMissing(c.err, count.missing, count.lots)
	if d.FailFast && count.lots < lots.len() && len(count.missing) > 0 {
		fmt.Fprintf(c.err, "Stopped there: %d of %s are written.\n", count.lots, plural(lots.len(), "lot"))
	}
}

// verdict turns how a run ended into its error.
func verdict(ctx context.Context, count *countSink, missing []string) error {
	switch failed := count.byStatus[layout.StatusFailed]; {
	case len(missing) > 0 && ctx.Err() != nil:
		return interrupted(count.lots, missing)
	case failed > 0:
		return fmt.Errorf("%s failed through a fault of the program; please report it with the input", plural(failed, "lot"))
	case len(count.missing) > 0:
		return errNotDesigned
	}
	return nil
}

// missingShown is how many missing lots are named one by one.
const missingShown = 20

// interrupted says what an interrupted run has left undone.
func interrupted(done int, missing []string) error {
	shown := strings.Join(missing[:min(len(missing), missingShown)], ", ")
	if more := len(missing) - missingShown; more > 0 {
		shown += fmt.Sprintf(" and %d more", more)
	}
	return fmt.Errorf("interrupted: %d of %s are done; missing: %s", done, plural(done+len(missing), "lot"), shown)
}
