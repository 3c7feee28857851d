package sheet

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"lotwright/layout"
	"lotwright/layout/drawing"
	"lotwright/layout/stakeout"
)

// Units are those of all figures on a sheet.
type Units int

// The systems of units.
const (
	US     Units = iota // feet, inches, psi, gpm
	Metric              // metres, centimetres, kPa, L/min
)

func (u Units) length(l layout.Length) string {
	if u == Metric {
		return drawing.Decimal(l.Metres(), 2) + " m"
	}
	return drawing.Decimal(l.Feet(), 1) + " ft"
}

// depth rounds up to whole inches or centimetres, so that nobody digs less.
func (u Units) depth(l layout.Length) string {
	const forgiven = 1e-6
	if u == Metric {
		return drawing.Decimal(math.Ceil(l.Metres()*100-forgiven), 0) + " cm"
	}
	return drawing.Decimal(math.Ceil(l.Metres()/layout.MetresPerInch-forgiven), 0) + " in"
}

const squareFeetPerM2 = 1 / (layout.MetresPerFoot * layout.MetresPerFoot)

func (u Units) area(m2 float64) string {
	if u == Metric {
		return drawing.Decimal(m2, 1) + " m²"
	}
	return drawing.Decimal(m2*squareFeetPerM2, 0) + " ft²"
}

func (u Units) pressure(p layout.Pressure) string {
	if u == Metric {
		return drawing.Decimal(p.KPa(), 0) + " kPa"
	}
	return drawing.Decimal(p.PSI(), 1) + " psi"
}

func (u Units) flow(f layout.Flow) string {
	if u == Metric {
		return drawing.Decimal(f.LPM(), 1) + " L/min"
	}
	return drawing.Decimal(f.GPM(), 1) + " gpm"
}

func (u Units) graduation() stakeout.Graduation {
	if u == Metric {
		return stakeout.Centimetre
	}
	return stakeout.QuarterInch
}

// choose returns the words of the system in use.
func (u Units) choose(us, metric string) string {
	if u == Metric {
		return metric
	}
	return us
}

// feetAnInch and metricRatios are the scales a rule has; common practice.
var (
	feetAnInch   = []float64{2, 3, 4, 5, 6, 8, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200, 300, 400, 500, 600, 800, 1000}
	metricRatios = []float64{25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 600, 750, 1000, 1250, 1500, 2000, 2500, 3000, 4000, 5000, 7500, 10000}
)

const inchesPerFoot = 12

// ratios lists the scales 1:N that a plan may have.
func (u Units) ratios() []float64 {
	if u == Metric {
		return metricRatios
	}
	out := make([]float64, len(feetAnInch))
	for i, ft := range feetAnInch {
		out[i] = ft * inchesPerFoot
	}
	return out
}

func (u Units) scale(ratio float64) string {
	plain := "1:" + strconv.FormatFloat(math.Round(ratio*100)/100, 'f', -1, 64)
	if ft := ratio / inchesPerFoot; u == US && math.Abs(ft-math.Round(ft)) < 1e-6 {
		return fmt.Sprintf("1 in = %.0f ft (%s)", ft, plain)
	}
	return plain
}

// small writes a small distance, rounded up.
func (u Units) small(l layout.Length) string {
	if u == Metric {
		return drawing.Decimal(math.Ceil(l.Metres()*1000), 0) + " mm"
	}
	const quarters = 4
	n := int(math.Ceil(l.Metres() / layout.MetresPerInch * quarters))
	part := [...]string{"", "1/4", "1/2", "3/4"}[n%quarters]
	if whole := n / quarters; whole > 0 || part == "" {
		part = strings.TrimSpace(fmt.Sprint(whole, " ", part))
	}
	return part + " in"
}
