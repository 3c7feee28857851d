package rpc

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"strings"
	"unicode/utf8"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/access"
	"lotwright/server/store"
)

// batches is the gRPC service of batches.
type batches struct {
	pb.UnsafeBatchServiceServer // a method that is not written here must not compile
	*Server
	store store.Store
}

func (s *Server) batches() batches { return batches{Server: s, store: s.options.Store} }

// tenant is whose batches a call is about.
func tenant(ctx context.Context) store.Tenant { return access.Tenant(ctx) }

// CreateBatch makes a batch without lots.
func (b batches) CreateBatch(ctx context.Context, req *pb.CreateBatchRequest) (*pb.Batch, error) {
	var c checker
	id := req.GetBatchId()
	if id == "" {
		id = madeUp("b")
	}
	c.resourceID("batch_id", id)
	c.title("batch.title", req.GetBatch().GetTitle())
	r := c.request("request_id", req.GetRequestId(), req)
	if err := c.err(); err != nil {
		return nil, err
	}
	batch, err := b.store.CreateBatch(ctx, tenant(ctx), id, req.GetBatch().GetTitle(), r)
	if err != nil {
		return nil, err
	}
	return batchMessage(batch), nil
}

// GetBatch reads a batch.
func (b batches) GetBatch(ctx context.Context, req *pb.GetBatchRequest) (*pb.Batch, error) {
	id, err := resource("name", req.GetName(), batchesName)
	if err != nil {
		return nil, err
	}
	batch, err := b.store.Batch(ctx, tenant(ctx), id)
	if err != nil {
		return nil, err
	}
	return batchMessage(batch), nil
}

// ListBatches lists batches by name.
func (b batches) ListBatches(ctx context.Context, req *pb.ListBatchesRequest) (*pb.ListBatchesResponse, error) {
	var c checker
	p := page{List: "batches"}
	size := c.page(&p, req.GetPageSize(), usualPage, req.GetPageToken())
	if err := c.err(); err != nil {
		return nil, err
	}
	list, err := b.store.Batches(ctx, tenant(ctx), p.After, size+1)
	if err != nil {
		return nil, err
	}
	resp := &pb.ListBatchesResponse{}
	for _, batch := range list[:min(size, len(list))] {
		resp.Batches = append(resp.Batches, batchMessage(batch))
	}
	if len(list) > size {
		resp.NextPageToken = p.from(list[size-1].ID)
	}
	return resp, nil
}

// DeleteBatch deletes a batch with all that belongs to it.
func (b batches) DeleteBatch(ctx context.Context, req *pb.DeleteBatchRequest) (*emptypb.Empty, error) {
	id, err := resource("name", req.GetName(), batchesName)
	if err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, b.store.DeleteBatch(ctx, tenant(ctx), id)
}

func batchMessage(b store.Batch) *pb.Batch {
	return &pb.Batch{
		Name: batchesName + "/" + b.ID, Title: b.Title, Lots: int32(b.Lots), Revision: int32(b.Revision), CreateTime: timestamppb.New(b.Created),
	}
}

// Collections that names begin with.
const (
	batchesName    = "batches"
	operationsName = "operations"
)

// resource is the id in a name such as batches/elm-street. Of a name that cannot
// be one there is nothing.
func resource(field, name, collection string) (id string, err error) {
	id, ok := strings.CutPrefix(name, collection+"/")
	if !ok || id == "" || strings.Contains(id, "/") {
		return "", invalidFields([]violation{{field, "got " + quoted(name) + ", want " + collection + "/ and an id"}})
	}
	return id, nil
}

// mostID is the most characters of an id in a name.
const mostID = 63

// resourceID checks an id that a client makes up (AIP-122).
func (c *checker) resourceID(field, id string) {
	odd := func(r rune) bool { return !strings.ContainsRune("abcdefghijklmnopqrstuvwxyz0123456789-", r) }
	if id == "" || len(id) > mostID || strings.ContainsFunc(id, odd) || strings.HasPrefix(id, "-") || strings.HasSuffix(id, "-") {
		c.add(field, "got %s, want 1 to %d lower-case letters, digits and dashes, neither first nor last a dash", quoted(id), mostID)
	}
}

// madeUp is an id that nobody has.
func madeUp(kind string) string { return kind + strings.ToLower(rand.Text()) }

const mostTitle = 200 // characters

func (c *checker) title(field, title string) {
	if n := utf8.RuneCountInString(title); n > mostTitle {
		c.add(field, "got %d characters, want at most %d", n, mostTitle)
	}
}

// mostToken is the most bytes of what clients make up to know a call by.
const mostToken = 128

func (c *checker) token(field, token string) {
	if len(token) > mostToken {
		c.add(field, "got %d bytes, want at most %d", len(token), mostToken)
	}
}

// request is what makes a call repeatable. Two calls are the same when all else
// in their messages is.
func (c *checker) request(field, id string, m proto.Message) store.Request {
	c.token(field, id)
	if id == "" {
		return store.Request{}
	}
	text := deterministic(m)
	hash := sha256.Sum256(append([]byte(m.ProtoReflect().Descriptor().FullName()+"\x00"), text...))
	return store.Request{ID: id, Hash: hash[:]}
}

// deterministic encodes a message that came over the wire, always to the same
// bytes.
func deterministic(m proto.Message) []byte {
	text, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		panic("bug in deterministic: " + err.Error())
	}
	return text
}

// storeFault translates the errors of the store that clients are told of.
func storeFault(err error) *fault {
	for _, known := range []struct {
		err    error
		code   codes.Code
		reason string
	}{
		{store.ErrNotFound, codes.NotFound, reasonNotFound},
		{store.ErrExists, codes.AlreadyExists, reasonExists},
		{store.ErrRequestReused, codes.InvalidArgument, reasonRequestReused},
		{store.ErrState, codes.FailedPrecondition, reasonWrongState},
		{store.ErrGap, codes.OutOfRange, reasonImportGap},
	} {
		if errors.Is(err, known.err) {
			return faultf(known.code, known.reason, "%v", err)
		}
	}
	var quota *store.QuotaError
	switch {
	case errors.As(err, &quota):
		return overQuota(quota)
	case errors.Is(err, store.ErrUnknown):
		return faultf(codes.Unavailable, reasonOutcomeUnknown, "%v; repeat the call with the same request id", store.ErrUnknown)
	case errors.Is(err, store.ErrAway):
		return faultf(codes.Unavailable, reasonStoreAway, "%v just now; nothing of the call was kept", store.ErrAway)
	case errors.Is(err, store.ErrFull):
		return faultf(codes.Unavailable, reasonStoreFull, "%v: its disk is full, nearly full or can only be read; nothing of the call was kept", store.ErrFull)
	}
	return nil
}
