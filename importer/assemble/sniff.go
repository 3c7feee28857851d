package assemble

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"io"
	"os"

	"lotwright/importer"
)

// kind is what the first bytes of an input say it is.
type kind int

const (
	text     kind = iota // or anything else: package geojson judges
	database             // SQLite
	archive              // zip
)

func kindOf(head []byte) kind {
	switch {
	case bytes.HasPrefix(head, []byte("SQLite format 3\x00")):
		return database
	case bytes.HasPrefix(head, []byte("PK\x03\x04")), bytes.HasPrefix(head, []byte("PK\x05\x06")):
		return archive
	}
	return text
}

// sniffed is an input whose first bytes were looked at.
type sniffed struct {
	ctx    context.Context
	kind   kind
	limit  int64     // of what is copied
	path   string    // of a plain file
	file   *os.File  // of the path
	reader io.Reader // of anything else, from the start; nil for text in a file
	kept   string    // a temporary copy
}

// sniffBytes is enough to know every kind, within gzip too.
const sniffBytes = 4096

// sniff finds out what an input is. A database or archive may be gzipped.
func sniff(ctx context.Context, in Input, limits importer.Limits) (*sniffed, error) {
	s := &sniffed{ctx: ctx, limit: limits.Store}
	from := in.Reader
	if in.Path != "" && in.Path != "-" {
		file, err := os.Open(in.Path)
		if err != nil {
			return nil, err
		}
		if info, err := file.Stat(); err == nil && info.Mode().IsRegular() {
			s.path = in.Path
		}
		s.file, from = file, file
	}
	if from == nil {
		return s, nil
	}
	buffered := bufio.NewReaderSize(from, sniffBytes)
	head, _ := buffered.Peek(sniffBytes) // a fault shows again when it is read
	s.kind, s.reader = kindOf(head), buffered
	s.lookInside(head, buffered, limits.Body)
	if s.kind == text && s.path != "" {
		s.reader = nil // is read by its path
	}
	return s, nil
}

// lookInside looks for a database or archive within gzip. Little may unpack to
// much, so less is taken than where the bytes themselves were sent.
func (s *sniffed) lookInside(head []byte, buffered *bufio.Reader, limit int64) {
	zipped, err := gzip.NewReader(bytes.NewReader(head))
	if err != nil {
		return
	}
	inside := make([]byte, 16)
	n, _ := io.ReadFull(zipped, inside)
	if kindOf(inside[:n]) == text {
		return
	}
	if zipped, err = gzip.NewReader(buffered); err == nil {
		s.kind, s.reader, s.path, s.limit = kindOf(inside[:n]), zipped, "", limit
	}
}

// asFile returns the path of a file with the bytes of the input: its own, or
// that of a temporary copy.
func (s *sniffed) asFile() (string, error) {
	if s.path != "" {
		return s.path, nil
	}
	f, err := os.CreateTemp("", "lotwright-*")
	if err != nil {
		return "", err
	}
	s.kept = f.Name()
	n, err := io.Copy(f, io.LimitReader(cancelled{s.ctx, s.reader}, s.limit+1))
	switch {
	case errors.Is(err, gzip.ErrChecksum), errors.Is(err, io.ErrUnexpectedEOF):
		err = importer.Refuse(-1, "body.truncated", "the gzip stream ends early or is damaged")
	case err == nil && n > s.limit:
		err = importer.Refuse(-1, "body.too_large", "the file is longer than the limit of %d bytes", s.limit)
	}
	return s.kept, errors.Join(err, f.Close())
}

// close frees what was opened. Text that is read by its path is opened again.
func (s *sniffed) close() {
	if s.file != nil {
		_ = s.file.Close() // only read
	}
	if s.kept != "" {
		_ = os.Remove(s.kept) // a copy that nobody will miss
	}
}

// cancelled ends a read when its context ends.
type cancelled struct {
	ctx context.Context
	src io.Reader
}

// Read reads while the context lasts.
func (c cancelled) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.src.Read(p)
}
