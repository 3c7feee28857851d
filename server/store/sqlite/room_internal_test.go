package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/store"
)

// TestRoomIsKept: with a byte less free than is to be kept nothing new is taken
// in, and everything else goes on.
func TestRoomIsKept(t *testing.T) {
	const keep = 100 << 20
	s, err := Open(t.Context(), t.TempDir())
	require.NoError(t, err)
	defer s.Close()
	var handed []store.Chunk
	s.OnStart(4, func(_ context.Context, _ *sql.Tx, c []store.Chunk) error {
		handed = append(handed, c...)
		return nil
	})
	s.KeepFree(keep)
	free := int64(keep)
	s.free = func(string) (int64, error) { return free, nil }
	ctx := t.Context()
	lots := store.Piece{Import: "i", Messages: []store.ImportMessage{{Lot: store.Lot{ID: "1", Content: []byte("lot")}}}}
	takeIn := func(id string) []error {
		_, created := s.CreateBatch(ctx, store.Local, id, "", store.Request{})
		_, _, added := s.AddLots(ctx, store.Local, "a", lots)
		_, started := s.StartOperation(ctx, store.Local, "a", "o"+id, nil, store.Request{})
		_, recorded := s.CreateRecord(ctx, store.Local, store.Profile, id, nil, store.Request{})
		return []error{s.Check(ctx), created, added, started, recorded}
	}
	assert.NoError(t, errors.Join(takeIn("a")...))
	free--
	for i, err := range takeIn("b") {
		require.ErrorIs(t, err, store.ErrFull, "%d", i)
		assert.Contains(t, err.Error(), "99 MiB of its disk are free, 100 MiB are kept")
	}
	_, err = s.Batch(ctx, store.Local, "a")
	assert.NoError(t, err)
	require.Len(t, handed, 1)
	assert.NoError(t, s.SaveDesign(ctx, handed[0], store.Design{Number: 1, Lot: "1", Status: store.Designed, Content: []byte("design")}), "what runs goes on")
	assert.NoError(t, s.DeleteRecord(ctx, store.Local, store.Profile, "a"), "deleting makes room")
	free++
	assert.NoError(t, s.Check(ctx), "it is ready again by itself")

	s.free = func(string) (int64, error) { return 0, errors.ErrUnsupported }
	assert.NoError(t, s.Check(ctx))
}

func TestFreeBytes(t *testing.T) {
	free, err := freeBytes(t.TempDir())
	if errors.Is(err, errors.ErrUnsupported) {
		t.Skip(err)
	}
	require.NoError(t, err)
	assert.Positive(t, free)
	_, err = freeBytes("/nowhere/at/all")
	assert.Error(t, err)
}
