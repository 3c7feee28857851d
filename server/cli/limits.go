package cli

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"lotwright/server/rpc"
)

// limitFlags are the limits of a service. What is not given is as in
// [rpc.Limits], which the placeholders show.
type limitFlags struct {
	Message    byteSize `placeholder:"4MiB" help:"A gRPC message."`
	JSON       byteSize `name:"json" placeholder:"16MiB" help:"A JSON message, before and after decompression."`
	Body       byteSize `placeholder:"64MiB" help:"A file over HTTP, as sent."`
	Inflated   byteSize `placeholder:"256MiB" help:"A file over HTTP, after decompression."`
	Upload     byteSize `placeholder:"1GiB" help:"A file for a batch."`
	Headers    byteSize `placeholder:"16KiB" help:"The headers of a request."`
	Lots       int      `placeholder:"10000" help:"Lots of a request, or lots times pressures."`
	StreamLots int      `placeholder:"1000000" help:"Lots of a stream."`

	Batches int     `placeholder:"10000" help:"Batches of a tenant."`
	Stored  int     `placeholder:"2000000" help:"Lots in all batches of a tenant."`
	Running int     `placeholder:"100" help:"Runs of a tenant under way at a time."`
	Records int     `placeholder:"10000" help:"Head tables and profiles of a tenant."`
	Rate    float64 `placeholder:"50" help:"Calls of a tenant a second, where callers are known."`
	Burst   int     `placeholder:"100" help:"Of these at once."`

	Requests    int `placeholder:"256" help:"Requests worked on at a time."`
	Watchers    int `placeholder:"128" help:"Of these, that watch a run."`
	Streams     int `placeholder:"100" help:"gRPC calls at a time on a connection."`
	Connections int `placeholder:"1024" help:"Connections to an address."`
	PerAddress  int `placeholder:"64" help:"Connections from one address."`

	ConnectionIdle  time.Duration `placeholder:"5m" help:"After which an unused connection is closed."`
	ConnectionAge   time.Duration `placeholder:"1h" help:"After which a gRPC connection is asked to be renewed."`
	ConnectionGrace time.Duration `placeholder:"5m" help:"After which its calls are ended then."`
	Ping            time.Duration `placeholder:"1m" help:"After which a silent gRPC connection is checked."`
	LeastPing       time.Duration `placeholder:"30s" help:"Between two pings of a client."`

	ReadHeader time.Duration `placeholder:"5s" help:"For the headers of a request, or a gRPC handshake."`
	ReadIdle   time.Duration `placeholder:"30s" help:"Between two pieces of a body."`
	WriteIdle  time.Duration `placeholder:"30s" help:"For the client to take a piece of the answer."`
	StreamIdle time.Duration `placeholder:"5m" help:"For the next message of a stream that owes no answer."`
	Stop       time.Duration `placeholder:"10s" help:"For requests under way when the service is stopped."`
}

// limits are those of the service.
func (f limitFlags) limits() rpc.Limits {
	return rpc.Limits{
		Message: int(f.Message), JSON: int64(f.JSON), Body: int64(f.Body), Inflated: int64(f.Inflated), Upload: int64(f.Upload), Headers: int(f.Headers),
		Lots: f.Lots, StreamLots: f.StreamLots,
		Batches: f.Batches, Stored: f.Stored, Running: f.Running, Records: f.Records, Rate: f.Rate, Burst: f.Burst,
		Requests: f.Requests, Watchers: f.Watchers, Streams: f.Streams, Connections: f.Connections, PerAddress: f.PerAddress,
		ConnectionIdle: f.ConnectionIdle, ConnectionAge: f.ConnectionAge, ConnectionGrace: f.ConnectionGrace, Ping: f.Ping, LeastPing: f.LeastPing,
		ReadHeader: f.ReadHeader, ReadIdle: f.ReadIdle, WriteIdle: f.WriteIdle, StreamIdle: f.StreamIdle, Stop: f.Stop,
	}
}

// byteSize is a number of bytes, written with its unit: 64MiB.
type byteSize int64

// byteUnits are powers of 1024.
var byteUnits = []string{"B", "KiB", "MiB", "GiB", "TiB"}

// UnmarshalText reads a whole number and a unit.
func (b *byteSize) UnmarshalText(text []byte) error {
	number := strings.TrimRight(string(text), "BKMGTi")
	n, err := strconv.ParseInt(number, 10, 64)
	for power, unit := range byteUnits {
		if string(text) != number+unit || err != nil || n <= 0 || n > math.MaxInt64>>(10*power) {
			continue
		}
		*b = byteSize(n << (10 * power))
		return nil
	}
	return fmt.Errorf("%.40q is not a size such as 512KiB or 64MiB", text)
}
