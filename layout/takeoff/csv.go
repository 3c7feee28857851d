package takeoff

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
)

// Columns of the CSV files. Money and hours are blank where there is no price.
var (
	lineColumns = []string{"lot", "item", "size", "quantity", "unit", "customary_quantity", "customary_unit",
		"cost", "labour_hours", "labour_cost", "priced", "features", "note"}
	totalColumns = []string{"item", "size", "quantity", "unit", "customary_quantity", "customary_unit",
		"cost", "labour_hours", "labour_cost", "priced", "lots"}
)

// LineWriter writes the lines of bills as CSV, lot after lot. Nothing is held
// back: it may write any number of lots.
type LineWriter struct {
	csv     *csv.Writer
	started bool
}

// NewLineWriter returns a writer; the header comes with the first lot.
func NewLineWriter(w io.Writer) *LineWriter { return &LineWriter{csv: csv.NewWriter(w)} }

// Write writes the lines of a lot.
func (w *LineWriter) Write(bill Bill) error {
	if !w.started {
		w.started = true
		if err := w.csv.Write(lineColumns); err != nil {
			return err
		}
	}
	for _, l := range bill.Lines {
		row := append([]string{bill.Lot}, l.cells()...)
		if err := w.csv.Write(append(row, strings.Join(l.Features, " "), l.Note)); err != nil {
			return err
		}
	}
	w.csv.Flush()
	return w.csv.Error()
}

// cells are the columns that lines and totals share.
func (l BillLine) cells() []string {
	customary, unit := l.Quantity.Customary(l.Unit)
	cells := []string{string(l.Item), l.Size, l.Quantity.String(), string(l.Unit), customary.String(), string(unit)}
	if !l.Priced {
		return append(cells, "", "", "", "no")
	}
	if l.Free() {
		return append(cells, "", "", "", "not paid for")
	}
	return append(cells, l.Cost.String(), l.Labour.String(), l.LabourCost.String(), "yes")
}

// WriteTotals writes the totals of a batch as CSV.
func WriteTotals(w io.Writer, b *Batch) error {
	out := csv.NewWriter(w)
	rows := [][]string{totalColumns}
	for _, l := range b.Lines() {
		rows = append(rows, append(l.cells(), strconv.Itoa(l.Lots)))
	}
	return out.WriteAll(rows)
}
