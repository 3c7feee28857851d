package stakeout

import (
	"fmt"
	"math"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Graduation is what tapes are read to.
type Graduation int

// The graduations.
const (
	QuarterInch Graduation = iota
	Centimetre
)

// Tape returns the usual length of a tape: 100 ft or 30 m (the design of record).
func (g Graduation) Tape() layout.Length {
	if g == Centimetre {
		return 30
	}
	return layout.Feet(100)
}

// quartersPerInch and the like are what marks are counted in.
const (
	quartersPerInch = 4
	quartersPerFoot = 12 * quartersPerInch
	centimetre      = 0.01 // m
)

func (g Graduation) length(marks int64) layout.Length {
	if g == Centimetre {
		return layout.Length(marks) * centimetre
	}
	return layout.Length(marks) * layout.MetresPerInch / quartersPerInch
}

// round returns a distance in millimetres in marks, to the nearest.
func (g Graduation) round(mm float64) int64 {
	return int64(math.Round(mm / (g.length(1).Metres() * geom.MillimetresPerMetre)))
}

// Text writes a distance as it is read off a tape: "12 ft 3 1/4 in", "3.74 m".
func (g Graduation) Text(marks int64) string {
	if g == Centimetre {
		return fmt.Sprintf("%d.%02d m", marks/100, marks%100)
	}
	feet, quarters := marks/quartersPerFoot, marks%quartersPerFoot
	inches := fmt.Sprint(quarters / quartersPerInch)
	if part := [...]string{"", " 1/4", " 1/2", " 3/4"}[quarters%quartersPerInch]; part != "" {
		inches += part
	}
	return fmt.Sprintf("%d ft %s in", feet, inches)
}
