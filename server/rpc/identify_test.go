package rpc_test

import (
	"context"
	"crypto/x509"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/access"
	"lotwright/server/access/accesstest"
	"lotwright/server/rpc"
	"lotwright/server/store"
)

// keyring gives each tenant a key.
type keyring struct {
	file string
	keys map[store.Tenant]string
}

func newKeyring(t *testing.T, tenants ...store.Tenant) *keyring {
	t.Helper()
	k := &keyring{file: filepath.Join(t.TempDir(), "keys.json"), keys: map[store.Tenant]string{}}
	for _, tenant := range tenants {
		secret, _, err := access.Add(k.file, tenant, "", time.Now(), time.Time{})
		require.NoError(t, err)
		k.keys[tenant] = secret
	}
	return k
}

// guarded makes a server ask for these keys.
func (k *keyring) guarded(t *testing.T) func(*rpc.Options) {
	keys, err := access.OpenKeys(k.file, time.Now, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	return func(o *rpc.Options) { o.Callers = &access.Checker{Keys: keys} }
}

// as is a context of a gRPC client that sends a tenant's key.
func (k *keyring) as(ctx context.Context, tenant store.Tenant) context.Context {
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+k.keys[tenant])
}

func TestNobodyGetsIn(t *testing.T) {
	k := newKeyring(t, "elm")
	o := keep(t, k.guarded(t))
	wrong := "Bearer " + k.keys["elm"][:30]
	for path, method := range map[string]string{
		"/v1/batches": http.MethodGet, "/v1/batches/elm": http.MethodGet, "/v1/batches/elm:export": http.MethodGet, "/v1/batches/elm:watch": http.MethodGet,
		"/v1/operations": http.MethodGet, typed: http.MethodPost, file: http.MethodPost, "/metrics": http.MethodGet, "/nowhere": http.MethodGet,
		"//": http.MethodGet, "/healthz/": http.MethodGet, "/assets": http.MethodGet,
	} {
		for _, headers := range [][]string{nil, {"Authorization", wrong}, {"Authorization", ""}, {"Grpc-Metadata-Lotwright-Tenant-Bin", "ZWxt"}, {"Lotwright-Tenant-Bin", "ZWxt"}} {
			r := o.do(t, method, path, strings.NewReader(lotJSON("A")), append([]string{"Content-Type", plain}, headers...)...)
			assert.Equal(t, http.StatusUnauthorized, r.status, "%s %v", path, headers)
			assert.Equal(t, `Bearer realm="lotwright"`, r.header.Get("WWW-Authenticate"))
			assert.Equal(t, "UNAUTHENTICATED", r.problem(t).Code)
		}
	}
	assert.Empty(t, o.lots, "nothing was designed")
	for _, path := range []string{"/healthz", "/readyz"} {
		assert.Less(t, o.do(t, http.MethodGet, path, nil).status, 300, path)
	}

	for _, ctx := range []context.Context{
		t.Context(),
		metadata.AppendToOutgoingContext(t.Context(), "authorization", wrong),
		metadata.AppendToOutgoingContext(t.Context(), "lotwright-tenant-bin", "elm", "lotwright-caller-bin", ""),
	} {
		_, err := o.batches.ListBatches(ctx, &pb.ListBatchesRequest{})
		assert.Equal(t, codes.Unauthenticated, code(err))
		stream, err := o.batches.WatchBatch(ctx, &pb.WatchBatchRequest{Name: "batches/elm"})
		require.NoError(t, err)
		_, err = stream.Recv()
		assert.Equal(t, codes.Unauthenticated, code(err))
	}
	_, err := grpc_health_v1.NewHealthClient(o.conn).Check(t.Context(), &grpc_health_v1.HealthCheckRequest{})
	assert.NoError(t, err)
}

// TestKeysOpenBothDoors: what is made by one is seen by the other, by the same
// tenant.
func TestKeysOpenBothDoors(t *testing.T) {
	k := newKeyring(t, "elm", "oak")
	o := keep(t, k.guarded(t))
	elm := "Bearer " + k.keys["elm"]
	r := o.post(t, "/v1/batches", plain, `{"batch_id":"one"}`, "Authorization", elm)
	require.Equal(t, http.StatusOK, r.status, r.body)
	got, err := o.batches.GetBatch(k.as(t.Context(), "elm"), &pb.GetBatchRequest{Name: "batches/one"})
	require.NoError(t, err)
	assert.Equal(t, "batches/one", got.Name)
	_, err = o.kept.Batch(t.Context(), "elm", "one")
	assert.NoError(t, err)

	// A client cannot make the gateway speak for another tenant.
	r = o.do(t, http.MethodGet, "/v1/batches/one", nil, "Authorization", "Bearer "+k.keys["oak"], "Grpc-Metadata-Lotwright-Tenant-Bin", "ZWxt", "Lotwright-Tenant-Bin", "ZWxt")
	assert.Equal(t, http.StatusNotFound, r.status, r.body)
	_, err = o.batches.GetBatch(metadata.AppendToOutgoingContext(k.as(t.Context(), "oak"), "lotwright-tenant-bin", "elm"), &pb.GetBatchRequest{Name: "batches/one"})
	assert.Equal(t, codes.NotFound, code(err))
}

// TestProxyMayUseItsOwnName: callers that are known need not name this machine.
func TestProxyMayUseItsOwnName(t *testing.T) {
	k := newKeyring(t, "elm")
	s := serve(t, k.guarded(t))
	assert.Equal(t, http.StatusOK, s.do(t, http.MethodGet, "/healthz", nil, "Host", "lots.example").status)
	assert.Equal(t, http.StatusUnauthorized, s.do(t, http.MethodGet, "/v1/batches", nil, "Host", "lots.example").status)
}

// TestMetricsApart: the figures are about everybody, so no tenant sees them.
func TestMetricsApart(t *testing.T) {
	k := newKeyring(t, "elm")
	s := serve(t, k.guarded(t))
	assert.Equal(t, http.StatusNotFound, s.do(t, http.MethodGet, "/metrics", nil, "Authorization", "Bearer "+k.keys["elm"]).status)
	var lc net.ListenConfig
	l, err := lc.Listen(t.Context(), "tcp4", "0.0.0.0:0")
	require.NoError(t, err)
	assert.ErrorContains(t, s.server.ServeMetrics(t.Context(), l), "other machines")
	l, err = lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- s.server.ServeMetrics(ctx, l) }()
	figures := &service{url: "http://" + l.Addr().String()}
	assert.Contains(t, figures.do(t, http.MethodGet, "/metrics", nil).body, "go_goroutines")
	assert.Equal(t, http.StatusNotFound, figures.do(t, http.MethodGet, "/v1/batches", nil).status)
	assert.Equal(t, http.StatusForbidden, figures.do(t, http.MethodGet, "/metrics", nil, "Host", "lots.example").status)
	stop()
	assert.NoError(t, <-ended)
}

// TestOtherMachines: an address that they can reach, with TLS on both doors.
func TestOtherMachines(t *testing.T) {
	k := newKeyring(t, "elm")
	authority := accesstest.NewAuthority(t)
	o := options(newBackend())
	k.guarded(t)(&o)
	certificate, err := access.OpenCertificate(authority.Issue("lots.example"), authority.Key("lots.example"), slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	o.TLS, err = certificate.Config("")
	require.NoError(t, err)
	server, err := rpc.New(o)
	require.NoError(t, err)
	var lc net.ListenConfig
	g, err := lc.Listen(t.Context(), "tcp4", "0.0.0.0:0")
	require.NoError(t, err)
	h, err := lc.Listen(t.Context(), "tcp4", "0.0.0.0:0")
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	served := make(chan error)
	go func() { served <- server.Serve(ctx, g, h) }()

	trust := authority.Trust("lots.example")
	conn, err := grpc.NewClient(local(g), grpc.WithTransportCredentials(credentials.NewTLS(trust)))
	require.NoError(t, err)
	_, err = pb.NewDesignerClient(conn).DesignLot(k.as(t.Context(), "elm"), &pb.DesignLotRequest{Lot: lotMessage("A")})
	assert.NoError(t, err)
	_, err = pb.NewDesignerClient(conn).DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage("A")})
	assert.Equal(t, codes.Unauthenticated, code(err))
	require.NoError(t, conn.Close())

	transport := &http.Transport{TLSClientConfig: trust, ForceAttemptHTTP2: true}
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "https://"+local(h)+typed, strings.NewReader(lotJSON("A")))
	require.NoError(t, err)
	req.Header.Set("Content-Type", plain)
	req.Header.Set("Authorization", "Bearer "+k.keys["elm"])
	resp, err := (&http.Client{Transport: transport}).Do(req)
	require.NoError(t, err)
	assert.Equal(t, http.StatusOK, resp.StatusCode)
	assert.Equal(t, 2, resp.ProtoMajor)
	_ = resp.Body.Close()
	_, err = http.Get("https://" + local(h) + "/healthz")
	assert.ErrorAs(t, err, new(x509.UnknownAuthorityError))
	resp, err = http.Get("http://" + local(h) + "/healthz")
	require.NoError(t, err)
	assert.Equal(t, http.StatusBadRequest, resp.StatusCode, "not in the clear")
	_ = resp.Body.Close()
	transport.CloseIdleConnections()
	http.DefaultClient.CloseIdleConnections()
	stop()
	assert.NoError(t, <-served)
}

// local is how this machine reaches a listener on all addresses.
func local(l net.Listener) string {
	_, port, _ := net.SplitHostPort(l.Addr().String())
	return net.JoinHostPort("127.0.0.1", port)
}
