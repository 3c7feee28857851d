package rpc

import "time"

// Limits bound what clients can ask of the server. A field of 0 means its
// default; none can be switched off.
type Limits struct {
	Message    int   // bytes of a gRPC message received; default 4 MiB
	JSON       int64 // bytes of a JSON message, before and after decompression; default 16 MiB
	Body       int64 // bytes of a GeoJSON body as sent; default 64 MiB
	Inflated   int64 // bytes of a GeoJSON body after decompression; default 256 MiB
	Upload     int64 // bytes of a file for a batch; default 1 GiB
	Headers    int   // bytes of the headers of a request; default 16 KiB
	Lots       int   // lots of a request, or lots times pressures; default 10,000
	StreamLots int   // lots of a stream; default 1,000,000

	Batches int     // of a tenant; default 10,000
	Stored  int     // lots of all batches of a tenant; default 2,000,000
	Running int     // runs of a tenant under way at a time; default 100
	Records int     // head tables and profiles of a tenant; default 10,000
	Rate    float64 // calls of a tenant a second, of callers that are known; default 50
	Burst   int     // of these at once; default 100

	Requests    int // requests worked on at a time; further ones are told to come back; default 256
	Watchers    int // of these, that watch a run; default 128
	Streams     int // gRPC calls at a time on a connection; default 100
	Connections int // of a listener; further ones are closed; default 1,024
	PerAddress  int // connections from one address; default 64

	ConnectionIdle  time.Duration // an unused connection is closed after; default 5 min
	ConnectionAge   time.Duration // a gRPC connection is asked to be renewed after; default 60 min
	ConnectionGrace time.Duration // and its calls ended after a further; default 5 min
	Ping            time.Duration // a silent gRPC connection is checked after; default 60 s
	LeastPing       time.Duration // clients that ping more often are cut off; default 30 s

	ReadHeader time.Duration // for the headers of a request, or a gRPC handshake; default 5 s
	ReadIdle   time.Duration // between two pieces of a body; default 30 s
	WriteIdle  time.Duration // for the client to take a piece of the answer; default 30 s
	StreamIdle time.Duration // a stream that owes no answer and gets no message is ended after; default 5 min
	Stop       time.Duration // for requests under way when the server is stopped; default 10 s
}

// OrDefaults returns l with every field that is not above 0 set to its default.
func (l Limits) OrDefaults() Limits {
	const kib, mib = 1 << 10, 1 << 20
	setDefault(&l.Message, 4*mib)
	setDefault(&l.JSON, 16*mib)
	setDefault(&l.Body, 64*mib)
	setDefault(&l.Inflated, 256*mib)
	setDefault(&l.Upload, 1024*mib)
	setDefault(&l.Headers, 16*kib)
	setDefault(&l.Lots, 10_000)
	setDefault(&l.StreamLots, 1_000_000)
	setDefault(&l.Batches, 10_000)
	setDefault(&l.Stored, 2_000_000)
	setDefault(&l.Running, 100)
	setDefault(&l.Records, 10_000)
	setDefault(&l.Rate, 50)
	setDefault(&l.Burst, 100)
	setDefault(&l.Requests, 256)
	setDefault(&l.Watchers, 128)
	setDefault(&l.Streams, 100)
	setDefault(&l.Connections, 1024)
	setDefault(&l.PerAddress, 64)
	setDefault(&l.ConnectionIdle, 5*time.Minute)
	setDefault(&l.ConnectionAge, time.Hour)
	setDefault(&l.ConnectionGrace, 5*time.Minute)
	setDefault(&l.Ping, time.Minute)
	setDefault(&l.LeastPing, 30*time.Second)
	setDefault(&l.ReadHeader, 5*time.Second)
	setDefault(&l.ReadIdle, 30*time.Second)
	setDefault(&l.WriteIdle, 30*time.Second)
	setDefault(&l.StreamIdle, 5*time.Minute)
	setDefault(&l.Stop, 10*time.Second)
	return l
}

func setDefault[T int | int64 | float64 | time.Duration](v *T, d T) {
	if *v <= 0 {
		*v = d
	}
}
