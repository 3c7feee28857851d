// Package geopackage reads the feature tables of GeoPackages (OGC 12-128r18),
// which are SQLite databases, as from a stranger: opened to read only, nothing
// but ordinary tables looked at, no view, trigger, generated column or index
// used, every name taken from the schema, every size bounded, pages checked
// before rows are believed.
package geopackage

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"lotwright/importer"
	"lotwright/importer/table"
)

// File is an opened GeoPackage.
type File struct {
	db     *sql.DB
	conn   *sql.Conn
	limits importer.Limits
	tables []table.Table
}

// Open opens the GeoPackage and lists its feature tables. What is wrong with it
// is an *importer.Refusal.
func Open(ctx context.Context, path string, limits importer.Limits) (*File, error) {
	f := &File{limits: limits.OrDefaults()}
	err := f.open(ctx, path)
	if err == nil {
		return f, nil
	}
	_ = f.Close()
	return nil, refusal(err)
}

func (f *File) open(ctx context.Context, path string) error {
	if err := f.checkPages(ctx, path); err != nil {
		return err
	}
	name, err := dataSource(path)
	if err != nil {
		return err
	}
	if f.db, err = sql.Open("sqlite", name); err != nil {
		return err
	}
	f.db.SetMaxOpenConns(1)
	if f.conn, err = f.db.Conn(ctx); err != nil {
		return err
	}
	if err := f.harden(ctx); err != nil {
		return err
	}
	return f.list(ctx)
}

// dataSource is the name under which SQLite opens the file: never to write, and
// without looking for locks and journals where there are none.
func dataSource(path string) (string, error) {
	whole, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	query := "mode=ro&_pragma=trusted_schema(0)&_pragma=cell_size_check(1)&_pragma=query_only(1)" +
		"&_pragma=ignore_check_constraints(1)&_pragma=mmap_size(0)"
	if !pending(path+"-wal") && !pending(path+"-journal") {
		query += "&immutable=1"
	}
	return (&url.URL{Scheme: "file", Path: whole, RawQuery: query}).String(), nil
}

// pending reports whether a program that has the database open keeps changes
// in a file beside it; SQLite then has to look at that file too.
func pending(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Size() > 0
}

// harden takes away what reading tables does not need.
func (f *File) harden(context.Context) error {
	for id, limit := range map[int]int{
		sqlite3.SQLITE_LIMIT_LENGTH:              f.limits.Blob,
		sqlite3.SQLITE_LIMIT_SQL_LENGTH:          1 << 20,
		sqlite3.SQLITE_LIMIT_EXPR_DEPTH:          100,
		sqlite3.SQLITE_LIMIT_COMPOUND_SELECT:     5,
		sqlite3.SQLITE_LIMIT_VDBE_OP:             25_000,
		sqlite3.SQLITE_LIMIT_FUNCTION_ARG:        8,
		sqlite3.SQLITE_LIMIT_ATTACHED:            0,
		sqlite3.SQLITE_LIMIT_LIKE_PATTERN_LENGTH: 100,
		sqlite3.SQLITE_LIMIT_TRIGGER_DEPTH:       1,
	} {
		if _, err := sqlite.Limit(f.conn, id, limit); err != nil {
			return err
		}
	}
	return nil
}

// Tables lists the feature tables in the order of their names.
func (f *File) Tables() []table.Table { return f.tables }

// Close closes the file; rows cannot be read afterwards.
func (f *File) Close() error {
	var errs []error
	if f.conn != nil {
		errs = append(errs, f.conn.Close())
	}
	if f.db != nil {
		errs = append(errs, f.db.Close())
	}
	return errors.Join(errs...)
}

// refusal turns what SQLite says of a file into the refusal of the request;
// other errors, such as those of the machine, are passed on.
func refusal(err error) error {
	var known *importer.Refusal
	var fault *sqlite.Error
	if errors.As(err, &known) || !errors.As(err, &fault) {
		return err
	}
	switch fault.Code() & 0xff {
	case sqlite3.SQLITE_INTERRUPT, sqlite3.SQLITE_NOMEM, sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR:
		return fmt.Errorf("database: %w", err)
	case sqlite3.SQLITE_TOOBIG:
		return importer.Refuse(-1, "gpkg.too_large", "a value in the database is longer than the limit")
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN:
		return importer.Refuse(-1, "gpkg.in_use", "another program has the database open; close it there, or send a copy: %v", err)
	}
	return importer.Refuse(-1, "gpkg.corrupt", "the database is damaged: %v", err)
}
