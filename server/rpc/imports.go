package rpc

import (
	"context"
	"errors"
	"io"
	"strconv"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// Lots are taken in for good in pieces of so many, or so many bytes, or of what
// has come in so much time.
const (
	pieceLots  = 200
	pieceBytes = 1 << 20
	pieceTime  = 250 * time.Millisecond
)

// mostRefusals is how many refusals an import is told of in words.
const mostRefusals = 100

// mostLotID is the most bytes of a lot's id.
const mostLotID = 128

// ImportLots adds the lots of a stream to a batch.
func (b batches) ImportLots(stream grpc.ClientStreamingServer[pb.ImportLotsRequest, pb.ImportLotsResponse]) error {
	ctx, receive := stream.Context(), receiver(stream)
	first, err := within(ctx, b.options.Limits.StreamIdle, receive)
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	i, err := b.begin(ctx, first.GetTarget())
	if err != nil {
		return err
	}
	if err := i.all(ctx, receive); err != nil {
		return err
	}
	return stream.SendAndClose(i.message())
}

// within waits for a message for a limited time.
func within[M any](ctx context.Context, idle time.Duration, receive func(context.Context) (M, error)) (M, error) {
	limited, cancel := context.WithTimeout(ctx, idle)
	defer cancel()
	m, err := receive(limited)
	if errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil {
		err = faultf(codes.DeadlineExceeded, reasonStreamTimeout, "the stream did not go on in time (limit StreamIdle)")
	}
	return m, err
}

// importing is an import under way.
type importing struct {
	batches
	batch string
	piece store.Piece
	bytes int
	began time.Time // of the piece

	progress store.Import
	refusals []store.Refusal
}

// begin finds out how far an import has come and checks that it goes on there.
func (b batches) begin(ctx context.Context, t *pb.ImportLotsRequest_Target) (*importing, error) {
	if t == nil {
		return nil, faultf(codes.InvalidArgument, reasonInvalidStream, "message 0: want a target")
	}
	var c checker
	c.token("target.import_id", t.GetImportId())
	if t.GetImportId() == "" {
		c.add("target.import_id", "got nothing, want the client's name for this import")
	}
	if t.GetFrom() < 0 {
		c.add("target.from", "got %d, want 0 or more", t.GetFrom())
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	batch, err := resource("target.parent", t.GetParent(), batchesName)
	if err != nil {
		return nil, err
	}
	i := &importing{batches: b, batch: batch, piece: store.Piece{Import: t.GetImportId(), From: int(t.GetFrom())}}
	return i, i.flush(ctx) // which also finds that the batch is not there, or the place
}

// all takes in what the stream brings.
func (i *importing) all(ctx context.Context, receive func(context.Context) (*pb.ImportLotsRequest, error)) error {
	for n := 1; ; n++ {
		m, err := within(ctx, i.options.Limits.StreamIdle, receive)
		if errors.Is(err, io.EOF) {
			return i.flush(ctx)
		}
		if err != nil {
			return err
		}
		if m.GetLot() == nil {
			return faultf(codes.InvalidArgument, reasonInvalidStream, "message %d: want a lot", n)
		}
		if err := i.add(ctx, m.GetLot()); err != nil {
			return err
		}
	}
}

func (i *importing) add(ctx context.Context, m *pb.Lot) error {
	return i.take(ctx, store.Lot{ID: m.GetLot(), Content: deterministic(m)})
}

// take takes a lot into the piece, and the piece in when it is large enough.
func (i *importing) take(ctx context.Context, l store.Lot) error {
	if most := i.options.Limits.StreamLots; i.piece.From+len(i.piece.Messages) >= most {
		return overLimit("StreamLots", int64(most), "lots of an import")
	}
	message := store.ImportMessage{Lot: l}
	if n := len(l.ID); n == 0 || n > mostLotID {
		message = store.ImportMessage{Lot: store.Lot{ID: clipped(l.ID)}, Refused: "the id has " + strconv.Itoa(n) + " bytes, want 1 to " + strconv.Itoa(mostLotID)}
	}
	i.piece.Messages = append(i.piece.Messages, message)
	if i.bytes += len(message.Lot.Content); len(i.piece.Messages) < pieceLots && i.bytes < pieceBytes && time.Since(i.began) < pieceTime {
		return nil
	}
	return i.flush(ctx)
}

// flush takes in what has come, for good.
func (i *importing) flush(ctx context.Context) error {
	progress, refusals, err := i.store.AddLots(ctx, tenant(ctx), i.batch, i.piece)
	if err != nil {
		return err
	}
	i.progress = progress
	i.refusals = append(i.refusals, refusals[:min(len(refusals), mostRefusals-len(i.refusals))]...)
	i.piece.From += len(i.piece.Messages)
	i.piece.Messages, i.bytes, i.began = nil, 0, time.Now()
	return nil
}

func (i *importing) message() *pb.ImportLotsResponse {
	p := i.progress
	m := &pb.ImportLotsResponse{Acknowledged: int32(p.Messages), Added: int32(p.Added), Known: int32(p.Known), Refused: int32(p.Refused)}
	for _, r := range i.refusals {
		m.Refusals = append(m.Refusals, &pb.ImportLotsResponse_Refusal{Index: int32(r.Message), Lot: valid(r.Lot), Reason: r.Reason})
	}
	return m
}
