package geojson

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"unicode/utf8"

	"lotwright/importer"
)

// body is a text with its wrapping undone.
type body struct {
	text    io.Reader // valid UTF-8
	zipped  bool
	skipped int64 // bytes of a byte order mark before the text
}

// plainText undoes what is wrapped around the text: one layer of gzip and a
// byte order mark. What cannot be read as text here is refused by name. The
// text returned yields only valid UTF-8 and at most limit bytes.
func plainText(src io.Reader, limit int64) (body, error) {
	var b body
	text := bufio.NewReaderSize(src, windowBytes)
	if head, _ := text.Peek(2); bytes.HasPrefix(head, gzipMagic) {
		b.zipped = true
		zipped, err := gzip.NewReader(text)
		if err != nil {
			return b, gzipFault(err)
		}
		text = bufio.NewReaderSize(gzipReader{zipped}, windowBytes)
		if head, _ := text.Peek(2); bytes.HasPrefix(head, gzipMagic) {
			return b, importer.Refuse(-1, "encoding.nested", "the body is still gzip after one decompression")
		}
	}
	head, err := text.Peek(16)
	if len(head) == 0 && err != nil && !errors.Is(err, io.EOF) {
		return b, err
	}
	if err := knownFormat(head); err != nil {
		return b, err
	}
	if bytes.HasPrefix(head, utf8BOM) {
		n, _ := text.Discard(len(utf8BOM))
		b.skipped = int64(n)
	}
	b.text = &utf8Reader{src: text, limit: limit}
	return b, nil
}

var (
	gzipMagic = []byte{0x1f, 0x8b}
	utf8BOM   = []byte{0xef, 0xbb, 0xbf}
)

// knownFormat refuses what its first bytes show to be something else than text
// in UTF-8.
func knownFormat(head []byte) error {
	const export = "this format is not read here; export GeoJSON (RFC 7946)"
	switch {
	case bytes.HasPrefix(head, []byte("PK\x03\x04")), bytes.HasPrefix(head, []byte("PK\x05\x06")):
		return importer.Refuse(0, "format.unsupported", "a zip archive: %s", export)
	case bytes.HasPrefix(head, []byte("SQLite format 3\x00")):
		return importer.Refuse(0, "format.unsupported", "a SQLite or GeoPackage file: %s", export)
	case bytes.HasPrefix(head, []byte{0x00, 0x00, 0x27, 0x0a}):
		return importer.Refuse(0, "format.unsupported", "a part of a shapefile; zip all its parts together, .prj and .dbf with them, or export GeoJSON")
	case isUTF16(head):
		return importer.Refuse(0, "encoding.not_utf8", "the body is UTF-16 or UTF-32; send UTF-8")
	}
	return nil
}

// isUTF16 recognises UTF-16 and UTF-32 by their marks or by the NUL bytes that
// ASCII characters have in them.
func isUTF16(head []byte) bool {
	if bytes.HasPrefix(head, []byte{0xff, 0xfe}) || bytes.HasPrefix(head, []byte{0xfe, 0xff}) {
		return true
	}
	return len(head) >= 4 && (head[0] == 0) != (head[1] == 0) && (head[2] == 0 || head[3] == 0) ||
		len(head) >= 4 && head[0] == 0 && head[1] == 0 && (head[2] != 0 || head[3] != 0)
}

// gzipReader turns the faults of a gzip stream into refusals.
type gzipReader struct{ zipped *gzip.Reader }

// Read reads decompressed bytes.
func (g gzipReader) Read(p []byte) (int, error) {
	n, err := g.zipped.Read(p)
	if err != nil && !errors.Is(err, io.EOF) {
		err = gzipFault(err)
	}
	return n, err
}

func gzipFault(err error) error {
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		return importer.Refuse(-1, "body.truncated", "the gzip stream ends early")
	}
	return importer.Refuse(-1, "body.corrupt", "the gzip stream is damaged: %v", err)
}

// utf8Reader passes on src while it is valid UTF-8 and no longer than limit.
type utf8Reader struct {
	src   io.Reader
	limit int64
	read  int64
	held  [utf8.UTFMax]byte // bytes of a character not yet complete
	nHeld int
	err   error
}

// Read never returns a character in two pieces, so p must hold at least one.
func (u *utf8Reader) Read(p []byte) (int, error) {
	if u.err != nil {
		return 0, u.err
	}
	n := copy(p, u.held[:u.nHeld])
	m, err := u.src.Read(p[n:])
	n += m
	whole := n
	if err == nil {
		whole = completeRunes(p[:n])
	}
	u.nHeld = copy(u.held[:], p[whole:n])
	if u.err = err; !utf8.Valid(p[:whole]) {
		at := u.read + int64(firstInvalid(p[:whole]))
		u.err = importer.Refuse(at, "encoding.not_utf8", "invalid UTF-8")
		return 0, u.err
	}
	if u.read += int64(whole); u.read > u.limit {
		u.err = importer.Refuse(-1, "body.too_large", "the text is longer than the limit of %d bytes", u.limit)
		return 0, u.err
	}
	return whole, u.err
}

// completeRunes returns the length of p without a character begun at its end.
func completeRunes(p []byte) int {
	for back := 1; back <= utf8.UTFMax-1 && back <= len(p); back++ {
		i := len(p) - back
		if utf8.RuneStart(p[i]) {
			if !utf8.FullRune(p[i:]) {
				return i
			}
			break
		}
	}
	return len(p)
}

func firstInvalid(p []byte) int {
	for i := 0; i < len(p); {
		r, size := utf8.DecodeRune(p[i:])
		if r == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return len(p)
}
