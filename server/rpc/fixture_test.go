package rpc_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"lotwright/layout"
	"lotwright/layout/geom"
	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/rpc"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// flatPlane has 1e-8 degrees a millimetre.
type flatPlane struct{ lon, lat float64 }

func (p flatPlane) LonLat(x, y float64) (float64, float64) { return p.lon + x*1e-8, p.lat + y*1e-8 }

// backend stands in for importer and design. What it does with a lot shows in
// the lot's id: one that begins with "panic" panics, and so on.
type backend struct {
	mu       sync.Mutex
	lots     []*layout.Lot  // as designed
	settings []rpc.Settings // as designed
	features [][]rpc.Feature
	large    int // bytes of reason in a design
	body     []byte

	entered chan string   // receives the id of a lot "wait…" when its design begins
	release chan struct{} // lets it end
	closed  chan struct{} // closed when the source of a body is
}

func newBackend() *backend {
	return &backend{entered: make(chan string, 1000), release: make(chan struct{}), closed: make(chan struct{})}
}

func (b *backend) assemble(id string, features []rpc.Feature) rpc.Item {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.features = append(b.features, features)
	switch {
	case strings.HasPrefix(id, "refuse"):
		return rpc.Item{Refused: layout.Refused(id, "parcel.crossing: the outline crosses itself",
			[]layout.Note{{Rule: "parcel.crossing", Severity: layout.SeverityError, Text: "the outline crosses itself"}})}
	case strings.HasPrefix(id, "assemble-panic"):
		panic("assemble broke")
	}
	return rpc.Item{Lot: &layout.Lot{ID: id, Plane: flatPlane{10, 50}}}
}

func (b *backend) design(ctx context.Context, lot *layout.Lot, s rpc.Settings) (*layout.Design, error) {
	b.mu.Lock()
	b.lots, b.settings = append(b.lots, lot), append(b.settings, s)
	b.mu.Unlock()
	switch {
	case strings.HasPrefix(lot.ID, "panic"):
		panic("secret detail")
	case strings.HasPrefix(lot.ID, "error"):
		return nil, errors.New("the pump is out")
	case strings.HasPrefix(lot.ID, "nil"):
		return nil, nil
	case strings.HasPrefix(lot.ID, "wait"):
		b.entered <- lot.ID
		select {
		case <-b.release:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	d := designOf(lot, s)
	d.Reason = strings.Repeat("x", b.large)
	return d, nil
}

// recheck is a design with the heads of the edited one.
func (b *backend) recheck(ctx context.Context, lot *layout.Lot, edited layout.Edited, s rpc.Settings) (*layout.Design, error) {
	d, err := b.design(ctx, lot, s)
	if d != nil {
		d.Reason = fmt.Sprintf("%d heads stand", len(edited.Heads))
	}
	return d, err
}

// assembleEdited takes a head for every byte of an edited design.
func (b *backend) assembleEdited(id string, features []rpc.Feature, edited string) rpc.Item {
	item := b.assemble(id, features)
	item.Edited.Heads = make([]layout.BuiltHead, len(edited))
	return item
}

// designOf is a made-up design that depends on the lot and its supply.
func designOf(lot *layout.Lot, s rpc.Settings) *layout.Design {
	square := geom.Ring{geom.Pt(0, 0), geom.Pt(9000, 0), geom.Pt(9000, 9000), geom.Pt(0, 9000)}
	at := geom.Pt(4500, 4500)
	d := &layout.Design{
		LotID: lot.ID, Plane: lot.Plane, Status: layout.StatusDesigned, HeadKind: layout.VariableThrow,
		Heads: []layout.Head{{Label: "H1", At: at, Kind: layout.VariableThrow, Model: "generic variable-throw", Throw: layout.Feet(30),
			ArcSweep: 360, Pressure: layout.PSI(55), Flow: layout.GPM(4.7), Zone: 1,
			Wetted: []geom.Vec{{X: 0, Y: 0}, {X: 9000, Y: 0}, {X: 9000, Y: 9000}}, WettedArea: 40.5}},
		Proof:    layout.Proof{Kind: layout.ProofDiscrete, Bound: 1, CandidateSpacing: 0.5, WitnessSpacing: 0.25},
		Coverage: 0.98123456789, CoverageTarget: 0.97, Throw: layout.Feet(30), Pressure: layout.PSI(55), HeadFlow: layout.GPM(4.7),
		ParcelArea: 100, Irrigated: geom.Region{{square}}, IrrigatedArea: 81, DryArea: 1.5,
		Network: layout.Network{POCAssumed: true, TrenchLength: 6.3635, SpanningTreeLength: 6.3635, PipeLength: 7, PavingCrossings: 2, PavingCrossingLength: 1.25},
		Notes: []layout.Note{
			{Rule: "poc.assumed", Severity: layout.SeverityWarning, Text: "no source given", At: &at},
			{Rule: "supply.checked", Severity: layout.SeverityInfo, Text: "about the whole lot"},
		},
	}
	if s.CoverageTarget != nil {
		d.CoverageTarget = *s.CoverageTarget
	}
	if p := lot.Supply.Or(s.Supply).HeadPressure; p != nil {
		d.Pressure = *p
	}
	return d
}

// bodyItems is the source of a body.
type bodyItems struct {
	b   *backend
	ids []string
}

func (s *bodyItems) Len() int           { return len(s.ids) }
func (s *bodyItems) ID(i int) string    { return s.ids[i] }
func (s *bodyItems) Lot(i int) rpc.Item { return s.b.assemble(s.ids[i], nil) }

// open takes a FeatureCollection with a feature a lot, or one lot id a line.
func (b *backend) open(_ context.Context, r io.Reader) (rpc.Source, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return nil, errors.New("in the importer's own words: " + err.Error())
	}
	b.body = text
	if bytes.Contains(text, []byte("refuse-all")) {
		feature := 3
		return nil, &rpc.Refusal{Rule: "feature.no_lot", Text: "a building belongs to no lot", Lot: "A", Feature: &feature, Place: &[2]float64{10.5, 50.25}}
	}
	var fc struct {
		Features []struct {
			Properties struct{ Lot string }
		}
	}
	if json.Unmarshal(text, &fc) == nil {
		s := &bodyItems{b: b}
		for _, f := range fc.Features {
			s.ids = append(s.ids, f.Properties.Lot)
		}
		return s, nil
	}
	return &bodyItems{b, strings.Fields(string(text))}, nil
}

// wordLots is a file of lot ids.
type wordLots []string

func (w wordLots) Len() int        { return len(w) }
func (w wordLots) ID(i int) string { return w[i] }
func (w wordLots) Findings() []rpc.Finding {
	return []rpc.Finding{{Rule: "about.all", Text: "a remark"}}
}
func (w wordLots) Close() error { return nil }
func (w wordLots) Features(i int) ([][]byte, error) {
	return [][]byte{fmt.Appendf(nil, `{"type":"Feature","properties":{"lot":%q,"layer":"parcel"},"geometry":null}`, w[i])}, nil
}

// read takes a file of lot ids.
func read(_ context.Context, chosen []rpc.Chosen, _ string) (rpc.Surveyed, error) {
	text, err := os.ReadFile(chosen[0].File.Path)
	if strings.Contains(string(text), "refuse-all") {
		return nil, &rpc.Refusal{Rule: "json.syntax", Text: "no file of lots"}
	}
	return wordLots(strings.Fields(string(text))), err
}

func atStreet(s layout.Supply, p layout.Pressure) layout.Supply {
	if s.StaticPressure == nil {
		return s
	}
	head := p / 2 // enough to tell the two kinds of comparison apart
	return layout.Supply{HeadPressure: &head}
}

// service is a server under test.
type service struct {
	*backend
	server   *rpc.Server
	client   pb.DesignerClient
	conn     *grpc.ClientConn
	grpcAddr string
	url      string
	log      *lockedBuffer
	stop     context.CancelFunc
	stopped  chan struct{} // closed when Serve has returned
}

type lockedBuffer struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.String()
}

// check knows one meter.
func check(s rpc.Settings) error {
	if s.Meter == "wrong" {
		return &rpc.SettingFault{Setting: "meter", Text: "nothing is known of it"}
	}
	return nil
}

func options(b *backend) rpc.Options {
	return rpc.Options{Check: check, Read: read, Design: b.design, Assemble: b.assemble, Open: b.open, AtStreet: atStreet, Workers: 4,
		Recheck: b.recheck, AssembleEdited: b.assembleEdited, OpenEdited: b.open}
}

// serve starts a server on loopback and stops it after the test.
func serve(t *testing.T, change func(*rpc.Options)) *service {
	t.Helper()
	s := &service{backend: newBackend(), log: &lockedBuffer{}, stopped: make(chan struct{})}
	o := options(s.backend)
	o.Log = slog.New(slog.NewTextHandler(s.log, nil))
	if change != nil {
		change(&o)
	}
	server, err := rpc.New(o)
	require.NoError(t, err)
	s.server = server
	var lc net.ListenConfig
	g, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	require.NoError(t, err)
	h, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	s.stop, s.grpcAddr, s.url = stop, g.Addr().String(), "http://"+h.Addr().String()
	var served error
	go func() {
		defer close(s.stopped)
		served = server.Serve(ctx, g, h)
	}()
	s.conn, err = grpc.NewClient(s.grpcAddr, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	s.client = pb.NewDesignerClient(s.conn)
	t.Cleanup(func() {
		_ = s.conn.Close()
		http.DefaultClient.CloseIdleConnections()
		stop()
		<-s.stopped
		require.NoError(t, served)
	})
	return s
}

// lotMessage is a lot that nothing is wrong with.
func lotMessage(id string) *pb.Lot {
	ring := &pb.Positions{Degrees: []float64{10, 50, 10.0001, 50, 10.0001, 50.0001, 10, 50}}
	return &pb.Lot{Lot: id, Features: []*pb.Feature{{
		Layer:    pb.Feature_PARCEL,
		Geometry: &pb.Geometry{Shape: &pb.Geometry_Polygon{Polygon: &pb.Polygon{Rings: []*pb.Positions{ring}}}},
	}}}
}

// reply is what came back over HTTP.
type reply struct {
	status int
	header http.Header
	body   string
	err    error // from reading the body
}

func (s *service) post(t *testing.T, path, contentType, body string, headers ...string) reply {
	t.Helper()
	return s.do(t, http.MethodPost, path, strings.NewReader(body), append([]string{"Content-Type", contentType}, headers...)...)
}

func (s *service) do(t *testing.T, method, path string, body io.Reader, headers ...string) reply {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, s.url+path, body)
	require.NoError(t, err)
	for i := 0; i < len(headers); i += 2 {
		if headers[i] == "Host" {
			req.Host = headers[i+1]
			continue
		}
		req.Header.Set(headers[i], headers[i+1])
	}
	resp, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	return reply{resp.StatusCode, resp.Header, string(text), err}
}

// problem is a problem document as a client reads it.
type problem struct {
	Type, Title, Detail, Code, Lot, Rule, Limit string
	Status                                      int
	Feature, Most                               *int
	Place                                       []float64
	Violations                                  []struct{ Field, Detail string }
}

func (r reply) problem(t *testing.T) problem {
	t.Helper()
	require.Equal(t, "application/problem+json", r.header.Get("Content-Type"), "%d %s", r.status, r.body)
	var p problem
	require.NoError(t, json.Unmarshal([]byte(r.body), &p))
	require.Equal(t, r.status, p.Status)
	require.Equal(t, http.StatusText(r.status), p.Title)
	require.Equal(t, "about:blank", p.Type)
	require.NotEmpty(t, p.Detail)
	return p
}

// Close tells the first time that it was called.
func (s *bodyItems) Close() error {
	s.b.mu.Lock()
	defer s.b.mu.Unlock()
	select {
	case <-s.b.closed:
	default:
		close(s.b.closed)
	}
	return nil
}
