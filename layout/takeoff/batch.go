package takeoff

import (
	"slices"
	"strings"
)

// Batch adds up the bills of many lots. The zero value is an empty batch. Sums
// are of whole numbers, so they equal the lots' lines exactly, in whatever order
// lots come.
type Batch struct {
	Lots int
	Sums

	lines    map[lineKey]*TotalLine
	unpriced map[lineKey]*TotalLine
	pieces   []Piece
	alone    map[lineKey]*stickSum // sticks of the lots' own cut lists, by material and size
}

// TotalLine is a line of totals.
type TotalLine struct {
	BillLine     // without features
	Lots     int // that have such a line
}

// StickTotal compares cutting lot by lot with cutting over the whole batch.
type StickTotal struct {
	Together   CutPlan // over all lots
	AloneMM    int64   // length of the sticks of the lots' own cut lists, without spares
	Alone      int     // number of these sticks
	AloneSpare int64   // length of the lots' spares
}

type stickSum struct {
	mm, spareMM int64
	n           int
}

// Add adds a lot: its take-off and the bill made of it.
func (b *Batch) Add(list List, bill Bill) {
	if b.lines == nil {
		b.lines, b.unpriced = make(map[lineKey]*TotalLine), make(map[lineKey]*TotalLine)
		b.alone = make(map[lineKey]*stickSum)
	}
	b.Lots++
	b.Sums.add(bill.Sums)
	for _, l := range bill.Lines {
		addLine(b.lines, l)
	}
	for _, l := range bill.Unpriced {
		addLine(b.unpriced, BillLine{Line: l})
	}
	for _, p := range list.Pieces {
		p.Lot = list.Lot
		b.pieces = append(b.pieces, p)
	}
	for _, c := range list.Cuts {
		key := lineKey{Item(c.Material), c.Size}
		if b.alone[key] == nil {
			b.alone[key] = &stickSum{}
		}
		sum := b.alone[key]
		sum.mm, sum.spareMM, sum.n = sum.mm+c.StickMM, sum.spareMM+c.SpareMM, sum.n+len(c.Sticks)
	}
}

func addLine(lines map[lineKey]*TotalLine, l BillLine) {
	key := lineKey{l.Item, l.Size}
	sum, ok := lines[key]
	if !ok {
		sum = &TotalLine{BillLine: BillLine{Line: Line{Item: l.Item, Size: l.Size, Unit: l.Unit}, Priced: l.Priced}}
		lines[key] = sum
	}
	sum.Lots++
	sum.Quantity += l.Quantity
	sum.Cost += l.Cost
	sum.Labour += l.Labour
	sum.LabourCost += l.LabourCost
}

// Lines returns the totals by item and size.
func (b *Batch) Lines() []TotalLine { return ordered(b.lines) }

// Unpriced returns what has no price.
func (b *Batch) Unpriced() []TotalLine { return ordered(b.unpriced) }

func ordered(lines map[lineKey]*TotalLine) []TotalLine {
	out := make([]TotalLine, 0, len(lines))
	for _, l := range lines {
		out = append(out, *l)
	}
	slices.SortFunc(out, func(a, b TotalLine) int { return compareLines(a.Line, b.Line) })
	return out
}

// Cut makes the cut list over all lots, beside what the lots' own come to.
// Pieces are cut in the order of the lots' ids, so that the order in which lots
// were added does not matter.
func (b *Batch) Cut(s Settings) ([]StickTotal, error) {
	s, err := s.withDefaults()
	if err != nil {
		return nil, err
	}
	pieces := slices.Clone(b.pieces)
	slices.SortStableFunc(pieces, func(x, y Piece) int { return strings.Compare(x.Lot, y.Lot) })
	plans, err := plan(pieces, s)
	if err != nil {
		return nil, err
	}
	out := make([]StickTotal, len(plans))
	for i, p := range plans {
		out[i] = StickTotal{Together: p}
		if sum := b.alone[lineKey{Item(p.Material), p.Size}]; sum != nil {
			out[i].AloneMM, out[i].Alone, out[i].AloneSpare = sum.mm, sum.n, sum.spareMM
		}
	}
	return out, nil
}
