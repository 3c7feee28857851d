package rpc_test

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "lotwright/proto/lotwright/v1"
)

// TestRecheckLot: the edited design goes to who reads it, and what it comes to
// comes back; what is missing is told by its field.
func TestRecheckLot(t *testing.T) {
	s := serve(t, nil)
	answer, err := s.client.RecheckLot(t.Context(), &pb.RecheckLotRequest{Lot: lotMessage("A"), Geojson: "123"})
	require.NoError(t, err)
	assert.Equal(t, "3 heads stand", answer.Design.Reason)
	assert.Equal(t, "A", answer.Design.Lot)
	assert.Contains(t, answer.Design.Geojson, `"layer":"head"`)

	_, err = s.client.RecheckLot(t.Context(), &pb.RecheckLotRequest{Lot: lotMessage("A")})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	assert.Contains(t, err.Error(), "geojson")
	refused, err := s.client.RecheckLot(t.Context(), &pb.RecheckLotRequest{Lot: lotMessage("refuse-it"), Geojson: "1"})
	require.NoError(t, err)
	assert.Equal(t, pb.Design_INVALID, refused.Design.Status)
	broken, err := s.client.RecheckLot(t.Context(), &pb.RecheckLotRequest{Lot: lotMessage("panic"), Geojson: "1"})
	require.NoError(t, err)
	assert.Equal(t, pb.Design_FAILED, broken.Design.Status)
	assert.NotContains(t, broken.Design.Reason, "secret")
}

// TestRecheckFile: as POST /v1/lots:design, with other work.
func TestRecheckFile(t *testing.T) {
	s := serve(t, nil)
	r := s.post(t, "/v1/lots:recheck?head_pressure=55psi", geoJSON, collectionOf("A", "B"))
	require.Equal(t, http.StatusOK, r.status, r.body)
	assert.Equal(t, geoJSON, r.header.Get("Content-Type"))
	assert.Equal(t, 2, strings.Count(r.body, `"reason":"0 heads stand"`))
	assert.Equal(t, http.StatusBadRequest, s.post(t, "/v1/lots:recheck?pressure=55psi", geoJSON, collectionOf("A")).status)
	assert.Equal(t, http.StatusUnsupportedMediaType, s.post(t, "/v1/lots:recheck", "text/html", collectionOf("A")).status)
	assert.Equal(t, http.StatusMethodNotAllowed, s.do(t, http.MethodGet, "/v1/lots:recheck", nil).status)
}
