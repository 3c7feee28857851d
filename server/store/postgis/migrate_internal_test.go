//go:build postgis

package postgis

import (
	"io/fs"
	"testing"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/store"
	"lotwright/server/store/postgistest"
)

// TestUpgrade: a store of every earlier schema, with a run that is not done, is
// brought up to date and goes on.
func TestUpgrade(t *testing.T) {
	steps, err := fs.Glob(migrations, "migrations/*.sql")
	require.NoError(t, err)
	require.NotEmpty(t, steps)
	server := postgistest.Start(t)
	for from := 1; from < len(steps); from++ {
		t.Run(steps[from-1], func(t *testing.T) {
			address := server.Database(t)
			old(t, address, steps[:from])
			s, err := Open(t.Context(), address, Options{})
			require.NoError(t, err)
			defer s.Close()
			c := store.Chunk{Tenant: store.Local, Operation: "o", First: 1, Last: 1}
			open, err := s.Open(t.Context(), c)
			require.NoError(t, err)
			assert.Equal(t, []int{1}, open)
			require.NoError(t, s.SaveDesign(t.Context(), c, store.Design{Number: 1, Lot: "L", Status: store.Designed, Content: []byte("x")}))
			o, err := s.Operation(t.Context(), store.Local, "o")
			require.NoError(t, err)
			assert.Equal(t, store.Done, o.State)
		})
	}
}

// old makes a store of the schema that the given steps lead to.
func old(t *testing.T, address string, steps []string) {
	t.Helper()
	config, err := pgxpool.ParseConfig(address)
	require.NoError(t, err)
	require.NoError(t, prepare(t.Context(), config.ConnConfig.Copy()))
	config.ConnConfig.RuntimeParams["search_path"] = schema + ",public"
	pool, err := pgxpool.NewWithConfig(t.Context(), config)
	require.NoError(t, err)
	defer pool.Close()
	s := &Store{pool: pool}
	for i, name := range steps {
		require.NoError(t, s.step(t.Context(), name, i+1))
	}
	for _, statement := range []string{
		`INSERT INTO batch (tenant, batch, title, lots, revision, created) VALUES ('local', 'a', 'old', 1, 1, now())`,
		`INSERT INTO lot (tenant, batch, number, lot, content) VALUES ('local', 'a', 1, 'L', '\x01')`,
		`INSERT INTO operation (tenant, operation, place, turn, batch, revision, state, settings, lots, created) VALUES ('local', 'o', 1, 0, 'a', 1, 'running', '', 1, now())`,
	} {
		_, err := pool.Exec(t.Context(), statement)
		require.NoError(t, err)
	}
}
