package rpc_test

import (
	"net/http"
	"regexp"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "lotwright/proto/lotwright/v1"
)

// figure is the value of a metric, with its labels.
func (s *service) figure(t *testing.T, name string) float64 {
	t.Helper()
	got := s.do(t, http.MethodGet, "/metrics", nil)
	require.Equal(t, http.StatusOK, got.status, got.body)
	m := regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(name) + ` (\S+)$`).FindStringSubmatch(got.body)
	if m == nil {
		return 0
	}
	v, err := strconv.ParseFloat(m[1], 64)
	require.NoError(t, err)
	return v
}

func TestMetrics(t *testing.T) {
	o := keep(t, nil)
	for _, id := range []string{"a", "b", "panic c"} {
		_, err := o.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage(id)})
		require.NoError(t, err)
	}
	_, err := o.client.DesignLot(t.Context(), &pb.DesignLotRequest{})
	require.Error(t, err)
	assert.Equal(t, 3.0, o.figure(t, `lotwright_calls_total{code="OK",method="/lotwright.v1.Designer/DesignLot"}`))
	assert.Equal(t, 1.0, o.figure(t, `lotwright_calls_total{code="INVALID_ARGUMENT",method="/lotwright.v1.Designer/DesignLot"}`))
	assert.Equal(t, 2.0, o.figure(t, `lotwright_lots_total{proof="discrete",status="designed"}`))
	assert.Equal(t, 1.0, o.figure(t, `lotwright_lots_total{proof="none",status="failed"}`))
	assert.Equal(t, 3.0, o.figure(t, `lotwright_lot_seconds_count`))

	assert.Zero(t, o.figure(t, `lotwright_batch_lots_open`))
	o.fill("elm", "d", "wait", "e")
	o.start("elm")
	<-o.entered
	assert.Equal(t, 2.0, o.figure(t, `lotwright_batch_lots_open`))
	assert.Greater(t, o.figure(t, `lotwright_batch_oldest_open_seconds`), 0.0)
	close(o.release)
	o.watch(&pb.WatchBatchRequest{Name: "batches/elm"})
	assert.Zero(t, o.figure(t, `lotwright_batch_oldest_open_seconds`))
	assert.Equal(t, 5.0, o.figure(t, `lotwright_lots_total{proof="discrete",status="designed"}`), "lots of batches count, too")
}
