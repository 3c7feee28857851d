package postgis

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/jackc/pgx/v5"

	"lotwright/server/store"
)

// Import says how far an import has come.
func (s *Store) Import(ctx context.Context, t store.Tenant, batch, id string) (store.Import, error) {
	if _, err := s.Batch(ctx, t, batch); err != nil {
		return store.Import{}, err
	}
	return readImport(ctx, s.pool, t, batch, id)
}

// readImport finds an import that has not begun at 0.
func readImport(ctx context.Context, q querier, t store.Tenant, batch, id string) (store.Import, error) {
	i := store.Import{ID: id}
	err := q.QueryRow(ctx, `SELECT messages, added, known, refused FROM import WHERE tenant = $1 AND batch = $2 AND import = $3`, t, batch, id).
		Scan(&i.Messages, &i.Added, &i.Known, &i.Refused)
	if errors.Is(err, pgx.ErrNoRows) {
		err = nil
	}
	return i, err
}

// AddLots acknowledges a piece of an import.
func (s *Store) AddLots(ctx context.Context, t store.Tenant, batch string, p store.Piece) (i store.Import, refusals []store.Refusal, err error) {
	err = s.change(ctx, func(ctx context.Context, tx pgx.Tx) error {
		b, err := lockBatch(ctx, tx, t, batch)
		if err != nil {
			return err
		}
		if i, err = readImport(ctx, tx, t, batch, p.Import); err != nil {
			return err
		}
		if p.From > i.Messages {
			return fmt.Errorf("message %d of import %q, of which %d are acknowledged: %w", p.From, p.Import, i.Messages, store.ErrGap)
		}
		a := &adding{Store: s, tenant: t, batch: batch, lots: b.Lots, progress: &i, inserts: &pgx.Batch{}}
		if a.there, err = contents(ctx, tx, t, batch, p); err != nil {
			return err
		}
		refusals = a.all(p)
		if err := a.record(ctx, tx); err != nil || a.lots == b.Lots {
			return err
		}
		return s.bounded(ctx, tx, t, store.AssetLots)
	})
	return i, refusals, err
}

// contents are those of the lots of a piece that the batch has already, by id.
func contents(ctx context.Context, tx pgx.Tx, t store.Tenant, batch string, p store.Piece) (map[string][]byte, error) {
	var ids []string
	for _, m := range p.Messages {
		if m.Refused == "" && isText(m.Lot.ID) {
			ids = append(ids, m.Lot.ID)
		}
	}
	scan := func(row scanner) (l store.Lot, err error) { return l, row.Scan(&l.ID, &l.Content) }
	found, err := rows(ctx, tx, scan, `SELECT lot, content FROM lot WHERE tenant = $1 AND batch = $2 AND lot = ANY ($3)`, t, batch, ids)
	there := map[string][]byte{}
	for _, l := range found {
		there[l.ID] = l.Content
	}
	return there, err
}

// isText reports whether the database takes a string as text.
func isText(s string) bool { return utf8.ValidString(s) && !strings.ContainsRune(s, 0) }

// text is a string as the database takes it.
func text(s string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "\uFFFD")
}

// adding is a piece on its way into a batch.
type adding struct {
	*Store
	tenant   store.Tenant
	batch    string
	lots     int // of the batch, so far
	there    map[string][]byte
	progress *store.Import
	inserts  *pgx.Batch
}

func (a *adding) all(p store.Piece) (refusals []store.Refusal) {
	for k := a.progress.Messages - p.From; k < len(p.Messages); k++ {
		m := p.Messages[k]
		if m.Refused == "" {
			m.Refused = a.one(m.Lot)
		}
		if m.Refused != "" {
			a.progress.Refused++
			refusals = append(refusals, store.Refusal{Message: p.From + k, Lot: m.Lot.ID, Reason: m.Refused})
		}
		a.progress.Messages++
	}
	return refusals
}

// one adds a lot, or says why it is refused.
func (a *adding) one(l store.Lot) (refused string) {
	content, there := a.there[l.ID]
	switch {
	case !isText(l.ID):
		return "the id is not text: it holds a null character or is not UTF-8"
	case there && bytes.Equal(content, l.Content):
		a.progress.Known++
		return ""
	case there:
		return "the batch has a lot of this id with other content"
	}
	a.lots++
	a.progress.Added++
	a.there[l.ID] = l.Content
	a.inserts.Queue(`INSERT INTO lot (tenant, batch, number, lot, content, parcel) VALUES ($1, $2, $3, $4, $5, mappable($6))`,
		a.tenant, a.batch, a.lots, l.ID, orEmpty(l.Content), a.parcel(l.Content))
	return ""
}

// orEmpty is for columns that are never null.
func orEmpty(content []byte) []byte {
	if content == nil {
		return []byte{}
	}
	return content
}

func (a *adding) record(ctx context.Context, tx pgx.Tx) error {
	a.inserts.Queue(`UPDATE batch SET lots = $1 WHERE tenant = $2 AND batch = $3`, a.lots, a.tenant, a.batch)
	i := a.progress
	a.inserts.Queue(`INSERT INTO import (tenant, batch, import, messages, added, known, refused) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (tenant, batch, import) DO UPDATE SET messages = $4, added = $5, known = $6, refused = $7`,
		a.tenant, a.batch, i.ID, i.Messages, i.Added, i.Known, i.Refused)
	return tx.SendBatch(ctx, a.inserts).Close()
}

// Lot is a lot of the chunk.
func (s *Store) Lot(ctx context.Context, c store.Chunk, number int) (store.Lot, error) {
	l := store.Lot{Number: number}
	err := s.pool.QueryRow(ctx, `SELECT lot, content FROM lot
		WHERE tenant = $1 AND batch = (SELECT batch FROM operation WHERE tenant = $1 AND operation = $2) AND number = $3`,
		c.Tenant, c.Operation, number).Scan(&l.ID, &l.Content)
	return l, orNotFound(err, "lot", fmt.Sprint(number))
}
