package rpc_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lotwright/layout"
	"lotwright/layout/feature"
	"lotwright/layout/geom"
	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/rpc"
)

func withLimits(l rpc.Limits) func(*rpc.Options) {
	return func(o *rpc.Options) { o.Limits = l }
}

// requireLimit checks that an error names the limit it is about.
func requireLimit(t *testing.T, err error, limit string) {
	t.Helper()
	st := status.Convert(err)
	require.Equal(t, codes.ResourceExhausted, st.Code(), "%v", err)
	require.NotEmpty(t, st.Details())
	info, ok := st.Details()[0].(*errdetails.ErrorInfo)
	require.True(t, ok)
	assert.Equal(t, "LIMIT_EXCEEDED", info.Reason)
	assert.Equal(t, limit, info.Metadata["limit"])
	assert.Contains(t, st.Message(), limit)
}

func (r reply) requireLimit(t *testing.T, limit string, most int) {
	t.Helper()
	assert.Equal(t, http.StatusRequestEntityTooLarge, r.status)
	p := r.problem(t)
	assert.Equal(t, "LIMIT_EXCEEDED", p.Code)
	assert.Equal(t, limit, p.Limit)
	assert.Equal(t, most, *p.Most)
}

func TestLimitMessage(t *testing.T) {
	const most = 2000
	s := serve(t, withLimits(rpc.Limits{Message: most}))
	sized := func(n int) *pb.DesignLotRequest {
		req := &pb.DesignLotRequest{Lot: lotMessage("A")}
		for proto.Size(req) < n {
			req.Lot.Lot += "A"
		}
		require.Equal(t, n, proto.Size(req))
		return req
	}
	_, err := s.client.DesignLot(t.Context(), sized(most))
	assert.NoError(t, err)
	_, err = s.client.DesignLot(t.Context(), sized(most+1))
	assert.Equal(t, codes.ResourceExhausted, status.Code(err))

	// The same through the gateway: the JSON is within its own limit.
	asJSON := func(req *pb.DesignLotRequest) reply { return s.post(t, typed, plain, lotJSON(req.Lot.Lot)) }
	assert.Equal(t, http.StatusOK, asJSON(sized(most)).status)
	r := asJSON(sized(most + 1))
	assert.Equal(t, http.StatusRequestEntityTooLarge, r.status, r.body)
	r.problem(t)
}

func TestLimitStreamLots(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{StreamLots: 7}))
	answers, err := designLots(t.Context(), s, lotRequests(7)...)
	require.NoError(t, err)
	assert.Len(t, answers, 7)
	answers, err = designLots(t.Context(), s, lotRequests(8)...)
	requireLimit(t, err, "StreamLots")
	assert.Len(t, answers, 7, "what was within the limit is answered")
}

func TestLimitLots(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{Lots: 4}))
	req := &pb.ComparePressuresRequest{Lots: []*pb.Lot{lotMessage("A"), lotMessage("B")}, PressuresKpa: []float64{300, 400}}
	_, err := s.client.ComparePressures(t.Context(), req)
	require.NoError(t, err)
	req = &pb.ComparePressuresRequest{Lots: []*pb.Lot{lotMessage("A")}, PressuresKpa: []float64{1, 2, 3, 4, 5}}
	_, err = s.client.ComparePressures(t.Context(), req)
	requireLimit(t, err, "Lots")

	assert.Equal(t, http.StatusOK, s.post(t, file, geoJSON, collectionOf("A", "B", "C", "D")).status)
	s.closed = make(chan struct{})
	s.lots = nil
	s.post(t, file, geoJSON, collectionOf("A", "B", "C", "D", "E")).requireLimit(t, "Lots", 4)
	assert.Empty(t, s.lots, "nothing was designed")
	<-s.closed
}

func TestLimitBody(t *testing.T) {
	text := collectionOf("A")
	s := serve(t, withLimits(rpc.Limits{Body: int64(len(text))}))
	assert.Equal(t, http.StatusOK, s.post(t, file, geoJSON, text).status)
	s.closed = make(chan struct{})
	s.post(t, file, geoJSON, text+" ").requireLimit(t, "Body", len(text))
}

// A zipped body is counted twice: as sent and as it comes out.
func TestLimitInflated(t *testing.T) {
	text := collectionOf("A") + strings.Repeat(" ", 10_000)
	sent := zipped(text)
	s := serve(t, withLimits(rpc.Limits{Body: int64(len(sent)), Inflated: int64(len(text))}))
	assert.Equal(t, http.StatusOK, s.post(t, file, geoJSON, sent, "Content-Encoding", "gzip").status)
	s.closed = make(chan struct{})
	more := zipped(text + " ")
	require.LessOrEqual(t, len(more), len(sent)+8)
	s = serve(t, withLimits(rpc.Limits{Body: int64(len(more)), Inflated: int64(len(text))}))
	s.post(t, file, geoJSON, more, "Content-Encoding", "gzip").requireLimit(t, "Inflated", len(text))
	s = serve(t, withLimits(rpc.Limits{Body: int64(len(sent)) - 1}))
	s.post(t, file, geoJSON, sent, "Content-Encoding", "gzip").requireLimit(t, "Body", len(sent)-1)
}

// A gigabyte of blanks is a megabyte on the wire; little of it is inflated.
func TestGzipBomb(t *testing.T) {
	var bomb bytes.Buffer
	w := gzip.NewWriter(&bomb)
	blanks := bytes.Repeat([]byte(" "), 1<<20)
	for range 64 {
		_, err := w.Write(blanks)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	s := serve(t, withLimits(rpc.Limits{Inflated: 1 << 20}))
	s.post(t, file, geoJSON, bomb.String(), "Content-Encoding", "gzip").requireLimit(t, "Inflated", 1<<20)
}

func TestLimitJSON(t *testing.T) {
	text := lotJSON("A")
	s := serve(t, withLimits(rpc.Limits{JSON: int64(len(text))}))
	assert.Equal(t, http.StatusOK, s.post(t, typed, plain, text).status)
	s.post(t, typed, plain, text+" ").requireLimit(t, "JSON", len(text))
	s.post(t, typed, plain, zipped(text+" "), "Content-Encoding", "gzip").requireLimit(t, "JSON", len(text))
}

func TestLimitRequests(t *testing.T) {
	const most = 3
	s := serve(t, withLimits(rpc.Limits{Requests: most}))
	ended := make(chan error)
	for i := range most {
		go func() {
			_, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage(fmt.Sprintf("wait %d", i))})
			ended <- err
		}()
		<-s.entered
	}
	_, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage("A")})
	st := status.Convert(err)
	assert.Equal(t, codes.ResourceExhausted, st.Code())
	assert.Contains(t, fmt.Sprint(st.Details()...), "TOO_MANY_REQUESTS")
	assert.Contains(t, fmt.Sprint(st.Details()...), "retry_delay")
	_, err = designLots(t.Context(), s, lotRequests(1)...)
	assert.Equal(t, codes.ResourceExhausted, status.Code(err))
	for path, body := range map[string]string{typed: lotJSON("A"), file: collectionOf("A")} {
		r := s.post(t, path, plain, body)
		assert.Equal(t, http.StatusTooManyRequests, r.status, path)
		assert.Equal(t, "1", r.header.Get("Retry-After"))
		assert.Equal(t, "TOO_MANY_REQUESTS", r.problem(t).Code)
	}
	assert.Equal(t, http.StatusOK, s.do(t, http.MethodGet, "/healthz", nil).status, "health answers however busy")
	_, err = grpc_health_v1.NewHealthClient(s.conn).Check(t.Context(), &grpc_health_v1.HealthCheckRequest{})
	assert.NoError(t, err)
	close(s.release)
	for range most {
		assert.NoError(t, <-ended)
	}
	_, err = s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage("A")})
	assert.NoError(t, err)
}

// All HTTP clients share the gateway's connection: the limit of calls on one
// must not hold them up, nor the health check.
func TestLimitStreamsIsNotForREST(t *testing.T) {
	const calls = 4
	s := serve(t, withLimits(rpc.Limits{Streams: 1}))
	ended := make(chan reply)
	for i := range calls {
		go func() { ended <- s.post(t, typed, plain, lotJSON(fmt.Sprintf("wait %d", i))) }()
	}
	for range calls {
		select {
		case <-s.entered:
		case <-time.After(10 * time.Second):
			require.Fail(t, "calls wait for each other")
		}
	}
	assert.Equal(t, http.StatusOK, s.do(t, http.MethodGet, "/healthz", nil).status)
	close(s.release)
	for range calls {
		assert.Equal(t, http.StatusOK, (<-ended).status)
	}
}

// Nor must a call over HTTP end with the age of that connection.
func TestConnectionAgeIsNotForREST(t *testing.T) {
	const age = 50 * time.Millisecond
	s := serve(t, withLimits(rpc.Limits{ConnectionAge: age, ConnectionGrace: age, ConnectionIdle: age}))
	ended := make(chan reply)
	go func() { ended <- s.post(t, typed, plain, lotJSON("wait")) }()
	<-s.entered
	time.Sleep(10 * age)
	close(s.release)
	r := <-ended
	assert.Equal(t, http.StatusOK, r.status, r.body)
}

func TestStreamThatStops(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{StreamIdle: 50 * time.Millisecond, Requests: 1}))
	for _, first := range []*pb.DesignLotsRequest{nil, {Lot: lotMessage("A")}} {
		stream, err := s.client.DesignLots(t.Context())
		require.NoError(t, err)
		if first != nil {
			require.NoError(t, stream.Send(first))
			_, err = stream.Recv()
			require.NoError(t, err)
		}
		_, err = stream.Recv()
		assert.Equal(t, codes.DeadlineExceeded, status.Code(err))
		assert.Contains(t, fmt.Sprint(status.Convert(err).Details()...), "STREAM_TIMEOUT")
	}
	_, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage("A")})
	assert.NoError(t, err, "the place is free again")
}

// A client may wait for an answer before it sends the next lot.
func TestStreamIdleCountsFromTheAnswer(t *testing.T) {
	const idle = 500 * time.Millisecond
	s := serve(t, withLimits(rpc.Limits{StreamIdle: idle}))
	stream, err := s.client.DesignLots(t.Context())
	require.NoError(t, err)
	for range 2 {
		require.NoError(t, stream.Send(&pb.DesignLotsRequest{Lot: lotMessage("wait")}))
		<-s.entered
		time.Sleep(2 * idle)
		s.release <- struct{}{}
		answer, err := stream.Recv()
		require.NoError(t, err)
		assert.Equal(t, pb.Design_DESIGNED, answer.Design.Status)
	}
	require.NoError(t, stream.CloseSend())
	_, err = stream.Recv()
	assert.ErrorIs(t, err, io.EOF)
}

// A gRPC error travels in headers: as text, and in base64 as text and details.
// Many clients take 8 KiB of headers.
func TestComplaintsFitIntoHeaders(t *testing.T) {
	s := serve(t, nil)
	long := lotMessage(strings.Repeat("ß", 100_000))
	var faulty []*pb.Feature
	for range 1000 {
		faulty = append(faulty, &pb.Feature{Layer: 99, Geometry: &pb.Geometry{Shape: &pb.Geometry_Wkb{Wkb: []byte("0103")}}})
	}
	_, twice := s.client.ComparePressures(t.Context(), &pb.ComparePressuresRequest{Lots: slices.Repeat([]*pb.Lot{long}, 10), PressuresKpa: []float64{300}})
	_, model := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: long, Settings: &pb.Settings{HeadModel: &pb.HeadModel{Name: strings.Repeat("n", 100_000)}}})
	_, many := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: &pb.Lot{Lot: "A", Features: faulty}})
	for _, err := range []error{twice, model, many} {
		assert.NotEmpty(t, violations(t, err))
		st := status.Convert(err).Proto()
		assert.Less(t, len(st.Message)+proto.Size(st)*4/3, 8<<10)
	}
}

// rawHTTP sends bytes and returns all that comes back until the server closes.
func (s *service) rawHTTP(t *testing.T, text string) string {
	t.Helper()
	conn := s.dialHTTP(t)
	_, err := io.WriteString(conn, text)
	require.NoError(t, err)
	reply, _ := io.ReadAll(conn) // a reset is an end, too
	return string(reply)
}

func (s *service) dialHTTP(t *testing.T) net.Conn {
	t.Helper()
	var d net.Dialer
	conn, err := d.DialContext(t.Context(), "tcp", strings.TrimPrefix(s.url, "http://"))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

func TestLimitHeadersOfHTTP(t *testing.T) {
	const most = 8 << 10
	s := serve(t, withLimits(rpc.Limits{Headers: most}))
	request := func(n int) string {
		text := "GET /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nX: "
		return text + strings.Repeat("x", n-len(text)-4) + "\r\n\r\n"
	}
	require.Len(t, request(most), most)
	assert.Contains(t, s.rawHTTP(t, request(most)), "200 OK")
	assert.Contains(t, s.rawHTTP(t, request(most+1)), "431 Request Header Fields Too Large")
}

// What HTTP lets in must fit through to the gRPC server behind it.
func TestHeadersOfHTTPReachTheMethods(t *testing.T) {
	const most = 8 << 10
	s := serve(t, withLimits(rpc.Limits{Headers: most}))
	body := lotJSON("A")
	head := fmt.Sprintf("POST %s HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nContent-Type: application/json\r\nContent-Length: %d\r\nAuthorization: ", typed, len(body))
	head += strings.Repeat("x", most-len(head)-4) + "\r\n\r\n"
	require.Len(t, head, most)
	assert.Contains(t, s.rawHTTP(t, head+body), "200 OK")
}

func TestHeadersThatNeverEnd(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{ReadHeader: 50 * time.Millisecond}))
	assert.NotContains(t, s.rawHTTP(t, "GET /healthz HTTP/1.1\r\nHost: local"), "200")
}

func TestBodyThatStops(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{ReadIdle: 50 * time.Millisecond}))
	for _, path := range []string{file, typed} {
		reply := s.rawHTTP(t, "POST "+path+" HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{")
		assert.Contains(t, reply, "408 Request Timeout", path)
		assert.Contains(t, reply, "BODY_TIMEOUT")
	}
}

// Answers that do not wait for the body are not held up by it either.
func TestBodyThatNobodyReads(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{ReadIdle: 50 * time.Millisecond}))
	for path, want := range map[string]string{"/nowhere": "404", file + "?x=1": "400", typed + "?x=1": "400", "/healthz": "405"} {
		reply := s.rawHTTP(t, "POST "+path+" HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{")
		assert.Contains(t, reply, "HTTP/1.1 "+want, path)
	}
}

// A body that keeps coming may take longer than the limit in all.
func TestBodyThatKeepsComing(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{ReadIdle: time.Second}))
	conn := s.dialHTTP(t)
	text := collectionOf("A")
	_, err := fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n", file, len(text))
	require.NoError(t, err)
	for i := range text {
		if i%10 == 0 {
			time.Sleep(100 * time.Millisecond)
		}
		_, err := conn.Write([]byte{text[i]})
		require.NoError(t, err)
	}
	reply, err := io.ReadAll(conn)
	require.NoError(t, err)
	assert.Contains(t, string(reply), "200 OK")
}

// A read deadline that passes while a lot is being designed must not look like
// the client's going away.
func TestLongDesignOutlivesReadIdle(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{ReadIdle: 200 * time.Millisecond}))
	go func() {
		<-s.entered
		time.Sleep(500 * time.Millisecond)
		close(s.release)
	}()
	assert.Equal(t, http.StatusOK, s.post(t, file, geoJSON, collectionOf("wait")).status)
}

// A client that does not take the answer is cut off, and the work for it stops.
func TestAnswerThatIsNotTaken(t *testing.T) {
	s := serve(t, func(o *rpc.Options) {
		o.Limits.WriteIdle = 100 * time.Millisecond
		o.Design = func(_ context.Context, lot *layout.Lot, settings rpc.Settings) (*layout.Design, error) {
			d := designOf(lot, settings)
			d.Notes = append(d.Notes, layout.Note{Rule: "long", Text: strings.Repeat("x", 1<<20)})
			return d, nil
		}
	})
	ids := make([]string, 2000)
	for i := range ids {
		ids[i] = fmt.Sprint(i)
	}
	text := collectionOf(ids...)
	conn := s.dialHTTP(t)
	_, err := fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s", file, len(text), text)
	require.NoError(t, err)
	<-s.closed // the source is closed although nothing was read
	s.mu.Lock()
	defer s.mu.Unlock()
	assert.Less(t, len(s.features), 1000)
}

func TestLimitConnections(t *testing.T) {
	for name, l := range map[string]rpc.Limits{"in all": {Connections: 2}, "from one address": {PerAddress: 2}} {
		t.Run(name, func(t *testing.T) {
			s := serve(t, withLimits(l))
			ask := func(conn net.Conn) string {
				_, _ = io.WriteString(conn, "GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
				buf := make([]byte, 12)
				n, _ := io.ReadFull(conn, buf)
				return string(buf[:n])
			}
			one, two := s.dialHTTP(t), s.dialHTTP(t)
			assert.Equal(t, "HTTP/1.1 200", ask(one))
			assert.Equal(t, "HTTP/1.1 200", ask(two))
			assert.Empty(t, ask(s.dialHTTP(t)), "the third is closed")
			require.NoError(t, one.Close())
			require.Eventually(t, func() bool { return ask(s.dialHTTP(t)) == "HTTP/1.1 200" }, 10*time.Second, time.Millisecond, "its place is free again")
		})
	}
}

func TestLimitsHaveDefaults(t *testing.T) {
	s := serve(t, withLimits(rpc.Limits{Message: -1, Requests: -1, ReadIdle: -1}))
	_, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage("A")})
	assert.NoError(t, err)
	req := &pb.DesignLotRequest{Lot: lotMessage(strings.Repeat("A", 4<<20))}
	_, err = s.client.DesignLot(t.Context(), req)
	assert.Equal(t, codes.ResourceExhausted, status.Code(err), "4 MiB a message")
}

// A design larger than the usual limit of clients' messages reaches a REST
// client whole.
func TestLargeAnswerThroughTheGateway(t *testing.T) {
	long := make(geom.Line, 200_000)
	for i := range long {
		long[i] = geom.Pt(int64(i), int64(i%2))
	}
	s := serve(t, func(o *rpc.Options) {
		o.Design = func(_ context.Context, lot *layout.Lot, settings rpc.Settings) (*layout.Design, error) {
			d := designOf(lot, settings)
			d.Network.Runs = []layout.TrenchRun{{From: "POC", To: "H1", Surface: layout.SurfaceSoil, Path: long}}
			require.Greater(t, len(feature.Encode(d, feature.Collection)), 4<<20)
			return d, nil
		}
	})
	r := s.post(t, typed, plain, lotJSON("A"))
	assert.Equal(t, http.StatusOK, r.status)
	assert.Greater(t, len(r.body), 4<<20)
}
