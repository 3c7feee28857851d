package store

import (
	"context"
	"errors"
	"time"
)

// Errors that callers tell apart. They are wrapped in the words of the case.
var (
	// ErrNotFound: there is no such thing, or it is another tenant's.
	ErrNotFound = errors.New("not found")
	// ErrExists: the id is taken.
	ErrExists = errors.New("exists already")
	// ErrRequestReused: the request id came before, with another request.
	ErrRequestReused = errors.New("the request id was used for another request")
	// ErrState: what is asked for does not go with the present state.
	ErrState = errors.New("not in this state")
	// ErrGap: an import goes on beyond what was acknowledged.
	ErrGap = errors.New("beyond what was acknowledged")
	// ErrFull: there is no room, or the store can only be read; nothing of the
	// write was kept.
	ErrFull = errors.New("the store takes no more")
	// ErrAway: the store cannot be reached just now; nothing of the write was kept.
	ErrAway = errors.New("the store cannot be reached")
	// ErrUnknown: whether the write was kept is not known. It is safe to repeat
	// it with the same request id.
	ErrUnknown = errors.New("whether it was stored is not known")
)

// Tenant is whose rows they are.
type Tenant string

// Local is the tenant of a service that does not know its users.
const Local Tenant = "local"

// Request makes a write repeatable: the same id with the same hash is answered
// with what was made the first time. An empty id makes it unrepeatable.
type Request struct {
	ID   string
	Hash []byte // of the whole request
}

// Batch is a set of lots.
type Batch struct {
	ID      string
	Title   string // its owner's words
	Lots    int    // imported so far
	Created time.Time
	// Revision is that of the latest run that was started; 0 before the first.
	Revision int
}

// Lot is a lot as it was imported. Number counts the lots of a batch from 1 in
// the order of import, without gaps.
type Lot struct {
	Number  int
	ID      string // unique within the batch
	Content []byte
}

// Import is how far an import has come. Messages counts what was acknowledged;
// each is a lot that was added, was there already, or was refused.
type Import struct {
	ID       string
	Messages int
	Added    int
	Known    int // with the same content
	Refused  int
}

// Piece is a part of an import: the messages from From (counted from 0) on.
type Piece struct {
	Import   string
	From     int
	Messages []ImportMessage
}

// ImportMessage is one lot of an import or, where Refused says why, none.
type ImportMessage struct {
	Lot     Lot // without its number
	Refused string
}

// Refusal is a message of an import that added no lot.
type Refusal struct {
	Message int // counted from 0
	Lot     string
	Reason  string
}

// State is how an operation stands.
type State string

// The states of an operation; all but Running are final.
const (
	Running   State = "running"
	Done      State = "done"
	Cancelled State = "cancelled"
)

// Purpose is what an operation is for.
type Purpose string

// The purposes of operations.
const (
	ToDesign  Purpose = "design"  // makes a revision of its batch
	ToCompare Purpose = "compare" // makes none
)

// Operation is one run over the lots that a batch held when it was started.
type Operation struct {
	ID       string
	Purpose  Purpose
	Batch    string
	Revision int // 0 unless it is to design
	State    State
	Settings []byte
	Lots     int // to design: numbers 1 to Lots
	Tally
	Created time.Time
	Ended   time.Time // zero while running
}

// Status is what became of a lot.
type Status string

// The statuses of a design.
const (
	Designed   Status = "designed"
	Infeasible Status = "infeasible"
	Invalid    Status = "invalid"
	Failed     Status = "failed"
)

// Tally counts designs by status.
type Tally struct{ Designed, Infeasible, Invalid, Failed int }

// Finished is the number of lots that have a design.
func (t Tally) Finished() int { return t.Designed + t.Infeasible + t.Invalid + t.Failed }

// Design is what became of one lot in one revision.
type Design struct {
	Number  int // of the lot
	Lot     string
	Place   int // in the order in which the operation finished them, from 1
	Status  Status
	Reason  string
	Content []byte
	// From is set by who designs a lot, and kept nowhere: the revision whose design
	// of the lot stays as it is. 0: the design is a new one.
	From int
}

// Chunk is a stretch of the lots of an operation: numbers First to Last.
type Chunk struct {
	Tenant    Tenant
	Operation string
	First     int
	Last      int
	// Turn is the chunk's place in the line of the chunks of all tenants: those
	// of a lower one come first. It is set where an operation starts.
	Turn int64
}

// Chunks cuts an operation over so many lots, whose first lot has the given
// turn, into chunks of at most size.
func Chunks(t Tenant, operation string, lots, size int, turn int64) []Chunk {
	var out []Chunk
	for first := 1; first <= lots; first += size {
		out = append(out, Chunk{Tenant: t, Operation: operation, First: first, Last: min(first+size-1, lots), Turn: turn + int64(first) - 1})
	}
	return out
}

// Kind is a kind of record.
type Kind string

// The kinds of records.
const (
	HeadTable Kind = "head-table"
	Profile   Kind = "profile"
)

// Record is something of a tenant's that belongs to no batch. It does not change.
type Record struct {
	Kind    Kind
	ID      string // unique among the tenant's records of its kind
	Content []byte
	Created time.Time
}

// Store is what the service keeps, as its methods see it. All methods may be
// called at once from several goroutines.
type Store interface {
	// CreateBatch makes an empty batch of the given id and title.
	CreateBatch(ctx context.Context, t Tenant, id, title string, r Request) (Batch, error)
	Batch(ctx context.Context, t Tenant, id string) (Batch, error)
	// Batches lists at most n batches by id, from the one behind after.
	Batches(ctx context.Context, t Tenant, after string, n int) ([]Batch, error)
	// DeleteBatch deletes a batch with all that belongs to it. While an
	// operation runs on it, that is ErrState.
	DeleteBatch(ctx context.Context, t Tenant, id string) error

	// Import says how far an import has come; one that has not begun is at 0.
	Import(ctx context.Context, t Tenant, batch, id string) (Import, error)
	// AddLots acknowledges a piece of an import. What was acknowledged before is
	// passed over; a piece that begins beyond it is ErrGap. Refusals are those
	// of this piece.
	AddLots(ctx context.Context, t Tenant, batch string, p Piece) (Import, []Refusal, error)

	// StartOperation makes an operation of the given id over all lots that the
	// batch holds now, and hands its chunks to the queue, in one transaction.
	// While another runs on the batch, that is ErrState. Tenants take turns: the
	// operation stands in line where those that run have come to, behind the
	// tenant's own, and its chunks are as far apart as they have lots.
	StartOperation(ctx context.Context, t Tenant, batch, id string, settings []byte, r Request) (Operation, error)
	// StartComparison is StartOperation for an operation that makes no revision:
	// what comes of it is read with Results.
	StartComparison(ctx context.Context, t Tenant, batch, id string, settings []byte, r Request) (Operation, error)
	Operation(ctx context.Context, t Tenant, id string) (Operation, error)
	// Operations lists at most n operations, the latest first, from the one
	// behind after.
	Operations(ctx context.Context, t Tenant, after string, n int) ([]Operation, error)
	// CancelOperation ends an operation that runs; designs saved by then stay. Of
	// one that has ended nothing changes.
	CancelOperation(ctx context.Context, t Tenant, id string) (Operation, error)
	// OperationOf is the operation that made a revision of a batch.
	OperationOf(ctx context.Context, t Tenant, batch string, revision int) (Operation, error)

	// Designs lists at most n designs of a revision by number of the lot, from
	// the one behind after.
	Designs(ctx context.Context, t Tenant, batch string, revision, after, n int) ([]Design, error)
	// Results lists at most n designs of an operation, of whatever purpose and
	// state, by number of the lot, from the one behind after.
	Results(ctx context.Context, t Tenant, operation string, after, n int) ([]Design, error)
	// Finished lists at most n designs of an operation in the order in which
	// they were finished, from the one behind after, without their content.
	Finished(ctx context.Context, t Tenant, operation string, after, n int) ([]Design, error)

	// CreateRecord keeps a record.
	CreateRecord(ctx context.Context, t Tenant, k Kind, id string, content []byte, r Request) (Record, error)
	Record(ctx context.Context, t Tenant, k Kind, id string) (Record, error)
	// Records lists at most n records of a kind by id, from the one behind after.
	Records(ctx context.Context, t Tenant, k Kind, after string, n int) ([]Record, error)
	DeleteRecord(ctx context.Context, t Tenant, k Kind, id string) error

	// Backlog counts the lots that wait for a design, of all tenants, and says
	// since when the longest has; zero when there are none.
	Backlog(ctx context.Context) (lots int, since time.Time, err error)
	// Check says whether the store can be read and has not failed.
	Check(ctx context.Context) error

	// Bound sets the quota of every tenant. A write that would leave a tenant with
	// more is a *QuotaError; one that was made before and is repeated is not. It
	// is called before anything else, and by those that serve clients only.
	Bound(q Quota)
}

// Engine is a store as the queue sees it: a change to jobs goes into the same
// transaction, of type Tx, as what it is about.
type Engine[Tx any] interface {
	Store

	// OnStart sets what StartOperation does with the chunks of an operation.
	// It is called once, before anything else.
	OnStart(chunkLots int, enqueue func(ctx context.Context, tx Tx, chunks []Chunk) error)
	// Open lists the numbers of a chunk's lots that have no design yet, in
	// order; there are none once the operation has ended.
	Open(ctx context.Context, c Chunk) ([]int, error)
	// Settings are those of the chunk's operation.
	Settings(ctx context.Context, c Chunk) ([]byte, error)
	// Lot is a lot of the chunk.
	Lot(ctx context.Context, c Chunk, number int) (Lot, error)
	// SaveDesign keeps the first design of a lot, and drops it where there is
	// one or the operation has ended.
	SaveDesign(ctx context.Context, c Chunk, d Design) error
	// Complete runs last in a transaction of its own, with what it needs to
	// record that the chunk is done; if lots are open still, that is ErrState.
	Complete(ctx context.Context, c Chunk, last func(ctx context.Context, tx Tx) error) error
}
