package cli

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"lotwright/layout"
)

// headTableLimit bounds a head table: a performance table has tens of rows.
const headTableLimit = 1 << 20 // bytes

// A head table gives what one head does at each pressure of its rated band.
// As CSV its first line names the columns, units in the names, in any order:
//
//	pressure_psi,throw_ft,flow_gpm
//	40,25,4.0
//
// As JSON it is an array of objects with the same names. Nothing else is
// accepted: no further columns, no blanks for numbers, no units in cells.

// column is one of the three quantities in one unit.
type column struct {
	quantity string
	name     string
	set      func(v float64, row *layout.PerformanceRow)
}

var columns = []column{
	{"pressure", "pressure_psi", func(v float64, r *layout.PerformanceRow) { r.Pressure = layout.PSI(v) }},
	{"pressure", "pressure_kpa", func(v float64, r *layout.PerformanceRow) { r.Pressure = layout.Pressure(v) }},
	{"pressure", "pressure_bar", func(v float64, r *layout.PerformanceRow) { r.Pressure = layout.Pressure(v * layout.KPaPerBar) }},
	{"throw", "throw_ft", func(v float64, r *layout.PerformanceRow) { r.Throw = layout.Feet(v) }},
	{"throw", "throw_m", func(v float64, r *layout.PerformanceRow) { r.Throw = layout.Length(v) }},
	{"flow", "flow_gpm", func(v float64, r *layout.PerformanceRow) { r.Flow = layout.GPM(v) }},
	{"flow", "flow_lpm", func(v float64, r *layout.PerformanceRow) { r.Flow = layout.Flow(v) }},
}

// readHeadTable reads the table of one variable-throw head. Its name is that
// of the file.
func readHeadTable(path string) (layout.HeadModel, error) {
	model := layout.HeadModel{Name: strings.TrimSuffix(filepath.Base(path), filepath.Ext(path)), Kind: layout.VariableThrow}
	text, err := readLimited(path)
	if err != nil {
		return model, fmt.Errorf("--head-table: %w", err)
	}
	if strings.EqualFold(filepath.Ext(path), ".json") {
		model.Rows, err = parseHeadJSON(text)
	} else {
		model.Rows, err = parseHeadCSV(text)
	}
	if err == nil {
		err = model.Validate()
	}
	if err != nil {
		return model, fmt.Errorf("--head-table %s: %w", path, err)
	}
	return model, nil
}

func readLimited(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, headTableLimit+1))
	if err == nil && len(text) > headTableLimit {
		err = fmt.Errorf("%s is larger than %d bytes", path, headTableLimit)
	}
	return text, err
}

// parseHeadCSV reads the CSV form; errors name line and column.
func parseHeadCSV(text []byte) ([]layout.PerformanceRow, error) {
	reader := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\ufeff"))))
	names, err := reader.Read()
	if err != nil {
		return nil, csvFault(err)
	}
	line, _ := reader.FieldPos(0)
	header, err := parseHeader(names)
	if err != nil {
		return nil, fmt.Errorf("line %d: %w", line, err)
	}
	var rows []layout.PerformanceRow
	for {
		cells, err := reader.Read()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return nil, csvFault(err)
		}
		var row layout.PerformanceRow
		for c, cell := range cells {
			v, err := positive(cell)
			if err != nil {
				line, _ := reader.FieldPos(c)
				return nil, fmt.Errorf("line %d, column %d (%s): %w", line, c+1, names[c], err)
			}
			header[c].set(v, &row)
		}
		rows = append(rows, row)
	}
}

// csvFault words the reader's own errors, which carry line and column.
func csvFault(err error) error {
	if errors.Is(err, io.EOF) {
		return errors.New("line 1: the file is empty; the first line names the columns")
	}
	return err
}

// parseHeader finds the column of each name, and one of each quantity.
func parseHeader(names []string) ([]column, error) {
	var header []column
	seen := map[string]string{}
	for i, name := range names {
		c, err := findColumn(strings.TrimSpace(name))
		if err != nil {
			return nil, fmt.Errorf("column %d: %w", i+1, err)
		}
		if first, twice := seen[c.quantity]; twice {
			return nil, fmt.Errorf("column %d: %s is given twice, as %s and %s", i+1, c.quantity, first, c.name)
		}
		seen[c.quantity] = c.name
		header = append(header, c)
	}
	for _, q := range []string{"pressure", "throw", "flow"} {
		if seen[q] == "" {
			return nil, fmt.Errorf("no column for the %s; the names are %s", q, columnNames())
		}
	}
	return header, nil
}

func findColumn(name string) (column, error) {
	at := slices.IndexFunc(columns, func(c column) bool { return c.name == name })
	if at < 0 {
		return column{}, fmt.Errorf("%q is not one of %s", name, columnNames())
	}
	return columns[at], nil
}

func columnNames() string {
	var names []string
	for _, c := range columns {
		names = append(names, c.name)
	}
	return strings.Join(names, ", ")
}

// positive reads a finite number above zero.
func positive(text string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil || !(v > 0) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is not a number above zero", text)
	}
	return v, nil
}

// parseHeadJSON reads the JSON form; errors name line and column. It goes by
// tokens, since a map would let a name given twice pass.
func parseHeadJSON(text []byte) ([]layout.PerformanceRow, error) {
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.UseNumber()
	rows, err := jsonRows(decoder)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", lineColumn(text, decoder.InputOffset()), err)
	}
	return rows, nil
}

func jsonRows(decoder *json.Decoder) (rows []layout.PerformanceRow, err error) {
	if err := expect(decoder, '['); err != nil {
		return nil, err
	}
	for decoder.More() {
		row, err := jsonRow(decoder)
		if err != nil {
			return nil, err
		}
		rows = append(rows, row)
	}
	if err := expect(decoder, ']'); err != nil {
		return nil, err
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("unexpected data after the array")
	}
	return rows, nil
}

// jsonRow reads one object of names and numbers.
func jsonRow(decoder *json.Decoder) (row layout.PerformanceRow, err error) {
	if err := expect(decoder, '{'); err != nil {
		return row, err
	}
	var names []string
	for decoder.More() {
		key, err := decoder.Token()
		if err != nil {
			return row, err
		}
		c, err := findColumn(key.(string)) // a decoder yields no other key
		if err != nil {
			return row, err
		}
		value, err := decoder.Token()
		if err != nil {
			return row, err
		}
		number, ok := value.(json.Number)
		if !ok {
			return row, fmt.Errorf("%s: want a number, got %v", c.name, value)
		}
		v, err := positive(number.String())
		if err != nil {
			return row, fmt.Errorf("%s: %w", c.name, err)
		}
		c.set(v, &row)
		names = append(names, c.name)
	}
	if _, err := parseHeader(names); err != nil {
		return row, err
	}
	return row, expect(decoder, '}')
}

// expect reads the one token that may come next.
func expect(decoder *json.Decoder, want json.Delim) error {
	token, err := decoder.Token()
	switch {
	case errors.Is(err, io.EOF):
		return fmt.Errorf("want %v, the file ends", want)
	case err != nil:
		return err
	case token != want:
		return fmt.Errorf("want %v, got %v: an array of objects, one a row", want, token)
	}
	return nil
}

// lineColumn counts lines, and bytes within the line, both from 1.
func lineColumn(text []byte, offset int64) string {
	before := text[:min(offset, int64(len(text)))]
	line := bytes.Count(before, []byte("\n")) + 1
	return fmt.Sprintf("line %d, column %d", line, len(before)-bytes.LastIndexByte(before, '\n'))
}
