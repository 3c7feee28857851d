package store

import "fmt"

// Quota is the most that one tenant has. A field of 0 means no bound.
type Quota struct {
	Batches int
	Lots    int // of all batches
	Running int // operations at a time
	Records int // of all kinds
}

// Asset is what a quota bounds, by the name of its field.
type Asset string

// The assets.
const (
	AssetBatches Asset = "Batches"
	AssetLots    Asset = "Lots"
	AssetRunning Asset = "Running"
	AssetRecords Asset = "Records"
)

// Most is the bound of an asset.
func (q Quota) Most(a Asset) int {
	return map[Asset]int{AssetBatches: q.Batches, AssetLots: q.Lots, AssetRunning: q.Running, AssetRecords: q.Records}[a]
}

// QuotaError says that a write was not made since its tenant would have had more
// than its quota.
type QuotaError struct {
	Asset Asset
	Most  int
}

// Error names the bound.
func (e *QuotaError) Error() string {
	what := map[Asset]string{AssetBatches: "batches", AssetLots: "lots in all batches", AssetRunning: "operations that run", AssetRecords: "records"}[e.Asset]
	return fmt.Sprintf("a tenant has at most %d %s", e.Most, what)
}
