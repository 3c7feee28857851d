package sqlite

import (
	"context"
	"database/sql"

	"lotwright/server/store"
)

// Bound sets the quota of every tenant. It is called before anything else.
func (s *Store) Bound(q store.Quota) { s.quota = q }

// had counts what a tenant has.
var had = map[store.Asset]string{
	store.AssetBatches: `SELECT count(*) FROM batch WHERE tenant = ?`,
	store.AssetLots:    `SELECT coalesce(sum(lots), 0) FROM batch WHERE tenant = ?`,
	store.AssetRunning: `SELECT count(*) FROM operation WHERE tenant = ? AND state = 'running'`,
	store.AssetRecords: `SELECT count(*) FROM record WHERE tenant = ?`,
}

// bounded follows a write that added to what a tenant has, in its transaction.
func (s *Store) bounded(ctx context.Context, tx *sql.Tx, t store.Tenant, a store.Asset) error {
	most, n := s.quota.Most(a), 0
	if most == 0 {
		return nil
	}
	if err := tx.QueryRowContext(ctx, had[a], t).Scan(&n); err != nil {
		return err
	}
	if n > most {
		return &store.QuotaError{Asset: a, Most: most}
	}
	return nil
}
