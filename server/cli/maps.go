package cli

import (
	"context"
	"log/slog"
	"net/http"

	"lotwright/server/access"
	"lotwright/server/ogc"
	"lotwright/server/rpc"
	"lotwright/server/store"
)

// mapFlags say under which address mapping tools see the service.
type mapFlags struct {
	BaseURL        mapURL `name:"base-url" placeholder:"URL" help:"Where mapping tools see the service, if not where it listens: the links below /ogc/ begin with it."`
	TrustForwarded bool   `name:"trust-forwarded" help:"Let a proxy in front say that (X-Forwarded-Proto, -Host, -Prefix). Only for a proxy that sets them itself."`
}

// mapURL is where something is seen by others.
type mapURL string

// UnmarshalText accepts what links can begin with.
func (u *mapURL) UnmarshalText(text []byte) error {
	*u = mapURL(text)
	return ogc.CheckBaseURL(string(text))
}

// maps makes what answers mapping tools.
func (f mapFlags) maps(log *slog.Logger) func(store.Store) (http.Handler, error) {
	return func(kept store.Store) (http.Handler, error) {
		return ogc.New(ogc.Options{
			Store: kept, Features: rpc.StoredFeatures, Tenant: tenantOf, Export: rpc.DatabasePath,
			BaseURL: string(f.BaseURL), Forwarded: f.TrustForwarded, Log: log,
		})
	}
}

// tenantOf is whose batches a request is about.
func tenantOf(ctx context.Context) store.Tenant { return access.Tenant(ctx) }
