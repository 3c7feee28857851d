package rpc

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/test/bufconn"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// Server answers design requests. It is made by [New].
type Server struct {
	options  Options
	workers  slots // designs under way
	requests slots // calls under way
	watchers slots // of these, that watch a run

	uploading uploading

	metrics *metrics
	maps    http.Handler // nil: none
	rates   *rates

	stopping chan struct{} // closed when no more work is taken up
	stop     func()
}

// New returns a server, or says which option is missing.
func New(o Options) (*Server, error) {
	o, err := o.orDefaults()
	if err != nil {
		return nil, err
	}
	s := &Server{options: o, workers: newSlots(o.Workers), requests: newSlots(o.Limits.Requests), watchers: newSlots(o.Limits.Watchers), stopping: make(chan struct{})}
	s.metrics = newMetrics(s.options)
	if o.Store != nil && o.Maps != nil {
		if s.maps, err = o.Maps(o.Store); err != nil {
			return nil, err
		}
	}
	s.rates = newRates(o.Limits)
	if o.Store != nil {
		s.options.Store = tracedStore{o.Store, o.Tracer}
	}
	if l := o.Limits; o.Store != nil {
		o.Store.Bound(store.Quota{Batches: l.Batches, Lots: l.Stored, Running: l.Running, Records: l.Records})
	}
	s.stop = sync.OnceFunc(func() { close(s.stopping) })
	return s, nil
}

// Serve answers gRPC on one listener and HTTP on the other until ctx ends;
// either may be nil. Then it takes no more requests, gives those under way the
// time of [Limits.Stop] to finish, and returns nil. The listeners are closed
// in any case. A listener that other machines can reach is an error unless there
// are [Options.TLS] and [Options.Callers].
func (s *Server) Serve(ctx context.Context, grpcListener, httpListener net.Listener) error {
	if err := s.checkAddresses(grpcListener, httpListener); err != nil {
		return errors.Join(err, closeAll(grpcListener, httpListener))
	}
	r, err := s.start(ctx, grpcListener, httpListener)
	if err != nil {
		return errors.Join(err, closeAll(grpcListener, httpListener))
	}
	select {
	case <-ctx.Done():
		err = nil
	case err = <-r.failed:
	}
	s.stop()
	r.stop(s.options.Limits.Stop)
	s.uploading.end()
	return err
}

func closeAll(listeners ...net.Listener) error {
	var errs []error
	for _, l := range listeners {
		if l != nil {
			errs = append(errs, l.Close())
		}
	}
	return errors.Join(errs...)
}

// checkAddresses lets nobody listen to other machines who does not know them and
// would be overheard.
func (s *Server) checkAddresses(listeners ...net.Listener) error {
	for _, l := range listeners {
		if l == nil || isLoopback(l.Addr()) || s.options.TLS != nil && s.options.Callers != nil {
			continue
		}
		return fmt.Errorf("listen on %s: other machines can reach this address, and requests are not both encrypted and authenticated; set TLS and Callers or use a loopback address", l.Addr())
	}
	return nil
}

// running is a server at work. The gateway calls a gRPC server of its own, so
// that HTTP requests under way can finish while the other one is stopping.
type running struct {
	outer, inner *grpc.Server
	http         *http.Server
	health       *health.Server
	toInner      *grpc.ClientConn
	cut          context.CancelFunc // ends the HTTP requests under way

	failed chan error
	wg     sync.WaitGroup
}

// start serves gRPC on its listener and in process, and HTTP on the other.
func (s *Server) start(ctx context.Context, grpcListener, httpListener net.Listener) (*running, error) {
	r := &running{health: health.NewServer(), failed: make(chan error, 3)}
	r.outer, r.inner = s.grpcServer(r.health, s.fromOutside, s.outsideOptions()...), s.grpcServer(r.health, fromInside)
	inside := bufconn.Listen(insideBuffer)
	var err error
	if r.toInner, err = dial(inside); err != nil {
		return nil, err
	}
	handler, err := s.gateway(ctx, r.toInner)
	if err != nil {
		return nil, errors.Join(err, r.toInner.Close())
	}
	var base context.Context
	base, r.cut = context.WithCancel(context.WithoutCancel(ctx))
	r.serve(func() error { return r.inner.Serve(inside) })
	if grpcListener != nil {
		r.serve(func() error { return r.outer.Serve(limitConnections(grpcListener, s.options.Limits)) })
	}
	if httpListener != nil {
		r.http = s.httpServer(base, s.withMaps(s.withPage(handler)), isLoopback(httpListener.Addr()))
		r.serve(func() error { return serveHTTP(r.http, limitConnections(httpListener, s.options.Limits)) })
	}
	r.health.SetServingStatus(pb.Designer_ServiceDesc.ServiceName, grpc_health_v1.HealthCheckResponse_SERVING)
	if s.options.Store != nil {
		r.health.SetServingStatus(pb.BatchService_ServiceDesc.ServiceName, grpc_health_v1.HealthCheckResponse_SERVING)
		r.health.SetServingStatus(pb.Presets_ServiceDesc.ServiceName, grpc_health_v1.HealthCheckResponse_SERVING)
	}
	return r, nil
}

func (r *running) serve(serve func() error) {
	r.wg.Go(func() {
		if err := serve(); err != nil && !errors.Is(err, http.ErrServerClosed) {
			r.failed <- err
		}
	})
}

// stop ends in order what is done within the given time, and the rest at once.
func (r *running) stop(within time.Duration) {
	r.health.Shutdown()
	patience, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	var wg sync.WaitGroup
	wg.Go(func() { stopGRPC(patience, r.outer) })
	if r.http != nil && r.http.Shutdown(patience) != nil {
		r.cut()
		_ = r.http.Close() // what is still open is cut off on purpose
	}
	wg.Wait()
	r.cut()
	_ = r.toInner.Close() // its other end goes, too
	r.inner.Stop()
	r.wg.Wait()
}

func stopGRPC(patience context.Context, g *grpc.Server) {
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		g.GracefulStop()
	}()
	select {
	case <-stopped:
	case <-patience.Done():
		g.Stop()
		<-stopped
	}
}

// grpcServer answers those that identify knows.
func (s *Server) grpcServer(h *health.Server, identify identifier, more ...grpc.ServerOption) *grpc.Server {
	g := grpc.NewServer(append(more,
		grpc.ChainUnaryInterceptor(identify.unary, s.unary),
		grpc.ChainStreamInterceptor(identify.stream, s.stream),
		grpc.MaxRecvMsgSize(s.options.Limits.Message),
		grpc.WaitForHandlers(true),
	)...)
	pb.RegisterDesignerServer(g, designer{Server: s})
	if s.options.Store != nil {
		b := s.batches()
		pb.RegisterBatchServiceServer(g, b)
		pb.RegisterPresetsServer(g, s.presets())
		longrunningpb.RegisterOperationsServer(g, operations{batches: b})
	}
	grpc_health_v1.RegisterHealthServer(g, h)
	if s.options.Reflection {
		reflection.Register(g)
	}
	return g
}

// outsideOptions are those of the gRPC server that clients reach.
func (s *Server) outsideOptions() []grpc.ServerOption {
	list := append(s.options.Limits.connections(), grpc.ChainUnaryInterceptor(s.traceUnary, s.auditUnary), grpc.ChainStreamInterceptor(s.traceStream, s.auditStream))
	if s.options.TLS != nil {
		list = append(list, grpc.Creds(credentials.NewTLS(s.options.TLS)))
	}
	return list
}

// connections are the limits of gRPC connections from outside. The gateway's one
// carries the calls of all HTTP clients, whose own connections are limited: on
// it these limits would make calls wait, health checks among them, or cut them
// off.
func (l Limits) connections() []grpc.ServerOption {
	return []grpc.ServerOption{
		grpc.MaxConcurrentStreams(uint32(l.Streams)),
		grpc.MaxHeaderListSize(uint32(l.Headers)),
		grpc.ConnectionTimeout(l.ReadHeader),
		grpc.KeepaliveParams(keepalive.ServerParameters{
			MaxConnectionIdle: l.ConnectionIdle, MaxConnectionAge: l.ConnectionAge, MaxConnectionAgeGrace: l.ConnectionGrace,
			Time: l.Ping, Timeout: l.WriteIdle,
		}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: l.LeastPing, PermitWithoutStream: true}),
	}
}

// insideBuffer is how many bytes may be under way to the server in the same
// process.
const insideBuffer = 1 << 20

// dial connects to that server.
func dial(inside *bufconn.Listener) (*grpc.ClientConn, error) {
	return grpc.NewClient("passthrough:///inside",
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithChainUnaryInterceptor(carryUnary), grpc.WithChainStreamInterceptor(carryStream),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return inside.DialContext(ctx) }),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(largestMessage), grpc.MaxCallSendMsgSize(largestMessage)),
	)
}

// largestMessage leaves the limit of messages to the server.
const largestMessage = 1<<31 - 1
