package rpc_test

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/access"
	"lotwright/server/rpc"
)

func TestMissingOptions(t *testing.T) {
	for name, change := range map[string]func(*rpc.Options){
		"design":   func(o *rpc.Options) { o.Design = nil },
		"assemble": func(o *rpc.Options) { o.Assemble = nil },
		"open":     func(o *rpc.Options) { o.Open = nil },
		"street":   func(o *rpc.Options) { o.AtStreet = nil },
	} {
		o := options(newBackend())
		change(&o)
		_, err := rpc.New(o)
		assert.Error(t, err, name)
	}
}

// TestOnlyLoopbackUnlessSecured: half of what is needed does not do.
func TestOnlyLoopbackUnlessSecured(t *testing.T) {
	var lc net.ListenConfig
	for name, change := range map[string]func(*rpc.Options){
		"neither": func(*rpc.Options) {},
		"TLS":     func(o *rpc.Options) { o.TLS = &tls.Config{} },
		"callers": func(o *rpc.Options) { o.Callers = &access.Checker{} },
	} {
		l, err := lc.Listen(t.Context(), "tcp4", "0.0.0.0:0")
		require.NoError(t, err)
		o := options(newBackend())
		change(&o)
		s, err := rpc.New(o)
		require.NoError(t, err)
		assert.ErrorContains(t, s.Serve(t.Context(), l, nil), "0.0.0.0", name)
		_, err = l.Accept()
		assert.ErrorIs(t, err, net.ErrClosed, "the listener is closed")
	}
}

func TestBrokenListenerEndsServe(t *testing.T) {
	var lc net.ListenConfig
	for range 2 {
		l, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
		require.NoError(t, err)
		require.NoError(t, l.Close())
		s, err := rpc.New(options(newBackend()))
		require.NoError(t, err)
		assert.Error(t, s.Serve(t.Context(), l, nil))
		assert.Error(t, s.Serve(t.Context(), nil, l))
	}
}

func TestHealthOverGRPC(t *testing.T) {
	s := serve(t, nil)
	health := grpc_health_v1.NewHealthClient(s.conn)
	for _, service := range []string{"", "lotwright.v1.Designer"} {
		r, err := health.Check(t.Context(), &grpc_health_v1.HealthCheckRequest{Service: service})
		require.NoError(t, err)
		assert.Equal(t, grpc_health_v1.HealthCheckResponse_SERVING, r.Status)
	}
}

func TestReflection(t *testing.T) {
	for _, on := range []bool{true, false} {
		s := serve(t, func(o *rpc.Options) { o.Reflection = on })
		stream, err := grpc_reflection_v1.NewServerReflectionClient(s.conn).ServerReflectionInfo(t.Context())
		require.NoError(t, err)
		_ = stream.Send(&grpc_reflection_v1.ServerReflectionRequest{MessageRequest: &grpc_reflection_v1.ServerReflectionRequest_ListServices{}})
		r, err := stream.Recv()
		if !on {
			assert.Equal(t, codes.Unimplemented, status.Code(err))
			continue
		}
		require.NoError(t, err)
		assert.Contains(t, r.String(), "lotwright.v1.Designer")
		require.NoError(t, stream.CloseSend())
		_, err = stream.Recv()
		assert.ErrorIs(t, err, io.EOF)
	}
}

// Stopping lets calls under way finish by every door.
func TestStopWaits(t *testing.T) {
	s := serve(t, nil)
	ended := make(chan string, 3)
	go func() {
		resp, err := s.client.DesignLot(context.Background(), &pb.DesignLotRequest{Lot: lotMessage("wait 1")})
		assert.NoError(t, err)
		ended <- resp.GetDesign().GetLot()
	}()
	go func() {
		assert.Equal(t, http.StatusOK, s.post(t, typed, plain, lotJSON("wait 2")).status)
		ended <- "typed"
	}()
	go func() {
		r := s.post(t, file, geoJSON, collectionOf("wait3"))
		assert.NoError(t, r.err)
		ended <- "file"
	}()
	for range 3 {
		<-s.entered
	}
	s.stop()
	select {
	case <-s.stopped:
		t.Error("stopped before the calls had ended")
	case <-time.After(50 * time.Millisecond):
	}
	close(s.release)
	assert.ElementsMatch(t, []string{"wait 1", "typed", "file"}, []string{<-ended, <-ended, <-ended})
	<-s.stopped
	_, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage("A")})
	assert.Equal(t, codes.Unavailable, status.Code(err))
}

// After the time given, calls are cut off, and no client takes a part of the
// answer for the whole.
func TestStopCutsOff(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{Stop: 50 * time.Millisecond}))
	grpcEnded, fileEnded, typedEnded := make(chan error, 1), make(chan reply, 1), make(chan bool, 1)
	go func() {
		_, err := s.client.DesignLot(context.Background(), &pb.DesignLotRequest{Lot: lotMessage("wait 1")})
		grpcEnded <- err
	}()
	go func() { fileEnded <- s.post(t, file, geoJSON, collectionOf("A", "wait2")) }()
	go func() {
		resp, err := http.Post(s.url+typed, plain, strings.NewReader(lotJSON("wait 3")))
		if err == nil {
			_ = resp.Body.Close()
		}
		typedEnded <- err != nil || resp.StatusCode != http.StatusOK
	}()
	for range 3 {
		<-s.entered
	}
	s.stop()
	assert.Error(t, <-grpcEnded)
	r := <-fileEnded
	assert.Error(t, r.err, "the answer is seen to be broken off")
	assert.Contains(t, r.body, `"lot":"A"`)
	assert.False(t, json.Valid([]byte(r.body)))
	assert.True(t, <-typedEnded)
	<-s.stopped
	<-s.closed
}

func TestClientThatGoesAway(t *testing.T) {
	s := serve(t, nil)
	ctx, cancel := context.WithCancel(t.Context())
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, s.url+file, strings.NewReader(collectionOf("wait")))
	require.NoError(t, err)
	req.Header.Set("Content-Type", geoJSON)
	ended := make(chan error)
	go func() {
		_, err := http.DefaultClient.Do(req)
		ended <- err
	}()
	<-s.entered
	cancel()
	assert.ErrorIs(t, <-ended, context.Canceled)
	<-s.closed // the work stopped
}
