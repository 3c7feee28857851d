// Package postgis keeps the batch service's state in a PostgreSQL database with
// PostGIS, for several processes and machines at once.
//
// What a call returned is on the database's disk (synchronous_commit). Writers
// lock the row of the batch or the operation they change, so that they wait for
// each other only there; a transaction that the database gave up for another's
// sake is made again. Parcels, regions, heads and trenches are geometry columns
// in SRID 4326 with spatial indexes, and the views lots, regions, heads and
// trenches of the schema lotwright show mapping tools the latest run.
package postgis

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"lotwright/server/store"
)

// schema holds all that is ours, the queue's tables among them.
const schema = "lotwright"

// Options say what the columns for mapping tools are filled with. Without them
// they stay empty.
type Options struct {
	// Parcel is the outline of a lot, from its content: polygons, their rings,
	// their positions as longitude and latitude. Nothing when it has none.
	Parcel func(content []byte) [][][][2]float64
	// GeoJSON is a design as a feature collection (RFC 7946), from its content.
	// Nothing when there is none.
	GeoJSON func(content []byte) []byte
}

// Store is a database. It is made by [Open].
type Store struct {
	pool    *pgxpool.Pool
	options Options
	now     func() time.Time

	quota     store.Quota
	chunkLots int
	enqueue   func(ctx context.Context, tx pgx.Tx, chunks []store.Chunk) error

	commit func(ctx context.Context, tx pgx.Tx) error
}

var _ store.Engine[pgx.Tx] = (*Store)(nil)

// connections is how many a process has at most, unless the address says
// otherwise (pool_max_conns). Each worker takes one for moments only.
const connections = 12

// fewestConnections is with how many a process can do: one holds a lock while
// others work under it.
const fewestConnections = 4

// mostIdle is how long a transaction may wait for its own client: one that was
// stopped must not keep others from a batch.
const mostIdle = "10s"

// Open connects to the database of an address as libpq has them, URL or words,
// makes the schema where it is missing and brings an older one up to date. Of
// several processes that open at once, one does that and the others wait.
func Open(ctx context.Context, address string, o Options) (*Store, error) {
	config, err := pgxpool.ParseConfig(address)
	if err != nil {
		return nil, err // it shows no password
	}
	if err := prepare(ctx, config.ConnConfig.Copy()); err != nil {
		return nil, err
	}
	if config.MaxConns < connections && !setsConnections(address) {
		config.MaxConns = connections
	}
	config.MaxConns = max(config.MaxConns, fewestConnections)
	at, err := extensionSchema(ctx, config.ConnConfig.Copy())
	if err != nil {
		return nil, err
	}
	for name, value := range map[string]string{
		"search_path":                         schema + "," + pgx.Identifier{at}.Sanitize(),
		"idle_in_transaction_session_timeout": mostIdle,
		"application_name":                    "lotwright",
	} {
		config.ConnConfig.RuntimeParams[name] = value
	}
	config.AfterConnect = durable
	s := &Store{options: o, now: time.Now, commit: func(ctx context.Context, tx pgx.Tx) error { return tx.Commit(ctx) }}
	if s.pool, err = pgxpool.NewWithConfig(ctx, config); err != nil {
		return nil, err
	}
	if err := s.Exclusively(ctx, func(ctx context.Context) error { return s.migrate(ctx) }); err != nil {
		s.pool.Close()
		return nil, err
	}
	return s, nil
}

// durable makes a connection one whose commits are on disk when they return.
func durable(ctx context.Context, c *pgx.Conn) error {
	var commits, flushes string
	if err := c.QueryRow(ctx, `SELECT current_setting('synchronous_commit'), current_setting('fsync')`).Scan(&commits, &flushes); err != nil {
		return err
	}
	if flushes != "on" {
		return errors.New("the database runs with fsync=off: what it has stored, a power cut may take back")
	}
	if commits == "off" {
		_, err := c.Exec(ctx, `SET synchronous_commit = on`)
		return err
	}
	return nil
}

// Pool are the connections: the queue keeps its jobs over them.
func (s *Store) Pool() *pgxpool.Pool { return s.pool }

// Close closes the connections.
func (s *Store) Close() error {
	s.pool.Close()
	return nil
}

// OnStart sets what StartOperation does with the chunks of an operation.
func (s *Store) OnStart(chunkLots int, enqueue func(ctx context.Context, tx pgx.Tx, chunks []store.Chunk) error) {
	s.chunkLots, s.enqueue = chunkLots, enqueue
}

// Check says whether the store can be read.
func (s *Store) Check(ctx context.Context) error {
	var one int
	return sorted(s.pool.QueryRow(ctx, `SELECT one FROM lotwright`).Scan(&one))
}

// exclusive is the key of the lock of [Store.Exclusively]: "LotW".
const exclusive = 0x4c6f7457

// Exclusively runs do in one process at a time of all that have the database
// open.
func (s *Store) Exclusively(ctx context.Context, do func(ctx context.Context) error) error {
	c, err := s.pool.Acquire(ctx)
	if err != nil {
		return sorted(err)
	}
	defer c.Release()
	if _, err := c.Exec(ctx, `SELECT pg_advisory_lock($1)`, exclusive); err != nil {
		return sorted(err)
	}
	err = do(ctx)
	_, unlocked := c.Exec(context.WithoutCancel(ctx), `SELECT pg_advisory_unlock($1)`, exclusive)
	if unlocked != nil {
		unlocked = fmt.Errorf("unlock: %w", errors.Join(unlocked, c.Conn().Close(ctx))) // which unlocks as well
	}
	return errors.Join(err, unlocked)
}
