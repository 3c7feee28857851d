package rpc

import (
	"context"
	"errors"
	"net/http"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"

	"lotwright/server/access"
	"lotwright/server/store"
)

// Who calls is found out once, at the door: by the interceptors of the gRPC
// server that clients reach, or by the handler around all HTTP. From there on
// the context knows it (package access). HTTP requests that go on to methods
// pass the gRPC server in the same process, which nothing else can reach and
// which takes the gateway's word.

// identify is who sends a request with these Authorization headers. Callers that
// are known take turns: one that calls too often is an error.
func (s *Server) identify(ctx context.Context, authorization []string) (access.Caller, error) {
	if s.options.Callers == nil {
		return access.Local, nil
	}
	caller, err := s.options.Callers.Caller(ctx, authorization)
	switch {
	case errors.Is(err, access.ErrUnavailable):
		return caller, faultf(codes.Unavailable, reasonNotReady, "%v", err)
	case err != nil:
		return caller, faultf(codes.Unauthenticated, reasonUnauthenticated, "%v", err)
	}
	return caller, s.rates.take(caller.Tenant)
}

// identified answers HTTP requests of callers that are known, and of anybody who
// asks for what is open to all.
func (s *Server) identified(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if openToAll(r.URL.Path) {
			next.ServeHTTP(w, r)
			return
		}
		caller, err := s.identify(r.Context(), r.Header.Values("Authorization"))
		auditedOf(r.Context()).Caller = caller
		if err != nil {
			st, _ := toStatus(err)
			writeError(w, st.Err())
			return
		}
		next.ServeHTTP(w, r.WithContext(access.With(r.Context(), caller)))
	})
}

// openToAll are the paths that tell nobody anything: the page without its data,
// and whether the service runs.
func openToAll(path string) bool {
	return path == "/" || path == healthPath || path == readyPath || strings.HasPrefix(path, "/assets/")
}

// identifier adds to the context of a gRPC call who makes it.
type identifier func(context.Context) (context.Context, error)

// fromOutside knows callers by their metadata.
func (s *Server) fromOutside(ctx context.Context) (context.Context, error) {
	caller, err := s.identify(ctx, metadata.ValueFromIncomingContext(ctx, "authorization"))
	auditedOf(ctx).Caller = caller
	if err != nil {
		st, _ := toStatus(err)
		return nil, st.Err()
	}
	return access.With(ctx, caller), nil
}

// Metadata by which the gateway tells the server in the same process who calls.
// Its server is the only one that looks at them. They are binary, so that any
// name goes through.
const (
	carriedTenant = "lotwright-tenant-bin"
	carriedName   = "lotwright-caller-bin"
)

// fromInside takes the gateway's word.
func fromInside(ctx context.Context) (context.Context, error) {
	tenants, names := metadata.ValueFromIncomingContext(ctx, carriedTenant), metadata.ValueFromIncomingContext(ctx, carriedName)
	if len(tenants) != 1 || len(names) != 1 {
		return nil, errors.New("bug in fromInside: a call of nobody")
	}
	return access.With(carriedOn(ctx), access.Caller{Tenant: store.Tenant(tenants[0]), Name: names[0]}), nil
}

func carry(ctx context.Context) context.Context {
	caller := access.Of(ctx)
	if caller == (access.Caller{}) {
		return ctx
	}
	return metadata.AppendToOutgoingContext(carryTrace(ctx), carriedTenant, string(caller.Tenant), carriedName, caller.Name)
}

func carryUnary(ctx context.Context, method string, req, reply any, conn *grpc.ClientConn, call grpc.UnaryInvoker, opts ...grpc.CallOption) error {
	return call(carry(ctx), method, req, reply, conn, opts...)
}

func carryStream(ctx context.Context, desc *grpc.StreamDesc, conn *grpc.ClientConn, method string, call grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	return call(carry(ctx), desc, conn, method, opts...)
}

func (identify identifier) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if isHealth(info.FullMethod) {
		return handler(ctx, req)
	}
	ctx, err := identify(ctx)
	if err != nil {
		return nil, err
	}
	return handler(ctx, req)
}

func (identify identifier) stream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if isHealth(info.FullMethod) {
		return handler(srv, stream)
	}
	ctx, err := identify(stream.Context())
	if err != nil {
		return err
	}
	return handler(srv, &identifiedStream{stream, ctx})
}

// identifiedStream is a stream whose context knows the caller.
type identifiedStream struct {
	grpc.ServerStream
	ctx context.Context
}

// Context is that of the call.
func (s *identifiedStream) Context() context.Context { return s.ctx }

// isHealth tells the methods that anybody may call.
func isHealth(method string) bool {
	return strings.HasPrefix(method, "/"+grpc_health_v1.Health_ServiceDesc.ServiceName+"/")
}
