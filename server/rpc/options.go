package rpc

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"runtime"

	"go.opentelemetry.io/otel/trace"
	"go.opentelemetry.io/otel/trace/noop"

	"lotwright/layout"
	"lotwright/server/access"
	"lotwright/server/store"
)

// Options are what a [Server] is made of. The functions from
// Design to AtStreet must be there; the rest may be zero.
type Options struct {
	// Design designs a lot. A lot that cannot be designed is a design with
	// that status, not an error. It is called from several goroutines at once
	// and should return soon after ctx ends.
	Design func(ctx context.Context, lot *layout.Lot, settings Settings) (*layout.Design, error)
	// Assemble makes a lot of features that came over the wire one lot at a
	// time. It is called from several goroutines at once.
	Assemble func(id string, features []Feature) Item
	// Open reads a GeoJSON body of many lots, decompressed already. A body that
	// is refused as a whole is a [*Refusal].
	Open func(ctx context.Context, body io.Reader) (Source, error)
	// Recheck works an edited design out anew, as Design does a lot.
	Recheck func(ctx context.Context, lot *layout.Lot, edited layout.Edited, settings Settings) (*layout.Design, error)
	// AssembleEdited is Assemble with the GeoJSON text of an edited design.
	AssembleEdited func(id string, features []Feature, edited string) Item
	// OpenEdited is Open of a body with edited designs beside the lots.
	OpenEdited func(ctx context.Context, body io.Reader) (Source, error)
	// AtStreet is a measured supply as it would be with another static
	// pressure in the street.
	AtStreet func(measured layout.Supply, static layout.Pressure) layout.Supply

	// Tables lists what files hold; nil, or Read nil, means that files are not
	// read for clients.
	Tables func(ctx context.Context, files []File) ([]Table, error)
	// Read reads files, as they were chosen, into lots. lotProperty names the
	// property with the lots' ids; empty: the usual ones.
	Read func(ctx context.Context, chosen []Chosen, lotProperty string) (Surveyed, error)

	// Check says what is wrong with settings that are well formed, as a
	// [*SettingFault]; nil means that nothing ever is.
	Check func(Settings) error
	// Costs are what a designed lot costs by the price list; nil means that nobody
	// is told.
	Costs func(lot *layout.Lot, d *layout.Design) (Costs, error)
	// Price reads a price list, as CSV, and says what designed lots cost by it; of
	// an empty one, by a list that is built in. nil means that costs are not known.
	Price func(list string) (func(*layout.Design) (Cost, error), error)
	// Uploads is the folder where files are kept that have not come whole; empty
	// means one among the system's temporary files.
	Uploads string
	// Packet makes what a crew needs for a lot; nil means that nobody is given it.
	Packet PacketMaker

	// Page answers GET for / and below /assets/; nil means that nothing is there.
	Page http.Handler

	// Store keeps batches; nil means that there is no service of batches.
	Store store.Store
	// Maps makes what answers below [MapsPrefix] with the designs in a store, for
	// mapping tools; nil means that nothing is there.
	Maps func(store.Store) (http.Handler, error)

	Limits  Limits
	Workers int // lots designed at a time; 0 means one a processor

	// Callers knows who calls; nil means that nobody is asked and everything is
	// the local tenant's. TLS encrypts both doors; nil means that neither is. An
	// address that other machines can reach needs both.
	Callers Callers
	TLS     *tls.Config

	// Tracer makes spans of calls, and of what is done for them; nil means that
	// there are none.
	Tracer trace.Tracer

	// Audit is told of every call, once it has ended, from several goroutines at
	// once; nil means that nobody is.
	Audit func(AuditRecord)

	Reflection bool         // let clients list the service's methods
	Log        *slog.Logger // nil means slog.Default
}

// Callers knows who calls by the Authorization headers of a request. Its errors
// are those of package access.
type Callers interface {
	Caller(ctx context.Context, authorization []string) (access.Caller, error)
}

func (o Options) orDefaults() (Options, error) {
	if o.Design == nil || o.Assemble == nil || o.Open == nil || o.Recheck == nil || o.AssembleEdited == nil || o.OpenEdited == nil || o.AtStreet == nil {
		return o, errors.New("rpc.Options: Design, Assemble, Open, Recheck, AssembleEdited, OpenEdited and AtStreet must all be set")
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.Check == nil {
		o.Check = func(Settings) error { return nil }
	}
	if o.Tracer == nil {
		o.Tracer = noop.NewTracerProvider().Tracer("")
	}
	o.Limits = o.Limits.OrDefaults()
	return o, nil
}

// Settings steer a design. A nil pointer means the default of the design, a
// pointer to zero means none.
type Settings struct {
	Supply layout.Supply     // of lots that bring none of their own
	Head   *layout.HeadModel // a variable-throw head

	CoverageTarget *float64
	Margin         *float64
	IrrigateBeds   bool

	LeastStrip        *layout.Length
	EdgeClearance     *layout.Length
	BuildingClearance *layout.Length
	CrossPaving       *layout.Length

	PavingFactor    *float64
	PavingCrossing  *layout.Length
	RootZoneFactor  *float64
	TrenchClearance *layout.Length
	TrenchDepth     *layout.Length

	SupplyAllowance *layout.Pressure
	DesignFlowShare *float64

	// Before are designs of the same lot for less pressure: their heads are tried
	// before any are chosen.
	Before []*layout.Design

	HeadKind          string // variable, spray, multi-stream, rotor, mixed or auto; empty means variable
	SprayNarrowStrips bool
	PressureMargin    *layout.Pressure
	Effort            string // quick, default or thorough; empty means default
	FrostDepth        *layout.Length
	PavingDepth       *layout.Length

	Meter           string // a nominal size, as are the other sizes; empty means none
	ServiceLine     *layout.Length
	ServiceSize     string
	ServiceMaterial string
	Backflow        *Backflow
	PipeMaterial    string
	PipeSize        string
	PipePrices      []PipePrice
	PipeLoss        *float64
	VelocityLimit   *float64 // m/s
}

// Backflow is the loss of a backflow assembly: that of a kind, or a curve.
type Backflow struct {
	Kind  string // pressure-vacuum-breaker, double-check or reduced-pressure
	Curve []LossPoint
}

// LossPoint is a point of a loss curve.
type LossPoint struct {
	Flow layout.Flow
	Loss layout.Pressure
}

// PipePrice is what pipe of a nominal size costs.
type PipePrice struct {
	Size     string
	PerMetre float64
}

// SettingFault is the error of [Options.Check]: what is wrong with one setting, by
// its name in a query; empty when it is several together.
type SettingFault struct{ Setting, Text string }

// Error writes both.
func (f *SettingFault) Error() string {
	if f.Setting == "" {
		return f.Text
	}
	return f.Setting + ": " + f.Text
}

// Item is a lot, or the design of one that was refused: one of the two is set.
type Item struct {
	Lot     *layout.Lot
	Refused *layout.Design
	Edited  layout.Edited // a design of the lot that came with it
}

// Source is the lots of a body, in the order in which they are answered. Lot
// is called from several goroutines at once, and not after Close.
type Source interface {
	Len() int
	ID(i int) string
	Lot(i int) Item
	Close() error
}

// Feature is one thing on a lot, as it came over the wire.
type Feature struct {
	Layer layout.Layer
	// Type is the GeoJSON type of the geometry.
	Type string
	// Parts are its parts, their rings or lines, their positions: longitude and
	// latitude in degrees. A point is one part with one line of one position.
	Parts [][][][2]float64

	Height     *layout.Length // of a spot height
	RootRadius *layout.Length // of a tree
	Fixed      bool           // of a head: to be kept
	Head       string         // of turf: the heads asked for there
	Throw      *layout.Length // of a head, as it is set
	Model      string         // of a head
	ArcStart   *float64       // of a head, degrees
	ArcSweep   *float64       // of a head, degrees
}

// Refusal is the error of a body that is refused as a whole.
type Refusal struct {
	Rule    string      // dotted code, e.g. "json.syntax"
	Text    string      // in words
	Lot     string      // empty when it is about none
	Feature *int        // index among the features; nil when it is about none
	Place   *[2]float64 // longitude and latitude; nil when it is about none
}

// Error writes the rule and the text.
func (r *Refusal) Error() string { return r.Rule + ": " + r.Text }
