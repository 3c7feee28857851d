package cli

import (
	"context"
	"errors"
	"runtime"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// unevenWork takes longer for some indexes, so that results come out of order.
func unevenWork(i int) int {
	for range (i % 7) * 50 {
		runtime.Gosched()
	}
	return i * i
}

func TestOrderedEmitsInOrder(t *testing.T) {
	for _, workers := range []int{1, 2, 8} {
		var got []int
		done, err := ordered(t.Context(), 500, workers, unevenWork, func(i, square int) error {
			assert.Equal(t, i*i, square)
			got = append(got, i)
			return nil
		})
		require.NoError(t, err)
		assert.Equal(t, 500, done)
		for i, g := range got {
			require.Equal(t, i, g)
		}
	}
}

func TestOrderedHoldsBackABoundedNumber(t *testing.T) {
	const workers = 3
	var begun atomic.Int64
	_, err := ordered(t.Context(), 1000, workers,
		func(i int) int { begun.Add(1); return i },
		func(i, _ int) error {
			// In the queue, in the workers' hands, and one on its way there.
			assert.LessOrEqual(t, int(begun.Load())-i, reorderWindow*workers+workers+2)
			return nil
		})
	require.NoError(t, err)
}

func TestOrderedFinishesWhatIsInWorkWhenCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var begun, emitted atomic.Int64
	done, err := ordered(ctx, 1000, 4,
		func(i int) int { begun.Add(1); return unevenWork(i) },
		func(i, _ int) error {
			require.Equal(t, emitted.Load(), int64(i), "a gap")
			if emitted.Add(1) == 20 {
				cancel()
			}
			return nil
		})
	require.NoError(t, err)
	assert.Equal(t, begun.Load(), int64(done), "all that was begun is emitted")
	assert.Less(t, done, 1000)
	assert.GreaterOrEqual(t, done, 20)
}

func TestOrderedStops(t *testing.T) {
	fault := errors.New("disk full")
	for _, c := range []struct {
		stop, want error
		done       int
	}{{errStop, nil, 11}, {fault, fault, 10}} {
		calls := 0
		done, err := ordered(t.Context(), 100, 4, unevenWork, func(i, _ int) error {
			calls++
			if i == 10 {
				return c.stop
			}
			return nil
		})
		assert.Equal(t, c.want, err)
		assert.Equal(t, c.done, done)
		assert.Equal(t, 11, calls)
	}
}

func TestOrderedOfNothing(t *testing.T) {
	done, err := ordered(t.Context(), 0, 4, unevenWork, func(int, int) error { return errors.New("called") })
	require.NoError(t, err)
	assert.Zero(t, done)
}
