package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	sqlitedriver "modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"lotwright/server/store"
)

// takeIn is change for what comes from outside, for which there must be room.
func (s *Store) takeIn(ctx context.Context, do func(ctx context.Context, tx *sql.Tx) error) error {
	if err := s.room(); err != nil {
		return err
	}
	return s.change(ctx, do)
}

// change runs do in a transaction and returns when it is on disk. It does not
// end with ctx half-way: a client that goes away leaves a whole write or none.
func (s *Store) change(ctx context.Context, do func(ctx context.Context, tx *sql.Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	ctx = context.WithoutCancel(ctx)
	s.writing.Lock()
	defer s.writing.Unlock()
	if err := s.fault(); err != nil {
		return err
	}
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return s.sorted(err)
	}
	defer tx.Rollback() // after a commit this does nothing
	mark := fmt.Sprintf("%s.%d", s.start, s.marks.Add(1))
	if _, err := tx.ExecContext(ctx, `UPDATE last_write SET mark = ?`, mark); err != nil {
		return s.sorted(err)
	}
	if err := do(ctx, tx); err != nil {
		return s.sorted(err)
	}
	if err := s.commit(tx); err != nil {
		return s.afterCommit(ctx, mark, s.sorted(err))
	}
	return nil
}

// afterCommit finds out whether a commit that returned an error was made all
// the same. What the machine shows after the disk has failed proves nothing.
func (s *Store) afterCommit(ctx context.Context, mark string, failure error) error {
	if s.fault() != nil {
		return fmt.Errorf("%w: %w", store.ErrUnknown, failure)
	}
	var found string
	if err := s.read.QueryRowContext(ctx, `SELECT mark FROM last_write`).Scan(&found); err != nil {
		return fmt.Errorf("%w: %w; and it cannot be read: %w", store.ErrUnknown, failure, err)
	}
	if found == mark {
		return nil
	}
	return failure
}

// sorted gives the errors of the database the names of the store, and shuts the
// store once the disk has failed.
func (s *Store) sorted(err error) error {
	var e *sqlitedriver.Error
	if !errors.As(err, &e) {
		return err
	}
	switch e.Code() & 0xff { // the primary code
	case sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY:
		return fmt.Errorf("%w: %w", store.ErrFull, err)
	case sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		if s.broken.CompareAndSwap(nil, &err) {
			close(s.failed)
		}
	}
	return err
}

// micros is a time as it is kept.
func micros(t time.Time) int64 { return t.UnixMicro() }

func fromMicros(v int64) time.Time { return time.UnixMicro(v).UTC() }

// rows runs a query and scans each row.
func rows[T any](ctx context.Context, db interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}, scan func(interface{ Scan(...any) error }) (T, error), query string, args ...any) ([]T, error) {
	found, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer found.Close() // errors of reading come from Err
	var out []T
	for found.Next() {
		v, err := scan(found)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, found.Err()
}

// orNotFound names what is not there.
func orNotFound(err error, kind, id string) error {
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("%s %q: %w", kind, id, store.ErrNotFound)
	}
	return err
}
