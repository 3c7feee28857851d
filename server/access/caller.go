package access

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"lotwright/server/store"
)

// Caller is who makes a call.
type Caller struct {
	Tenant store.Tenant
	// Name tells the callers of a tenant apart, for the audit log: "key" and the
	// key's id, or "token" and its subject; empty where callers are not known.
	Name string
}

// Local is the caller of a service that does not ask who calls.
var Local = Caller{Tenant: store.Local}

type callerKey struct{}

// With returns a context that knows its caller.
func With(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, callerKey{}, c)
}

// Of is the caller of a context. Without one it is the zero Caller, to whom
// nothing belongs.
func Of(ctx context.Context) Caller {
	c, _ := ctx.Value(callerKey{}).(Caller)
	return c
}

// Tenant is whose rows a call may see: the tenant of the context's caller, or
// without one a tenant that has none.
func Tenant(ctx context.Context) store.Tenant { return Of(ctx).Tenant }

// Errors of a call whose caller is not known.
var (
	// ErrNone: the call brings nothing to know its caller by.
	ErrNone = errors.New("this service answers those it knows: send an API key or a token as Authorization: Bearer …")
	// ErrRefused: what it brings is not accepted. The texts around it hold
	// nothing of the key or token.
	ErrRefused = errors.New("the key or token is not accepted")
	// ErrUnavailable: whether it is accepted cannot be found out now.
	ErrUnavailable = errors.New("keys or tokens cannot be checked now; the server's log has the details")
)

// Checker knows callers by what they send.
type Checker struct {
	Keys   *Keys   // nil: no keys
	Issuer *Issuer // nil: no tokens
}

// Caller is who sends a request with these Authorization headers. The error is
// one of those above, possibly wrapped.
func (c *Checker) Caller(ctx context.Context, authorization []string) (Caller, error) {
	token, err := bearer(authorization)
	if err != nil {
		return Caller{}, err
	}
	switch {
	case strings.HasPrefix(token, keyPrefix) && c.Keys != nil:
		return c.Keys.Caller(token)
	case c.Issuer != nil:
		return c.Issuer.Caller(ctx, token)
	}
	return Caller{}, ErrRefused
}

// bearer is the token of an Authorization header (RFC 6750).
func bearer(authorization []string) (string, error) {
	if len(authorization) == 0 {
		return "", ErrNone
	}
	scheme, token, _ := strings.Cut(authorization[0], " ")
	if len(authorization) > 1 || !strings.EqualFold(scheme, "Bearer") || token == "" {
		return "", fmt.Errorf("%w: want one header, Authorization: Bearer and the key or token", ErrRefused)
	}
	return token, nil
}

// mostTenant is the most characters of a tenant's name.
const mostTenant = 63

// CheckTenant says what is wrong with the name of a tenant.
func CheckTenant(name string) error {
	odd := func(r rune) bool { return !strings.ContainsRune("abcdefghijklmnopqrstuvwxyz0123456789-", r) }
	if name == "" || len(name) > mostTenant || strings.ContainsFunc(name, odd) || name[0] == '-' || name[len(name)-1] == '-' {
		return fmt.Errorf("tenant: got %.80q, want 1 to %d lower-case letters, digits and dashes, neither first nor last a dash", name, mostTenant)
	}
	return nil
}
