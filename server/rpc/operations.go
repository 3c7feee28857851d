package rpc

import (
	"context"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// DesignBatch starts a run over all lots of a batch.
func (b batches) DesignBatch(ctx context.Context, req *pb.DesignBatchRequest) (*longrunningpb.Operation, error) {
	var c checker
	batch, err := resource("name", req.GetName(), batchesName)
	if err != nil {
		return nil, err
	}
	settings, err := b.steered(ctx, &c, "settings", req.GetProfile(), req.GetSettings())
	if err != nil {
		return nil, err
	}
	r := c.request("request_id", req.GetRequestId(), req)
	if err := c.err(); err != nil {
		return nil, err
	}
	o, err := b.store.StartOperation(ctx, tenant(ctx), batch, madeUp("o"), deterministic(settings), r)
	if err != nil {
		return nil, err
	}
	return operationMessage(o), nil
}

// GetOperation says how an operation stands.
func (b batches) GetOperation(ctx context.Context, req *longrunningpb.GetOperationRequest) (*longrunningpb.Operation, error) {
	id, err := resource("name", req.GetName(), operationsName)
	if err != nil {
		return nil, err
	}
	o, err := b.store.Operation(ctx, tenant(ctx), id)
	if err != nil {
		return nil, err
	}
	return operationMessage(o), nil
}

// ListOperations lists operations, the latest first.
func (b batches) ListOperations(ctx context.Context, req *longrunningpb.ListOperationsRequest) (*longrunningpb.ListOperationsResponse, error) {
	var c checker
	if name := req.GetName(); name != operationsName && name != "" {
		c.add("name", "got %s, want %s", quoted(name), operationsName)
	}
	if req.GetFilter() != "" {
		c.add("filter", "there are no filters")
	}
	p := page{List: "operations"}
	size := c.page(&p, req.GetPageSize(), usualPage, req.GetPageToken())
	if err := c.err(); err != nil {
		return nil, err
	}
	list, err := b.store.Operations(ctx, tenant(ctx), p.After, size+1)
	if err != nil {
		return nil, err
	}
	resp := &longrunningpb.ListOperationsResponse{}
	for _, o := range list[:min(size, len(list))] {
		resp.Operations = append(resp.Operations, operationMessage(o))
	}
	if len(list) > size {
		resp.NextPageToken = p.from(list[size-1].ID)
	}
	return resp, nil
}

// CancelOperation ends an operation.
func (b batches) CancelOperation(ctx context.Context, req *longrunningpb.CancelOperationRequest) (*emptypb.Empty, error) {
	id, err := resource("name", req.GetName(), operationsName)
	if err != nil {
		return nil, err
	}
	_, err = b.store.CancelOperation(ctx, tenant(ctx), id)
	return &emptypb.Empty{}, err
}

// operations is the same under the name that generic clients know.
type operations struct {
	longrunningpb.UnimplementedOperationsServer // WaitOperation and DeleteOperation
	batches                                     batches
}

// GetOperation says how an operation stands.
func (o operations) GetOperation(ctx context.Context, req *longrunningpb.GetOperationRequest) (*longrunningpb.Operation, error) {
	return o.batches.GetOperation(ctx, req)
}

// ListOperations lists operations, the latest first.
func (o operations) ListOperations(ctx context.Context, req *longrunningpb.ListOperationsRequest) (*longrunningpb.ListOperationsResponse, error) {
	return o.batches.ListOperations(ctx, req)
}

// CancelOperation ends an operation.
func (o operations) CancelOperation(ctx context.Context, req *longrunningpb.CancelOperationRequest) (*emptypb.Empty, error) {
	return o.batches.CancelOperation(ctx, req)
}

func operationMessage(o store.Operation) *longrunningpb.Operation {
	if o.Purpose == store.ToCompare {
		return comparisonOperation(o)
	}
	m := &longrunningpb.Operation{Name: operationsName + "/" + o.ID, Metadata: packed(metadataMessage(o)), Done: o.State != store.Running}
	switch o.State {
	case store.Done:
		m.Result = &longrunningpb.Operation_Response{Response: packed(&pb.DesignBatchResponse{Batch: batchesName + "/" + o.Batch, Revision: int32(o.Revision)})}
	case store.Cancelled:
		m.Result = &longrunningpb.Operation_Error{Error: &status.Status{Code: int32(codes.Canceled), Message: "the operation was cancelled; designs finished by then are kept"}}
	}
	return m
}

func metadataMessage(o store.Operation) *pb.DesignBatchMetadata {
	m := &pb.DesignBatchMetadata{
		Batch: batchesName + "/" + o.Batch, Revision: int32(o.Revision), Lots: int32(o.Lots), Finished: int32(o.Finished()),
		Designed: int32(o.Designed), Infeasible: int32(o.Infeasible), Invalid: int32(o.Invalid), Failed: int32(o.Failed),
		CreateTime: timestamppb.New(o.Created), State: stateMessage(o.State),
	}
	if !o.Ended.IsZero() {
		m.EndTime = timestamppb.New(o.Ended)
	}
	return m
}

func packed(m proto.Message) *anypb.Any {
	a, err := anypb.New(m)
	if err != nil {
		panic("bug in packed: " + err.Error())
	}
	return a
}
