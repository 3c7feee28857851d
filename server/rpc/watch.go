package rpc

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// How a run is watched.
const (
	watchPage = 100
	watchPoll = 200 * time.Millisecond
)

// WatchBatch tells of every lot of a revision as it is finished.
func (b batches) WatchBatch(req *pb.WatchBatchRequest, stream grpc.ServerStreamingServer[pb.WatchBatchResponse]) error {
	return b.watchUntilEnd(stream.Context(), req, stream.Send)
}

// watchUntilEnd sends what is finished until the run has ended.
func (b batches) watchUntilEnd(ctx context.Context, req *pb.WatchBatchRequest, send func(*pb.WatchBatchResponse) error) error {
	if !b.watchers.tryTake() {
		return faultf(codes.ResourceExhausted, reasonBusy, "the server is at its limit of %d that watch a run (limit Watchers)", cap(b.watchers))
	}
	defer b.watchers.give()
	w, err := b.watch(ctx, req)
	if err != nil {
		return err
	}
	w.send = send
	for {
		ended, err := w.look(ctx)
		if err != nil || ended {
			return err
		}
		select {
		case <-time.After(watchPoll):
		case <-ctx.Done():
			return ctx.Err()
		case <-b.stopping:
			return faultf(codes.Unavailable, reasonStopping, "the server is stopping; go on from the cursor later")
		}
	}
}

// watching is a run and how far a client has seen it.
type watching struct {
	batches
	operation string
	page      page
	after     int
	send      func(*pb.WatchBatchResponse) error
}

func (b batches) watch(ctx context.Context, req *pb.WatchBatchRequest) (*watching, error) {
	var c checker
	p := page{List: "watch", Parent: req.GetName(), Revision: int(req.GetRevision())}
	c.goOn("cursor", &p, req.GetCursor())
	after := c.number("cursor", p.After)
	if err := c.err(); err != nil {
		return nil, err
	}
	batch, err := resource("name", req.GetName(), batchesName)
	if err != nil {
		return nil, err
	}
	if p.Revision == 0 {
		found, err := b.store.Batch(ctx, tenant(ctx), batch)
		if err != nil {
			return nil, err
		}
		if p.Revision = found.Revision; p.Revision == 0 {
			return nil, fmt.Errorf("batch %q has no run to watch: %w", batch, store.ErrState)
		}
	}
	o, err := b.store.OperationOf(ctx, tenant(ctx), batch, p.Revision)
	return &watching{batches: b, operation: o.ID, page: p, after: after}, err
}

// look sends what is new, and the end when there is nothing more to come.
func (w *watching) look(ctx context.Context) (ended bool, err error) {
	for {
		o, err := w.store.Operation(ctx, tenant(ctx), w.operation)
		if err != nil {
			return false, err
		}
		if w.after >= o.Finished() {
			if o.State == store.Running {
				return false, nil
			}
			return true, w.tell(&pb.WatchBatchResponse{Record: &pb.WatchBatchResponse_End{End: metadataMessage(o)}})
		}
		list, err := w.store.Finished(ctx, tenant(ctx), w.operation, w.after, watchPage)
		if err != nil {
			return false, err
		}
		for _, d := range list {
			w.after = d.Place
			if err := w.tell(finishedMessage(d)); err != nil {
				return false, err
			}
		}
	}
}

func (w *watching) tell(m *pb.WatchBatchResponse) error {
	m.Cursor = w.page.from(strconv.Itoa(w.after))
	return w.send(m)
}

func finishedMessage(d store.Design) *pb.WatchBatchResponse {
	return &pb.WatchBatchResponse{Record: &pb.WatchBatchResponse_Lot{Lot: &pb.WatchBatchResponse_FinishedLot{
		Lot: d.Lot, Status: pb.Design_Status(pb.Design_Status_value[strings.ToUpper(string(d.Status))]), Reason: d.Reason,
	}}}
}
