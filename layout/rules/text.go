package rules

import (
	"fmt"
	"io"
	"strings"
)

// WriteText writes the report as plain text: what was found, what is to be
// checked on site, and what was kept.
func (r *Report) WriteText(w io.Writer) error {
	b := &strings.Builder{}
	fmt.Fprintf(b, "Rules not kept: %d findings\n", len(r.Findings))
	for _, f := range r.Findings {
		fmt.Fprintf(b, "  %s  %s: %s [%s]\n", f.Rule.Severity, f.Rule.ID, f.Text, f.Rule.Source)
	}
	fmt.Fprintf(b, "\nTo be checked on site: %d\n", len(r.OnSite))
	for _, i := range r.OnSite {
		fmt.Fprintf(b, "  %s: %s [%s; %s]\n", i.Rule.ID, i.Rule.Text, i.Reason, i.Rule.Source)
	}
	fmt.Fprintf(b, "\nChecked, nothing found: %d\n", len(r.Kept))
	for _, k := range r.Kept {
		fmt.Fprintf(b, "  %s: %s [%s]\n", k.ID, k.Text, k.Source)
	}
	b.WriteString("\nThese are some of the published rules, in other words than theirs. The local code and those who apply it decide.\n")
	_, err := io.WriteString(w, b.String())
	return err
}
