package takeoff

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// A price list is CSV. Its first line names the columns:
//
//	item            what is bought, one of the [Item] names
//	size            as on the line of the take-off; * for any size without a row of its own
//	unit            what the price is for: the item's own unit or another for the same, as ft for m
//	price           up to four decimals, no sign, no currency
//	labour_minutes  to put one unit in place, up to three decimals
//
// The row of item labour gives what an hour of labour costs.

// PriceList is what things cost.
type PriceList struct {
	rows map[lineKey]price
}

// price is a row of a price list.
type price struct {
	unit    Unit
	each    int64 // ten-thousandths of the currency
	minutes int64 // thousandths
}

// Limits of a price list.
const (
	mostPriceBytes = 4 << 20
	mostPrice      = 1_000_000 // of one unit, in the currency
	mostMinutes    = 100_000
	anySize        = "*"
)

//go:embed prices.csv
var inventedPrices []byte

// InventedPrices is a price list for where the user has none: invented, in no
// real currency, and only good for trying things out.
func InventedPrices() PriceList {
	list, err := ReadPrices(bytes.NewReader(inventedPrices))
	if err != nil {
		return PriceList{} // a test keeps this from happening
	}
	return list
}

var priceColumns = []string{"item", "size", "unit", "price", "labour_minutes"}

// ReadPrices reads a price list. Errors name line and column.
func ReadPrices(r io.Reader) (PriceList, error) {
	list, err := readPrices(r)
	if err != nil {
		return PriceList{}, fmt.Errorf("price list: %w", err)
	}
	return list, nil
}

func readPrices(r io.Reader) (PriceList, error) {
	text, err := io.ReadAll(io.LimitReader(r, mostPriceBytes+1))
	if err != nil {
		return PriceList{}, err
	}
	if len(text) > mostPriceBytes {
		return PriceList{}, fmt.Errorf("it is larger than %d bytes", mostPriceBytes)
	}
	reader := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\ufeff"))))
	names, err := reader.Read()
	if errors.Is(err, io.EOF) {
		return PriceList{}, errors.New("line 1: it is empty; the first line names the columns")
	}
	if err != nil {
		return PriceList{}, err // names line and column
	}
	places, err := columnPlaces(names)
	if err != nil {
		return PriceList{}, fmt.Errorf("line 1: %w", err)
	}
	list := PriceList{rows: make(map[lineKey]price)}
	for {
		cells, err := reader.Read()
		if errors.Is(err, io.EOF) {
			return list, nil
		}
		if err != nil {
			return PriceList{}, err
		}
		if name, err := list.addRow(cells, places); err != nil {
			column := places[name]
			line, _ := reader.FieldPos(column)
			return PriceList{}, fmt.Errorf("line %d, column %d (%s): %w", line, column+1, name, err)
		}
	}
}

// columnPlaces finds where each column is.
func columnPlaces(names []string) (map[string]int, error) {
	places := make(map[string]int)
	for i, name := range names {
		name = strings.TrimSpace(name)
		if !slices.Contains(priceColumns, name) {
			return nil, fmt.Errorf("column %d: %q is not one of %s", i+1, name, strings.Join(priceColumns, ", "))
		}
		if at, twice := places[name]; twice {
			return nil, fmt.Errorf("column %d: %s is given twice, first in column %d", i+1, name, at+1)
		}
		places[name] = i
	}
	for _, name := range priceColumns {
		if _, ok := places[name]; !ok {
			return nil, fmt.Errorf("there is no column %s", name)
		}
	}
	return places, nil
}

// addRow adds a row; a fault is told with the column it is in.
func (p PriceList) addRow(cells []string, places map[string]int) (column string, err error) {
	cell := func(name string) string { return strings.TrimSpace(cells[places[name]]) }
	item := Item(cell("item"))
	kind, ok := kinds[item]
	if !ok {
		return "item", fmt.Errorf("%q is not an item of the take-off", item)
	}
	if kind.free {
		return "item", fmt.Errorf("%s is only measured; nothing is paid for it", item)
	}
	row := price{unit: Unit(cell("unit"))}
	if _, ok := Quantity(0).In(kind.unit, row.unit); !ok {
		return "unit", fmt.Errorf("%s is counted in %s, and %q does not measure that", item, kind.unit, row.unit)
	}
	if row.each, err = decimal(cell("price"), 4, mostPrice); err != nil {
		return "price", err
	}
	if row.minutes, err = decimal(cell("labour_minutes"), 3, mostMinutes); err != nil {
		return "labour_minutes", err
	}
	if item == Labour && row.minutes != 0 {
		return "labour_minutes", errors.New("an hour of labour takes no labour beside itself; want 0")
	}
	key := lineKey{item, cell("size")}
	if _, twice := p.rows[key]; twice {
		return "size", fmt.Errorf("%s %q has a price already", item, key.size)
	}
	p.rows[key] = row
	return "", nil
}

// decimal reads a plain number such as 12.50 in units of its last decimal.
func decimal(s string, decimals int, most int64) (int64, error) {
	fault := fmt.Errorf("%q is not a number such as 12.50, with at most %d decimals and up to %d", s, decimals, most)
	whole, rest, point := strings.Cut(s, ".")
	if whole == "" || point && rest == "" || len(rest) > decimals {
		return 0, fault
	}
	v := int64(0)
	for _, c := range whole + rest + strings.Repeat("0", decimals-len(rest)) {
		if c < '0' || c > '9' || v > most*100_000 {
			return 0, fault
		}
		v = 10*v + int64(c-'0')
	}
	scale := int64(1)
	for range decimals {
		scale *= 10
	}
	if v > most*scale {
		return 0, fault
	}
	return v, nil
}

// of returns the row for a line: that of its size, or that of any size.
func (p PriceList) of(l Line) (price, bool) {
	if row, ok := p.rows[lineKey{l.Item, l.Size}]; ok {
		return row, true
	}
	row, ok := p.rows[lineKey{l.Item, anySize}]
	return row, ok
}
