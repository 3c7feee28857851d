package cli

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/netip"

	"lotwright/server/rpc"
)

// serveCommand answers design requests until it is told to stop.
type serveCommand struct {
	GRPCListen listenAddress `name:"grpc-listen" default:"127.0.0.1:7443" placeholder:"HOST:PORT" help:"Where gRPC is answered. Port 0 takes a free one."`
	HTTPListen listenAddress `name:"http-listen" default:"127.0.0.1:7080" placeholder:"HOST:PORT" help:"Where REST is answered."`
	Reflection bool          `help:"Let gRPC clients list the methods."`
	Workers    int           `placeholder:"N" help:"Lots worked on at a time; default: one a processor."`
}

// Help is shown below the summary by serve --help.
func (serveCommand) Help() string {
	return `The service keeps nothing and knows no users: it listens on loopback addresses only. It stops on Ctrl-C, after the requests under way.

Examples:

    lotwright serve
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
	log := slog.New(slog.NewTextHandler(c.err, nil))
	server, err := rpc.New(rpc.Options{
		Design: designForRequest, Assemble: assembleRequest, Open: openRequest, AtStreet: atStreet,
		Workers: workers, Reflection: s.Reflection, Log: log,
	})
	if err != nil {
		return err
	}
	grpc, err := net.Listen("tcp", string(s.GRPCListen))
	if err != nil {
		return err
	}
	http, err := net.Listen("tcp", string(s.HTTPListen))
	if err != nil {
		_ = grpc.Close() // the other fault is reported
		return err
	}
	log.Info("listening", "grpc", grpc.Addr().String(), "http", http.Addr().String())
	err = server.Serve(ctx, grpc, http)
	log.Info("stopped")
	return err
}
