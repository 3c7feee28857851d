package shapefile

import (
	"errors"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
)

// textEncoding reads text as a table writes it.
type textEncoding func(string) (string, error)

// names of encodings in .cpg parts, without anything but letters and digits;
// prefixes of makers are taken off.
var encodings = map[string]encoding.Encoding{
	"utf8": nil, "65001": nil, "ascii": nil, "usascii": nil, "20127": nil,
	"88591": charmap.ISO8859_1, "28591": charmap.ISO8859_1, "latin1": charmap.ISO8859_1,
	"88592": charmap.ISO8859_2, "885915": charmap.ISO8859_15,
	"1250": charmap.Windows1250, "1251": charmap.Windows1251, "1252": charmap.Windows1252, "1253": charmap.Windows1253, "1254": charmap.Windows1254,
	"437": charmap.CodePage437, "850": charmap.CodePage850, "852": charmap.CodePage852, "866": charmap.CodePage866,
}

// languages are the language drivers of dBASE tables in use.
var languages = map[byte]encoding.Encoding{
	0x01: charmap.CodePage437, 0x02: charmap.CodePage850, 0x03: charmap.Windows1252, 0x57: charmap.Windows1252,
	0x64: charmap.CodePage852, 0x65: charmap.CodePage866, 0xc8: charmap.Windows1250, 0xc9: charmap.Windows1251,
}

// encodingFor goes by the .cpg part or else by the table's language driver;
// false when neither is known, and text is read by a guess.
func encodingFor(page string, language byte) (textEncoding, bool) {
	name := strings.Map(func(r rune) rune {
		if r > unicode.MaxASCII || !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			return -1
		}
		return unicode.ToLower(r)
	}, page)
	for _, maker := range []string{"windows", "ansi", "oem", "cp", "ibm", "iso"} {
		name = strings.TrimPrefix(name, maker)
	}
	if enc, ok := encodings[name]; ok {
		return decoderOf(enc), true
	}
	if enc, ok := languages[language]; ok && name == "" {
		return decoderOf(enc), true
	}
	return guessed, false
}

// decoderOf reads UTF-8 as it is; whether it is sound is judged later.
func decoderOf(enc encoding.Encoding) textEncoding {
	if enc == nil {
		return func(s string) (string, error) { return s, nil }
	}
	return func(s string) (string, error) { return decoded(enc, s) }
}

// decoded refuses bytes that stand for nothing: texts that differ in them only
// would come out the same.
func decoded(enc encoding.Encoding, s string) (string, error) {
	out, err := enc.NewDecoder().String(s)
	if err == nil && strings.ContainsRune(out, utf8.RuneError) {
		err = errors.New("text that is not in its encoding")
	}
	return out, err
}

func guessed(s string) (string, error) {
	if utf8.ValidString(s) {
		return s, nil
	}
	return decoded(charmap.Windows1252, s)
}
