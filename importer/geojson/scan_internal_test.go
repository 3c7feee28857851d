package geojson

import (
	"bytes"
	"encoding/json"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
)

// parseAll runs the scanner over a text as one value and nothing else.
func parseAll(src io.Reader, limits importer.Limits) error {
	limits = limits.OrDefaults()
	b, err := plainText(src, limits.Body)
	if err != nil {
		return err
	}
	s := newScanner(b.text, limits)
	if err := s.skip(); err != nil {
		return err
	}
	return (&indexer{s: s}).trailing()
}

func ruleOf(t testing.TB, err error) string {
	if err == nil {
		return ""
	}
	var refusal *importer.Refusal
	require.ErrorAs(t, err, &refusal)
	return refusal.Finding.Rule
}

func TestScannerByHand(t *testing.T) {
	deep := func(n int) string { return strings.Repeat("[", n) + strings.Repeat("]", n) }
	for text, rule := range map[string]string{
		`{"a":[1,-2.5e+3,"x",true,false,null,{}]}`: "",
		` [ ] `:                                 "",
		"\ufeff[]":                              "",
		`"\u00e9\ud83d\ude00\/\n"`:              "",
		`"\ud83d"`:                              "encoding.lone_surrogate",
		`"\ud83dx"`:                             "encoding.lone_surrogate",
		`"\ud83d\n"`:                            "encoding.lone_surrogate",
		`"\ude00\ud83d"`:                        "encoding.lone_surrogate",
		`"\ud83d\u0041"`:                        "encoding.lone_surrogate",
		`"\u12g4"`:                              "json.syntax",
		`"\x"`:                                  "json.syntax",
		"\"a\nb\"":                              "json.syntax",
		`"abc`:                                  "json.syntax",
		`01`:                                    "json.trailing",
		`-`:                                     "json.syntax",
		`1.`:                                    "json.syntax",
		`1e`:                                    "json.syntax",
		`.5`:                                    "json.syntax",
		`+1`:                                    "json.syntax",
		`NaN`:                                   "json.syntax",
		`Infinity`:                              "json.syntax",
		`nul`:                                   "json.syntax",
		`nulx`:                                  "json.syntax",
		`[1,]`:                                  "json.syntax",
		`[1 2]`:                                 "json.syntax",
		`{"a":1,}`:                              "json.syntax",
		`{a:1}`:                                 "json.syntax",
		`{"a" 1}`:                               "json.syntax",
		`{"a":1 "b":2}`:                         "json.syntax",
		`[`:                                     "json.syntax",
		`]`:                                     "json.syntax",
		`1 2`:                                   "json.trailing",
		`[]x`:                                   "json.trailing",
		"[\x00]":                                "json.syntax",
		"[\"\xff\"]":                            "encoding.not_utf8",
		"[\"\xed\xa0\x80\"]":                    "encoding.not_utf8", // a surrogate in bytes
		"[\"\xc0\xaf\"]":                        "encoding.not_utf8", // overlong
		"[\"a\xe2\x82":                          "encoding.not_utf8",
		"\xff\xfe[\x00]\x00":                    "encoding.not_utf8",
		"\x00[\x00]\x00":                        "encoding.not_utf8",
		"[\x00]\x00 \x00":                       "encoding.not_utf8",
		"PK\x03\x04":                            "format.unsupported",
		"SQLite format 3\x00":                   "format.unsupported",
		`1e309`:                                 "json.number_range",
		`-1e309`:                                "json.number_range",
		`1e-400`:                                "",
		strings.Repeat("1", 64):                 "",
		strings.Repeat("1", 65):                 "json.number_too_long",
		strings.Repeat("1", 1000):               "json.number_too_long",
		`"` + strings.Repeat("a", 64<<10) + `"`: "",
		`"` + strings.Repeat("a", 64<<10+1) + `"`: "json.string_too_long",
		`{"` + strings.Repeat("k", 256) + `":1}`:  "",
		`{"` + strings.Repeat("k", 257) + `":1}`:  "json.key_too_long",
		deep(64):                                  "",
		deep(65):                                  "json.too_deep",
		deep(100_000):                             "json.too_deep",
	} {
		name := text[:min(len(text), 40)]
		assert.Equal(t, rule, ruleOf(t, parseAll(strings.NewReader(text), importer.Limits{})), "%q", name)
		// A byte at a time, every token lies across a window's edge.
		assert.Equal(t, rule, ruleOf(t, parseAll(iotest.OneByteReader(strings.NewReader(text)), importer.Limits{})), "%q by bytes", name)
	}
}

func TestScannerPassesOnReadErrors(t *testing.T) {
	src := io.MultiReader(strings.NewReader(`[1,2`), iotest.ErrReader(io.ErrClosedPipe))
	assert.ErrorIs(t, parseAll(src, importer.Limits{}), io.ErrClosedPipe)
}

func TestBodyLimit(t *testing.T) {
	text := `["` + strings.Repeat("a", 96) + `"]`
	require.Len(t, text, 100)
	assert.Empty(t, ruleOf(t, parseAll(strings.NewReader(text), importer.Limits{Body: 100})))
	assert.Equal(t, "body.too_large", ruleOf(t, parseAll(strings.NewReader(text), importer.Limits{Body: 99})))
}

// Whatever we take, the standard library takes as well; what only the standard
// library takes is beyond one of our named limits.
func FuzzScanner(f *testing.F) {
	for _, seed := range []string{`{"a":[1,-2.5e+3,"x\u00e9\ud83d\ude00",true,null]}`, `[[[]]]`, `"\ud83d"`, "\xff", `1e999`, "[1,]", " 1 2"} {
		f.Add([]byte(seed))
	}
	beyond := map[string]bool{
		"encoding.lone_surrogate": true, "encoding.not_utf8": true, "json.number_range": true, "json.number_too_long": true,
		"json.string_too_long": true, "json.key_too_long": true, "json.too_deep": true,
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		rule := ruleOfGzip(t, parseAll(bytes.NewReader(text), importer.Limits{}))
		plain := bytes.TrimPrefix(text, utf8BOM)
		switch valid := json.Valid(plain); {
		case rule == "gzip":
		case rule == "" && (!valid || !utf8.Valid(text)):
			t.Fatalf("%q was taken", text)
		case rule != "" && valid && !beyond[rule]:
			t.Fatalf("%q was refused: %s", text, rule)
		}
	})
}

// ruleOfGzip is ruleOf with everything about gzip under one name.
func ruleOfGzip(t *testing.T, err error) string {
	rule := ruleOf(t, err)
	if strings.HasPrefix(rule, "body.") || rule == "encoding.nested" {
		return "gzip"
	}
	return rule
}
