//go:build postgis

package postgis_test

import (
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lotwright/server/store"
	"lotwright/server/store/postgis"
	"lotwright/server/store/postgistest"
	"lotwright/server/store/storetest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func open(t *testing.T, address string, o postgis.Options) *postgis.Store {
	t.Helper()
	s, err := postgis.Open(t.Context(), address, o)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

func TestStore(t *testing.T) {
	server := postgistest.Start(t)
	storetest.Run(t, func(t *testing.T) store.Engine[pgx.Tx] { return open(t, server.Database(t), postgis.Options{}) })
}
