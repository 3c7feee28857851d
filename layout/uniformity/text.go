package uniformity

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"lotwright/layout/geom"
)

// WriteText writes the figures of a test as plain text, a line for all cans and
// one for each zone, and its notes.
func (a *Audit) WriteText(w io.Writer) error {
	b := &strings.Builder{}
	t := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "zone\tcans\tmean %s\tlowest\thighest\tDU_lq %%\tDU_lh %%\tCU %%\tscheduling coefficient\trun-time multiplier\tprecipitation\n", a.Unit)
	for _, z := range append([]ZoneCatch{a.Whole}, a.Zones...) {
		name, rate := "all", "not known"
		if z.Zone > 0 {
			name = fmt.Sprint(z.Zone)
		}
		if z.PrecipitationKnown {
			rate = z.Precipitation.String()
		}
		fmt.Fprintf(t, "%s\t%d\t%.2f\t%.2f\t%.2f\t%.1f\t%.1f\t%.1f\t%s\t%s\t%s\n", name, z.Count, z.Mean, z.Lowest, z.Highest,
			100*z.DULowQuarter, 100*z.DULowHalf, 100*z.CU, timesText(z.SchedulingCoefficient()), timesText(z.RunTimeMultiplier()), rate)
	}
	_ = t.Flush() // into memory
	for _, n := range a.Notes {
		fmt.Fprintf(b, "%s  %s: %s\n", n.Severity, n.Rule, n.Text)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// timesText writes a multiple; none where a dry can or half makes it infinite.
func timesText(v float64) string {
	if math.IsInf(v, 0) {
		return "none: dry"
	}
	return fmt.Sprintf("%.2f", v)
}

// WriteCSV writes the cans beside the prediction: label, zone, place in the
// lot's plane, and the depths.
func (c *Comparison) WriteCSV(w io.Writer) error {
	rows := [][]string{{"label", "zone", "x_m", "y_m", "measured_mm", "predicted_mm", "difference_mm"}}
	for _, r := range c.Cans {
		rows = append(rows, []string{r.Can.Label, strconv.Itoa(r.Can.Zone),
			fmt.Sprintf("%.3f", float64(r.Can.At.X)/geom.MillimetresPerMetre), fmt.Sprintf("%.3f", float64(r.Can.At.Y)/geom.MillimetresPerMetre),
			fmt.Sprintf("%.2f", r.MeasuredMM), fmt.Sprintf("%.2f", r.PredictedMM), fmt.Sprintf("%.2f", r.DifferenceMM())})
	}
	return csv.NewWriter(w).WriteAll(rows)
}
