package postgis

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"lotwright/server/store"
)

const recordColumns = `kind, record, content, created`

func scanRecord(row scanner) (r store.Record, err error) {
	err = row.Scan(&r.Kind, &r.ID, &r.Content, &r.Created)
	r.Created = r.Created.UTC()
	return r, err
}

// CreateRecord keeps a record, with the request that made it.
func (s *Store) CreateRecord(ctx context.Context, t store.Tenant, k store.Kind, id string, content []byte, r store.Request) (made store.Record, err error) {
	err = s.change(ctx, func(ctx context.Context, tx pgx.Tx) error {
		known, err := before(ctx, tx, t, r)
		if err != nil {
			return err
		}
		if known == "" {
			known = id
			if err := insertRecord(ctx, tx, t, store.Record{Kind: k, ID: id, Content: content, Created: s.now()}, r); err != nil {
				return err
			}
			if err := s.bounded(ctx, tx, t, store.AssetRecords); err != nil {
				return err
			}
		}
		made, err = readRecord(ctx, tx, t, k, known)
		return err
	})
	return made, err
}

func insertRecord(ctx context.Context, tx pgx.Tx, t store.Tenant, c store.Record, r store.Request) error {
	var request *string // null, of which any number may be there
	if r.ID != "" {
		request = &r.ID
	}
	done, err := tx.Exec(ctx, `INSERT INTO record (tenant, kind, record, content, request, hash, created) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (tenant, kind, record) DO NOTHING`, t, c.Kind, c.ID, orEmpty(c.Content), request, r.Hash, c.Created)
	if err != nil {
		return err
	}
	if done.RowsAffected() == 1 {
		return nil
	}
	return fmt.Errorf("%s %q: %w", c.Kind, c.ID, store.ErrExists)
}

func readRecord(ctx context.Context, q querier, t store.Tenant, k store.Kind, id string) (store.Record, error) {
	r, err := scanRecord(q.QueryRow(ctx, `SELECT `+recordColumns+` FROM record WHERE tenant = $1 AND kind = $2 AND record = $3`, t, k, id))
	return r, orNotFound(err, string(k), id)
}

// Record reads a record.
func (s *Store) Record(ctx context.Context, t store.Tenant, k store.Kind, id string) (store.Record, error) {
	return readRecord(ctx, s.pool, t, k, id)
}

// Records lists records of a kind by id.
func (s *Store) Records(ctx context.Context, t store.Tenant, k store.Kind, after string, n int) ([]store.Record, error) {
	return rows(ctx, s.pool, scanRecord, `SELECT `+recordColumns+` FROM record WHERE tenant = $1 AND kind = $2 AND record > $3 ORDER BY record LIMIT $4`, t, k, after, n)
}

// DeleteRecord deletes a record.
func (s *Store) DeleteRecord(ctx context.Context, t store.Tenant, k store.Kind, id string) error {
	return s.change(ctx, func(ctx context.Context, tx pgx.Tx) error {
		done, err := tx.Exec(ctx, `DELETE FROM record WHERE tenant = $1 AND kind = $2 AND record = $3`, t, k, id)
		if err == nil && done.RowsAffected() == 0 {
			err = fmt.Errorf("%s %q: %w", k, id, store.ErrNotFound)
		}
		return err
	})
}
