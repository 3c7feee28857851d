package postgis

import (
	"context"

	"github.com/jackc/pgx/v5"

	"lotwright/server/store"
)

// Bound sets the quota of every tenant. It is called before anything else.
func (s *Store) Bound(q store.Quota) { s.quota = q }

// quotaLock begins the keys of the locks of [Store.bounded], a tenant each.
const quotaLock = 0x4c6f7451

// had counts what a tenant has.
var had = map[store.Asset]string{
	store.AssetBatches: `SELECT count(*) FROM batch WHERE tenant = $1`,
	store.AssetLots:    `SELECT coalesce(sum(lots), 0) FROM batch WHERE tenant = $1`,
	store.AssetRunning: `SELECT count(*) FROM operation WHERE tenant = $1 AND state = 'running'`,
	store.AssetRecords: `SELECT count(*) FROM record WHERE tenant = $1`,
}

// bounded follows a write that added to what a tenant has, in its transaction. Two
// writes of one tenant that do so wait for each other, since neither would see
// what the other has added.
func (s *Store) bounded(ctx context.Context, tx pgx.Tx, t store.Tenant, a store.Asset) error {
	most, n := s.quota.Most(a), 0
	if most == 0 {
		return nil
	}
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1, hashtext($2))`, quotaLock, string(t)); err != nil {
		return err
	}
	if err := tx.QueryRow(ctx, had[a], t).Scan(&n); err != nil {
		return err
	}
	if n > most {
		return &store.QuotaError{Asset: a, Most: most}
	}
	return nil
}
