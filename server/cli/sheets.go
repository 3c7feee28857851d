package cli

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/schedule"
	"lotwright/layout/takeoff"
	"lotwright/server/sheet"
)

// Names of sheets within a packet.
const (
	lotSheetName = "sheet"
	bookName     = "book"
)

// books binds the sheets of a batch, in as many volumes as they need.
type books struct {
	job   wholeJob
	path  string // of a book of one volume
	open  *sheet.Book
	bound int
}

// add writes the sheet of a lot and binds it.
func (b *books) add(folder string, item assemble.Item, d *layout.Design, tables []sheet.Table) error {
	in := sheet.Lot{Lot: item.Lot, Design: d, Tables: tables}
	made, err := sheet.New(in, b.job.sheets)
	if err != nil {
		return err
	}
	if err := writeFile(filepath.Join(folder, lotSheetName+".pdf"), made.WritePDF); err != nil {
		return err
	}
	for i := range made.Pages {
		name := fmt.Sprintf("%s-%d.svg", lotSheetName, i+1)
		if err := writeFile(filepath.Join(folder, name), func(w io.Writer) error { return made.WriteSVG(w, i) }); err != nil {
			return err
		}
	}
	return b.bindIn(in, made)
}

// bindIn binds the sheet of a lot.
func (b *books) bindIn(in sheet.Lot, made *sheet.Sheet) error {
	if b.open == nil {
		b.open = sheet.NewBook(b.job.sheets)
	}
	if err := b.open.Add(in, made); err != nil {
		return err
	}
	if b.open.Full() {
		return b.bind()
	}
	return nil
}

// bind writes the volume at hand. A book of several volumes has them numbered.
func (b *books) bind(tables ...sheet.Table) error {
	if b.open == nil {
		return nil
	}
	b.bound++
	path := b.path
	if b.bound > 1 || b.open.Full() {
		path = fmt.Sprintf("%s-%d.pdf", strings.TrimSuffix(b.path, ".pdf"), b.bound)
	}
	open := b.open
	b.open = nil
	return writeFile(path, func(w io.Writer) error { return open.Write(w, tables...) })
}

// partsTable lists what to buy for a lot, with a note of what has no price.
func partsTable(bill takeoff.Bill, us bool) sheet.Table {
	t := sheet.Table{Title: "Parts", Head: []string{"Part", "Size", "Quantity", "Cost"},
		Align: []sheet.Align{sheet.AlignLeft, sheet.AlignLeft, sheet.AlignRight, sheet.AlignRight}, Sums: 1}
	for _, l := range bill.Lines {
		if l.Item == takeoff.Labour || l.Free() {
			continue
		}
		cost := ""
		if l.Priced {
			cost = l.Cost.String()
		}
		t.Rows = append(t.Rows, []string{words(string(l.Item)), l.Size, quantityText(l.Line, us), cost})
	}
	t.Rows = append(t.Rows, []string{"Sum of the parts with a price", "", "", bill.Parts.String()})
	if n := len(bill.Unpriced); n > 0 {
		t.Note = fmt.Sprintf("Without %s that the price list has no price for.", plural(n, "line"))
	}
	return t
}

// totalsTable lists what to buy for the batch.
func totalsTable(b *takeoff.Batch, us bool) sheet.Table {
	all := takeoff.Bill{Sums: b.Sums}
	for _, l := range b.Lines() {
		all.Lines = append(all.Lines, l.BillLine)
	}
	for _, l := range b.Unpriced() {
		all.Unpriced = append(all.Unpriced, l.Line)
	}
	t := partsTable(all, us)
	t.Title = "Parts of " + plural(b.Lots, "lot")
	t.Rows = append(t.Rows, []string{"Labour", "", all.LabourHours.String() + " h", all.Labour.String()},
		[]string{"Parts and labour", "", "", all.Total().String()})
	t.Sums = 3
	return t
}

// words writes an item's name as people do: swing_joint becomes swing joint.
func words(item string) string { return strings.ReplaceAll(item, "_", " ") }

func quantityText(l takeoff.Line, us bool) string {
	q, unit := l.Quantity, l.Unit
	if us {
		q, unit = q.Customary(unit)
	}
	if unit == takeoff.Each {
		return q.String()
	}
	return fmt.Sprintf("%.2f %s", q.Units(), unit)
}

// cutTable lists the pieces of pipe, stick by stick.
func cutTable(cuts []takeoff.CutPlan, us bool) sheet.Table {
	t := sheet.Table{Title: "Cut list", Note: "Centre to centre of fittings: take off the make-up of the fittings in hand before cutting.",
		Head: []string{"Pipe", "Stick", "Cut"}}
	for _, c := range cuts {
		for i, s := range c.Sticks {
			var pieces []string
			for _, p := range s.Pieces {
				pieces = append(pieces, p.Label+" "+lengthText(p.MM, us))
			}
			t.Rows = append(t.Rows, []string{c.Size, fmt.Sprintf("%d of %s", i+1, lengthText(s.MM, us)), strings.Join(pieces, ", ")})
		}
	}
	return t
}

const millimetresPerInch = 1000 * layout.MetresPerInch

// lengthText writes whole millimetres as people measure them.
func lengthText(mm int64, us bool) string {
	if !us {
		return fmt.Sprintf("%.2f m", float64(mm)/1000)
	}
	inches := int64(float64(mm)/millimetresPerInch + 0.5)
	return fmt.Sprintf("%d ft %d in", inches/12, inches%12)
}

// runTimeTable gives the minutes of each zone, month by month.
func runTimeTable(r schedule.Result) sheet.Table {
	t := sheet.Table{Title: "Run times", Head: []string{"Month"},
		Note: fmt.Sprintf("Cycles × minutes on each watering day, and how many such days a week; water may run %s.", r.Window)}
	for _, z := range r.Zones {
		t.Head, t.Align = append(t.Head, z.Label), append(t.Align, sheet.AlignRight)
	}
	t.Align = append([]sheet.Align{sheet.AlignLeft}, t.Align...)
	for _, m := range r.Months {
		row, any := []string{m.Month.String()}, false
		for _, run := range m.Runs {
			cell := "–"
			if run.Cycles.Count > 0 {
				cell, any = fmt.Sprintf("%d × %d, %d d", run.Cycles.Count, run.Cycles.Minutes, run.Days.Count()), true
			}
			row = append(row, cell)
		}
		if any {
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

// pressureTable is the pressure budget of a lot.
func pressureTable(w *layout.Water, us bool) sheet.Table {
	t := sheet.Table{Title: "Where the pressure goes, on the way to " + w.BudgetHead, Head: []string{"", "", "Lost", "Left"},
		Align: []sheet.Align{sheet.AlignLeft, sheet.AlignLeft, sheet.AlignRight, sheet.AlignRight}}
	text := func(p layout.Pressure) string {
		if us {
			return fmt.Sprintf("%.1f psi", p.PSI())
		}
		return fmt.Sprintf("%.0f kPa", p.KPa())
	}
	for _, row := range w.Budget {
		t.Rows = append(t.Rows, []string{words(row.Item), row.Label, text(row.Loss), text(row.Left)})
	}
	return t
}
