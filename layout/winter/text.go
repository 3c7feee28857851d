package winter

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"lotwright/layout"
)

// WriteText writes the sheet as plain text, sources in brackets.
func (out *Sheet) WriteText(w io.Writer) error {
	b := &strings.Builder{}
	fmt.Fprintf(b, "Winter and spring, lot %s\n\n", out.LotID)
	fmt.Fprintf(b, "Air at the blow-out fitting: no more than %v\n", out.AirLimit)
	for _, l := range out.Limits {
		fmt.Fprintf(b, "  %s: %v%s\n", l.Material, l.Most, map[bool]string{true: ", the lowest, since none is published for it"}[l.Assumed])
	}
	fmt.Fprintf(b, "Compressor: at least %.1f cfm displaced, %.0f cfm of free air\n",
		CubicFeetPerMinute(out.Displaced), CubicFeetPerMinute(out.FreeAir))
	fmt.Fprintf(b, "Water in the pipe: %s\n", volumeText(out.Volume))
	if len(out.Unknown) > 0 {
		fmt.Fprintf(b, "  not counted, their bore is not known: %s\n", strings.Join(out.Unknown, ", "))
	}
	fmt.Fprintf(b, "\n%s\n\n", out.OrderReason)
	out.writeZones(b)
	for _, list := range []struct {
		title string
		steps []Step
	}{{"Cautions", out.Cautions}, {"What must drain", out.Drain}, {"Autumn", out.Autumn}, {"Spring", out.Spring}} {
		fmt.Fprintf(b, "\n%s\n", list.title)
		for i, s := range list.steps {
			fmt.Fprintf(b, "%3d. %s [%s]\n", i+1, s.Text, s.Source)
		}
	}
	out.writeStartUp(b)
	_, err := io.WriteString(w, b.String())
	return err
}

func volumeText(v layout.Volume) string {
	return fmt.Sprintf("%.1f gal (%.1f L)", v.Gallons(), v.Litres())
}

// table writes rows of cells in columns.
func table(b *strings.Builder, rows [][]string) {
	t := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintln(t, strings.Join(r, "\t"))
	}
	_ = t.Flush() // into memory
}

func (out *Sheet) writeZones(b *strings.Builder) {
	rows := [][]string{{"order", "zone", "heads", "valve", "longest way", "water left", "minutes", "flow"}}
	for i, z := range out.Zones {
		rows = append(rows, []string{fmt.Sprint(i + 1), fmt.Sprint(z.Number), strings.Join(z.Heads, " "), z.Valve, z.Way.String(),
			volumeText(z.Left), fmt.Sprintf("%.1f", z.Minutes), z.Flow.String()})
	}
	table(b, rows)
}

func (out *Sheet) writeStartUp(b *strings.Builder) {
	b.WriteString("\nWhat heads should show\n")
	if out.Static != nil {
		fmt.Fprintf(b, "Static pressure, all valves shut: %v\n", *out.Static)
	}
	rows := [][]string{{"zone", "head", "pressure", "throw", "arc from", "sweep"}}
	for _, h := range out.StartUp {
		rows = append(rows, []string{fmt.Sprint(h.Zone), h.Head, h.Pressure.String(), h.Throw.String(),
			fmt.Sprintf("%.0f°", h.ArcStart), fmt.Sprintf("%.0f°", h.ArcSweep)})
	}
	table(b, rows)
}
