package setcover

import (
	"bufio"
	"fmt"
	"io"
)

// termsPerLine keeps the lines of an LP file short: some readers stop at 560
// characters.
const termsPerLine = 12

// WriteLP writes p as an integer program in the LP format that general solvers
// read, so that they can check this package: x_c is 1 for a chosen column, u_r
// for a row left uncovered or covered less often than it demands. Where nothing may stay uncovered there are no u.
func WriteLP(w io.Writer, p Problem) error {
	if err := p.Validate(); err != nil {
		return err
	}
	b := &lpWriter{w: bufio.NewWriter(w)}
	b.line("Minimize")
	b.begin("columns")
	for c := range p.Columns {
		b.term(1, "x", c)
	}
	b.line("\nSubject To")
	for r, cols := range rowsOf(p.Columns, len(p.Weights)) {
		b.begin(fmt.Sprintf("row%d", r))
		for _, c := range cols {
			b.term(1, "x", int(c))
		}
		need := p.demand(r)
		if p.Spare > 0 || len(cols) < int(need) {
			b.term(int64(need), "u", r)
		}
		b.line(fmt.Sprintf(" >= %d", need))
	}
	b.begin("spare")
	for r, weight := range p.Weights {
		b.term(weight, "u", r)
	}
	b.line(fmt.Sprintf(" <= %d", p.Spare))
	b.line("Binary")
	for c := range p.Columns {
		b.line(fmt.Sprintf(" x%d", c))
	}
	for r := range p.Weights {
		b.line(fmt.Sprintf(" u%d", r))
	}
	b.line("End")
	return b.w.Flush()
}

// lpWriter writes sums of terms; errors wait in the buffer for Flush.
type lpWriter struct {
	w     *bufio.Writer
	terms int
}

func (b *lpWriter) line(text string) { fmt.Fprintln(b.w, text) }

// begin begins a named sum.
func (b *lpWriter) begin(name string) {
	fmt.Fprintf(b.w, " %s:", name)
	b.terms = 0
}

func (b *lpWriter) term(factor int64, kind string, index int) {
	if b.terms > 0 && b.terms%termsPerLine == 0 {
		fmt.Fprint(b.w, "\n  ")
	}
	b.terms++
	if factor == 1 {
		fmt.Fprintf(b.w, " + %s%d", kind, index)
		return
	}
	fmt.Fprintf(b.w, " + %d %s%d", factor, kind, index)
}
