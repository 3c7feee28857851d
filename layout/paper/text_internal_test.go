package paper

import (
	"bufio"
	"fmt"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestLetterWidths holds the estimate against the widths of a real face; see
// the first line of the file for which.
func TestLetterWidths(t *testing.T) {
	f, err := os.Open("testdata/letter-widths.txt")
	require.NoError(t, err)
	defer f.Close()
	lines := bufio.NewScanner(f)
	n := 0
	for lines.Scan() {
		if strings.HasPrefix(lines.Text(), "#") {
			continue
		}
		var r rune
		var regular, bold float64
		_, err := fmt.Sscanf(lines.Text(), "%X %f %f", &r, &regular, &bold)
		require.NoError(t, err)
		got := Width(string(r), 1, false)
		assert.GreaterOrEqual(t, got, regular, "%q regular", r)
		assert.LessOrEqual(t, got, regular*1.35+0.05, "%q: estimate far too wide", r)
		assert.GreaterOrEqual(t, Width(string(r), 1, true), bold, "%q bold", r)
		n++
	}
	require.NoError(t, lines.Err())
	assert.Equal(t, 105, n)
}

func TestClean(t *testing.T) {
	for in, want := range map[string]string{
		"LK-01":         "LK-01",
		" a\tb\nc ":     "a b c",
		"a\x00b":        "a\uFFFDb",
		"\u202Eab":      "\uFFFDab", // right-to-left override
		"a\xffb":        "a\uFFFDb",
		"Flurstück 12½": "Flurstück 12½",
		"地块 7":          "地块 7",
	} {
		assert.Equal(t, want, Clean(in), "%q", in)
	}
}

func TestWrappedFits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.String().Draw(t, "words")
		width := rapid.Float64Range(20, 300).Draw(t, "width")
		most := rapid.IntRange(0, 6).Draw(t, "most")
		lines := Wrapped(words, width, 10, most)
		if len(lines) > most {
			t.Fatalf("%d lines, want at most %d", len(lines), most)
		}
		for _, line := range lines {
			if Width(line, 10, false) > width+1e-9 && utf8.RuneCountInString(line) > 1 {
				t.Fatalf("line %q is %.1f wide, want at most %.1f", line, Width(line, 10, false), width)
			}
		}
	})
}

func TestWrappedKeepsWords(t *testing.T) {
	lines := Wrapped("no trench gets there without crossing ground that must not be dug", 150, 10, 9)
	assert.Equal(t, "no trench gets there without crossing ground that must not be dug", strings.Join(lines, " "))
	cut := Wrapped("no trench gets there without crossing ground that must not be dug", 150, 10, 2)
	require.Len(t, cut, 2)
	assert.True(t, strings.HasSuffix(cut[1], Ellipsis), cut[1])
	assert.Equal(t, "abcabcabc", strings.Join(Wrapped("abcabcabc", 20, 10, 9), ""), "a word too long is broken, nothing lost")
}

func TestShortened(t *testing.T) {
	assert.Equal(t, "LK-01", Shortened("LK-01", 100, 10, false))
	got := Shortened("a very long name of a lot", 60, 10, true)
	assert.True(t, strings.HasSuffix(got, Ellipsis))
	assert.LessOrEqual(t, Width(got, 10, true), 60.0)
}
