package cli

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// lineWidth is the widest line of a table or report, in characters.
const lineWidth = 100

// printable returns s with every character that a terminal would act on or
// hide (controls, direction overrides, broken UTF-8) written as an escape.
// Ids and texts of input files reach a terminal only through here.
func printable(s string) string {
	var b strings.Builder
	for i, r := range s {
		_, size := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == utf8.RuneError && size == 1:
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case r == '\n' || unicode.IsPrint(r):
			b.WriteRune(r)
		case r < utf8.RuneSelf:
			fmt.Fprintf(&b, `\x%02x`, r)
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
	}
	return b.String()
}

// oneLine is [printable] without line breaks.
func oneLine(s string) string { return strings.Join(strings.Fields(printable(s)), " ") }

// wrap breaks text at blanks into lines of at most width characters; a word
// longer than that is cut.
func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		for utf8.RuneCountInString(word) > width {
			if line != "" {
				lines, line = append(lines, line), ""
			}
			head := string([]rune(word)[:width])
			lines, word = append(lines, head), word[len(head):]
		}
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			lines, line = append(lines, line), ""
		}
		line = strings.TrimLeft(line+" "+word, " ")
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// grid is a table for the terminal. Cells of columns after the first are
// aligned right unless the column is named in left; the last column is
// wrapped so that no line exceeds [lineWidth].
type grid struct {
	header []string
	left   map[int]bool
	rows   [][]string
}

func (g *grid) add(cells ...string) { g.rows = append(g.rows, cells) }

// write prints the table.
func (g *grid) write(w io.Writer) {
	all := g.rows
	if g.header != nil {
		all = append([][]string{g.header}, g.rows...)
	}
	widths := columnWidths(all)
	for _, row := range all {
		g.writeRow(w, row, widths)
	}
}

// columnWidths gives each column the width of its widest cell, and the last
// one what is left of a line at most.
func columnWidths(rows [][]string) []int {
	var widths []int
	for _, row := range rows {
		for c, cell := range row {
			if c == len(widths) {
				widths = append(widths, 0)
			}
			widths[c] = max(widths[c], utf8.RuneCountInString(cell))
		}
	}
	used := 0
	for c := range widths[:max(0, len(widths)-1)] {
		used += widths[c] + len(columnGap)
	}
	if last := len(widths) - 1; last >= 0 {
		widths[last] = min(widths[last], max(lineWidth-used, leastColumn))
	}
	return widths
}

const (
	columnGap   = "  "
	leastColumn = 20 // characters the last column keeps, however wide the others are
)

func (g *grid) writeRow(w io.Writer, row []string, widths []int) {
	line, indent := "", 0
	for c, cell := range row {
		if c > 0 {
			line += columnGap
		}
		indent = utf8.RuneCountInString(line)
		line += pad(cell, widths[c], c == 0 || g.left[c])
	}
	last := row[len(row)-1]
	if utf8.RuneCountInString(last) <= widths[len(widths)-1] {
		fmt.Fprintln(w, strings.TrimRight(line, " "))
		return
	}
	prefix := string([]rune(line)[:indent])
	for _, part := range wrap(last, widths[len(widths)-1]) {
		fmt.Fprintln(w, strings.TrimRight(prefix+part, " "))
		prefix = strings.Repeat(" ", indent)
	}
}

// pad fills cell with blanks to width, on the right when left is set.
func pad(cell string, width int, left bool) string {
	blanks := strings.Repeat(" ", max(0, width-utf8.RuneCountInString(cell)))
	if left {
		return cell + blanks
	}
	return blanks + cell
}
