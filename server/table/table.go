// Package table writes take-offs as a spreadsheet workbook (XLSX).
//
// The sheets are totals, lots, lines and cut list. The same bills give the same
// bytes: times in the document are fixed. Text that a spreadsheet program could
// take for a formula is written with an apostrophe before it, since lot ids and
// models come from files of others.
package table

import (
	"fmt"
	"io"
	"strings"

	"github.com/xuri/excelize/v2"

	"lotwright/layout/takeoff"
)

// The names of the sheets. A sheet that is full goes on as "lines 2" and so on.
const (
	SheetTotals = "totals"
	SheetLots   = "lots"
	SheetLines  = "lines"
	SheetCuts   = "cut list"
)

// allLots is the scope of the cut list over the batch.
const allLots = "all lots"

// documentTime stands in the properties instead of the time of writing.
const documentTime = "2000-01-01T00:00:00Z"

// Workbook gathers bills and writes them. Rows go to disk when there are many.
type Workbook struct {
	file   *excelize.File
	styles styles
	sheets map[string]*sheet
}

// New returns a workbook without lots. Close it when done.
func New() (*Workbook, error) {
	w := &Workbook{file: excelize.NewFile(), sheets: make(map[string]*sheet)}
	if err := w.open(); err != nil {
		return nil, fmt.Errorf("workbook: %w", err)
	}
	return w, nil
}

func (w *Workbook) open() (err error) {
	if w.styles, err = newStyles(w.file); err != nil {
		return err
	}
	if err := w.file.SetDocProps(&excelize.DocProperties{Creator: "Lotwright", Created: documentTime, Modified: documentTime}); err != nil {
		return err
	}
	if err := w.file.SetSheetName("Sheet1", SheetTotals); err != nil {
		return err
	}
	for _, s := range []struct {
		name    string
		columns []string
	}{
		{SheetTotals, nil},
		{SheetLots, []string{"lot", "parts", "labour hours", "labour", "total", "lines without a price"}},
		{SheetLines, []string{"lot", "item", "size", "quantity", "unit", "quantity, US", "unit, US", "parts", "labour hours", "labour", "price", "from", "note"}},
		{SheetCuts, []string{"for", "material", "size", "stick", "stick m", "stick ft", "lot", "piece", "length m", "length ft"}},
	} {
		if w.sheets[s.name], err = newSheet(w.file, s.name, s.columns, w.styles); err != nil {
			return err
		}
	}
	return nil
}

// Close removes what was put on disk.
func (w *Workbook) Close() error { return w.file.Close() }

// Add adds a lot to the sheets of lots, lines and cuts.
func (w *Workbook) Add(list takeoff.List, bill takeoff.Bill) error {
	if err := w.add(list, bill); err != nil {
		return fmt.Errorf("workbook: lot %s: %w", bill.Lot, err)
	}
	return nil
}

func (w *Workbook) add(list takeoff.List, bill takeoff.Bill) error {
	st := w.styles
	if err := w.sheets[SheetLots].row(text(bill.Lot), st.money(bill.Parts), st.quantity(bill.LabourHours), st.money(bill.Labour),
		st.money(bill.Total()), st.count(len(bill.Unpriced))); err != nil {
		return err
	}
	for _, l := range bill.Lines {
		row := append([]any{text(bill.Lot)}, st.line(l)...)
		if err := w.sheets[SheetLines].row(append(row, text(strings.Join(l.Features, " ")), text(l.Note))...); err != nil {
			return err
		}
	}
	for _, c := range list.Cuts {
		if err := w.cuts(bill.Lot, c); err != nil {
			return err
		}
	}
	return nil
}

// cuts writes a row for every piece of a cut list, for a lot or all.
func (w *Workbook) cuts(scope string, c takeoff.CutPlan) error {
	st := w.styles
	for i, stick := range c.Sticks {
		for _, p := range stick.Pieces {
			lot := p.Lot
			if lot == "" {
				lot = scope
			}
			row := []any{text(scope), text(c.Material), text(c.Size), st.count(i + 1)}
			row = append(append(row, st.lengths(stick.MM)...), text(lot), text(p.Label))
			if err := w.sheets[SheetCuts].row(append(row, st.lengths(p.MM)...)...); err != nil {
				return err
			}
		}
	}
	return nil
}

// Write adds the totals and the cut list over all lots, and writes the file. It
// is the last thing done with a workbook but for closing it.
func (w *Workbook) Write(out io.Writer, batch *takeoff.Batch, cuts []takeoff.StickTotal) error {
	if err := w.write(out, batch, cuts); err != nil {
		return fmt.Errorf("workbook: %w", err)
	}
	return nil
}

func (w *Workbook) write(out io.Writer, batch *takeoff.Batch, cuts []takeoff.StickTotal) error {
	if err := w.totals(batch); err != nil {
		return err
	}
	if err := w.sticks(cuts); err != nil {
		return err
	}
	for _, c := range cuts {
		if err := w.cuts(allLots, c.Together); err != nil {
			return err
		}
	}
	for _, name := range []string{SheetTotals, SheetLots, SheetLines, SheetCuts} {
		if err := w.sheets[name].flush(); err != nil {
			return err
		}
	}
	data, err := w.file.WriteToBuffer()
	if err != nil {
		return err
	}
	return inOrder(out, data.Bytes())
}

// totals writes the sums, the totals by line and what has no price.
func (w *Workbook) totals(b *takeoff.Batch) error {
	s, st := w.sheets[SheetTotals], w.styles
	rows := [][]any{
		{"lots", st.count(b.Lots)},
		{"parts", st.money(b.Parts)},
		{"labour hours", st.quantity(b.LabourHours)},
		{"labour", st.money(b.Labour)},
		{"total", st.money(b.Total())},
	}
	if n := len(b.Unpriced()); n > 0 {
		rows = append(rows, []any{"the sums are without what has no price, listed below: lines", st.count(n)})
	}
	rows = append(rows, nil, st.header("item", "size", "quantity", "unit", "quantity, US", "unit, US", "parts", "labour hours", "labour", "price", "lots"))
	for _, l := range b.Lines() {
		rows = append(rows, append(st.line(l.BillLine), st.count(l.Lots)))
	}
	if len(b.Unpriced()) > 0 {
		rows = append(rows, nil, st.header("without a price", "size", "quantity", "unit", "lots"))
	}
	for _, l := range b.Unpriced() {
		rows = append(rows, []any{text(string(l.Item)), text(l.Size), st.quantity(l.Quantity), text(string(l.Unit)), st.count(l.Lots)})
	}
	return s.rows(rows)
}

// sticks compares cutting lot by lot with cutting over all lots.
func (w *Workbook) sticks(cuts []takeoff.StickTotal) error {
	st := w.styles
	rows := [][]any{nil, st.header("pipe", "size", "sticks, lot by lot", "m", "sticks, over all lots", "m", "no fewer m than", "spare sticks, over all lots")}
	for _, c := range cuts {
		p := c.Together
		rows = append(rows, []any{text(p.Material), text(p.Size), st.count(c.Alone), st.metres(c.AloneMM),
			st.count(len(p.Sticks)), st.metres(p.StickMM), st.metres(p.BoundMM), st.count(p.Spares)})
	}
	return w.sheets[SheetTotals].rows(rows)
}
