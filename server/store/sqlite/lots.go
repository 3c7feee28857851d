package sqlite

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"

	"lotwright/server/store"
)

// Import says how far an import has come.
func (s *Store) Import(ctx context.Context, t store.Tenant, batch, id string) (store.Import, error) {
	if _, err := s.Batch(ctx, t, batch); err != nil {
		return store.Import{}, err
	}
	return readImport(ctx, s.read, t, batch, id)
}

// readImport finds an import that has not begun at 0.
func readImport(ctx context.Context, q querier, t store.Tenant, batch, id string) (store.Import, error) {
	i := store.Import{ID: id}
	err := q.QueryRowContext(ctx, `SELECT messages, added, known, refused FROM import WHERE tenant = ? AND batch = ? AND import = ?`, t, batch, id).
		Scan(&i.Messages, &i.Added, &i.Known, &i.Refused)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return i, err
}

// AddLots acknowledges a piece of an import.
func (s *Store) AddLots(ctx context.Context, t store.Tenant, batch string, p store.Piece) (i store.Import, refusals []store.Refusal, err error) {
	err = s.takeIn(ctx, func(ctx context.Context, tx *sql.Tx) error {
		b, err := readBatch(ctx, tx, t, batch)
		if err != nil {
			return err
		}
		if i, err = readImport(ctx, tx, t, batch, p.Import); err != nil {
			return err
		}
		if p.From > i.Messages {
			return fmt.Errorf("message %d of import %q, of which %d are acknowledged: %w", p.From, p.Import, i.Messages, store.ErrGap)
		}
		a := &adding{ctx: ctx, tx: tx, tenant: t, batch: batch, lots: b.Lots, progress: &i}
		if refusals, err = a.all(p); err != nil {
			return err
		}
		if err := a.record(); err != nil || a.lots == b.Lots {
			return err
		}
		return s.bounded(ctx, tx, t, store.AssetLots)
	})
	return i, refusals, err
}

// adding is a piece on its way into a batch.
type adding struct {
	ctx      context.Context
	tx       *sql.Tx
	tenant   store.Tenant
	batch    string
	lots     int // of the batch, so far
	progress *store.Import
}

func (a *adding) all(p store.Piece) (refusals []store.Refusal, err error) {
	for k := a.progress.Messages - p.From; k < len(p.Messages); k++ {
		m := p.Messages[k]
		if m.Refused == "" {
			if m.Refused, err = a.one(m.Lot); err != nil {
				return nil, err
			}
		}
		if m.Refused != "" {
			a.progress.Refused++
			refusals = append(refusals, store.Refusal{Message: p.From + k, Lot: m.Lot.ID, Reason: m.Refused})
		}
		a.progress.Messages++
	}
	return refusals, nil
}

// one adds a lot, or says why it is refused.
func (a *adding) one(l store.Lot) (refused string, err error) {
	var content []byte
	err = a.tx.QueryRowContext(a.ctx, `SELECT content FROM lot WHERE tenant = ? AND batch = ? AND lot = ?`, a.tenant, a.batch, l.ID).Scan(&content)
	switch {
	case err == nil && bytes.Equal(content, l.Content):
		a.progress.Known++
		return "", nil
	case err == nil:
		return "the batch has a lot of this id with other content", nil
	case !errors.Is(err, sql.ErrNoRows):
		return "", err
	}
	a.lots++
	a.progress.Added++
	_, err = a.tx.ExecContext(a.ctx, `INSERT INTO lot (tenant, batch, number, lot, content) VALUES (?, ?, ?, ?, ?)`, a.tenant, a.batch, a.lots, l.ID, l.Content)
	return "", err
}

func (a *adding) record() error {
	if _, err := a.tx.ExecContext(a.ctx, `UPDATE batch SET lots = ? WHERE tenant = ? AND batch = ?`, a.lots, a.tenant, a.batch); err != nil {
		return err
	}
	i := a.progress
	_, err := a.tx.ExecContext(a.ctx, `INSERT OR REPLACE INTO import (tenant, batch, import, messages, added, known, refused) VALUES (?, ?, ?, ?, ?, ?, ?)`,
		a.tenant, a.batch, i.ID, i.Messages, i.Added, i.Known, i.Refused)
	return err
}

// Lot is a lot of the chunk.
func (s *Store) Lot(ctx context.Context, c store.Chunk, number int) (store.Lot, error) {
	l := store.Lot{Number: number}
	err := s.read.QueryRowContext(ctx, `SELECT lot, content FROM lot
		WHERE tenant = ?1 AND batch = (SELECT batch FROM operation WHERE tenant = ?1 AND operation = ?2) AND number = ?3`,
		c.Tenant, c.Operation, number).Scan(&l.ID, &l.Content)
	return l, orNotFound(err, "lot", fmt.Sprint(number))
}
