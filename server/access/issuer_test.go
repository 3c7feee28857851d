package access_test

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/access"
	"lotwright/server/access/accesstest"
	"lotwright/server/store"
)

// trusting is a checker that takes the tokens of an issuer.
func trusting(t *testing.T, url string, log *bytes.Buffer) *access.Checker {
	t.Helper()
	issuer, err := access.NewIssuer(access.IssuerOptions{
		URL: url, Audience: "lots", Now: func() time.Time { return noon }, Log: slog.New(slog.NewTextHandler(log, nil)),
	})
	require.NoError(t, err)
	return &access.Checker{Issuer: issuer}
}

func TestToken(t *testing.T) {
	issuer := accesstest.NewIssuer(t)
	c := trusting(t, issuer.URL, &bytes.Buffer{})
	got, err := c.Caller(t.Context(), []string{"Bearer " + issuer.Token(issuer.Claims("elm", noon))})
	require.NoError(t, err)
	assert.Equal(t, access.Caller{Tenant: "elm", Name: "token somebody"}, got)

	// A key that the issuer took up since is asked for. The library may hand out
	// for a moment what it has just fetched.
	issuer.NewKey()
	require.Eventually(t, func() bool {
		got, err = c.Caller(t.Context(), []string{"Bearer " + issuer.Token(issuer.Claims("oak", noon))})
		return err == nil
	}, 10*time.Second, 10*time.Millisecond)
	assert.Equal(t, store.Tenant("oak"), got.Tenant)
}

func TestTokenRefused(t *testing.T) {
	issuer, other := accesstest.NewIssuer(t), accesstest.NewIssuer(t)
	var log bytes.Buffer
	c := trusting(t, issuer.URL, &log)
	good := issuer.Token(issuer.Claims("elm", noon))
	_, err := c.Caller(t.Context(), []string{"Bearer " + good})
	require.NoError(t, err)

	with := func(change map[string]any) string {
		claims := issuer.Claims("elm", noon)
		maps.Copy(claims, change)
		return issuer.Token(claims)
	}
	stranger, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	header, payload, signature := parts(good)
	public, err := json.Marshal(map[string]string{"alg": "none"})
	require.NoError(t, err)
	for name, token := range map[string]string{
		"expired":          with(map[string]any{"exp": noon.Add(-time.Second).Unix()}),
		"no expiry":        with(map[string]any{"exp": nil}),
		"not yet":          with(map[string]any{"nbf": noon.Add(time.Hour).Unix()}),
		"another audience": with(map[string]any{"aud": "others"}),
		"no audience":      with(map[string]any{"aud": nil}),
		"another issuer":   with(map[string]any{"iss": other.URL}),
		"no tenant":        with(map[string]any{"tenant": nil}),
		"many tenants":     with(map[string]any{"tenant": []string{"elm"}}),
		"hostile tenant":   with(map[string]any{"tenant": "elm' OR '1'='1"}),
		"number":           with(map[string]any{"tenant": 7}),
		"others' token":    other.Token(other.Claims("elm", noon)),
		"others' key":      other.Token(issuer.Claims("elm", noon)),
		"stranger's key":   issuer.Sign(jose.SigningKey{Algorithm: jose.ES256, Key: jose.JSONWebKey{Key: stranger, KeyID: "key-0"}}, issuer.Claims("elm", noon)),
		"shared secret":    issuer.Sign(jose.SigningKey{Algorithm: jose.HS256, Key: jose.JSONWebKey{Key: bytes.Repeat([]byte("k"), 32), KeyID: "key-0"}}, issuer.Claims("elm", noon)),
		"unsigned":         base64.RawURLEncoding.EncodeToString(public) + "." + payload + ".",
		"no signature":     header + "." + payload + ".",
		"other payload":    header + "." + base64.RawURLEncoding.EncodeToString([]byte(`{"tenant":"oak"}`)) + "." + signature,
		"text":             "hello",
		"key":              "lwk_aaaaaaaa_" + strings.Repeat("a", 52), // where there are no keys
	} {
		_, err := c.Caller(t.Context(), []string{"Bearer " + token})
		assert.Error(t, err, name)
		assert.NotErrorIs(t, err, access.ErrNone, name)
		for _, said := range []string{err.Error(), log.String()} {
			assert.NotContains(t, said, payload[:20], name)
		}
	}
	_, err = c.Caller(t.Context(), []string{"Bearer " + good})
	assert.NoError(t, err)
}

func parts(token string) (header, payload, signature string) {
	p := strings.Split(token, ".")
	return p[0], p[1], p[2]
}

// TestIssuerIsAskedSparingly: tokens with made-up keys do not make us a flood.
func TestIssuerIsAskedSparingly(t *testing.T) {
	issuer := accesstest.NewIssuer(t)
	c := trusting(t, issuer.URL, &bytes.Buffer{})
	stranger, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	for range 50 {
		token := issuer.Sign(jose.SigningKey{Algorithm: jose.ES256, Key: jose.JSONWebKey{Key: stranger, KeyID: rand.Text()}}, issuer.Claims("elm", noon))
		_, err := c.Caller(t.Context(), []string{"Bearer " + token})
		assert.Error(t, err)
	}
	assert.LessOrEqual(t, issuer.Asked.Load(), int64(10))
	_, err = c.Caller(t.Context(), []string{"Bearer " + issuer.Token(issuer.Claims("elm", noon))})
	assert.NoError(t, err, "whose key is known already")
}

// TestIssuerThatIsNotThere: it may come later.
func TestIssuerThatIsNotThere(t *testing.T) {
	there, url := false, ""
	issuer := accesstest.NewIssuer(t)
	front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		if !there {
			http.Error(w, "not yet", http.StatusServiceUnavailable)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(map[string]any{"issuer": url, "jwks_uri": issuer.URL + "/keys", "id_token_signing_alg_values_supported": []string{"ES256"}})
	}))
	t.Cleanup(front.Close)
	url = front.URL
	var log bytes.Buffer
	c := trusting(t, front.URL, &log)
	claims := issuer.Claims("elm", noon)
	claims["iss"] = front.URL
	token := []string{"Bearer " + issuer.Token(claims)}
	_, err := c.Caller(t.Context(), token)
	assert.ErrorIs(t, err, access.ErrUnavailable)
	assert.Contains(t, log.String(), "the issuer does not answer")
	there = true
	_, err = c.Caller(t.Context(), token)
	assert.NoError(t, err)
}

func TestIssuerOptions(t *testing.T) {
	for _, o := range []access.IssuerOptions{
		{}, {URL: "https://issuer.example"}, {Audience: "lots"}, {URL: "http://issuer.example", Audience: "lots"}, {URL: "ftp://127.0.0.1", Audience: "lots"}, {URL: "https://", Audience: "lots"},
	} {
		_, err := access.NewIssuer(o)
		assert.Error(t, err, "%+v", o)
	}
	for _, url := range []string{"https://issuer.example", "http://127.0.0.1:1", "http://localhost:1", "http://[::1]:1"} {
		_, err := access.NewIssuer(access.IssuerOptions{URL: url, Audience: "lots"})
		assert.NoError(t, err, url)
	}
}
