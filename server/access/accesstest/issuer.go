package accesstest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/go-jose/go-jose/v4/jwt"
	"github.com/stretchr/testify/require"
)

// Issuer is an OpenID Connect issuer on this machine: discovery, keys, tokens.
type Issuer struct {
	*testing.T
	URL string
	// Asked counts the requests it has got.
	Asked atomic.Int64

	mu   sync.Mutex
	keys []jose.JSONWebKey // the newest last
}

// NewIssuer starts an issuer with one key.
func NewIssuer(t *testing.T) *Issuer {
	t.Helper()
	i := &Issuer{T: t}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /.well-known/openid-configuration", i.discovery)
	mux.HandleFunc("GET /keys", i.published)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		i.Asked.Add(1)
		mux.ServeHTTP(w, r)
	}))
	t.Cleanup(server.Close)
	i.URL = server.URL
	i.NewKey()
	return i
}

// NewKey publishes a further key, with which tokens are signed from now on.
func (i *Issuer) NewKey() {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(i, err)
	i.mu.Lock()
	defer i.mu.Unlock()
	i.keys = append(i.keys, jose.JSONWebKey{Key: key, KeyID: fmt.Sprintf("key-%d", len(i.keys)), Algorithm: string(jose.ES256), Use: "sig"})
}

func (i *Issuer) discovery(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(map[string]any{
		"issuer": i.URL, "jwks_uri": i.URL + "/keys", "authorization_endpoint": i.URL + "/authorize", "token_endpoint": i.URL + "/token",
		"response_types_supported": []string{"code"}, "subject_types_supported": []string{"public"}, "id_token_signing_alg_values_supported": []string{"ES256"},
	})
}

func (i *Issuer) published(w http.ResponseWriter, _ *http.Request) {
	i.mu.Lock()
	defer i.mu.Unlock()
	set := jose.JSONWebKeySet{}
	for _, k := range i.keys {
		set.Keys = append(set.Keys, k.Public())
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(set)
}

// Claims are those of a token that a service for "lots" accepts at a time.
func (i *Issuer) Claims(tenant string, at time.Time) map[string]any {
	return map[string]any{"iss": i.URL, "aud": "lots", "sub": "somebody", "iat": at.Unix(), "exp": at.Add(time.Hour).Unix(), "tenant": tenant}
}

// Token signs claims with the newest key.
func (i *Issuer) Token(claims map[string]any) string {
	i.mu.Lock()
	key := i.keys[len(i.keys)-1]
	i.mu.Unlock()
	return i.Sign(jose.SigningKey{Algorithm: jose.ES256, Key: key}, claims)
}

// Sign signs claims with any key.
func (i *Issuer) Sign(key jose.SigningKey, claims map[string]any) string {
	signer, err := jose.NewSigner(key, (&jose.SignerOptions{}).WithType("JWT"))
	require.NoError(i, err)
	token, err := jwt.Signed(signer).Claims(claims).Serialize()
	require.NoError(i, err)
	return token
}
