package cli

import (
	"context"
	"fmt"
	"io"
	"math"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/feature"
	"lotwright/layout/geom"
)

// outcome is what became of one lot.
type outcome struct {
	item     assemble.Item
	design   *layout.Design // nil: the run was interrupted first
	features [][]byte       // of the design, as they are written
}

// work designs one lot and encodes the result.
func work(ctx context.Context, item assemble.Item, settings design.Settings) *outcome {
	o := &outcome{item: item, design: designLot(ctx, item, settings)}
	if o.design != nil {
		o.features = feature.Features(o.design)
	}
	return o
}

// designLot designs the lot of an item. A refused lot, a fault and even a
// broken invariant are statuses of the design, so that one lot never takes the
// others with it. It returns nil only when ctx ends before the design is done.
func designLot(ctx context.Context, item assemble.Item, settings design.Settings) (d *layout.Design) {
	defer func() {
		if r := recover(); r != nil {
			d = failed(item.ID, fmt.Errorf("broken invariant: %v", r))
		}
	}()
	if item.Lot == nil {
		return refused(item)
	}
	d, err := design.Run(ctx, item.Lot, settings)
	switch {
	case err != nil && ctx.Err() != nil:
		return nil
	case err != nil:
		return failed(item.ID, err)
	}
	return d
}

// failed is the design of a lot that the program, not the lot, is to blame for.
func failed(id string, err error) *layout.Design {
	return &layout.Design{LotID: id, Status: layout.StatusFailed, Reason: err.Error(), Proof: layout.Proof{Kind: layout.ProofNone}}
}

// refused is the design of a lot that the importer turned down. It has a place
// where the importer knows one that is on the map.
func refused(item assemble.Item) *layout.Design {
	reason := "the importer refused the lot"
	if f, ok := importer.FirstError(item.Findings); ok {
		reason = f.Rule + ": " + f.Text
	}
	d := layout.Refused(item.ID, reason, nil)
	placed := func(importer.Position) *geom.Point { return nil }
	if item.Place != nil && near(*item.Place, importer.Position{}, 180, 90) {
		plane := project.NewPlane(*item.Place)
		d.Plane = plane
		placed = func(at importer.Position) *geom.Point {
			if !near(at, *item.Place, planeReach, planeReach) {
				return nil
			}
			p := plane.Point(at)
			return &p
		}
	}
	for _, f := range item.Findings {
		n := layout.Note{Rule: f.Rule, Severity: f.Severity, Text: f.Text}
		if f.Place != nil {
			n.At = placed(*f.Place)
		}
		d.Notes = append(d.Notes, n)
	}
	return d
}

// planeReach is how far from its origin a lot's plane is used, in degrees.
const planeReach = 0.03

// near reports whether two places differ by less than so many degrees.
func near(a, b importer.Position, lon, lat float64) bool {
	return math.Abs(a[0]-b[0]) <= lon && math.Abs(a[1]-b[1]) < lat
}

// outcomeNote says in words why a lot has no design, and where the fault lies.
type outcomeNote struct {
	lot, status, reason, where string
}

func (o *outcome) note() outcomeNote {
	n := outcomeNote{lot: o.design.LotID, status: string(o.design.Status), reason: o.design.Reason}
	if f, ok := importer.FirstError(o.item.Findings); ok {
		n.where = findingPlace(f)
		return n
	}
	for _, note := range o.design.Notes {
		if note.Severity == layout.SeverityError {
			n.where = note.Rule + notePlace(o.design.Plane, note)
			break
		}
	}
	return n
}

func findingPlace(f importer.Finding) string {
	where := f.File
	if f.Feature >= 0 {
		where += fmt.Sprintf(", feature %d", f.Feature)
	}
	if f.Layer != "" {
		where += fmt.Sprintf(" (%s)", f.Layer)
	}
	if f.Place != nil {
		where += placeText(f.Place[0], f.Place[1])
	}
	return where
}

func notePlace(plane layout.Plane, n layout.Note) string {
	if plane == nil || n.At == nil {
		return ""
	}
	return placeText(plane.LonLat(float64(n.At.X), float64(n.At.Y)))
}

func placeText(lon, lat float64) string { return fmt.Sprintf(" at %.7f, %.7f", lon, lat) }

// writeMissing names every lot without a design.
func writeMissing(w io.Writer, notes []outcomeNote, lots int) {
	if len(notes) == 0 {
		return
	}
	fmt.Fprintf(w, "Not designed: %d of %s\n", len(notes), plural(lots, "lot"))
	g := &grid{left: map[int]bool{1: true, 2: true}}
	for _, n := range notes {
		text := n.reason
		if n.where != "" {
			text += " [" + n.where + "]"
		}
		g.add("  "+oneLine(n.lot), n.status, oneLine(text))
	}
	g.write(w)
}
