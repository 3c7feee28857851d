package rpc

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/store"
)

// TestRates: told to wait so long, a tenant that does is served; those turned
// away in between do not put it off.
func TestRates(t *testing.T) {
	now := time.Date(2026, 11, 29, 12, 0, 0, 0, time.UTC)
	r := newRates(Limits{Rate: 2, Burst: 3})
	r.now = func() time.Time { return now }
	for range 3 {
		require.NoError(t, r.take("elm"))
	}
	for range 10 {
		var f *fault
		require.True(t, errors.As(r.take("elm"), &f))
		assert.Equal(t, 500*time.Millisecond, f.retry)
	}
	now = now.Add(500 * time.Millisecond)
	require.NoError(t, r.take("elm"))
	require.Error(t, r.take("elm"))
	now = now.Add(time.Hour)
	for range 3 {
		require.NoError(t, r.take("elm"))
	}
	require.Error(t, r.take("elm"))
}

// TestRatesForget: tenants that have not called for long cost nothing, and one
// that is held up is not forgotten.
func TestRatesForget(t *testing.T) {
	now := time.Date(2026, 11, 29, 12, 0, 0, 0, time.UTC)
	r := newRates(Limits{Rate: 1, Burst: 1})
	r.now = func() time.Time { return now }
	for i := range mostIdleRates {
		require.NoError(t, r.take(store.Tenant(fmt.Sprint(i))))
	}
	now = now.Add(time.Second)
	require.NoError(t, r.take("7"))
	require.NoError(t, r.take("new"))
	assert.Len(t, r.byTenant, 2)
	assert.Error(t, r.take("7"))
}
