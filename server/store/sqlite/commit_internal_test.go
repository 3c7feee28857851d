package sqlite

import (
	"database/sql"
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/store"
)

// TestCommitThatReturnsAnError: what is reported is what a new look at the file
// shows, not what the commit said.
func TestCommitThatReturnsAnError(t *testing.T) {
	planted := errors.New("planted")
	s, err := Open(t.Context(), t.TempDir())
	require.NoError(t, err)
	defer s.Close()

	s.commit = func(tx *sql.Tx) error { return errors.Join(planted, tx.Commit()) }
	_, err = s.CreateBatch(t.Context(), store.Local, "made", "", store.Request{})
	assert.NoError(t, err)

	s.commit = func(tx *sql.Tx) error { return errors.Join(planted, tx.Rollback()) }
	_, err = s.CreateBatch(t.Context(), store.Local, "lost", "", store.Request{})
	assert.ErrorIs(t, err, planted)

	s.commit = (*sql.Tx).Commit
	_, err = s.Batch(t.Context(), store.Local, "made")
	assert.NoError(t, err)
	_, err = s.Batch(t.Context(), store.Local, "lost")
	assert.ErrorIs(t, err, store.ErrNotFound)

	// Where it cannot look, it says so.
	s.commit = func(tx *sql.Tx) error { return errors.Join(planted, tx.Commit(), s.read.Close()) }
	_, err = s.CreateBatch(t.Context(), store.Local, "unknown", "", store.Request{})
	assert.ErrorIs(t, err, store.ErrUnknown)
}
