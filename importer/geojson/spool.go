package geojson

import (
	"errors"
	"fmt"
	"io"
	"os"
)

// spool keeps text that cannot be read twice from where it came: up to
// spoolMemory bytes in memory, then in a temporary file without a name. Writing
// must be over before reading begins; reading is safe for concurrent use.
type spool struct {
	memory []byte
	file   *os.File
	size   int64
}

// spoolMemory is what a spool holds before it turns to a file.
const spoolMemory = 1 << 20

// Write appends to the spool.
func (s *spool) Write(p []byte) (int, error) {
	s.size += int64(len(p))
	if s.file == nil && len(s.memory)+len(p) <= spoolMemory {
		s.memory = append(s.memory, p...)
		return len(p), nil
	}
	if s.file == nil {
		if err := s.overflow(); err != nil {
			return 0, err
		}
	}
	return s.file.Write(p)
}

// overflow moves what is in memory into a temporary file.
func (s *spool) overflow() error {
	f, err := os.CreateTemp("", "lotwright-*")
	if err != nil {
		return fmt.Errorf("spooling the input: %w", err)
	}
	s.file = f
	if err := os.Remove(f.Name()); err != nil {
		return errors.Join(fmt.Errorf("spooling the input: %w", err), s.Close())
	}
	_, err = f.Write(s.memory)
	s.memory = nil
	return err
}

// ReadAt reads from the spool.
func (s *spool) ReadAt(p []byte, off int64) (int, error) {
	if s.file != nil {
		return s.file.ReadAt(p, off)
	}
	if off < 0 || off >= int64(len(s.memory)) {
		return 0, io.EOF
	}
	n := copy(p, s.memory[off:])
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

// Close frees the spool.
func (s *spool) Close() error {
	s.memory = nil
	if s.file == nil {
		return nil
	}
	return s.file.Close()
}
