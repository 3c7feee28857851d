package postgis

import (
	"context"
	"time"
)

// keptOnRoll is how long a worker that was not heard of is remembered.
const keptOnRoll = "1 day"

// Beat notes that a worker lives.
func (s *Store) Beat(ctx context.Context, worker string) error {
	_, err := s.pool.Exec(ctx, `INSERT INTO worker (worker, seen) VALUES ($1, now()) ON CONFLICT (worker) DO UPDATE SET seen = now()`, worker)
	if err != nil {
		return sorted(err)
	}
	_, err = s.pool.Exec(ctx, `DELETE FROM worker WHERE seen < now() - $1::interval`, keptOnRoll)
	return sorted(err)
}

// Leave notes that a worker works no more.
func (s *Store) Leave(ctx context.Context, worker string) error {
	_, err := s.pool.Exec(ctx, `DELETE FROM worker WHERE worker = $1`, worker)
	return sorted(err)
}

// Silent lists, of workers, those that were not heard of for so long, by the
// database's clock.
func (s *Store) Silent(ctx context.Context, workers []string, forSo time.Duration) ([]string, error) {
	scan := func(row scanner) (name string, err error) { return name, row.Scan(&name) }
	return rows(ctx, s.pool, scan, `SELECT DISTINCT name FROM unnest($1::text[]) AS name
		WHERE NOT EXISTS (SELECT 1 FROM worker WHERE worker = name AND seen > now() - $2 * interval '1 microsecond') ORDER BY name`,
		workers, forSo.Microseconds())
}
