package postgis

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"lotwright/server/store"
)

const batchColumns = `batch, title, lots, revision, created`

func scanBatch(row scanner) (b store.Batch, err error) {
	err = row.Scan(&b.ID, &b.Title, &b.Lots, &b.Revision, &b.Created)
	b.Created = b.Created.UTC()
	return b, err
}

// CreateBatch makes an empty batch.
func (s *Store) CreateBatch(ctx context.Context, t store.Tenant, id, title string, r store.Request) (b store.Batch, err error) {
	err = s.change(ctx, func(ctx context.Context, tx pgx.Tx) error {
		made, err := before(ctx, tx, t, r)
		if err != nil {
			return err
		}
		if made == "" {
			made = id
			if err := insertBatch(ctx, tx, t, id, title, s.now()); err != nil {
				return err
			}
			if err := remember(ctx, tx, t, r, id, id); err != nil {
				return err
			}
			if err := s.bounded(ctx, tx, t, store.AssetBatches); err != nil {
				return err
			}
		}
		b, err = readBatch(ctx, tx, t, made)
		return err
	})
	return b, err
}

func insertBatch(ctx context.Context, tx pgx.Tx, t store.Tenant, id, title string, now time.Time) error {
	done, err := tx.Exec(ctx, `INSERT INTO batch (tenant, batch, title, created) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`, t, id, text(title), now)
	if err != nil {
		return err
	}
	if done.RowsAffected() == 1 {
		return nil
	}
	return fmt.Errorf("batch %q: %w", id, store.ErrExists)
}

// before is what a request made when it came before, or nothing.
func before(ctx context.Context, tx pgx.Tx, t store.Tenant, r store.Request) (made string, err error) {
	if r.ID == "" {
		return "", nil
	}
	var hash []byte
	err = tx.QueryRow(ctx, `SELECT hash, made FROM request WHERE tenant = $1 AND request = $2
		UNION ALL SELECT hash, record FROM record WHERE tenant = $1 AND request = $2`, t, r.ID).Scan(&hash, &made)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return "", nil
	case err == nil && !bytes.Equal(hash, r.Hash):
		return "", fmt.Errorf("request %q: %w", r.ID, store.ErrRequestReused)
	}
	return made, err
}

func remember(ctx context.Context, tx pgx.Tx, t store.Tenant, r store.Request, batch, made string) error {
	if r.ID == "" {
		return nil
	}
	_, err := tx.Exec(ctx, `INSERT INTO request (tenant, request, hash, batch, made) VALUES ($1, $2, $3, $4, $5)`, t, r.ID, r.Hash, batch, made)
	return err
}

func readBatch(ctx context.Context, q querier, t store.Tenant, id string) (store.Batch, error) {
	b, err := scanBatch(q.QueryRow(ctx, `SELECT `+batchColumns+` FROM batch WHERE tenant = $1 AND batch = $2`, t, id))
	return b, orNotFound(err, "batch", id)
}

// lockBatch reads a batch and keeps others from changing it until the
// transaction ends.
func lockBatch(ctx context.Context, tx pgx.Tx, t store.Tenant, id string) (store.Batch, error) {
	b, err := scanBatch(tx.QueryRow(ctx, `SELECT `+batchColumns+` FROM batch WHERE tenant = $1 AND batch = $2 FOR UPDATE`, t, id))
	return b, orNotFound(err, "batch", id)
}

// Batch reads a batch.
func (s *Store) Batch(ctx context.Context, t store.Tenant, id string) (store.Batch, error) {
	return readBatch(ctx, s.pool, t, id)
}

// Batches lists batches by id.
func (s *Store) Batches(ctx context.Context, t store.Tenant, after string, n int) ([]store.Batch, error) {
	return rows(ctx, s.pool, scanBatch, `SELECT `+batchColumns+` FROM batch WHERE tenant = $1 AND batch > $2 ORDER BY batch LIMIT $3`, t, after, n)
}

// DeleteBatch deletes a batch with all that belongs to it.
func (s *Store) DeleteBatch(ctx context.Context, t store.Tenant, id string) error {
	return s.change(ctx, func(ctx context.Context, tx pgx.Tx) error {
		if _, err := lockBatch(ctx, tx, t, id); err != nil {
			return err
		}
		if err := idle(ctx, tx, t, id); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `DELETE FROM batch WHERE tenant = $1 AND batch = $2`, t, id)
		return err
	})
}

// idle reports an operation that runs on a batch.
func idle(ctx context.Context, tx pgx.Tx, t store.Tenant, batch string) error {
	var operation string
	err := tx.QueryRow(ctx, `SELECT operation FROM operation WHERE tenant = $1 AND batch = $2 AND state = 'running'`, t, batch).Scan(&operation)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return nil
	case err != nil:
		return err
	}
	return fmt.Errorf("operation %q runs on batch %q: %w", operation, batch, store.ErrState)
}
