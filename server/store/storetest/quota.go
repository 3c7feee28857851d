package storetest

import (
	"errors"
	"fmt"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/store"
)

// over checks that a write was turned away for a quota.
func (s suite[Tx]) over(err error, a store.Asset, most int) {
	s.Helper()
	var e *store.QuotaError
	require.ErrorAs(s, err, &e)
	assert.Equal(s, store.QuotaError{Asset: a, Most: most}, *e)
}

// quota: what makes n is taken, what makes n + 1 leaves everything as it was.
func (s suite[Tx]) quota() {
	ctx := s.Context()
	s.Bound(store.Quota{Batches: 3, Lots: 10, Running: 2, Records: 2})
	s.batch(ours, "a", 4)
	s.batch(ours, "b", 5)
	made, err := s.CreateBatch(ctx, ours, "c", "", request("third", "h"))
	require.NoError(s, err)
	_, err = s.CreateBatch(ctx, ours, "d", "", store.Request{})
	s.over(err, store.AssetBatches, 3)
	_, err = s.Batch(ctx, ours, "d")
	assert.ErrorIs(s, err, store.ErrNotFound)
	again, err := s.CreateBatch(ctx, ours, "c", "", request("third", "h"))
	require.NoError(s, err, "what was made is answered however full")
	assert.Equal(s, made, again)
	_, err = s.CreateBatch(ctx, ours, "a", "", store.Request{})
	assert.ErrorIs(s, err, store.ErrExists)
	_, err = s.CreateBatch(ctx, theirs, "d", "", store.Request{})
	assert.NoError(s, err, "each tenant has its own")

	_, _, err = s.AddLots(ctx, ours, "b", piece("second", 0, 6, 7))
	s.over(err, store.AssetLots, 10)
	progress, err := s.Import(ctx, ours, "b", "second")
	require.NoError(s, err)
	assert.Zero(s, progress.Messages, "nothing of the piece was acknowledged")
	progress, _, err = s.AddLots(ctx, ours, "b", piece("second", 0, 6, 6))
	require.NoError(s, err)
	assert.Equal(s, 1, progress.Added)
	_, _, err = s.AddLots(ctx, ours, "b", piece("third", 0, 1, 6))
	assert.NoError(s, err, "lots that are there already")
	require.NoError(s, s.DeleteBatch(ctx, ours, "a"))
	_, _, err = s.AddLots(ctx, ours, "c", piece("first", 0, 1, 4))
	assert.NoError(s, err, "deleting makes room")

	s.batch(theirs, "x", 1)
	s.batch(theirs, "y", 1)
	for _, id := range []string{"d", "x"} {
		if id == "d" {
			_, _, err := s.AddLots(ctx, theirs, id, piece("first", 0, 1, 1))
			require.NoError(s, err)
		}
		_, err = s.StartOperation(ctx, theirs, id, "o"+id, nil, request("r"+id, "h"))
		require.NoError(s, err)
	}
	_, err = s.StartComparison(ctx, theirs, "y", "oy", nil, store.Request{})
	s.over(err, store.AssetRunning, 2)
	_, err = s.StartOperation(ctx, theirs, "x", "again", nil, request("rx", "h"))
	assert.NoError(s, err, "what runs is answered")
	_, err = s.CancelOperation(ctx, theirs, "ox")
	require.NoError(s, err)
	_, err = s.StartOperation(ctx, theirs, "y", "oy", nil, store.Request{})
	assert.NoError(s, err)

	for i := range 3 {
		_, err = s.CreateRecord(ctx, ours, store.HeadTable, fmt.Sprint(i), nil, store.Request{})
		if i < 2 {
			require.NoError(s, err)
		}
	}
	s.over(err, store.AssetRecords, 2)
}

// quotaAtOnce: writes at the same time do not get past a quota together.
func (s suite[Tx]) quotaAtOnce() {
	const most, tries = 5, 20
	s.Bound(store.Quota{Batches: most})
	errs := make(chan error, tries)
	for i := range tries {
		go func() {
			_, err := s.CreateBatch(s.Context(), ours, fmt.Sprintf("b%d", i), "", store.Request{})
			errs <- err
		}()
	}
	made := 0
	for range tries {
		err := <-errs
		var e *store.QuotaError
		switch {
		case err == nil:
			made++
		default:
			assert.True(s, errors.As(err, &e), "%v", err)
		}
	}
	assert.Equal(s, most, made)
}
