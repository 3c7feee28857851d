//go:build postgis

package postgis

import (
	"context"
	"errors"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/store"
	"lotwright/server/store/postgistest"
)

// TestCommitThatReturnsAnError: what is reported is what the database says
// afterwards, not what the commit said.
func TestCommitThatReturnsAnError(t *testing.T) {
	planted := errors.New("planted")
	s, err := Open(t.Context(), postgistest.Start(t).Database(t), Options{})
	require.NoError(t, err)
	defer s.Close()
	proper := s.commit

	s.commit = func(ctx context.Context, tx pgx.Tx) error { return errors.Join(planted, tx.Commit(ctx)) }
	_, err = s.CreateBatch(t.Context(), store.Local, "made", "", store.Request{})
	assert.NoError(t, err)

	s.commit = func(ctx context.Context, tx pgx.Tx) error { return errors.Join(planted, tx.Rollback(ctx)) }
	_, err = s.CreateBatch(t.Context(), store.Local, "lost", "", store.Request{})
	assert.ErrorIs(t, err, planted)

	// A connection that breaks before the commit gets there.
	s.commit = func(ctx context.Context, tx pgx.Tx) error {
		return errors.Join(planted, tx.Conn().PgConn().Conn().Close())
	}
	_, err = s.CreateBatch(t.Context(), store.Local, "cut", "", store.Request{})
	assert.ErrorIs(t, err, planted)

	// One given up for another's sake is made again.
	tries := 0
	s.commit = func(ctx context.Context, tx pgx.Tx) error {
		if tries++; tries < 3 {
			return errors.Join(&pgconn.PgError{SeverityUnlocalized: "ERROR", Code: "40001"}, tx.Rollback(ctx))
		}
		return proper(ctx, tx)
	}
	_, err = s.CreateBatch(t.Context(), store.Local, "again", "", store.Request{})
	assert.NoError(t, err)
	assert.Equal(t, 3, tries)

	s.commit = proper
	all, err := s.Batches(t.Context(), store.Local, "", 9)
	require.NoError(t, err)
	require.Len(t, all, 2)
	assert.Equal(t, "again", all[0].ID)
	assert.Equal(t, "made", all[1].ID)

	// Where it cannot look, it says so.
	away, err := pgxpool.New(t.Context(), "postgres://127.0.0.1:1/nowhere")
	require.NoError(t, err)
	defer away.Close()
	there := s.pool
	defer func() { s.pool = there }() // to be closed
	s.commit = func(ctx context.Context, tx pgx.Tx) error {
		s.pool = away
		return errors.Join(planted, tx.Commit(ctx))
	}
	_, err = s.CreateBatch(t.Context(), store.Local, "unknown", "", store.Request{})
	assert.ErrorIs(t, err, store.ErrUnknown)
}

// TestErrorsOfTheDatabase: what callers are told apart.
func TestErrorsOfTheDatabase(t *testing.T) {
	for code, want := range map[string]error{
		"53100": store.ErrFull, "25006": store.ErrFull, // no room; read-only
		"57P01": store.ErrAway, "57P03": store.ErrAway, "08006": store.ErrAway, "53300": store.ErrAway, "25P03": store.ErrAway,
	} {
		assert.ErrorIs(t, sorted(&pgconn.PgError{Code: code}), want, code)
	}
	for _, err := range []error{nil, store.ErrNotFound, store.ErrState, context.Canceled, errors.New("x")} {
		assert.Equal(t, err, sorted(err))
	}
}
