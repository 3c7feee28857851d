package sqlite

import (
	"database/sql"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/store"
)

// TestUpgrade: a store of every earlier schema, with a run that is not done, is
// brought up to date and goes on.
func TestUpgrade(t *testing.T) {
	steps, err := fs.Glob(migrations, "migrations/*.sql")
	require.NoError(t, err)
	require.NotEmpty(t, steps)
	for from := 1; from < len(steps); from++ {
		t.Run(steps[from-1], func(t *testing.T) {
			folder := t.TempDir()
			file := filepath.Join(folder, fileName)
			require.NoError(t, os.WriteFile(file, nil, 0o600))
			db, err := sql.Open("sqlite", dsn(file, "immediate"))
			require.NoError(t, err)
			for i, name := range steps[:from] {
				require.NoError(t, step(t.Context(), db, name, i+1))
			}
			_, err = db.Exec(`INSERT INTO batch (tenant, batch, title, lots, revision, created) VALUES ('local', 'a', 'old', 1, 1, 1);
				INSERT INTO lot (tenant, batch, number, lot, content) VALUES ('local', 'a', 1, 'L', x'01');
				INSERT INTO operation (tenant, operation, place, batch, revision, state, settings, lots, created) VALUES ('local', 'o', 1, 'a', 1, 'running', x'', 1, 1)`)
			require.NoError(t, err)
			require.NoError(t, db.Close())

			s, err := Open(t.Context(), folder)
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
