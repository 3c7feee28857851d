package cli

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestPrintable(t *testing.T) {
	assert.Equal(t, `\x1b[31mred\x07`, printable("\x1b[31mred\a"))
	assert.Equal(t, `\u202elot`, printable("\u202elot"))
	assert.Equal(t, `\xff`, printable("\xff"))
	assert.Equal(t, `\u009b`, printable("\u009b"))
	assert.Equal(t, "Ärger 5 m²", printable("Ärger 5 m²"))
	assert.Equal(t, `a b \x00`, oneLine("a\n b \x00"))
}

func TestGridFitsTheLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.StringMatching(`[a-zé ]{0,30}`)
		last := rapid.StringMatching(`[a-zé]{0,150}( [a-z]{1,20}){0,20}`)
		g := &grid{header: []string{"LOT", "STATUS", "WHY"}, left: map[int]bool{2: true}}
		for range rapid.IntRange(1, 5).Draw(t, "rows") {
			g.add(cell.Draw(t, "a"), cell.Draw(t, "b"), last.Draw(t, "c"))
		}
		var b strings.Builder
		g.write(&b)
		for line := range strings.Lines(b.String()) {
			if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > lineWidth {
				t.Fatalf("%d characters: %q", n, line)
			}
		}
		for _, row := range g.rows {
			for _, word := range strings.Fields(row[2]) {
				if len(word) <= leastColumn && !strings.Contains(b.String(), word) {
					t.Fatalf("%q is lost", word)
				}
			}
		}
	})
}

func TestGridAligns(t *testing.T) {
	g := &grid{header: []string{"LOT", "HEADS", "WHY"}, left: map[int]bool{2: true}}
	g.add("A", "12", "x")
	g.add("LONGER", "3", "")
	var b strings.Builder
	g.write(&b)
	assert.Equal(t, "LOT     HEADS  WHY\nA          12  x\nLONGER      3\n", b.String())
}
