package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"lotwright/server/store"
)

const designColumns = `number, lot, place, status, reason, content`

func scanDesign(row scanner) (d store.Design, err error) {
	err = row.Scan(&d.Number, &d.Lot, &d.Place, &d.Status, &d.Reason, &d.Content)
	return d, err
}

// Designs lists designs of a revision by number of the lot.
func (s *Store) Designs(ctx context.Context, t store.Tenant, batch string, revision, after, n int) ([]store.Design, error) {
	o, err := s.OperationOf(ctx, t, batch, revision)
	if err != nil {
		return nil, err
	}
	return s.Results(ctx, t, o.ID, after, n)
}

// Results lists designs of an operation by number of the lot.
func (s *Store) Results(ctx context.Context, t store.Tenant, operation string, after, n int) ([]store.Design, error) {
	return rows(ctx, s.read, scanDesign, `SELECT `+designColumns+` FROM design WHERE tenant = ? AND operation = ? AND number > ? ORDER BY number LIMIT ?`,
		t, operation, after, n)
}

// Finished lists designs in the order in which they were finished.
func (s *Store) Finished(ctx context.Context, t store.Tenant, operation string, after, n int) ([]store.Design, error) {
	return rows(ctx, s.read, scanDesign, `SELECT number, lot, place, status, reason, NULL FROM design
		WHERE tenant = ? AND operation = ? AND place > ? ORDER BY place LIMIT ?`, t, operation, after, n)
}

// Settings are those of the chunk's operation.
func (s *Store) Settings(ctx context.Context, c store.Chunk) (settings []byte, err error) {
	err = s.read.QueryRowContext(ctx, `SELECT settings FROM operation WHERE tenant = ? AND operation = ?`, c.Tenant, c.Operation).Scan(&settings)
	return settings, orNotFound(err, "operation", c.Operation)
}

// Open lists the numbers of a chunk's lots that have no design yet.
func (s *Store) Open(ctx context.Context, c store.Chunk) ([]int, error) {
	return openLots(ctx, s.read, c)
}

func openLots(ctx context.Context, q querier, c store.Chunk) ([]int, error) {
	scan := func(row scanner) (n int, err error) { return n, row.Scan(&n) }
	return rows(ctx, q, scan, `SELECT l.number FROM operation o JOIN lot l ON l.tenant = o.tenant AND l.batch = o.batch
		WHERE o.tenant = ?1 AND o.operation = ?2 AND o.state = 'running' AND l.number BETWEEN ?3 AND ?4
		AND NOT EXISTS (SELECT 1 FROM design d WHERE d.tenant = ?1 AND d.operation = ?2 AND d.number = l.number)
		ORDER BY l.number`, c.Tenant, c.Operation, c.First, c.Last)
}

// SaveDesign keeps the first design of a lot.
func (s *Store) SaveDesign(ctx context.Context, c store.Chunk, d store.Design) error {
	return s.change(ctx, func(ctx context.Context, tx *sql.Tx) error {
		o, err := readOperation(ctx, tx, c.Tenant, c.Operation)
		if errors.Is(err, store.ErrNotFound) || err == nil && o.State != store.Running {
			return nil // nobody wants it any more
		}
		if err != nil {
			return err
		}
		done, err := tx.ExecContext(ctx, `INSERT INTO design (tenant, operation, number, place, lot, status, reason, content)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (tenant, operation, number) DO NOTHING`,
			c.Tenant, c.Operation, d.Number, o.Finished()+1, d.Lot, d.Status, d.Reason, d.Content)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return err
		}
		return s.count(ctx, tx, c, o, d.Status)
	})
}

// count adds a design to its operation, and ends this with the last one.
func (s *Store) count(ctx context.Context, tx *sql.Tx, c store.Chunk, o store.Operation, status store.Status) error {
	_, err := tx.ExecContext(ctx, `UPDATE operation SET designed = designed + (?1 = 'designed'), infeasible = infeasible + (?1 = 'infeasible'),
		invalid = invalid + (?1 = 'invalid'), failed = failed + (?1 = 'failed') WHERE tenant = ?2 AND operation = ?3`, status, c.Tenant, c.Operation)
	if err != nil || o.Finished()+1 < o.Lots {
		return err
	}
	return s.end(ctx, tx, c.Tenant, c.Operation, store.Done)
}

// Complete records with last that a chunk is done.
func (s *Store) Complete(ctx context.Context, c store.Chunk, last func(ctx context.Context, tx *sql.Tx) error) error {
	return s.change(ctx, func(ctx context.Context, tx *sql.Tx) error {
		left, err := openLots(ctx, tx, c)
		if err != nil {
			return err
		}
		if len(left) > 0 {
			return fmt.Errorf("chunk %d to %d of operation %q has %d lots open: %w", c.First, c.Last, c.Operation, len(left), store.ErrState)
		}
		return last(ctx, tx)
	})
}
