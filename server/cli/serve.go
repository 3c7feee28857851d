package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/netip"

	"lotwright/server/rpc"
	"lotwright/server/web"
)

// serveCommand answers design requests until it is told to stop.
type serveCommand struct {
	GRPCListen listenAddress `name:"grpc-listen" default:"127.0.0.1:7443" placeholder:"HOST:PORT" help:"Where gRPC is answered. Port 0 takes a free one."`
	HTTPListen listenAddress `name:"http-listen" default:"127.0.0.1:7080" placeholder:"HOST:PORT" help:"Where REST is answered, and at / the map page."`
	Metrics    listenAddress `name:"metrics-listen" placeholder:"HOST:PORT" help:"Where /metrics is answered once callers are asked who they are: on this machine, to anybody. Else it is beside REST."`
	Reflection bool          `help:"Let gRPC clients list the methods."`
	Workers    int           `placeholder:"N" help:"Lots worked on at a time; default: one a processor."`
	LogFormat  string        `enum:"text,json" default:"text" placeholder:"text|json" help:"Form of the log on standard error."`

	keptBatches
	accessFlags
	traceFlags
	mapFlags
	Limit limitFlags `embed:"" prefix:"limit-" group:"Limits:"`
}

// Help is shown below the summary by serve --help.
func (serveCommand) Help() string {
	return `The map page is at the HTTP address: open it in a browser, drop a file of lots on it, and see the designs. Without more it answers this machine only and asks nobody who they are. Other machines can reach it at an address given with --grpc-listen and --http-listen, which needs a certificate, and keys or tokens to know callers by. It stops on Ctrl-C, after the requests under way. With --data, or a --database that others share, it keeps batches, and what it has answered outlives it, however it ends; the next start goes on with the lots that are left.

Examples:

    lotwright serve
    lotwright serve --data /var/lib/lotwright
    lotwright serve --database postgres:///lots
    curl -s -H 'Content-Type: application/geo+json' --data-binary @lots.geojson 'http://127.0.0.1:7080/v1/lots:design?head_pressure=55psi'
    lotwright serve --reflection --grpc-listen 127.0.0.1:0
    lotwright keys add --keys keys.json --tenant elm-gardens
    lotwright serve --grpc-listen :7443 --http-listen :7080 --tls-certificate chain.pem --tls-key key.pem --keys keys.json`
}

// listenAddress is host:port, or :port for all addresses of the machine.
type listenAddress string

// UnmarshalText accepts addresses and "localhost": any other name might come to
// mean something else.
func (a *listenAddress) UnmarshalText(text []byte) error {
	host, _, err := net.SplitHostPort(string(text))
	if err != nil {
		return err
	}
	if _, err := netip.ParseAddr(host); err != nil && host != "localhost" && host != "" {
		return fmt.Errorf("%q: want an address such as 127.0.0.1:7443, localhost:7443 or :7443", text)
	}
	*a = listenAddress(text)
	return nil
}

// loopback reports whether only this machine can reach an address.
func (a listenAddress) loopback() bool {
	host, _, _ := net.SplitHostPort(string(a))
	address, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && address.IsLoopback()
}

// Run listens and serves until ctx ends.
func (s *serveCommand) Run(ctx context.Context, c *console) error {
	workers, err := runFlags{Workers: s.Workers}.workers()
	if err != nil {
		return err
	}
	log := slog.New(logHandler(s.LogFormat, c.err))
	if err := s.check(s.GRPCListen, s.HTTPListen); err != nil {
		return err
	}
	if s.Metrics != "" && !s.Metrics.loopback() {
		return usagef("--metrics-listen %s: other machines can reach this address, and nobody is asked who they are there", s.Metrics)
	}
	options := serviceOptions(workers, log)
	options.Limits = s.Limit.limits()
	if err := s.secure(&options); err != nil {
		return err
	}
	audit, err := openAuditLog(s.AuditLog, log)
	if err != nil {
		return err
	}
	defer audit.close()
	options.Audit = audit.tell()
	traced, err := s.traced(ctx, log)
	if err != nil {
		return err
	}
	defer traced.close()
	options.Tracer = traced.tracer()
	page, err := web.Handler()
	if err != nil {
		return err
	}
	at, err := s.listen()
	if err != nil {
		return err
	}
	options.Page = page
	options.Reflection = s.Reflection
	options.Maps = s.maps(log)
	if s.Data != "" || s.Database != "" || s.Workless {
		return s.serve(ctx, options, at)
	}
	server, err := rpc.New(options)
	if err != nil {
		return errors.Join(err, at.close())
	}
	return answer(ctx, server, options, at)
}

func logHandler(format string, to io.Writer) slog.Handler {
	if format == "json" {
		return slog.NewJSONHandler(to, nil)
	}
	return slog.NewTextHandler(to, nil)
}

// serviceOptions are those of a service that keeps nothing.
func serviceOptions(workers int, log *slog.Logger) rpc.Options {
	return rpc.Options{
		Design: designForRequest, Check: checkRequest, Price: priceForRequest, Assemble: assembleRequest, Open: openRequest, AtStreet: atStreet,
		Tables: tablesOfRequest, Read: readRequest, Packet: packetOfRequest, Costs: costsOfRequest,
		Recheck: recheckForRequest, AssembleEdited: assembleEdited, OpenEdited: openEdited,
		Workers: workers, Log: log,
	}
}

// listeners are the addresses of a service.
type listeners struct {
	grpc, http net.Listener
	metrics    net.Listener // nil for none
}

func (l *listeners) close() error {
	var errs []error
	for _, l := range []net.Listener{l.grpc, l.http, l.metrics} {
		if l != nil {
			errs = append(errs, l.Close())
		}
	}
	return errors.Join(errs...)
}

// listen takes all addresses or none.
func (s *serveCommand) listen() (*listeners, error) {
	l := &listeners{}
	for _, one := range []struct {
		address listenAddress
		to      *net.Listener
	}{{s.GRPCListen, &l.grpc}, {s.HTTPListen, &l.http}, {s.Metrics, &l.metrics}} {
		if one.address == "" {
			continue
		}
		var err error
		if *one.to, err = net.Listen("tcp", string(one.address)); err != nil {
			return nil, errors.Join(err, l.close())
		}
	}
	return l, nil
}

// answer serves until ctx ends.
func answer(ctx context.Context, server *rpc.Server, options rpc.Options, at *listeners) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	scheme := "http://"
	if options.TLS != nil {
		scheme = "https://"
	}
	told := []any{"grpc", at.grpc.Addr().String(), "http", at.http.Addr().String(), "page", scheme + at.http.Addr().String() + "/"}
	figures := make(chan error, 1)
	if at.metrics != nil {
		told = append(told, "metrics", "http://"+at.metrics.Addr().String()+"/metrics")
		go func() {
			defer cancel()
			figures <- server.ServeMetrics(ctx, at.metrics)
		}()
	} else {
		figures <- nil
	}
	options.Log.Info("listening", told...)
	err := server.Serve(ctx, at.grpc, at.http)
	cancel()
	options.Log.Info("stopped")
	return errors.Join(err, <-figures)
}
