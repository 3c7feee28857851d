package rpc

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"google.golang.org/grpc/codes"

	"lotwright/layout"
	"lotwright/server/store"
)

// metrics are the figures that a monitoring system fetches, in the text format
// of Prometheus. None names a lot, a batch or a tenant.
type metrics struct {
	calls   *prometheus.CounterVec
	lots    *prometheus.CounterVec
	seconds prometheus.Histogram
	stages  *prometheus.HistogramVec
	handler http.Handler
}

func newMetrics(o Options) *metrics {
	m := &metrics{
		calls: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "lotwright_calls_total", Help: "Calls answered, by method and gRPC code.",
		}, []string{"method", "code"}),
		lots: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "lotwright_lots_total", Help: "Lots designed since the start, by status and by what their bound on heads rests on.",
		}, []string{"status", "proof"}),
		seconds: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "lotwright_lot_seconds", Help: "Time to design one lot.", Buckets: prometheus.ExponentialBuckets(0.005, 2, 15), // to 82 s
		}),
	}
	m.stages = prometheus.NewHistogramVec(prometheus.HistogramOpts{
		Name: "lotwright_stage_seconds", Help: "Time of one stage of the design of a lot; stages may hold others.", Buckets: prometheus.ExponentialBuckets(0.001, 4, 9), // to 65 s
	}, []string{"stage"})
	registry := prometheus.NewRegistry()
	registry.MustRegister(m.calls, m.lots, m.seconds, m.stages, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	if o.Store != nil {
		registry.MustRegister(backlog{o.Store})
	}
	m.handler = promhttp.HandlerFor(registry, promhttp.HandlerOpts{ErrorHandling: promhttp.ContinueOnError})
	return m
}

func (m *metrics) called(method string, c codes.Code) {
	m.calls.WithLabelValues(method, codeOf(c)).Inc()
}

func (m *metrics) designed(d *layout.Design, took time.Duration) {
	m.lots.WithLabelValues(string(d.Status), string(d.Proof.Kind)).Inc()
	m.seconds.Observe(took.Seconds())
}

// ServeMetrics answers GET on /metrics, and nothing else, until ctx ends. It asks
// nobody who they are, so the listener must be one that only this machine can
// reach. A server that knows its callers gives its figures nowhere else, since
// they are about all of them.
func (s *Server) ServeMetrics(ctx context.Context, l net.Listener) error {
	if !isLoopback(l.Addr()) {
		return errors.Join(fmt.Errorf("figures on %s: other machines can reach this address", l.Addr()), l.Close())
	}
	mux := http.NewServeMux()
	mux.Handle("GET "+metricsPath, s.metrics.handler)
	limits := s.options.Limits
	h := &http.Server{Handler: s.outside(mux, true), ReadHeaderTimeout: limits.ReadHeader, IdleTimeout: limits.ConnectionIdle, MaxHeaderBytes: limits.Headers}
	defer context.AfterFunc(ctx, func() { _ = h.Close() })()
	if err := h.Serve(limitConnections(l, limits)); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// serve answers GET on [metricsPath].
func (m *metrics) serve(w http.ResponseWriter, r *http.Request, _ map[string]string) {
	m.handler.ServeHTTP(w, r)
}

// backlog asks the store what waits, whenever it is asked itself.
type backlog struct{ store store.Store }

var (
	openLots = prometheus.NewDesc("lotwright_batch_lots_open", "Lots of running operations that wait for a design.", nil, nil)
	openAge  = prometheus.NewDesc("lotwright_batch_oldest_open_seconds", "Age of the oldest operation that runs; 0 when none does.", nil, nil)
)

// backlogTime is how long the store is waited for.
const backlogTime = 2 * time.Second

// Describe names the figures.
func (b backlog) Describe(to chan<- *prometheus.Desc) {
	to <- openLots
	to <- openAge
}

// Collect fetches them.
func (b backlog) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), backlogTime)
	defer cancel()
	lots, since, err := b.store.Backlog(ctx)
	if err != nil {
		to <- prometheus.NewInvalidMetric(openLots, err)
		return
	}
	age := time.Duration(0)
	if !since.IsZero() {
		age = time.Since(since)
	}
	to <- prometheus.MustNewConstMetric(openLots, prometheus.GaugeValue, float64(lots))
	to <- prometheus.MustNewConstMetric(openAge, prometheus.GaugeValue, age.Seconds())
}
