package takeoff

import (
	"fmt"
	"math"

	"lotwright/layout"
)

// Quantity is an amount in thousandths of a unit, so that sums are exact.
type Quantity int64

// Of rounds v units to thousandths.
func quantityOf(v float64) Quantity { return Quantity(math.Round(v * 1000)) }

// Units returns q in units.
func (q Quantity) Units() float64 { return float64(q) / 1000 }

// String writes q without needless noughts.
func (q Quantity) String() string { return trimmed(int64(q), 3) }

// trimmed writes v, which has so many decimals, without noughts at the end.
func trimmed(v int64, decimals int) string {
	sign := ""
	if v < 0 {
		sign, v = "-", -v
	}
	scale := int64(math.Pow10(decimals))
	whole, rest := v/scale, v%scale
	if rest == 0 {
		return fmt.Sprintf("%s%d", sign, whole)
	}
	for rest%10 == 0 {
		rest, decimals = rest/10, decimals-1
	}
	return fmt.Sprintf("%s%d.%0*d", sign, whole, decimals, rest)
}

// Unit is what a quantity counts.
type Unit string

// The units of lines, and those a price may be for beside them.
const (
	Each        Unit = "each"
	Metre       Unit = "m"
	SquareMetre Unit = "m2"
	CubicMetre  Unit = "m3"
	Litre       Unit = "l"
	Hour        Unit = "h"

	Foot       Unit = "ft"
	SquareFoot Unit = "ft2"
	SquareYard Unit = "yd2"
	CubicFoot  Unit = "ft3"
	CubicYard  Unit = "yd3"
	Gallon     Unit = "gal"
	Quart      Unit = "qt"
)

// measure says how many of a base unit a unit is.
type measure struct {
	base Unit
	size float64
}

const (
	foot = layout.MetresPerFoot
	yard = 3 * foot
)

var measures = map[Unit]measure{
	Each: {Each, 1}, Hour: {Hour, 1},
	Metre: {Metre, 1}, Foot: {Metre, foot},
	SquareMetre: {SquareMetre, 1}, SquareFoot: {SquareMetre, foot * foot}, SquareYard: {SquareMetre, yard * yard},
	CubicMetre: {CubicMetre, 1}, CubicFoot: {CubicMetre, foot * foot * foot}, CubicYard: {CubicMetre, yard * yard * yard},
	Litre: {Litre, 1}, Gallon: {Litre, layout.LitresPerGallon}, Quart: {Litre, layout.LitresPerGallon / 4},
}

// In returns q, counted in unit from, in unit to; ok is false where they do not
// measure the same.
func (q Quantity) In(from, to Unit) (v float64, ok bool) {
	a, b := measures[from], measures[to]
	if a.base == "" || a.base != b.base {
		return 0, false
	}
	if from == to {
		return q.Units(), true
	}
	return q.Units() * a.size / b.size, true
}

// customary are the US customary units that lines are also told in.
var customary = map[Unit]Unit{Metre: Foot, SquareMetre: SquareFoot, CubicMetre: CubicYard, Litre: Quart}

// Customary returns q in the US customary unit that goes with unit; counts and
// hours stay as they are.
func (q Quantity) Customary(unit Unit) (Quantity, Unit) {
	to, ok := customary[unit]
	if !ok {
		return q, unit
	}
	v, _ := q.In(unit, to)
	return quantityOf(v), to
}
