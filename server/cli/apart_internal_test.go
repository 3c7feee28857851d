package cli

import (
	"context"
	"log/slog"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/queue"
	"lotwright/server/rpc"
	"lotwright/server/store"
)

// apartLot is a lot of 20 m square, and settings for it.
func apartLot(t *testing.T) (lot store.Lot, settings []byte) {
	t.Helper()
	const d = 0.00018
	ring := &pb.Positions{Degrees: []float64{0, 0, d, 0, d, d, 0, d, 0, 0}}
	content, err := proto.Marshal(&pb.Lot{Lot: "L", Features: []*pb.Feature{{
		Layer: pb.Feature_PARCEL, Geometry: &pb.Geometry{Shape: &pb.Geometry_Polygon{Polygon: &pb.Polygon{Rings: []*pb.Positions{ring}}}},
	}}})
	require.NoError(t, err)
	settings, err = proto.Marshal(&pb.Settings{Supply: &pb.Supply{HeadPressureKpa: proto.Float64(380)}})
	require.NoError(t, err)
	return store.Lot{Number: 1, ID: "L", Content: content}, settings
}

// TestApartIsTheSame: a process of its own designs the same bytes.
func TestApartIsTheSame(t *testing.T) {
	t.Setenv("LOTWRIGHT_TEST_AS_PROGRAM", "1")
	lot, settings := apartLot(t)
	server, err := rpc.New(serviceOptions(1, slog.New(slog.DiscardHandler)))
	require.NoError(t, err)
	want, err := server.DesignStored(t.Context(), lot, settings)
	require.NoError(t, err)
	require.Equal(t, store.Designed, want.Status)
	got, err := designApart(t.Context(), lot, settings)
	require.NoError(t, err)
	assert.Equal(t, want, got)
}

func TestApartDies(t *testing.T) {
	t.Setenv("LOTWRIGHT_TEST_AS_PROGRAM", "1")
	lot, settings := apartLot(t)
	lot.Content = []byte("no message at all")
	_, err := designApart(t.Context(), lot, settings)
	assert.ErrorIs(t, err, queue.ErrDied)

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = designApart(ctx, lot, settings)
	assert.ErrorIs(t, err, context.Canceled, "what is called off did not die of its lot")
}
