package postgis

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

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
	return rows(ctx, s.pool, scanDesign, `SELECT `+designColumns+` FROM design WHERE tenant = $1 AND operation = $2 AND number > $3 ORDER BY number LIMIT $4`,
		t, operation, after, n)
}

// Finished lists designs in the order in which they were finished.
func (s *Store) Finished(ctx context.Context, t store.Tenant, operation string, after, n int) ([]store.Design, error) {
	return rows(ctx, s.pool, scanDesign, `SELECT number, lot, place, status, reason, NULL FROM design
		WHERE tenant = $1 AND operation = $2 AND place > $3 ORDER BY place LIMIT $4`, t, operation, after, n)
}

// Settings are those of the chunk's operation.
func (s *Store) Settings(ctx context.Context, c store.Chunk) (settings []byte, err error) {
	err = s.pool.QueryRow(ctx, `SELECT settings FROM operation WHERE tenant = $1 AND operation = $2`, c.Tenant, c.Operation).Scan(&settings)
	return settings, orNotFound(err, "operation", c.Operation)
}

// Open lists the numbers of a chunk's lots that have no design yet.
func (s *Store) Open(ctx context.Context, c store.Chunk) ([]int, error) {
	return openLots(ctx, s.pool, c)
}

func openLots(ctx context.Context, q querier, c store.Chunk) ([]int, error) {
	scan := func(row scanner) (n int, err error) { return n, row.Scan(&n) }
	return rows(ctx, q, scan, `SELECT l.number FROM operation o JOIN lot l ON l.tenant = o.tenant AND l.batch = o.batch
		WHERE o.tenant = $1 AND o.operation = $2 AND o.state = 'running' AND l.number BETWEEN $3 AND $4
		AND NOT EXISTS (SELECT 1 FROM design d WHERE d.tenant = $1 AND d.operation = $2 AND d.number = l.number)
		ORDER BY l.number`, c.Tenant, c.Operation, c.First, c.Last)
}

// SaveDesign keeps the first design of a lot. The operation stays locked
// meanwhile, so that designs have places without gaps.
func (s *Store) SaveDesign(ctx context.Context, c store.Chunk, d store.Design) error {
	drawn := s.drawn(d.Content)
	return s.change(ctx, func(ctx context.Context, tx pgx.Tx) error {
		o, err := scanOperation(tx.QueryRow(ctx, `SELECT `+operationColumns+` FROM operation WHERE tenant = $1 AND operation = $2 FOR UPDATE`, c.Tenant, c.Operation))
		if errors.Is(err, pgx.ErrNoRows) || err == nil && o.State != store.Running {
			return nil // nobody wants it any more
		}
		if err != nil {
			return err
		}
		return s.insertDesign(ctx, tx, c, o, d, drawn)
	})
}

// insertDesign writes a design, what mapping tools are shown of it and the count
// of its operation, which ends with its last lot. Where the lot has a design,
// nothing is written. It is one statement, since others wait for it.
func (s *Store) insertDesign(ctx context.Context, tx pgx.Tx, c store.Chunk, o store.Operation, d store.Design, drawn drawing) error {
	_, err := tx.Exec(ctx, `WITH made AS (
			INSERT INTO design (tenant, operation, number, place, lot, status, reason, content, figures, region)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, mappable($10)) ON CONFLICT (tenant, operation, number) DO NOTHING RETURNING status
		), heads AS (
			INSERT INTO head (tenant, operation, number, place, properties)
			SELECT $1, $2, $3, ST_GeomFromEWKB(shape), properties::jsonb FROM made, unnest($11::bytea[], $12::text[]) AS marks (shape, properties)
		), trenches AS (
			INSERT INTO trench (tenant, operation, number, line, properties)
			SELECT $1, $2, $3, ST_GeomFromEWKB(shape), properties::jsonb FROM made, unnest($13::bytea[], $14::text[]) AS marks (shape, properties)
		)
		UPDATE operation SET
			designed = designed + (made.status = 'designed')::integer, infeasible = infeasible + (made.status = 'infeasible')::integer,
			invalid = invalid + (made.status = 'invalid')::integer, failed = failed + (made.status = 'failed')::integer,
			state = CASE WHEN $4 < lots THEN state ELSE 'done' END, ended = CASE WHEN $4 < lots THEN ended ELSE $15 END
		FROM made WHERE tenant = $1 AND operation = $2`,
		c.Tenant, c.Operation, d.Number, o.Finished()+1, d.Lot, d.Status, text(d.Reason), orEmpty(d.Content), drawn.figures, drawn.region,
		drawn.heads.shapes, drawn.heads.properties, drawn.trenches.shapes, drawn.trenches.properties, s.now())
	return err
}

// Complete records with last that a chunk is done.
func (s *Store) Complete(ctx context.Context, c store.Chunk, last func(ctx context.Context, tx pgx.Tx) error) error {
	return s.change(ctx, func(ctx context.Context, tx pgx.Tx) error {
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
