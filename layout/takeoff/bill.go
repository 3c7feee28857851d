package takeoff

import (
	"math"

	"lotwright/layout"
)

// BillLine is a line of a take-off and what it costs.
type BillLine struct {
	Line
	Priced     bool         // false: the price list has no row for it, and the costs are nought
	Cost       layout.Cents // of the parts
	Labour     Quantity     // hours to put them in place or, on a line of labour, its own
	LabourCost layout.Cents
}

// Bill is a take-off with prices.
type Bill struct {
	Lot   string
	Lines []BillLine
	Sums
	Unpriced []Line // what has no price: the sums are without it
}

// Sums are what the lines of a bill, or of many, add up to.
type Sums struct {
	Parts       layout.Cents
	LabourHours Quantity
	Labour      layout.Cents
}

// Total is parts and labour.
func (s Sums) Total() layout.Cents { return s.Parts + s.Labour }

func (s *Sums) add(t Sums) {
	s.Parts += t.Parts
	s.LabourHours += t.LabourHours
	s.Labour += t.Labour
}

// Priced prices a take-off. What the price list has no row for is listed as
// unpriced, and so is all labour where it has no row of an hour's.
func Priced(list List, prices PriceList) Bill {
	bill := Bill{Lot: list.Lot}
	_, hourly := prices.of(Line{Item: Labour})
	unpricedHours := Quantity(0)
	for _, l := range list.Lines {
		b := BillLine{Line: l, Priced: true}
		if !l.Free() {
			b = prices.priced(l)
		}
		if !b.Priced {
			bill.Unpriced = append(bill.Unpriced, l)
		} else if !hourly && l.Item != Labour {
			unpricedHours += b.Labour
		}
		bill.Lines = append(bill.Lines, b)
		bill.add(Sums{b.Cost, b.Labour, b.LabourCost})
	}
	if unpricedHours > 0 {
		bill.Unpriced = append(bill.Unpriced, Line{Item: Labour, Size: "putting parts in place", Quantity: unpricedHours, Unit: Hour})
	}
	return bill
}

// priced prices one line. Costs are rounded to whole cents a line, so that lines
// add up to their sums.
func (p PriceList) priced(l Line) BillLine {
	b := BillLine{Line: l}
	row, ok := p.of(l)
	hour, _ := p.of(Line{Item: Labour})
	if l.Item == Labour {
		b.Priced, b.Labour = ok, l.Quantity
		b.LabourCost = cents(l.Quantity, l.Unit, row)
		return b
	}
	if !ok {
		return b
	}
	n, _ := l.Quantity.In(l.Unit, row.unit)
	b.Priced = true
	b.Cost = cents(l.Quantity, l.Unit, row)
	b.Labour = Quantity(math.Round(n * float64(row.minutes) / 60))
	b.LabourCost = cents(b.Labour, Hour, hour)
	return b
}

// cents returns what a quantity costs, rounded half away from nought. A row that
// is missing has no unit and costs nothing.
func cents(q Quantity, unit Unit, row price) layout.Cents {
	n, ok := q.In(unit, row.unit)
	if !ok {
		return 0
	}
	return layout.Cents(math.Round(n * float64(row.each) / 100))
}
