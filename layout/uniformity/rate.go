package uniformity

import (
	"fmt"

	"lotwright/layout"
)

// Rate is an application or precipitation rate in millimetres per hour, which
// is litres per hour on a square metre.
type Rate float64

const (
	minutesPerHour     = 60
	millimetresPerInch = 1000 * layout.MetresPerInch
)

// InchesPerHour returns the rate of v inches per hour.
func InchesPerHour(v float64) Rate { return Rate(v * millimetresPerInch) }

// MMPerHour returns r in millimetres per hour.
func (r Rate) MMPerHour() float64 { return float64(r) }

// InchesPerHour returns r in inches per hour.
func (r Rate) InchesPerHour() float64 { return float64(r) / millimetresPerInch }

// String writes r in both systems, for messages.
func (r Rate) String() string {
	return fmt.Sprintf("%.2f in/h (%.1f mm/h)", r.InchesPerHour(), r.MMPerHour())
}

// PrecipitationRate returns the flow of all heads on an area over that area:
// in gallons per minute, square feet and inches per hour, 96.25·ΣQ/A. For heads
// spaced S apart in rows L apart the area of one is S·L; L of an equilateral
// triangle is 0.866·S already and must not be reduced again.
func PrecipitationRate(flow layout.Flow, areaM2 float64) (Rate, error) {
	if !(areaM2 > 0) {
		return 0, fmt.Errorf("no precipitation rate on an area of %v m²", areaM2)
	}
	return Rate(flow.LPM() * minutesPerHour / areaM2), nil
}
