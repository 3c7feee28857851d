package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
)

// Backup writes a copy of the store in folder to the file out, as of one moment;
// a service may be at work on it meanwhile. The copy is checked before it gets
// its name. A file that is there already is an error. [Restore]
// goes back to it.
func Backup(ctx context.Context, folder, out string) error {
	file := filepath.Join(folder, fileName)
	if _, err := os.Stat(file); err != nil {
		return err
	}
	if _, err := os.Lstat(out); !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%s is there already", out)
	}
	part := out + ".part"
	if err := errors.Join(os.RemoveAll(part), create(part)); err != nil {
		return err
	}
	err := copyInto(ctx, file, part)
	if err == nil {
		err = checkCopy(ctx, part)
	}
	if err != nil {
		return errors.Join(err, os.Remove(part))
	}
	return settle(part, out)
}

func copyInto(ctx context.Context, file, part string) error {
	db, err := sql.Open("sqlite", dsn(file, "deferred"))
	if err != nil {
		return err
	}
	defer db.Close() // nothing is written to it
	if version, err := schemaVersion(ctx, db); err != nil || version == 0 {
		return errors.Join(fmt.Errorf("%s is not a store of lotwright", file), err)
	}
	_, err = db.ExecContext(ctx, `VACUUM INTO ?`, part)
	return err
}

// checkCopy reads the whole copy, without leaving files of its own beside it.
func checkCopy(ctx context.Context, part string) error {
	db, err := sql.Open("sqlite", readOnly(part))
	if err != nil {
		return err
	}
	defer db.Close() // nothing is written to it
	var verdict string
	if err := db.QueryRowContext(ctx, `PRAGMA integrity_check(1)`).Scan(&verdict); err != nil {
		return err
	}
	if verdict != "ok" {
		return fmt.Errorf("the copy does not hold together: %s", verdict)
	}
	return nil
}

// readOnly opens a file that nobody writes, without files beside it.
func readOnly(file string) string {
	return (&url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(file), RawQuery: "mode=ro&immutable=1"}).String()
}

// settle puts a file that is complete onto the disk under its name.
func settle(part, out string) error {
	f, err := os.OpenFile(part, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(part, out); err != nil {
		return err
	}
	folder, err := os.Open(filepath.Dir(out))
	if err != nil {
		return err
	}
	_ = folder.Sync() // not every system can
	return folder.Close()
}
