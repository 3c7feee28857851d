package postgis

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"github.com/jackc/pgx/v5"
)

// Every file of migrations is one step of the schema, named by its number. A
// step that was released is never changed.
//
//go:embed migrations/*.sql
var migrations embed.FS

// setsConnections reports whether an address says how many connections there may
// be.
func setsConnections(address string) bool { return strings.Contains(address, "pool_max_conns") }

// prepare makes, where they are missing, what connections need to be set up: the
// extension and the schema with its table of one row, which says how far the
// schema is. Only who makes them needs the right to.
func prepare(ctx context.Context, config *pgx.ConnConfig) error {
	c, err := pgx.ConnectConfig(ctx, config)
	if err != nil {
		return err // it shows no password
	}
	defer c.Close(context.WithoutCancel(ctx)) // all that was written is committed
	tx, err := c.Begin(ctx)
	if err != nil {
		return err
	}
	defer tx.Rollback(context.WithoutCancel(ctx)) // after a commit this does nothing
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, exclusive); err != nil {
		return err
	}
	var there bool
	if err := tx.QueryRow(ctx, `SELECT to_regclass('`+schema+`.lotwright') IS NOT NULL`).Scan(&there); err != nil || there {
		return err
	}
	if err := extension(ctx, tx); err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `CREATE SCHEMA IF NOT EXISTS `+schema); err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `CREATE TABLE IF NOT EXISTS `+schema+`.lotwright (one integer PRIMARY KEY CHECK (one = 1), version integer NOT NULL)`)
	if err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `INSERT INTO `+schema+`.lotwright VALUES (1, 0) ON CONFLICT DO NOTHING`); err != nil {
		return err
	}
	return tx.Commit(ctx)
}

// extension makes PostGIS where it is missing and may be made.
func extension(ctx context.Context, tx pgx.Tx) error {
	var there bool
	err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM pg_extension WHERE extname = 'postgis')`).Scan(&there)
	if err != nil || there {
		return err
	}
	if _, err := tx.Exec(ctx, `CREATE EXTENSION postgis`); err != nil {
		return fmt.Errorf("the database has no PostGIS, and this user cannot make it (once, as one who may: CREATE EXTENSION postgis): %w", err)
	}
	return nil
}

// extensionSchema is where the types and functions of PostGIS are.
func extensionSchema(ctx context.Context, config *pgx.ConnConfig) (at string, err error) {
	c, err := pgx.ConnectConfig(ctx, config)
	if err != nil {
		return "", err
	}
	defer c.Close(context.WithoutCancel(ctx)) // nothing is written
	err = c.QueryRow(ctx, `SELECT n.nspname FROM pg_extension e JOIN pg_namespace n ON n.oid = e.extnamespace WHERE e.extname = 'postgis'`).Scan(&at)
	return at, err
}

// migrate brings the schema to the last step, each in a transaction of its own.
func (s *Store) migrate(ctx context.Context) error {
	steps, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		return err
	}
	var version int
	if err := s.pool.QueryRow(ctx, `SELECT version FROM lotwright`).Scan(&version); err != nil {
		return err
	}
	if version > len(steps) {
		return fmt.Errorf("the database has schema %d, this program knows up to %d: it was written by a newer one", version, len(steps))
	}
	for i := version; i < len(steps); i++ {
		if err := s.step(ctx, steps[i], i+1); err != nil {
			return fmt.Errorf("schema step %d: %w", i+1, err)
		}
	}
	return nil
}

func (s *Store) step(ctx context.Context, name string, version int) error {
	text, err := migrations.ReadFile(name)
	if err != nil {
		return err
	}
	return pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error {
		_, err := tx.Conn().PgConn().Exec(ctx, string(text)).ReadAll() // many statements at once
		_, noted := tx.Exec(ctx, `UPDATE lotwright SET version = $1`, version)
		return errors.Join(err, noted)
	})
}
