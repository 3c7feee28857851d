// Package sqlite keeps the batch service's state in one SQLite file.
//
// The file is in WAL mode with synchronous=FULL: what a call returned is on
// disk. One connection writes, so that writes queue up here rather than fail as
// busy; others read. One process at a time may have the file open: it holds a
// lock beside it, which goes with the process however that ends.
package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gofrs/flock"
	_ "modernc.org/sqlite" // the driver

	"lotwright/server/store"
)

// Names in the data folder.
const (
	fileName = "lotwright.db"
	lockName = "lotwright.lock"
)

// readers is the number of connections that read at a time.
const readers = 8

// Store is an open file. It is made by [Open].
type Store struct {
	write *sql.DB // one connection
	read  *sql.DB
	lock  *flock.Flock
	now   func() time.Time

	folder    string
	keepFree  int64                              // bytes
	free      func(folder string) (int64, error) // bytes
	quota     store.Quota
	chunkLots int
	enqueue   func(ctx context.Context, tx *sql.Tx, chunks []store.Chunk) error

	writing sync.Mutex   // held for the length of a write
	marks   atomic.Int64 // numbers the writes of this process
	start   string       // tells the marks of this process from those of others
	commit  func(*sql.Tx) error
	broken  atomic.Pointer[error]
	failed  chan struct{} // closed when broken is set
}

var _ store.Engine[*sql.Tx] = (*Store)(nil)

// Open opens the store in a folder, making both where they are missing, and
// brings an older file up to the present schema. A folder that another process
// has open is an error, and so is a file of a newer schema.
func Open(ctx context.Context, folder string) (*Store, error) {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, err
	}
	lock := flock.New(filepath.Join(folder, lockName), flock.SetPermissions(0o600))
	switch held, err := lock.TryLock(); {
	case err != nil:
		return nil, fmt.Errorf("lock %s: %w", lock.Path(), err)
	case !held:
		return nil, fmt.Errorf("%s is in use by another lotwright: one process at a time may have it open", folder)
	}
	s, err := open(ctx, filepath.Join(folder, fileName))
	if err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	s.lock = lock
	return s, nil
}

func open(ctx context.Context, file string) (*Store, error) {
	if err := create(file); err != nil {
		return nil, err
	}
	s := &Store{folder: filepath.Dir(file), free: freeBytes, now: time.Now, commit: (*sql.Tx).Commit, failed: make(chan struct{})}
	s.start = fmt.Sprintf("%d.%d", os.Getpid(), s.now().UnixNano())
	var err error
	if s.write, err = sql.Open("sqlite", dsn(file, "immediate")); err != nil {
		return nil, err
	}
	s.write.SetMaxOpenConns(1)
	if err := migrate(ctx, s.write); err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", file, err), s.write.Close())
	}
	if s.read, err = sql.Open("sqlite", dsn(file, "deferred")+"&_pragma=query_only(1)"); err != nil {
		return nil, errors.Join(err, s.write.Close())
	}
	s.read.SetMaxOpenConns(readers)
	s.read.SetMaxIdleConns(readers)
	return s, nil
}

// create makes a file that only its owner may read: SQLite gives the files
// beside it the same rights.
func create(file string) error {
	f, err := os.OpenFile(file, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	return f.Close()
}

func dsn(file, locking string) string {
	q := url.Values{}
	q.Set("_txlock", locking)
	for _, pragma := range []string{
		"busy_timeout(10000)", // a backup by another process may hold the file for a moment
		"journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "trusted_schema(0)",
	} {
		q.Add("_pragma", pragma)
	}
	return (&url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(file), RawQuery: q.Encode()}).String()
}

// Writer is the connection that writes: the queue keeps its jobs over it.
func (s *Store) Writer() *sql.DB { return s.write }

// Close closes the file and gives up the lock.
func (s *Store) Close() error {
	return errors.Join(s.read.Close(), s.write.Close(), s.lock.Unlock())
}

// OnStart sets what StartOperation does with the chunks of an operation.
func (s *Store) OnStart(chunkLots int, enqueue func(ctx context.Context, tx *sql.Tx, chunks []store.Chunk) error) {
	s.chunkLots, s.enqueue = chunkLots, enqueue
}

// Check says whether the store can be read and has not failed.
func (s *Store) Check(ctx context.Context) error {
	if err := errors.Join(s.fault(), s.room()); err != nil {
		return err
	}
	var one int
	return s.read.QueryRowContext(ctx, `SELECT one FROM last_write`).Scan(&one)
}

// Failed is closed once the disk has failed a write. From then on the store
// writes nothing: what the machine shows of the file need not be on the disk.
// The way back is to start again, which reads what is there.
func (s *Store) Failed() <-chan struct{} { return s.failed }

func (s *Store) fault() error {
	if err := s.broken.Load(); err != nil {
		return fmt.Errorf("the disk failed a write before, the service must be started again: %w", *err)
	}
	return nil
}
