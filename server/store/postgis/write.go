package postgis

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"lotwright/server/store"
)

// How often a transaction is made that the database gives up for another's sake,
// and how long a write may take in all.
const (
	mostTries = 10
	writeTime = 10 * time.Minute // to delete a large batch takes its time
)

// change runs do in a transaction and returns when it is on disk; do may run
// several times. It does not end with ctx half-way: a client that goes away
// leaves a whole write or none.
func (s *Store) change(ctx context.Context, do func(ctx context.Context, tx pgx.Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), writeTime)
	defer cancel()
	for try := 1; ; try++ {
		err := s.once(ctx, do)
		if try == mostTries || !again(err) {
			return sorted(err)
		}
		time.Sleep(time.Duration(try*try) * time.Millisecond)
	}
}

// again reports whether the database gave a transaction up for another's sake:
// for order, for a deadlock, or because a row of the same key came first.
func again(err error) bool {
	switch code(err) {
	case "40001", "40P01", "23505", "23503":
		return true
	}
	return false
}

func code(err error) string {
	var e *pgconn.PgError
	if errors.As(err, &e) {
		return e.Code
	}
	return ""
}

func (s *Store) once(ctx context.Context, do func(ctx context.Context, tx pgx.Tx) error) error {
	tx, err := s.pool.Begin(ctx)
	if err != nil {
		return err
	}
	defer tx.Rollback(ctx) // after a commit this does nothing
	var id string
	if err := tx.QueryRow(ctx, `SELECT pg_current_xact_id()::text`).Scan(&id); err != nil {
		return err
	}
	if err := do(ctx, tx); err != nil {
		return err
	}
	if err := s.commit(ctx, tx); err != nil {
		return s.afterCommit(ctx, id, err)
	}
	return nil
}

// How often, and how far apart, a database is asked what became of a commit: it
// may be starting again, or still at it.
const (
	mostAsked = 20
	askedEach = 250 * time.Millisecond
)

// afterCommit finds out whether a commit that returned an error was made all the
// same. The database keeps the outcome of every transaction.
func (s *Store) afterCommit(ctx context.Context, id string, failure error) error {
	var e *pgconn.PgError
	if errors.Is(failure, pgx.ErrTxCommitRollback) || errors.As(failure, &e) && e.SeverityUnlocalized == "ERROR" {
		return failure // the database itself says that it was not made
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), writeTime)
	defer cancel()
	var unread error
	for range mostAsked {
		var status string
		unread = s.pool.QueryRow(ctx, `SELECT coalesce(pg_xact_status($1::xid8), '')`, id).Scan(&status)
		switch {
		case unread == nil && status == "committed":
			return nil
		case unread == nil && status == "aborted":
			return failure
		}
		time.Sleep(askedEach)
	}
	return fmt.Errorf("%w: %w; and it cannot be read: %w", store.ErrUnknown, failure, unread)
}

// sorted gives the errors of the database the names of the store.
func sorted(err error) error {
	if err == nil || errors.Is(err, store.ErrUnknown) {
		return err
	}
	switch c := code(err); {
	case c == "53100", c == "25006": // disk full; read-only
		return fmt.Errorf("%w: %w", store.ErrFull, err)
	case len(c) == 5 && (c[:2] == "08" || c[:2] == "57" || c == "53300" || c == "25P03"): // connection, shutting down or starting, too many connections, idle for too long
		return fmt.Errorf("%w: %w", store.ErrAway, err)
	case c != "", errors.Is(err, pgx.ErrNoRows), errors.Is(err, context.Canceled):
		return err
	}
	var dial *pgconn.ConnectError
	if errors.As(err, &dial) || pgconn.Timeout(err) || lost(err) {
		return fmt.Errorf("%w: %w", store.ErrAway, err)
	}
	return err
}

// lost reports an error of the connection itself.
func lost(err error) bool {
	var network net.Error
	return errors.As(err, &network) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed) ||
		errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE) || pgconn.SafeToRetry(err)
}

// querier is a transaction or the connections.
type querier interface {
	Query(context.Context, string, ...any) (pgx.Rows, error)
	QueryRow(context.Context, string, ...any) pgx.Row
}

// scanner is a row.
type scanner = interface{ Scan(...any) error }

// rows runs a query and scans each row.
func rows[T any](ctx context.Context, q querier, scan func(scanner) (T, error), query string, args ...any) ([]T, error) {
	found, err := q.Query(ctx, query, args...)
	if err != nil {
		return nil, sorted(err)
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
	return out, sorted(found.Err())
}

// orNotFound names what is not there.
func orNotFound(err error, kind, id string) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return fmt.Errorf("%s %q: %w", kind, id, store.ErrNotFound)
	}
	return sorted(err)
}
