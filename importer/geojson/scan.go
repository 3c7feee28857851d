package geojson

import (
	"errors"
	"io"
	"strconv"
	"unicode/utf16"
	"unicode/utf8"

	"lotwright/importer"
)

// scanner pulls JSON values (RFC 8259) out of a stream. It holds one window of
// the text at a time and never builds a tree: the caller walks into objects and
// arrays with callbacks and must consume every value, if only with skip.
type scanner struct {
	src    io.Reader
	limits importer.Limits

	buf   []byte // window of the text
	pos   int    // next byte in buf
	base  int64  // offset of buf[0] in the text
	err   error  // what ended the source, sticky
	depth int
	text  []byte // the string or number last read
}

// windowBytes is the size of the window.
const windowBytes = 64 << 10

func newScanner(src io.Reader, limits importer.Limits) *scanner {
	return &scanner{src: src, limits: limits, buf: make([]byte, 0, windowBytes)}
}

// scanBytes returns a scanner over text whose first byte lies at offset base.
func scanBytes(text []byte, base int64, limits importer.Limits) *scanner {
	return &scanner{buf: text, base: base, err: io.EOF, limits: limits}
}

func (s *scanner) offset() int64 { return s.base + int64(s.pos) }

// more makes sure that there is a byte at pos; false at the end of the text or
// after a fault of the source.
func (s *scanner) more() bool {
	for s.pos >= len(s.buf) {
		if s.err != nil {
			return false
		}
		s.base += int64(len(s.buf))
		s.pos = 0
		n, err := s.src.Read(s.buf[:cap(s.buf)])
		s.buf, s.err = s.buf[:n], err
	}
	return true
}

// fault returns the refusal for a byte that cannot stand where it stands.
func (s *scanner) fault(want string) error {
	if !s.more() {
		if !errors.Is(s.err, io.EOF) {
			return s.err
		}
		return importer.Refuse(s.offset(), "json.syntax", "unexpected end, %s is wanted", want)
	}
	return importer.Refuse(s.offset(), "json.syntax", "unexpected %s, %s is wanted", quoteByte(s.buf[s.pos]), want)
}

func quoteByte(b byte) string {
	if b < utf8.RuneSelf {
		return strconv.QuoteRuneToASCII(rune(b))
	}
	return "byte 0x" + strconv.FormatUint(uint64(b), 16)
}

// peek skips white space and returns the next byte without consuming it; 0 at
// the end.
func (s *scanner) peek() byte {
	for s.more() {
		switch c := s.buf[s.pos]; c {
		case ' ', '\t', '\n', '\r':
			s.pos++
		default:
			return c
		}
	}
	return 0
}

// end reports whether only white space is left.
func (s *scanner) end() (bool, error) {
	s.peek()
	if s.more() {
		return false, nil
	}
	if !errors.Is(s.err, io.EOF) {
		return false, s.err
	}
	return true, nil
}

// open consumes an opening bracket and checks the depth.
func (s *scanner) open() error {
	if s.depth++; s.depth > s.limits.Depth {
		return importer.Refuse(s.offset(), "json.too_deep", "nesting above the limit of %d", s.limits.Depth)
	}
	s.pos++
	return nil
}

// close consumes a closing bracket.
func (s *scanner) close() {
	s.depth--
	s.pos++
}

// object walks an object: member is called after each name and must consume
// the value. The name is valid until then.
func (s *scanner) object(member func(name []byte) error) error {
	if s.peek() != '{' {
		return s.fault("an object")
	}
	if err := s.open(); err != nil {
		return err
	}
	if s.peek() == '}' {
		s.close()
		return nil
	}
	for {
		if err := s.member(member); err != nil {
			return err
		}
		switch s.peek() {
		case ',':
			s.pos++
		case '}':
			s.close()
			return nil
		default:
			return s.fault("a comma or the end of the object")
		}
	}
}

func (s *scanner) member(member func(name []byte) error) error {
	if s.peek() != '"' {
		return s.fault("a member name")
	}
	at := s.offset()
	name, err := s.string()
	if err != nil {
		return err
	}
	if len(name) > s.limits.Key {
		return importer.Refuse(at, "json.key_too_long", "member name above the limit of %d bytes", s.limits.Key)
	}
	if s.peek() != ':' {
		return s.fault("a colon")
	}
	s.pos++
	return member(name)
}

// array walks an array: element is called before each element and must consume it.
func (s *scanner) array(element func() error) error {
	if s.peek() != '[' {
		return s.fault("an array")
	}
	if err := s.open(); err != nil {
		return err
	}
	if s.peek() == ']' {
		s.close()
		return nil
	}
	for {
		if err := element(); err != nil {
			return err
		}
		switch s.peek() {
		case ',':
			s.pos++
		case ']':
			s.close()
			return nil
		default:
			return s.fault("a comma or the end of the array")
		}
	}
}

// skip consumes one value of any kind, checking its syntax.
func (s *scanner) skip() error {
	switch c := s.peek(); {
	case c == '{':
		return s.object(func([]byte) error { return s.skip() })
	case c == '[':
		return s.array(s.skip)
	case c == '"':
		_, err := s.string()
		return err
	case isNumberStart(c):
		_, err := s.number()
		return err
	default:
		return s.literal()
	}
}

func isNumberStart(c byte) bool { return c == '-' || c >= '0' && c <= '9' }

// literal consumes true, false or null.
func (s *scanner) literal() error {
	word := map[byte]string{'t': "true", 'f': "false", 'n': "null"}[s.peek()]
	if word == "" {
		return s.fault("a value")
	}
	for i := range len(word) {
		if !s.more() || s.buf[s.pos] != word[i] {
			return s.fault(word)
		}
		s.pos++
	}
	return nil
}

// string consumes a string and returns it decoded, valid until the next call.
// Lone surrogates are refused: they stand for no character, and replacing them
// would make different ids equal.
func (s *scanner) string() ([]byte, error) {
	at := s.offset()
	s.pos++
	s.text = s.text[:0]
	for {
		if !s.more() {
			return nil, s.fault("the end of the string")
		}
		plain := s.pos
		for plain < len(s.buf) && s.buf[plain] != '"' && s.buf[plain] != '\\' && s.buf[plain] >= ' ' {
			plain++
		}
		s.text = append(s.text, s.buf[s.pos:plain]...)
		s.pos = plain
		if len(s.text) > s.limits.String {
			return nil, importer.Refuse(at, "json.string_too_long", "string above the limit of %d bytes", s.limits.String)
		}
		if plain == len(s.buf) {
			continue
		}
		switch s.buf[s.pos] {
		case '"':
			s.pos++
			return s.text, nil
		case '\\':
			if err := s.escape(); err != nil {
				return nil, err
			}
		default:
			return nil, s.fault("an escape in place of a control character")
		}
	}
}

// escapes maps the byte after a backslash to what it stands for.
var escapes = [256]byte{'"': '"', '\\': '\\', '/': '/', 'b': '\b', 'f': '\f', 'n': '\n', 'r': '\r', 't': '\t'}

func (s *scanner) escape() error {
	at := s.offset()
	s.pos++
	if !s.more() {
		return s.fault("an escape")
	}
	c := s.buf[s.pos]
	if c != 'u' {
		if escapes[c] == 0 {
			return s.fault("an escape")
		}
		s.text = append(s.text, escapes[c])
		s.pos++
		return nil
	}
	r, err := s.hexUnit()
	if err != nil {
		return err
	}
	if utf16.IsSurrogate(r) {
		if r, err = s.lowSurrogate(r); err != nil {
			return err
		}
		if r == utf8.RuneError {
			return importer.Refuse(at, "encoding.lone_surrogate", "half of a surrogate pair stands alone")
		}
	}
	s.text = utf8.AppendRune(s.text, r)
	return nil
}

// lowSurrogate reads the second half of a pair and returns the character, or
// utf8.RuneError when there is no such half.
func (s *scanner) lowSurrogate(high rune) (rune, error) {
	if !s.more() || s.buf[s.pos] != '\\' {
		return utf8.RuneError, nil
	}
	s.pos++
	if !s.more() || s.buf[s.pos] != 'u' {
		return utf8.RuneError, nil
	}
	low, err := s.hexUnit()
	return utf16.DecodeRune(high, low), err
}

// hexUnit consumes u and four hexadecimal digits.
func (s *scanner) hexUnit() (rune, error) {
	s.pos++
	var r rune
	for range 4 {
		if !s.more() {
			return 0, s.fault("a hexadecimal digit")
		}
		d := hexDigit(s.buf[s.pos])
		if d < 0 {
			return 0, s.fault("a hexadecimal digit")
		}
		r = r<<4 | d
		s.pos++
	}
	return r, nil
}

func hexDigit(c byte) rune {
	switch {
	case c >= '0' && c <= '9':
		return rune(c - '0')
	case c >= 'a' && c <= 'f':
		return rune(c - 'a' + 10)
	case c >= 'A' && c <= 'F':
		return rune(c - 'A' + 10)
	}
	return -1
}

// number consumes a number and returns its value.
func (s *scanner) number() (float64, error) {
	at := s.offset()
	s.peek()
	s.text = s.text[:0]
	s.take('-')
	if !s.take('0') && s.digits() == 0 {
		return 0, s.fault("a digit")
	}
	if s.take('.') && s.digits() == 0 {
		return 0, s.fault("a digit")
	}
	if s.take('e') || s.take('E') {
		_ = s.take('+') || s.take('-')
		if s.digits() == 0 {
			return 0, s.fault("a digit")
		}
	}
	if len(s.text) > s.limits.Number {
		return 0, importer.Refuse(at, "json.number_too_long", "number above the limit of %d bytes", s.limits.Number)
	}
	v, err := strconv.ParseFloat(string(s.text), 64)
	if err != nil {
		return 0, importer.Refuse(at, "json.number_range", "number beyond the range of 64-bit floating point")
	}
	return v, nil
}

// take consumes c if it comes next.
func (s *scanner) take(c byte) bool {
	if !s.more() || s.buf[s.pos] != c {
		return false
	}
	s.keep(c)
	return true
}

// digits consumes digits and counts them.
func (s *scanner) digits() int {
	n := 0
	for s.more() && s.buf[s.pos] >= '0' && s.buf[s.pos] <= '9' {
		s.keep(s.buf[s.pos])
		n++
	}
	return n
}

// keep consumes c; beyond the limit the digits are counted no further than
// needed to refuse them.
func (s *scanner) keep(c byte) {
	if len(s.text) <= s.limits.Number {
		s.text = append(s.text, c)
	}
	s.pos++
}
