package rpc

import (
	"context"
	"net/http"
	"strconv"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"
	grpccodes "google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"lotwright/server/store"
)

// Spans are made of every call at its door, of what it asks the store, of lots
// and of the stages of their designs. They hold the names of methods and no ids,
// which may be people's addresses.

// traces carries the context of traces as W3C has it.
var traces propagation.TraceContext

// traceHTTP makes a span of every request but those that are open to all. A
// client that is part of a trace is followed.
func (s *Server) traceHTTP(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if openToAll(r.URL.Path) {
			next.ServeHTTP(w, r)
			return
		}
		ctx := traces.Extract(r.Context(), propagation.HeaderCarrier(r.Header))
		ctx, span := s.options.Tracer.Start(ctx, r.Method, trace.WithSpanKind(trace.SpanKindServer))
		answer := &statusWriter{ResponseWriter: w}
		defer func() {
			span.SetAttributes(attribute.Int("http.response.status_code", answer.code()))
			if answer.code() >= http.StatusInternalServerError {
				span.SetStatus(codes.Error, strconv.Itoa(answer.code()))
			}
			span.End()
		}()
		next.ServeHTTP(answer, r.WithContext(ctx))
	})
}

// metadataCarrier is metadata as propagation sees it.
type metadataCarrier metadata.MD

// Get is the first value of a key.
func (m metadataCarrier) Get(key string) string {
	if v := metadata.MD(m).Get(key); len(v) > 0 {
		return v[0]
	}
	return ""
}

// Set sets the value of a key.
func (m metadataCarrier) Set(key, value string) { metadata.MD(m).Set(key, value) }

// Keys lists the keys.
func (m metadataCarrier) Keys() (list []string) {
	for k := range m {
		list = append(list, k)
	}
	return list
}

// carryTrace tells the server in the same process which trace a call is part of.
func carryTrace(ctx context.Context) context.Context {
	md, _ := metadata.FromOutgoingContext(ctx)
	md = md.Copy()
	traces.Inject(ctx, metadataCarrier(md))
	return metadata.NewOutgoingContext(ctx, md)
}

// carriedOn goes on with the trace that a call says it is part of.
func carriedOn(ctx context.Context) context.Context {
	md, _ := metadata.FromIncomingContext(ctx)
	return traces.Extract(ctx, metadataCarrier(md))
}

func (s *Server) traceUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if !ours(info.FullMethod) {
		return handler(ctx, req)
	}
	ctx, span := s.options.Tracer.Start(carriedOn(ctx), info.FullMethod[1:], trace.WithSpanKind(trace.SpanKindServer))
	resp, err := handler(ctx, req)
	endSpan(span, err)
	return resp, err
}

func (s *Server) traceStream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if !ours(info.FullMethod) {
		return handler(srv, stream)
	}
	ctx, span := s.options.Tracer.Start(carriedOn(stream.Context()), info.FullMethod[1:], trace.WithSpanKind(trace.SpanKindServer))
	err := handler(srv, &identifiedStream{stream, ctx})
	endSpan(span, err)
	return err
}

// endSpan ends a span with the code of an error, whose text may name what is the
// client's.
func endSpan(span trace.Span, err error) {
	if err != nil {
		code := status.Code(err)
		span.SetAttributes(attribute.String("rpc.response.status_code", codeOf(code)))
		if code == grpccodes.Internal || code == grpccodes.Unknown || code == grpccodes.Unavailable {
			span.SetStatus(codes.Error, codeOf(code))
		}
	}
	span.End()
}

type stagesKey struct{}

// watching is a context whose stages are timed.
func (s *Server) watching(ctx context.Context) context.Context {
	return context.WithValue(ctx, stagesKey{}, s.metrics)
}

// Stage times a stage of a design, and makes a span of it where there are any.
// The context is that of [Options.Design].
func Stage(ctx context.Context, name string) (context.Context, func()) {
	ctx, span := trace.SpanFromContext(ctx).TracerProvider().Tracer("lotwright").Start(ctx, name)
	began := time.Now()
	return ctx, func() {
		span.End()
		if m, ok := ctx.Value(stagesKey{}).(*metrics); ok && ctx.Err() == nil {
			m.stages.WithLabelValues(name).Observe(time.Since(began).Seconds())
		}
	}
}

// tracedStore makes spans of what takes time. What is not here is not traced.
type tracedStore struct {
	store.Store
	tracer trace.Tracer
}

func spanned[T any](ctx context.Context, s tracedStore, name string, ask func(context.Context) (T, error)) (T, error) {
	ctx, span := s.tracer.Start(ctx, "store "+name)
	v, err := ask(ctx)
	if err != nil {
		span.SetAttributes(attribute.Bool("refused", true))
	}
	span.End()
	return v, err
}

func (s tracedStore) CreateBatch(ctx context.Context, t store.Tenant, id, title string, r store.Request) (store.Batch, error) {
	return spanned(ctx, s, "CreateBatch", func(ctx context.Context) (store.Batch, error) { return s.Store.CreateBatch(ctx, t, id, title, r) })
}

func (s tracedStore) Batch(ctx context.Context, t store.Tenant, id string) (store.Batch, error) {
	return spanned(ctx, s, "Batch", func(ctx context.Context) (store.Batch, error) { return s.Store.Batch(ctx, t, id) })
}

func (s tracedStore) Batches(ctx context.Context, t store.Tenant, after string, n int) ([]store.Batch, error) {
	return spanned(ctx, s, "Batches", func(ctx context.Context) ([]store.Batch, error) { return s.Store.Batches(ctx, t, after, n) })
}

func (s tracedStore) DeleteBatch(ctx context.Context, t store.Tenant, id string) error {
	_, err := spanned(ctx, s, "DeleteBatch", func(ctx context.Context) (struct{}, error) { return struct{}{}, s.Store.DeleteBatch(ctx, t, id) })
	return err
}

func (s tracedStore) AddLots(ctx context.Context, t store.Tenant, batch string, p store.Piece) (i store.Import, refusals []store.Refusal, err error) {
	i, err = spanned(ctx, s, "AddLots", func(ctx context.Context) (i store.Import, err error) {
		i, refusals, err = s.Store.AddLots(ctx, t, batch, p)
		return i, err
	})
	return i, refusals, err
}

func (s tracedStore) StartOperation(ctx context.Context, t store.Tenant, batch, id string, settings []byte, r store.Request) (store.Operation, error) {
	return spanned(ctx, s, "StartOperation", func(ctx context.Context) (store.Operation, error) {
		return s.Store.StartOperation(ctx, t, batch, id, settings, r)
	})
}

func (s tracedStore) StartComparison(ctx context.Context, t store.Tenant, batch, id string, settings []byte, r store.Request) (store.Operation, error) {
	return spanned(ctx, s, "StartComparison", func(ctx context.Context) (store.Operation, error) {
		return s.Store.StartComparison(ctx, t, batch, id, settings, r)
	})
}

func (s tracedStore) Operation(ctx context.Context, t store.Tenant, id string) (store.Operation, error) {
	return spanned(ctx, s, "Operation", func(ctx context.Context) (store.Operation, error) { return s.Store.Operation(ctx, t, id) })
}

func (s tracedStore) Designs(ctx context.Context, t store.Tenant, batch string, revision, after, n int) ([]store.Design, error) {
	return spanned(ctx, s, "Designs", func(ctx context.Context) ([]store.Design, error) {
		return s.Store.Designs(ctx, t, batch, revision, after, n)
	})
}
