package cli

import (
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestSafeName(t *testing.T) {
	for _, id := range []string{"A-001", "lot_7", "12", "a"} {
		assert.Equal(t, id, safeName(id), "plain ids stay")
	}
	for id, prefix := range map[string]string{
		"../../etc/passwd":      "etc-passwd-",
		"/abs":                  "abs-",
		`C:\x`:                  "C--x-",
		"<script>":              "script-",
		"Ärger 7":               "rger-7-",
		"nul":                   "nul-",
		"COM1":                  "COM1-",
		".":                     "",
		"..":                    "",
		"-rf":                   "rf-",
		"a.svg":                 "a-svg-",
		"x\x00y":                "x-y-",
		strings.Repeat("a", 99): strings.Repeat("a", slugLength) + "-",
	} {
		name := safeName(id)
		assert.True(t, strings.HasPrefix(name, prefix), "%q became %q", id, name)
		assert.Len(t, name, len(prefix)+hashLength, "%q became %q", id, name)
	}
}

// Any id gives a plain name that stays in its folder, and two ids never the
// same one.
func TestSafeNameOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.String().Draw(t, "a"), rapid.String().Draw(t, "b")
		name := safeName(a)
		if !filepath.IsLocal(name+".svg") || filepath.Base(name) != name || !utf8.ValidString(name) || len(name) > 100 {
			t.Fatalf("%q became %q", a, name)
		}
		if strings.ContainsFunc(name, func(r rune) bool { return safeRune(r) != r }) || name[0] == '-' {
			t.Fatalf("%q became %q", a, name)
		}
		if a != b && name == safeName(b) {
			t.Fatalf("%q and %q both became %q", a, b, name)
		}
	})
}
