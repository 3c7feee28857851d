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
	Reflection bool          `help:"Let gRPC clients list the methods."`
	Workers    int           `placeholder:"N" help:"Lots worked on at a time; default: one a processor."`
	LogFormat  string        `enum:"text,json" default:"text" placeholder:"text|json" help:"Form of the log on standard error."`
	Data       string        `type:"path" placeholder:"DIR" help:"Keep batches of lots in this folder and design them in the background; without it, nothing is kept."`
}

// Help is shown below the summary by serve --help.
func (serveCommand) Help() string {
	return `The map page is at the HTTP address: open it in a browser, drop a file of lots on it, and see the designs. The service knows no users: it listens on loopback addresses only. It stops on Ctrl-C, after the requests under way. With --data it keeps batches, and what it has answered outlives it, however it ends; the next start goes on with the lots that are left.

Examples:

    lotwright serve
    lotwright serve --data /var/lib/lotwright
    curl -s -H 'Content-Type: application/geo+json' --data-binary @lots.geojson 'http://127.0.0.1:7080/v1/lots:design?head_pressure=55psi'
    lotwright serve --reflection --grpc-listen 127.0.0.1:0`
}

// listenAddress is host:port on this machine only.
type listenAddress string

// UnmarshalText accepts loopback addresses.
func (a *listenAddress) UnmarshalText(text []byte) error {
	host, _, err := net.SplitHostPort(string(text))
	if err != nil {
		return err
	}
	address, err := netip.ParseAddr(host)
	if host != "localhost" && (err != nil || !address.IsLoopback()) {
		return fmt.Errorf("%q is not a loopback address such as 127.0.0.1:7443; the service does not know its users, so it answers this machine only", text)
	}
	*a = listenAddress(text)
	return nil
}

// Run listens and serves until ctx ends.
func (s *serveCommand) Run(ctx context.Context, c *console) error {
	workers, err := runFlags{Workers: s.Workers}.workers()
	if err != nil {
		return err
	}
	log := slog.New(s.logHandler(c.err))
	page, err := web.Handler()
	if err != nil {
		return err
	}
	grpc, http, err := s.listen()
	if err != nil {
		return err
	}
	options := serviceOptions(workers, log)
	options.Page = page
	options.Reflection = s.Reflection
	if s.Data != "" {
		return serveBatches(ctx, s.Data, options, grpc, http)
	}
	server, err := rpc.New(options)
	if err != nil {
		return errors.Join(err, grpc.Close(), http.Close())
	}
	return answer(ctx, server, log, grpc, http)
}

func (s *serveCommand) logHandler(to io.Writer) slog.Handler {
	if s.LogFormat == "json" {
		return slog.NewJSONHandler(to, nil)
	}
	return slog.NewTextHandler(to, nil)
}

// serviceOptions are those of a service that keeps nothing.
func serviceOptions(workers int, log *slog.Logger) rpc.Options {
	return rpc.Options{
		Design: designForRequest, Assemble: assembleRequest, Open: openRequest, AtStreet: atStreet,
		Workers: workers, Log: log,
	}
}

// listen takes both addresses or none.
func (s *serveCommand) listen() (grpc, http net.Listener, err error) {
	if grpc, err = net.Listen("tcp", string(s.GRPCListen)); err != nil {
		return nil, nil, err
	}
	if http, err = net.Listen("tcp", string(s.HTTPListen)); err != nil {
		return nil, nil, errors.Join(err, grpc.Close())
	}
	return grpc, http, nil
}

// answer serves until ctx ends.
func answer(ctx context.Context, server *rpc.Server, log *slog.Logger, grpc, http net.Listener) error {
	log.Info("listening", "grpc", grpc.Addr().String(), "http", http.Addr().String(), "page", "http://"+http.Addr().String()+"/")
	err := server.Serve(ctx, grpc, http)
	log.Info("stopped")
	return err
}
