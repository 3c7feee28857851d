package sqlite

import (
	"context"
	"database/sql"
	"fmt"

	"lotwright/server/store"
)

const recordColumns = `kind, record, content, created`

func scanRecord(row scanner) (r store.Record, err error) {
	var created int64
	err = row.Scan(&r.Kind, &r.ID, &r.Content, &created)
	r.Created = fromMicros(created)
	return r, err
}

// CreateRecord keeps a record, with the request that made it.
func (s *Store) CreateRecord(ctx context.Context, t store.Tenant, k store.Kind, id string, content []byte, r store.Request) (made store.Record, err error) {
	err = s.takeIn(ctx, func(ctx context.Context, tx *sql.Tx) error {
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

func insertRecord(ctx context.Context, tx *sql.Tx, t store.Tenant, c store.Record, r store.Request) error {
	var request any // null, of which any number may be there
	if r.ID != "" {
		request = r.ID
	}
	done, err := tx.ExecContext(ctx, `INSERT INTO record (tenant, kind, record, content, request, hash, created) VALUES (?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT (tenant, kind, record) DO NOTHING`, t, c.Kind, c.ID, append([]byte{}, c.Content...), request, r.Hash, micros(c.Created))
	if err != nil {
		return err
	}
	if n, err := done.RowsAffected(); err != nil || n == 1 {
		return err
	}
	return fmt.Errorf("%s %q: %w", c.Kind, c.ID, store.ErrExists)
}

func readRecord(ctx context.Context, q querier, t store.Tenant, k store.Kind, id string) (store.Record, error) {
	r, err := scanRecord(q.QueryRowContext(ctx, `SELECT `+recordColumns+` FROM record WHERE tenant = ? AND kind = ? AND record = ?`, t, k, id))
	return r, orNotFound(err, string(k), id)
}

// Record reads a record.
func (s *Store) Record(ctx context.Context, t store.Tenant, k store.Kind, id string) (store.Record, error) {
	return readRecord(ctx, s.read, t, k, id)
}

// Records lists records of a kind by id.
func (s *Store) Records(ctx context.Context, t store.Tenant, k store.Kind, after string, n int) ([]store.Record, error) {
	return rows(ctx, s.read, scanRecord, `SELECT `+recordColumns+` FROM record WHERE tenant = ? AND kind = ? AND record > ? ORDER BY record LIMIT ?`, t, k, after, n)
}

// DeleteRecord deletes a record.
func (s *Store) DeleteRecord(ctx context.Context, t store.Tenant, k store.Kind, id string) error {
	return s.change(ctx, func(ctx context.Context, tx *sql.Tx) error {
		if _, err := readRecord(ctx, tx, t, k, id); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `DELETE FROM record WHERE tenant = ? AND kind = ? AND record = ?`, t, k, id)
		return err
	})
}
