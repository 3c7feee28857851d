package rpc

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"regexp"
	"strconv"
	"time"
	"unicode/utf8"

	"google.golang.org/grpc"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lotwright/server/access"
)

// AuditRecord is one call: who, what, about which resource, and what came of it.
// It holds nothing of bodies, queries and headers.
type AuditRecord struct {
	Time     time.Time // when it came
	Took     time.Duration
	Caller   access.Caller // zero where it is not known
	From     string        // address of the client
	Method   string        // of gRPC in full; of HTTP GET, POST, …
	Resource string        // name or path, as it was given; that of what was made
	Outcome  string        // gRPC code, or HTTP status
}

// audited is a record in the making, in the context of its call.
type audited struct{ AuditRecord }

type auditedKey struct{}

// auditedOf is the record of a call; one that is not kept has one for nobody.
func auditedOf(ctx context.Context) *audited {
	if a, ok := ctx.Value(auditedKey{}).(*audited); ok {
		return a
	}
	return &audited{}
}

// begin begins a record of a call, where records are kept.
func (s *Server) beginAudit(ctx context.Context, from, method, resource string) (context.Context, *audited) {
	a := &audited{AuditRecord{Time: time.Now(), From: from, Method: method}}
	a.about(resource)
	return context.WithValue(ctx, auditedKey{}, a), a
}

func (s *Server) endAudit(a *audited, outcome string) {
	a.Took, a.Outcome = time.Since(a.Time), outcome
	s.options.Audit(a.AuditRecord)
}

// mostResource is how many bytes are kept of the name of a resource.
const mostResource = 300

// secret is what a key looks like that was put where it does not belong.
var secret = regexp.MustCompile(`lwk_[a-zA-Z0-9_]*`)

// about sets the resource that a call is about; one that is empty changes nothing.
func (a *audited) about(resource string) {
	if resource == "" {
		return
	}
	if len(resource) > mostResource {
		cut := mostResource
		for cut > 0 && !utf8.RuneStart(resource[cut]) {
			cut--
		}
		resource = resource[:cut] + "…"
	}
	a.Resource = secret.ReplaceAllString(resource, "lwk_…")
}

// auditHTTP keeps a record of every request but those that are open to all.
func (s *Server) auditHTTP(next http.Handler) http.Handler {
	if s.options.Audit == nil {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if openToAll(r.URL.Path) {
			next.ServeHTTP(w, r)
			return
		}
		from, _, err := net.SplitHostPort(r.RemoteAddr)
		if err != nil {
			from = r.RemoteAddr
		}
		ctx, a := s.beginAudit(r.Context(), from, r.Method, r.URL.Path)
		answer := &statusWriter{ResponseWriter: w}
		finished := false
		defer func() { // also when the answer is broken off
			outcome := strconv.Itoa(answer.code())
			if !finished {
				outcome += " broken off"
			}
			s.endAudit(a, outcome)
		}()
		next.ServeHTTP(answer, r.WithContext(ctx))
		finished = true
	})
}

// statusWriter remembers the status of an answer.
type statusWriter struct {
	http.ResponseWriter
	status int
}

// Unwrap lets a http.ResponseController reach the connection.
func (w *statusWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// WriteHeader keeps the status.
func (w *statusWriter) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
	}
	w.ResponseWriter.WriteHeader(status)
}

func (w *statusWriter) code() int {
	if w.status == 0 {
		return http.StatusOK
	}
	return w.status
}

func (s *Server) auditUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if s.options.Audit == nil || isHealth(info.FullMethod) {
		return handler(ctx, req)
	}
	ctx, a := s.beginAudit(ctx, clientOf(ctx), info.FullMethod, resourceOf(req))
	resp, err := handler(ctx, req)
	if err == nil && a.Resource == "" {
		a.about(resourceOf(resp))
	}
	s.endAudit(a, codeOf(status.Code(err)))
	return resp, err
}

func (s *Server) auditStream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if s.options.Audit == nil || isHealth(info.FullMethod) {
		return handler(srv, stream)
	}
	ctx, a := s.beginAudit(stream.Context(), clientOf(stream.Context()), info.FullMethod, "")
	err := handler(srv, &auditedStream{ServerStream: stream, ctx: ctx, record: a})
	s.endAudit(a, codeOf(status.Code(err)))
	return err
}

// auditedStream finds the resource in the first message that has one.
type auditedStream struct {
	grpc.ServerStream
	ctx    context.Context
	record *audited
	first  bool // has been seen
}

// Context is that of the call.
func (s *auditedStream) Context() context.Context { return s.ctx }

// RecvMsg receives a message.
func (s *auditedStream) RecvMsg(m any) error {
	err := s.ServerStream.RecvMsg(m)
	if err == nil && !s.first {
		s.first = true
		s.record.about(resourceOf(m))
	}
	return err
}

// clientOf is the address that a gRPC call comes from.
func clientOf(ctx context.Context) string {
	p, ok := peer.FromContext(ctx)
	if !ok {
		return ""
	}
	return hostOf(p.Addr)
}

// resourceOf is the name in a message, or in the first of its messages that has
// one: of a request the resource it is about, of an answer what was made.
func resourceOf(m any) string {
	message, ok := m.(proto.Message)
	if !ok {
		return ""
	}
	return resourceIn(message.ProtoReflect())
}

func resourceIn(m protoreflect.Message) string {
	fields := m.Descriptor().Fields()
	for _, name := range []protoreflect.Name{"name", "parent"} {
		if f := fields.ByName(name); f != nil && f.Kind() == protoreflect.StringKind && !f.IsList() && m.Get(f).String() != "" {
			return m.Get(f).String()
		}
	}
	for i := range fields.Len() {
		f := fields.Get(i)
		if f.IsList() || f.IsMap() || f.Kind() != protoreflect.MessageKind || !m.Has(f) || holdsNoResource[f.Message().FullName()] {
			continue
		}
		if found := resourceIn(m.Get(f).Message()); found != "" {
			return found
		}
	}
	return ""
}

// holdsNoResource are the messages whose names are those of other things.
var holdsNoResource = map[protoreflect.FullName]bool{"lotwright.v1.Settings": true, "lotwright.v1.Lot": true, "google.protobuf.Any": true}

// named sets the resource of a call over HTTP to what its answer is about.
func named(ctx context.Context, m proto.Message) {
	a := auditedOf(ctx)
	if found := resourceOf(m); found != "" && a.Method == http.MethodPost {
		a.about(fmt.Sprintf("%s %s", a.Resource, found))
	}
}
