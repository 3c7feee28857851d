package rpc_test

import (
	"bytes"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/http2"
	"golang.org/x/net/http2/hpack"

	"lotwright/server/rpc"
)

// frames speaks HTTP/2 without a client's manners.
type frames struct {
	*http2.Framer
	conn net.Conn
}

func (s *service) frames(t *testing.T) frames {
	t.Helper()
	var d net.Dialer
	conn, err := d.DialContext(t.Context(), "tcp", s.grpcAddr)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	f := frames{http2.NewFramer(conn, conn), conn}
	_, err = io.WriteString(conn, http2.ClientPreface)
	require.NoError(t, err)
	require.NoError(t, f.WriteSettings())
	return f
}

// until reads frames up to the first that is wanted; nil when the connection
// ends before.
func (f frames) until(want func(http2.Frame) bool) http2.Frame {
	for {
		frame, err := f.ReadFrame()
		if err != nil {
			return nil
		}
		if want(frame) {
			return frame
		}
	}
}

// call opens a stream to a method; pad makes its header list longer.
func (f frames) call(t *testing.T, stream uint32, method string, pad string) (headerListSize int) {
	t.Helper()
	var block bytes.Buffer
	encoder := hpack.NewEncoder(&block)
	for _, h := range [][2]string{{":method", "POST"}, {":scheme", "http"}, {":path", method}, {":authority", "localhost"},
		{"content-type", "application/grpc"}, {"te", "trailers"}, {"pad", pad}} {
		field := hpack.HeaderField{Name: h[0], Value: h[1]}
		headerListSize += int(field.Size())
		require.NoError(t, encoder.WriteField(field))
	}
	require.NoError(t, f.WriteHeaders(http2.HeadersFrameParam{StreamID: stream, BlockFragment: block.Bytes(), EndHeaders: true}))
	return headerListSize
}

const bidi = "/lotwright.v1.Designer/DesignLots"

func isReset(f http2.Frame) bool { return f.Header().Type == http2.FrameRSTStream }

func TestLimitsAreDeclared(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{Streams: 2, Headers: 3000}))
	f := s.frames(t)
	settings, ok := f.until(func(f http2.Frame) bool { return f.Header().Type == http2.FrameSettings }).(*http2.SettingsFrame)
	require.True(t, ok)
	streams, _ := settings.Value(http2.SettingMaxConcurrentStreams)
	assert.EqualValues(t, 2, streams)
	headers, _ := settings.Value(http2.SettingMaxHeaderListSize)
	assert.EqualValues(t, 3000, headers)
}

func TestLimitStreams(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{Streams: 2}))
	f := s.frames(t)
	f.call(t, 1, bidi, "")
	f.call(t, 3, bidi, "")
	f.call(t, 5, bidi, "")
	reset, ok := f.until(isReset).(*http2.RSTStreamFrame)
	require.True(t, ok)
	assert.EqualValues(t, 5, reset.StreamID, "the first two are taken")
	assert.Equal(t, http2.ErrCodeRefusedStream, reset.ErrCode)
}

func TestLimitHeadersOfGRPC(t *testing.T) {
	const most = 1000
	s := serve(t, withLimits(rpc.Limits{Headers: most}))
	f := s.frames(t)
	empty := f.call(t, 1, bidi, "")
	assert.Equal(t, most, f.call(t, 3, bidi, strings.Repeat("x", most-empty)))
	assert.Equal(t, most+1, f.call(t, 5, bidi, strings.Repeat("x", most-empty+1)))
	reset, ok := f.until(isReset).(*http2.RSTStreamFrame)
	require.True(t, ok)
	assert.EqualValues(t, 5, reset.StreamID, "the first two are taken")
}

func goAway(f http2.Frame) bool { return f.Header().Type == http2.FrameGoAway }

func TestConnectionsAreRenewed(t *testing.T) {
	for name, l := range map[string]rpc.Limits{
		"age":  {ConnectionAge: 50 * time.Millisecond, ConnectionGrace: 50 * time.Millisecond},
		"idle": {ConnectionIdle: 50 * time.Millisecond},
	} {
		t.Run(name, func(t *testing.T) {
			s := serve(t, withLimits(l))
			assert.NotNil(t, s.frames(t).until(goAway))
		})
	}
}

func TestPingFlood(t *testing.T) {
	s := serve(t, nil)
	f := s.frames(t)
	for range 10 {
		if f.WritePing(false, [8]byte{}) != nil {
			break
		}
	}
	away, ok := f.until(goAway).(*http2.GoAwayFrame)
	require.True(t, ok)
	assert.Equal(t, http2.ErrCodeEnhanceYourCalm, away.ErrCode)
}

func TestHandshakeThatNeverEnds(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{ReadHeader: 50 * time.Millisecond}))
	var d net.Dialer
	conn, err := d.DialContext(t.Context(), "tcp", s.grpcAddr)
	require.NoError(t, err)
	defer conn.Close()
	_, err = io.ReadAll(conn)
	assert.NoError(t, err, "the server hangs up")
}

func TestSilentConnectionIsChecked(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{Ping: time.Second, WriteIdle: 50 * time.Millisecond}))
	f := s.frames(t)
	f.call(t, 1, bidi, "")
	ping := f.until(func(f http2.Frame) bool { return f.Header().Type == http2.FramePing && !f.(*http2.PingFrame).IsAck() })
	require.NotNil(t, ping)
	assert.Nil(t, f.until(func(http2.Frame) bool { return false }), "unanswered, the connection is closed")
}
