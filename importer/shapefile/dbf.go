package shapefile

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"

	"lotwright/importer"
)

// attributes is a dBASE table that is being read.
type attributes struct {
	name string
	io.Closer
	from     *bufio.Reader
	rows     int
	language byte // the language driver, which stands for a way to write text
	columns  []field
	record   []byte
}

// field is a column and where in a record it stands.
type field struct {
	name     string
	kind     byte
	from, to int
}

func (a *attributes) fault(format string, args ...any) error {
	return importer.Refuse(-1, "shp.corrupt", "%.80q: "+format, append([]any{a.name}, args...)...)
}

// early turns the end of a part into a refusal.
func (a *attributes) early(err error, where string) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return a.fault("it ends within %s", where)
	}
	return err
}

// header reads the table's header: 32 bytes, 32 for each column, and an end
// mark; in between may stand what other makers of databases add.
func (a *attributes) header() error {
	const unit, mark = 32, 0x0d
	var head [unit]byte
	if _, err := io.ReadFull(a.from, head[:]); err != nil {
		return a.early(err, "its header")
	}
	rows, length := binary.LittleEndian.Uint32(head[4:]), int(binary.LittleEndian.Uint16(head[8:]))
	a.rows, a.language = int(rows), head[29]
	a.record = make([]byte, binary.LittleEndian.Uint16(head[10:]))
	if length < unit+1 || len(a.record) < 1 || rows > 1<<30 {
		return a.fault("it does not begin as a dBASE table does")
	}
	rest := make([]byte, length-unit)
	if _, err := io.ReadFull(a.from, rest); err != nil {
		return a.early(err, "its header")
	}
	at := 1 // after the mark of deleted records
	for ; len(rest) >= unit && rest[0] != mark; rest = rest[unit:] {
		f := field{kind: rest[11], from: at, to: at + int(rest[16])}
		name, _, _ := bytes.Cut(rest[:11], []byte{0})
		f.name = strings.TrimSpace(strings.ToValidUTF8(string(name), "?"))
		if at = f.to; at > len(a.record) {
			return a.fault("its columns are wider than its records")
		}
		if !slices.ContainsFunc(a.columns, func(c field) bool { return c.name == f.name }) {
			a.columns = append(a.columns, f)
		}
	}
	return nil
}

// next reads the next record; deleted records are still there, but marked.
func (a *attributes) next(number int, fields []field, enc textEncoding) (values []any, deleted bool, err error) {
	if _, err := io.ReadFull(a.from, a.record); err != nil {
		return nil, false, a.early(err, "row "+strconv.Itoa(number))
	}
	if a.record[0] == '*' {
		return nil, true, nil
	}
	for _, f := range fields {
		v, err := f.value(a.record[f.from:f.to], enc)
		if err != nil {
			return nil, false, a.fault("row %d: column %q: %v", number, f.name, err)
		}
		values = append(values, v)
	}
	return values, false, nil
}

// value reads a cell. An empty one is nil: dBASE has no other way to say so.
func (f field) value(cell []byte, enc textEncoding) (any, error) {
	text := strings.Trim(string(cell), " \x00")
	switch f.kind {
	case 'C', 'D':
		text = strings.TrimRight(string(cell), " \x00")
		if text == "" {
			return nil, nil
		}
		return enc(text)
	case 'N', 'F':
		if text == "" || strings.Trim(text, "*") == "" { // stars: did not fit
			return nil, nil
		}
		if whole, err := strconv.ParseInt(text, 10, 64); err == nil {
			return whole, nil
		}
		number, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return nil, errors.New("not a number")
		}
		return number, nil
	case 'L':
		switch {
		case text == "" || text == "?":
			return nil, nil
		case strings.Contains("TtYy", text):
			return true, nil
		}
		return false, nil
	}
	return nil, nil // memos, times and what else has been added
}
