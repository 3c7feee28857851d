package table

import (
	"strings"

	"github.com/xuri/excelize/v2"

	"lotwright/layout"
	"lotwright/layout/takeoff"
)

// metresPerFoot is the international foot.
const metresPerFoot = 0.3048

// styles are the number formats and the header's.
type styles struct{ head, cents, thousandths, whole int }

func newStyles(f *excelize.File) (s styles, err error) {
	for _, one := range []struct {
		id    *int
		style excelize.Style
	}{
		{&s.head, excelize.Style{Font: &excelize.Font{Bold: true}}},
		{&s.cents, excelize.Style{NumFmt: 4}}, // #,##0.00
		{&s.thousandths, excelize.Style{CustomNumFmt: ptr("#,##0.###")}},
		{&s.whole, excelize.Style{NumFmt: 3}}, // #,##0
	} {
		if *one.id, err = f.NewStyle(&one.style); err != nil {
			return s, err
		}
	}
	return s, nil
}

func ptr[T any](v T) *T { return &v }

// text guards against being taken for a formula, here or after the table is
// saved as text and opened again: what begins with =, +, -, @, a tab or a line
// end gets an apostrophe.
func text(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r\n", rune(s[0])) {
		return "'" + s
	}
	return s
}

func (s styles) header(names ...string) []any {
	out := make([]any, len(names))
	for i, n := range names {
		out[i] = excelize.Cell{StyleID: s.head, Value: n}
	}
	return out
}

func (s styles) money(c layout.Cents) excelize.Cell {
	return excelize.Cell{StyleID: s.cents, Value: c.Units()}
}

func (s styles) quantity(q takeoff.Quantity) excelize.Cell {
	return excelize.Cell{StyleID: s.thousandths, Value: q.Units()}
}

func (s styles) count(n int) excelize.Cell { return excelize.Cell{StyleID: s.whole, Value: n} }

func (s styles) metres(mm int64) excelize.Cell {
	return excelize.Cell{StyleID: s.thousandths, Value: float64(mm) / 1000}
}

// lengths are a length in metres and in feet, the latter to the thousandth.
func (s styles) lengths(mm int64) []any {
	feet := int64(float64(mm)/metresPerFoot + 0.5)
	return []any{s.metres(mm), s.metres(feet)}
}

// line are the cells of a line of a bill; costs are blank where there is no
// price.
func (s styles) line(l takeoff.BillLine) []any {
	customary, unit := l.Quantity.Customary(l.Unit)
	cells := []any{text(string(l.Item)), text(l.Size), s.quantity(l.Quantity), text(string(l.Unit)), s.quantity(customary), text(string(unit))}
	switch {
	case !l.Priced:
		return append(cells, nil, nil, nil, "no price")
	case l.Free():
		return append(cells, nil, nil, nil, "not paid for")
	}
	return append(cells, s.money(l.Cost), s.quantity(l.Labour), s.money(l.LabourCost), "priced")
}
