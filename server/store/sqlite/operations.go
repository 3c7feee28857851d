package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lotwright/server/store"
)

const operationColumns = `operation, purpose, batch, revision, state, settings, lots, designed, infeasible, invalid, failed, created, ended`

func scanOperation(row scanner) (o store.Operation, err error) {
	var created int64
	var ended sql.NullInt64
	err = row.Scan(&o.ID, &o.Purpose, &o.Batch, &o.Revision, &o.State, &o.Settings, &o.Lots, &o.Designed, &o.Infeasible, &o.Invalid, &o.Failed, &created, &ended)
	o.Revision = max(o.Revision, 0)
	o.Created = fromMicros(created)
	if ended.Valid {
		o.Ended = fromMicros(ended.Int64)
	}
	return o, err
}

func readOperation(ctx context.Context, q querier, t store.Tenant, id string) (store.Operation, error) {
	o, err := scanOperation(q.QueryRowContext(ctx, `SELECT `+operationColumns+` FROM operation WHERE tenant = ? AND operation = ?`, t, id))
	return o, orNotFound(err, "operation", id)
}

// StartOperation makes an operation and hands its chunks to the queue.
func (s *Store) StartOperation(ctx context.Context, t store.Tenant, batch, id string, settings []byte, r store.Request) (store.Operation, error) {
	return s.startFor(ctx, t, batch, id, store.ToDesign, settings, r)
}

// StartComparison makes an operation that makes no revision.
func (s *Store) StartComparison(ctx context.Context, t store.Tenant, batch, id string, settings []byte, r store.Request) (store.Operation, error) {
	return s.startFor(ctx, t, batch, id, store.ToCompare, settings, r)
}

func (s *Store) startFor(ctx context.Context, t store.Tenant, batch, id string, p store.Purpose, settings []byte, r store.Request) (o store.Operation, err error) {
	if s.enqueue == nil {
		return o, errors.New("bug in StartOperation: no queue, OnStart was not called")
	}
	err = s.takeIn(ctx, func(ctx context.Context, tx *sql.Tx) error {
		made, err := before(ctx, tx, t, r)
		if err != nil {
			return err
		}
		if made == "" {
			made = id
			if err := s.insertOperation(ctx, tx, t, batch, id, p, settings); err != nil {
				return err
			}
			if err := remember(ctx, tx, t, r, batch, id); err != nil {
				return err
			}
			if err := s.bounded(ctx, tx, t, store.AssetRunning); err != nil {
				return err
			}
		}
		o, err = readOperation(ctx, tx, t, made)
		return err
	})
	return o, err
}

func (s *Store) insertOperation(ctx context.Context, tx *sql.Tx, t store.Tenant, batch, id string, p store.Purpose, settings []byte) error {
	b, err := readBatch(ctx, tx, t, batch)
	if err != nil {
		return err
	}
	if b.Lots == 0 {
		return fmt.Errorf("batch %q has no lots: %w", batch, store.ErrState)
	}
	if err := idle(ctx, tx, t, batch); err != nil {
		return err
	}
	if settings == nil {
		settings = []byte{} // the column is never null
	}
	turn, err := nextTurn(ctx, tx, t)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO operation (tenant, operation, purpose, place, turn, batch, revision, state, settings, lots, created)
		SELECT ?1, ?2, ?3, next.place, ?4, ?5, CASE ?3 WHEN 'design' THEN ?6 ELSE -next.place END, 'running', ?7, ?8, ?9
		FROM (SELECT coalesce(max(place), 0) + 1 AS place FROM operation WHERE tenant = ?1) next`,
		t, id, p, turn, batch, b.Revision+1, settings, b.Lots, micros(s.now()))
	if err != nil {
		return err
	}
	if p == store.ToDesign {
		if _, err := tx.ExecContext(ctx, `UPDATE batch SET revision = ? WHERE tenant = ? AND batch = ?`, b.Revision+1, t, batch); err != nil {
			return err
		}
	}
	return s.enqueue(ctx, tx, store.Chunks(t, id, b.Lots, s.chunkLots, turn))
}

// nextTurn is where a tenant's next operation stands in line: where those that
// run have come to, and behind the tenant's own.
func nextTurn(ctx context.Context, tx *sql.Tx, t store.Tenant) (turn int64, err error) {
	err = tx.QueryRowContext(ctx, `SELECT max(
		coalesce((SELECT min(turn + designed + infeasible + invalid + failed) FROM operation WHERE state = 'running'), 0),
		coalesce((SELECT max(turn + lots) FROM operation WHERE state = 'running' AND tenant = ?1), 0))`, t).Scan(&turn)
	return turn, err
}

// Operation reads an operation.
func (s *Store) Operation(ctx context.Context, t store.Tenant, id string) (store.Operation, error) {
	return readOperation(ctx, s.read, t, id)
}

// OperationOf is the operation that made a revision of a batch.
func (s *Store) OperationOf(ctx context.Context, t store.Tenant, batch string, revision int) (store.Operation, error) {
	o, err := scanOperation(s.read.QueryRowContext(ctx, `SELECT `+operationColumns+` FROM operation WHERE tenant = ? AND batch = ? AND revision = ? AND purpose = 'design'`, t, batch, revision))
	return o, orNotFound(err, "revision", fmt.Sprint(revision))
}

// Operations lists operations, the latest first.
func (s *Store) Operations(ctx context.Context, t store.Tenant, after string, n int) ([]store.Operation, error) {
	return rows(ctx, s.read, scanOperation, `SELECT `+operationColumns+` FROM operation WHERE tenant = ?1
		AND (?2 = '' OR place < (SELECT place FROM operation WHERE tenant = ?1 AND operation = ?2)) ORDER BY place DESC LIMIT ?3`, t, after, n)
}

// Backlog counts the lots that wait for a design.
func (s *Store) Backlog(ctx context.Context) (lots int, since time.Time, err error) {
	var created sql.NullInt64
	err = s.read.QueryRowContext(ctx, `SELECT coalesce(sum(lots - designed - infeasible - invalid - failed), 0), min(created)
		FROM operation WHERE state = 'running'`).Scan(&lots, &created)
	if created.Valid {
		since = fromMicros(created.Int64)
	}
	return lots, since, err
}

// CancelOperation ends an operation that runs.
func (s *Store) CancelOperation(ctx context.Context, t store.Tenant, id string) (o store.Operation, err error) {
	err = s.change(ctx, func(ctx context.Context, tx *sql.Tx) error {
		if err := s.end(ctx, tx, t, id, store.Cancelled); err != nil {
			return err
		}
		o, err = readOperation(ctx, tx, t, id)
		return err
	})
	return o, err
}

// end puts a running operation into a final state.
func (s *Store) end(ctx context.Context, tx *sql.Tx, t store.Tenant, id string, state store.State) error {
	_, err := tx.ExecContext(ctx, `UPDATE operation SET state = ?, ended = ? WHERE tenant = ? AND operation = ? AND state = 'running'`,
		state, micros(s.now()), t, id)
	return err
}
