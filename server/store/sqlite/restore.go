package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/gofrs/flock"
)

// Restore makes the store of a folder of a copy that [Backup] wrote. The copy is
// checked first, and stays. A folder that has a store is an error: nothing is
// written over.
func Restore(ctx context.Context, backup, folder string) error {
	if err := checkBackup(ctx, backup); err != nil {
		return fmt.Errorf("%s: %w", backup, err)
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	lock := flock.New(filepath.Join(folder, lockName), flock.SetPermissions(0o600))
	if held, err := lock.TryLock(); err != nil || !held {
		return errors.Join(fmt.Errorf("%s is in use by another lotwright", folder), err)
	}
	defer lock.Unlock() // it ends with the process at the latest
	file := filepath.Join(folder, fileName)
	for _, there := range []string{file, file + "-wal", file + "-shm"} {
		if _, err := os.Lstat(there); !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("%s is there already: a copy goes into an empty folder", there)
		}
	}
	part := file + ".part"
	if err := copyFile(backup, part); err != nil {
		return errors.Join(err, os.Remove(part))
	}
	return settle(part, file)
}

// checkBackup reads a whole file and says if it is not a store that this program
// can open.
func checkBackup(ctx context.Context, backup string) error {
	if err := checkCopy(ctx, backup); err != nil {
		return err
	}
	db, err := sql.Open("sqlite", readOnly(backup))
	if err != nil {
		return err
	}
	defer db.Close() // nothing is written to it
	version, err := schemaVersion(ctx, db)
	if err == nil && version == 0 {
		err = errors.New("it is not a store of lotwright")
	}
	return err
}

// copyFile copies a file to one that only its owner may read.
func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close() // it is only read
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}
