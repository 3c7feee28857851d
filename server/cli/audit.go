package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"lotwright/importer"
	"lotwright/importer/asbuilt"
	"lotwright/importer/assemble"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/feature"
	"lotwright/layout/geom"
	"lotwright/layout/uniformity"
)

// auditCommand sets beside the design what was built, or what cans caught.
type auditCommand struct {
	inputFlags
	Built string `xor:"what" required:"" placeholder:"FILE.geojson" help:"Heads and pipe as they were built: the layers head and pipe of our own map or GeoPackage, edited." group:"What was found:"`
	Cans  string `xor:"what" required:"" placeholder:"FILE.csv" help:"Readings of catch cans on one lot: volume_ml, depth_mm or depth_in, and label, zone, lon and lat, or x_m and y_m from the point of connection." group:"What was found:"`

	Complete bool `help:"With --built: keep the heads as they stand and design around them what is missing; -o then holds that design." group:"What was found:"`

	RunTime time.Duration  `placeholder:"15m" help:"With --cans: how long each zone ran." group:"What was found:"`
	Mouth   *layout.Length `placeholder:"4in" help:"With --cans: diameter of a can's mouth." group:"What was found:"`
	WindMPH *float64       `placeholder:"3" help:"With --cans: the highest wind noted, miles an hour." group:"What was found:"`
	Out     string         `short:"o" placeholder:"OUT.geojson" help:"Map of the lots as built, to write; - for stdout. With --cans: readings beside what the design says, as CSV." group:"Output:"`

	Drawings string `placeholder:"BOOK.pdf" help:"With --built: record drawings, bound into one book." group:"Output:"`
	sheetFlags

	waterFlags
	designFlags
}

// Help is shown below the summary by audit --help.
func (auditCommand) Help() string {
	return `The lots are designed again with the flags they were designed with, and what was found is set beside that. Heads may stand elsewhere, be missing or added, throw otherwise; pipe may be of another size or way. Coverage, dry areas, pressures and flows are worked out anew; nothing is chosen again.

Examples:

    lotwright audit lots.geojson --head-pressure 55psi --built as_built.geojson -o audited.geojson --drawings record.pdf
    lotwright audit lots.geojson --head-pressure 55psi --built as_built.geojson --complete -o completed.geojson
    lotwright audit lots.geojson --head-pressure 55psi --lot LK-05 --cans cans.csv --run-time 15m --mouth 4in

Exit code: 0 all reach their targets as built, 1 fault, 2 usage, 3 some lots do not, or could not be audited.`
}

// Run audits.
func (a *auditCommand) Run(ctx context.Context, c *console) error {
	s, err := a.settings()
	if err != nil {
		return err
	}
	lots, err := a.open(ctx, c)
	if err != nil {
		return err
	}
	defer lots.Close()
	if a.Cans != "" {
		return a.assess(ctx, c, lots, s)
	}
	return a.compare(ctx, c, lots, s)
}

func (a *auditCommand) settings() (design.Settings, error) {
	s, err := a.designFlags.settings()
	if err != nil {
		return s, err
	}
	s.Supply, err = a.water()
	return s, err
}

// compare sets beside the designs what was built of them.
func (a *auditCommand) compare(ctx context.Context, c *console, lots *lotList, s design.Settings) error {
	built, err := readBuilt(ctx, a.Built)
	if err != nil {
		return fmt.Errorf("--built: %w", err)
	}
	write, err := a.outputs(c)
	if err != nil {
		return err
	}
	missed := false
	for _, b := range built {
		i := slices.IndexFunc(indices(lots.len()), func(i int) bool { return lots.item(i).ID == b.ID })
		if i < 0 {
			missed = true
			fmt.Fprintf(c.err, "%s: not among the lots\n", oneLine(b.ID))
			continue
		}
		d, err := a.compareOne(ctx, c, lots.item(i), b, s)
		if err != nil {
			write.drop()
			return err
		}
		if d == nil || d.Status != layout.StatusDesigned {
			missed = true
		}
		if d != nil {
			if err := write.put(&outcome{item: lots.item(i), design: d, features: feature.Features(d)}); err != nil {
				return err
			}
		}
	}
	if err := write.keep(); err != nil {
		return err
	}
	if missed {
		return errNotDesigned
	}
	return nil
}

// readBuilt reads what was built of lots, from any kind of file that lots come in.
func readBuilt(ctx context.Context, path string) ([]asbuilt.Lot, error) {
	batch, err := assemble.Open(ctx, []assemble.Input{{Path: path}}, assemble.Options{Designs: true})
	if err != nil {
		return nil, err
	}
	defer batch.Close()
	var lots []asbuilt.Lot
	for i := range batch.Len() {
		lots = append(lots, asbuilt.Of(batch.ID(i), batch.Drawn(i)))
	}
	return asbuilt.Told(path, lots)
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// outputs are the files asked for: the map of the lots as built, and drawings.
func (a *auditCommand) outputs(c *console) (out sinks, err error) {
	if a.Drawings != "" {
		var j wholeJob
		if err := a.readDate(&j); err != nil {
			return nil, usageError{err}
		}
		j.sheets = a.sheets(j.date)
		j.sheets.Record = true
		out = append(out, &bookSink{books{job: j, path: a.Drawings}})
	}
	if a.Out == "" {
		return out, nil
	}
	d, err := outputFlags{Out: a.Out}.destination()
	if err != nil {
		return nil, err
	}
	drawn, err := c.openMap(d)
	if err != nil {
		return nil, err
	}
	return append(out, drawn), nil
}

// compareOne audits a lot and tells the outcome; it returns nil where what was
// built cannot be taken as it is.
func (a *auditCommand) compareOne(ctx context.Context, c *console, item assemble.Item, b asbuilt.Lot, s design.Settings) (*layout.Design, error) {
	if item.Lot == nil {
		fmt.Fprintf(c.err, "%s: %s\n", oneLine(item.ID), oneLine(refused(item).Reason))
		return nil, nil
	}
	designed, err := design.Run(ctx, item.Lot, s)
	if err != nil {
		return nil, err
	}
	plane, ok := item.Lot.Plane.(project.Plane)
	if !ok {
		return nil, errors.New("bug: a lot that was read has a plane of another kind")
	}
	found, findings := b.AsBuilt(plane, designed)
	for _, f := range findings {
		fmt.Fprintf(c.err, "%s: %s: %s\n", oneLine(item.ID), f.Rule, oneLine(f.Text))
	}
	if _, bad := importer.FirstError(findings); bad {
		return nil, nil
	}
	if a.Complete {
		return a.complete(ctx, c, item.Lot, design.Pins(designed, found), s)
	}
	d, diff, err := design.Audit(ctx, item.Lot, designed, found, s)
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(a.people(c), "Lot %s\n", oneLine(item.ID))
	return d, diff.WriteText(a.people(c))
}

// people is where a person reads what was found.
func (a *auditCommand) people(c *console) io.Writer {
	if a.Out == standardStream {
		return c.err
	}
	return c.out
}

// complete designs a lot around the heads that stand.
func (a *auditCommand) complete(ctx context.Context, c *console, lot *layout.Lot, stand []layout.Pin, s design.Settings) (*layout.Design, error) {
	kept := *lot
	kept.Pinned = stand
	d, err := design.Run(ctx, &kept, s)
	if err != nil {
		return nil, err
	}
	_, err = fmt.Fprintf(a.people(c), "Lot %s: %d heads stand, %d more make it %s; %.1f %% of the lawn reached\n",
		oneLine(lot.ID), len(stand), max(0, len(d.Heads)-len(stand)), d.Status, 100*d.Coverage)
	return d, err
}

// assess works out what cans caught on one lot, and how far that is from what the
// design says.
func (a *auditCommand) assess(ctx context.Context, c *console, lots *lotList, s design.Settings) error {
	if lots.len() != 1 {
		return usagef("--cans is about one lot: name it with --lot")
	}
	item := lots.item(0)
	if item.Lot == nil {
		return fmt.Errorf("lot %s: %s", item.ID, refused(item).Reason)
	}
	d, err := design.Run(ctx, item.Lot, s)
	if err != nil {
		return err
	}
	frame := uniformity.Frame{Origin: d.Network.POC}
	if plane, ok := item.Lot.Plane.(project.Plane); ok {
		frame.LonLat = func(lon, lat float64) geom.Point { return plane.Point(importer.Position{lon, lat}) }
	}
	catch, err := readTable("--cans", a.Cans, func(r io.Reader) (uniformity.Catch, error) { return uniformity.ParseCans(r, frame) })
	if err != nil {
		return err
	}
	test := uniformity.CatchTest{RunTime: a.RunTime}
	if a.Mouth != nil {
		test.MouthCM2 = uniformity.RoundMouthCM2(*a.Mouth)
	}
	if a.WindMPH != nil {
		wind := uniformity.MPH(*a.WindMPH)
		test.Wind = &wind
	}
	found, err := test.Assess(catch)
	if err != nil {
		return err
	}
	if err := found.WriteText(c.out); err != nil || a.Out == "" || a.RunTime == 0 {
		return err
	}
	predicted, err := design.CatchPrediction(item.Lot, d, s, zonesIn(catch), a.RunTime)
	if err != nil {
		return err
	}
	diff, err := test.Compare(catch, predicted)
	if err != nil {
		return err
	}
	return writeFile(a.Out, diff.WriteCSV)
}

// zonesIn lists the zones that the cans name.
func zonesIn(c uniformity.Catch) (out []int) {
	for _, can := range c.Cans {
		if can.Zone > 0 {
			out = append(out, can.Zone)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
