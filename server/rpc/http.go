package rpc

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
)

// httpSlop is what net/http reads of headers beyond MaxHeaderBytes.
const httpSlop = 4096

// httpServer serves next on a listener, loopback or not. Requests end with base.
func (s *Server) httpServer(base context.Context, next http.Handler, loopback bool) *http.Server {
	l := s.options.Limits
	return &http.Server{
		Handler:           s.outside(s.traceHTTP(s.auditHTTP(s.identified(next))), loopback && s.options.Callers == nil),
		TLSConfig:         s.options.TLS.Clone(), // nil for none
		ReadHeaderTimeout: l.ReadHeader,
		IdleTimeout:       l.ConnectionIdle,
		MaxHeaderBytes:    max(l.Headers-httpSlop, 1),
		ErrorLog:          slog.NewLogLogger(s.options.Log.Handler(), slog.LevelDebug),
		BaseContext:       func(net.Listener) context.Context { return base },
	}
}

// serveHTTP serves with TLS where there is a configuration for it.
func serveHTTP(h *http.Server, l net.Listener) error {
	if h.TLSConfig == nil {
		return h.Serve(l)
	}
	return h.ServeTLS(l, "", "")
}

// outside is what every HTTP request passes first. With onlyLoopback, requests
// must name this machine: who asks callers for a key needs no such proof, and may
// be behind a proxy that passes on its own name.
func (s *Server) outside(next http.Handler, onlyLoopback bool) http.Handler {
	origins := http.NewCrossOriginProtection()
	origins.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		writeFault(w, faultf(codes.PermissionDenied, reasonForbiddenOrigin, "pages of other sites cannot call this service"))
	}))
	next = origins.Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Cache-Control", "no-store")
		controller := http.NewResponseController(w)
		if r.Body != http.NoBody {
			// Before it answers a request it has not read, the server tries to
			// read the rest: that must end, too.
			_ = controller.SetReadDeadline(time.Now().Add(s.options.Limits.ReadIdle))
		}
		w = &impatientWriter{w, controller, s.options.Limits.WriteIdle}
		if onlyLoopback && !namesLoopback(r.Host) {
			writeFault(w, faultf(codes.PermissionDenied, reasonForbiddenHost, "Host: got %q, want localhost or a loopback address", r.Host))
			return
		}
		next.ServeHTTP(w, r)
	})
}

// withPage sends what belongs to the page to it and all else to next.
func (s *Server) withPage(next http.Handler) http.Handler {
	if s.options.Page == nil {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/" || strings.HasPrefix(r.URL.Path, "/assets/") {
			s.options.Page.ServeHTTP(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// MapsPrefix is the path below which mapping tools are answered.
const MapsPrefix = "/ogc/"

// withMaps sends what is below [MapsPrefix] there and all else to next.
func (s *Server) withMaps(next http.Handler) http.Handler {
	if s.maps == nil {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, MapsPrefix) {
			s.maps.ServeHTTP(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func writeFault(w http.ResponseWriter, f *fault) { problemOf(f.status()).write(w) }

// namesLoopback reports whether a Host header means this machine without
// asking the network. A page that has its own name resolve to a loopback
// address (DNS rebinding) sends that name.
func namesLoopback(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	ip := net.ParseIP(host)
	return strings.EqualFold(host, "localhost") || ip != nil && ip.IsLoopback()
}

// isLoopback reports whether only this machine can reach an address.
func isLoopback(a net.Addr) bool {
	switch a := a.(type) {
	case *net.TCPAddr:
		return a.IP.IsLoopback()
	case *net.UnixAddr:
		return true
	}
	return false
}
