package design

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"lotwright/layout"
)

// WriteText writes the comparison as plain text.
func (c *Comparison) WriteText(w io.Writer) error {
	b := &strings.Builder{}
	t := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "\tdesigned\tas built")
	for _, r := range c.rows() {
		fmt.Fprintf(t, "%s\t%s\t%s\n", r[0], r[1], r[2])
	}
	_ = t.Flush() // into memory
	for _, m := range c.Moved {
		beyond := ""
		if m.Beyond {
			beyond = fmt.Sprintf(", beyond %v", c.Tolerance)
		}
		fmt.Fprintf(b, "%s stands %v off its stake%s\n", m.Label, m.By, beyond)
	}
	for _, list := range []struct {
		title  string
		labels []string
	}{{"missing", c.Missing}, {"added", c.Added}} {
		if len(list.labels) > 0 {
			fmt.Fprintf(b, "%s: %s\n", list.title, strings.Join(list.labels, ", "))
		}
	}
	for _, s := range c.Set {
		fmt.Fprintf(b, "%s throws %v, designed for %v; arc from %.0f° by %.0f°, designed from %.0f° by %.0f°\n",
			s.Label, s.Throw, s.ThrowDesigned, s.Arc[0], s.Arc[1], s.ArcDesigned[0], s.ArcDesigned[1])
	}
	fmt.Fprintf(b, "newly dry: %s; newly watered: %s\n", squareMetres(c.NewlyDryArea), squareMetres(c.NewlyWetArea))
	_, err := io.WriteString(w, b.String())
	return err
}

// rows are the figures of both, by name.
func (c *Comparison) rows() (out [][3]string) {
	add := func(name string, of func(Figures) string) {
		out = append(out, [3]string{name, of(c.Before), of(c.After)})
	}
	add("heads", func(f Figures) string { return fmt.Sprint(f.Heads) })
	add("coverage", func(f Figures) string { return fmt.Sprintf("%.2f %%", 100*f.Coverage) })
	add("dry area", func(f Figures) string { return squareMetres(f.DryArea) })
	add("overspray", func(f Figures) string { return squareMetres(f.OversprayArea) })
	if c.Before.Uniformity != nil && c.After.Uniformity != nil {
		add("DU_lq", func(f Figures) string { return fmt.Sprintf("%.3f", f.Uniformity.DULowQuarter) })
		add("CU", func(f Figures) string { return fmt.Sprintf("%.3f", f.Uniformity.CU) })
		add("precipitation", func(f Figures) string { return fmt.Sprintf("%.1f mm/h", f.Uniformity.PrecipitationMMPerHour) })
	}
	add("least pressure at a head", func(f Figures) string { return f.LeastPressure.String() })
	add("trench", func(f Figures) string { return f.TrenchLength.String() })
	add("pipe", func(f Figures) string { return f.PipeLength.String() })
	return out
}

// squareMetres writes an area in both systems.
func squareMetres(m2 float64) string {
	const squareFoot = layout.MetresPerFoot * layout.MetresPerFoot
	return fmt.Sprintf("%.1f m² (%.0f sq ft)", m2, m2/squareFoot)
}
