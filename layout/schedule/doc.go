// Package schedule works out when and how long each zone runs: the need of the
// plants month by month from the weather, less what rain gives; the run time
// that meets it on a given soil without run-off; a program that fits the days
// and hours allowed; and the water and money it takes.
//
// # The model
//
//   - Reference evapotranspiration ET0 is FAO-56 Penman–Monteith, or Hargreaves
//     where only temperatures are known (Allen, Pereira, Raes and Smith, Crop
//     evapotranspiration, FAO Irrigation and Drainage Paper 56, 1998; equation
//     numbers below are its own).
//   - Need is plant factor times ET0 less effective rain, month by month. Soil
//     water is not carried from one month to the next.
//   - A zone waters at flow over area wetted, everywhere at the same rate. A
//     variable-throw head runs alone, so its zone is the head and its area what
//     the head reaches; fixed-arc heads of a zone run together on the union of
//     what they wet. Ground that several zones wet is counted in each of them,
//     so it gets more than it needs, and the volumes say so.
//   - Cycles rest on the mean rate. Under a passing stream the rate is higher for
//     a moment; the soil's surface storage is taken to even that out.
//   - Controllers take whole minutes: a watering is met to half a minute a cycle,
//     and depths and volumes are those of the minutes programmed.
//   - The run-time multiplier makes up for uneven application.
//
// Depths are water depths in millimetres, which is litres on a square metre.
package schedule

import (
	"fmt"

	"lotwright/layout"
)

const (
	millimetresPerInch = 1000 * layout.MetresPerInch
	minutesPerHour     = 60
	minutesPerDay      = 24 * minutesPerHour
	daysPerWeek        = 7
	monthsPerYear      = 12
)

// Depth is a depth of water in millimetres.
type Depth float64

// Inches returns the depth of v inches.
func Inches(v float64) Depth { return Depth(v * millimetresPerInch) }

// MM returns d in millimetres.
func (d Depth) MM() float64 { return float64(d) }

// Inches returns d in inches.
func (d Depth) Inches() float64 { return float64(d) / millimetresPerInch }

// On returns the volume of d on an area in square metres.
func (d Depth) On(areaM2 float64) layout.Volume { return layout.Volume(float64(d) * areaM2) }

// String writes d in both systems, for messages.
func (d Depth) String() string { return fmt.Sprintf("%.2f in (%.1f mm)", d.Inches(), d.MM()) }
