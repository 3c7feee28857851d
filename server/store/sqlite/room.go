package sqlite

import (
	"errors"
	"fmt"

	"lotwright/server/store"
)

// KeepFree sets how many bytes of the disk are not to be filled: when fewer are
// free, the store takes in nothing new and is not ready, while runs under way go
// on and use them. It is called before anything else. On systems that are not
// asked how much is free ([errors.ErrUnsupported]) it does nothing.
func (s *Store) KeepFree(bytes int64) { s.keepFree = bytes }

// room is [store.ErrFull] when less of the disk is free than is to be kept.
func (s *Store) room() error {
	if s.keepFree <= 0 {
		return nil
	}
	free, err := s.free(s.folder)
	switch {
	case errors.Is(err, errors.ErrUnsupported):
		return nil
	case err != nil:
		return err
	case free < s.keepFree:
		return fmt.Errorf("%w: %d MiB of its disk are free, %d MiB are kept", store.ErrFull, free>>20, s.keepFree>>20)
	}
	return nil
}
