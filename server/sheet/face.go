package sheet

import (
	"fmt"
	"strings"
	"sync"
	"unicode"

	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"

	"lotwright/layout/paper"
)

// covered reports whether the embedded faces have a letter. Both have the same
// letters.
var covered = sync.OnceValue(func() func(rune) bool {
	face, err := sfnt.Parse(goregular.TTF)
	return func(r rune) bool {
		if err != nil || r > lastPlain {
			return false
		}
		i, err := face.GlyphIndex(nil, r)
		return err == nil && i != 0
	}
})

// lastPlain is the last letter that a PDF text of two bytes a letter can name.
const lastPlain = 0xFFFF

// missing stands for a letter the faces do not have.
const missing = '□'

// drawable replaces letters that the faces do not have; marks above or below a
// letter are left out.
func drawable(words string) string {
	has := covered()
	return strings.Map(func(r rune) rune {
		if has(r) {
			return r
		}
		if unicode.Is(unicode.Mn, r) {
			return -1
		}
		return missing
	}, words)
}

// printableID writes letters that the faces do not have as their code points, so
// that ids that differ are printed differently.
func printableID(id string) string {
	has := covered()
	var b strings.Builder
	for _, r := range paper.Clean(id) {
		if has(r) {
			b.WriteRune(r)
			continue
		}
		fmt.Fprintf(&b, "‹%X›", r)
	}
	if b.Len() == 0 {
		return "(no id)"
	}
	return b.String()
}
