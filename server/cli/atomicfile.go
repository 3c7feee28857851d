package cli

import (
	"bufio"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// outFile is a file that appears under its name only when it is complete: it
// is written beside it, and renamed on [outFile.keep].
type outFile struct {
	io.Writer
	path   string
	file   *os.File
	buffer *bufio.Writer
	gzip   *gzip.Writer // nil unless the name ends in .gz
}

// createFile starts a file, making its folder where it is missing. A link is
// followed, and what is no file (a pipe, a device) is written to as it is.
func createFile(path string) (*outFile, error) {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		file, err := os.OpenFile(path, os.O_WRONLY, 0)
		return newOutFile(path, file), err
	}
	if linked, err := filepath.EvalSymlinks(path); err == nil {
		path = linked
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return nil, err
	}
	partial := filepath.Join(filepath.Dir(path), fmt.Sprintf(".%s.%d.partial", filepath.Base(path), os.Getpid()))
	file, err := os.OpenFile(partial, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o666)
	return newOutFile(path, file), err
}

func newOutFile(path string, file *os.File) *outFile {
	f := &outFile{path: path, file: file, buffer: bufio.NewWriter(file)}
	f.Writer = f.buffer
	if compressed(path) {
		f.gzip = gzip.NewWriter(f.buffer)
		f.Writer = f.gzip
	}
	return f
}

// keep completes the file and gives it its name.
func (f *outFile) keep() error {
	var zipped error
	if f.gzip != nil {
		zipped = f.gzip.Close()
	}
	err := errors.Join(zipped, f.buffer.Flush(), f.file.Close())
	if err == nil && f.renamed() {
		err = os.Rename(f.file.Name(), f.path)
	}
	if err != nil {
		f.remove()
	}
	return err
}

// renamed reports whether the file is written beside its place.
func (f *outFile) renamed() bool { return f.file.Name() != f.path }

func (f *outFile) remove() {
	if f.renamed() {
		_ = os.Remove(f.file.Name()) // best effort: the fault that led here is reported
	}
}

// drop throws away what was written.
func (f *outFile) drop() {
	_ = f.file.Close()
	f.remove()
}

// compressed reports whether a file of this name is gzipped.
func compressed(path string) bool { return strings.EqualFold(filepath.Ext(path), ".gz") }

// writeFile writes a whole file through write.
func writeFile(path string, write func(io.Writer) error) error {
	f, err := createFile(path)
	if err != nil {
		return err
	}
	if err := write(f); err != nil {
		f.drop()
		return fmt.Errorf("%s: %w", path, err)
	}
	return f.keep()
}
