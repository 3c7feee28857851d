package access

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/time/rate"

	"lotwright/server/store"
)

// IssuerOptions say whose tokens are accepted.
type IssuerOptions struct {
	URL      string // of the issuer, as it stands in its tokens
	Audience string // for whom a token must be
	Claim    string // that names the tenant; default "tenant"

	Client *http.Client // nil means one with a time-out
	Now    func() time.Time
	Log    *slog.Logger
}

// Issuer checks the tokens of an OpenID Connect issuer. It asks for the issuer's
// keys when the first token comes, and again for keys it has not seen.
type Issuer struct {
	options IssuerOptions
	client  *http.Client

	mu       sync.Mutex
	verifier *oidc.IDTokenVerifier // nil until the issuer has answered
}

// askIssuer is how long an issuer is waited for, how often it is asked at most, and
// how often at once. Whoever sends tokens with made-up key ids makes us ask.
const (
	askIssuerFor   = 10 * time.Second
	askIssuerEvery = 2 * time.Second
	askIssuerBurst = 5
)

// NewIssuer checks the options. The issuer itself need not be there yet.
func NewIssuer(o IssuerOptions) (*Issuer, error) {
	u, err := url.Parse(o.URL)
	switch {
	case err != nil:
		return nil, err
	case u.Host == "" || u.Scheme != "https" && !(u.Scheme == "http" && loopbackHost(u.Hostname())):
		return nil, fmt.Errorf("issuer: got %q, want an address that begins with https://", o.URL)
	case o.Audience == "":
		return nil, errors.New("audience: got nothing; without one, tokens made for any other service of the issuer would be accepted")
	}
	if o.Claim == "" {
		o.Claim = "tenant"
	}
	client := http.Client{}
	if o.Client != nil {
		client = *o.Client
	}
	client.Timeout = askIssuerFor
	client.Transport = &sparing{next: client.Transport, limit: rate.NewLimiter(rate.Every(askIssuerEvery), askIssuerBurst)}
	return &Issuer{options: o, client: &client}, nil
}

func loopbackHost(name string) bool {
	ip := net.ParseIP(name)
	return name == "localhost" || ip != nil && ip.IsLoopback()
}

// sparing keeps requests few.
type sparing struct {
	next  http.RoundTripper
	limit *rate.Limiter
}

var errAskedTooOften = errors.New("the issuer was asked too often")

// RoundTrip refuses what would be too much.
func (s *sparing) RoundTrip(r *http.Request) (*http.Response, error) {
	if !s.limit.Allow() {
		return nil, errAskedTooOften
	}
	if s.next == nil {
		return http.DefaultTransport.RoundTrip(r)
	}
	return s.next.RoundTrip(r)
}

// Caller is the tenant that a token names.
func (i *Issuer) Caller(ctx context.Context, token string) (Caller, error) {
	verifier, err := i.ready(ctx)
	if err != nil {
		i.options.Log.Error("the issuer does not answer", "issuer", i.options.URL, "error", err.Error())
		return Caller{}, ErrUnavailable
	}
	parsed, err := verifier.Verify(ctx, token)
	if err != nil {
		return Caller{}, i.refused(err)
	}
	claims := map[string]any{}
	if err := parsed.Claims(&claims); err != nil {
		return Caller{}, ErrRefused
	}
	tenant, _ := claims[i.options.Claim].(string)
	if CheckTenant(tenant) != nil {
		return Caller{}, fmt.Errorf("%w: its claim %q names no tenant", ErrRefused, i.options.Claim)
	}
	return Caller{Tenant: store.Tenant(tenant), Name: "token " + parsed.Subject}, nil
}

// refused says as much about a token as helps its owner, in words of our own:
// those of the library may repeat parts of it.
func (i *Issuer) refused(err error) error {
	var expired *oidc.TokenExpiredError
	switch {
	case errors.As(err, &expired):
		return fmt.Errorf("%w: it has expired", ErrRefused)
	case errors.Is(err, errAskedTooOften):
		return ErrUnavailable
	}
	return ErrRefused
}

// ready asks the issuer where its keys are, once it has answered never again.
func (i *Issuer) ready(ctx context.Context) (*oidc.IDTokenVerifier, error) {
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.verifier != nil {
		return i.verifier, nil
	}
	// What is fetched serves all: it does not end with this call.
	provider, err := oidc.NewProvider(oidc.ClientContext(context.WithoutCancel(ctx), i.client), i.options.URL)
	if err != nil {
		return nil, err
	}
	i.verifier = provider.Verifier(&oidc.Config{ClientID: i.options.Audience, Now: i.options.Now})
	return i.verifier, nil
}
