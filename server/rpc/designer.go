package rpc

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"lotwright/layout"
	pb "lotwright/proto/lotwright/v1"
)

// designer is the gRPC service.
type designer struct {
	pb.UnsafeDesignerServer // a method that is not written here must not compile
	*Server
}

// DesignLot designs one lot.
func (d designer) DesignLot(ctx context.Context, req *pb.DesignLotRequest) (*pb.DesignLotResponse, error) {
	var c checker
	lot, settings := c.lot("lot", req.GetLot()), d.settings(&c, "settings", req.GetSettings())
	if err := c.err(); err != nil {
		return nil, err
	}
	if err := d.workers.take(ctx); err != nil {
		return nil, err
	}
	defer d.workers.give()
	design := d.design(ctx, d.assemble(lot), settings)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return &pb.DesignLotResponse{Design: encoded(d.Server, design, designMessage)}, nil
}

// RecheckLot works an edited design out anew.
func (d designer) RecheckLot(ctx context.Context, req *pb.RecheckLotRequest) (*pb.RecheckLotResponse, error) {
	var c checker
	lot, settings := c.lot("lot", req.GetLot()), d.settings(&c, "settings", req.GetSettings())
	if req.GetGeojson() == "" {
		c.add("geojson", "got nothing, want the design as a FeatureCollection")
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	if err := d.workers.take(ctx); err != nil {
		return nil, err
	}
	defer d.workers.give()
	design := d.recheck(ctx, d.assembleEdited(lot, req.GetGeojson()), settings)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return &pb.RecheckLotResponse{Design: encoded(d.Server, design, designMessage)}, nil
}

// DesignLots designs the lots of a stream.
func (d designer) DesignLots(stream grpc.BidiStreamingServer[pb.DesignLotsRequest, pb.DesignLotsResponse]) error {
	l := d.options.Limits
	in := &lotStream{receive: receiver(stream), read: d.Server.settings, most: l.StreamLots, idle: l.StreamIdle}
	return pipe[*pb.Lot, *pb.Design]{
		next: in.next,
		do: func(ctx context.Context, m *pb.Lot) *pb.Design {
			return encoded(d.Server, d.streamed(ctx, m, in.settings), designMessage)
		},
		emit: func(m *pb.Design) error {
			defer in.answered.Add(1)
			return stream.Send(&pb.DesignLotsResponse{Index: in.answered.Load(), Design: m})
		},
	}.run(stream.Context(), d.Server)
}

// streamed designs a lot of a stream, whose faults are its answer.
func (d designer) streamed(ctx context.Context, m *pb.Lot, settings Settings) *layout.Design {
	return d.design(ctx, d.received(m), settings)
}

// received makes a lot of a message, or says what is wrong with it.
func (s *Server) received(m *pb.Lot) Item {
	var c checker
	lot := c.lot("lot", m)
	if len(c.violations) > 0 {
		return Item{Refused: refused(lot.id, c.violations)}
	}
	return s.assemble(lot)
}

// lotStream is the receiving side of DesignLots.
type lotStream struct {
	receive func(context.Context) (*pb.DesignLotsRequest, error)
	read    func(c *checker, path string, m *pb.Settings) Settings
	most    int
	idle    time.Duration

	settings Settings
	messages int
	lots     int
	answered atomic.Int32
}

// next returns the next lot. Settings are read off the first message before
// any lot is handed on, and not changed afterwards.
func (s *lotStream) next(ctx context.Context) (*pb.Lot, error) {
	for {
		m, err := s.message(ctx)
		if err != nil {
			return nil, err
		}
		s.messages++
		if err := s.check(m); err != nil {
			return nil, err
		}
		if m.Lot != nil {
			return m.Lot, nil
		}
	}
}

// message waits for a message: as long as it takes while answers are owed, since
// a client may want these first, and otherwise for a limited time.
func (s *lotStream) message(ctx context.Context) (*pb.DesignLotsRequest, error) {
	for {
		answered := int(s.answered.Load())
		m, err := s.receiveWithin(ctx, s.idle)
		switch {
		case err == nil || ctx.Err() != nil || !errors.Is(err, context.DeadlineExceeded):
			return m, err
		case answered == s.lots:
			return nil, faultf(codes.DeadlineExceeded, reasonStreamTimeout, "the stream did not go on in time (limit StreamIdle)")
		}
	}
}

func (s *lotStream) receiveWithin(ctx context.Context, limit time.Duration) (*pb.DesignLotsRequest, error) {
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	return s.receive(ctx)
}

func (s *lotStream) check(m *pb.DesignLotsRequest) error {
	if s.messages == 1 {
		var c checker
		s.settings = s.read(&c, "settings", m.Settings)
		if err := c.err(); err != nil {
			return err
		}
	} else if m.Settings != nil || m.Lot == nil {
		return faultf(codes.InvalidArgument, reasonInvalidStream,
			"message %d: want a lot and no settings, which belong in the first message", s.messages-1)
	}
	if m.Lot != nil {
		s.lots++
	}
	if s.lots > s.most {
		return overLimit("StreamLots", int64(s.most), "lots of a stream")
	}
	return nil
}

// receiver makes receiving from a stream end with a context, too. Its
// goroutine ends with the call at the latest.
func receiver[M any](stream interface {
	Context() context.Context
	Recv() (M, error)
}) func(context.Context) (M, error) {
	type received struct {
		m   M
		err error
	}
	messages := make(chan received)
	go func() {
		for {
			m, err := stream.Recv()
			select {
			case messages <- received{m, err}:
			case <-stream.Context().Done():
				return
			}
			if err != nil {
				return
			}
		}
	}()
	return func(ctx context.Context) (m M, err error) {
		select {
		case r := <-messages:
			return r.m, r.err
		case <-ctx.Done():
			return m, ctx.Err()
		}
	}
}

// ComparePressures designs lots at several pressures.
func (d designer) ComparePressures(ctx context.Context, req *pb.ComparePressuresRequest) (*pb.ComparePressuresResponse, error) {
	k, err := d.comparison(req)
	if err != nil {
		return nil, err
	}
	resp := &pb.ComparePressuresResponse{}
	err = pipe[lot, *pb.LotComparison]{
		next: each(k.lots),
		do:   func(ctx context.Context, l lot) *pb.LotComparison { return d.compare(ctx, d.assemble(l), l.id, k) },
		emit: func(m *pb.LotComparison) error {
			resp.Lots = append(resp.Lots, m)
			return nil
		},
	}.run(ctx, d.Server)
	if err != nil {
		return nil, err
	}
	return resp, nil
}

// comparison is a checked request to compare.
type comparison struct {
	lots      []lot
	pressures []layout.Pressure
	street    bool
	settings  Settings
	price     func(*layout.Design) (Cost, error) // nil: nothing is known of prices
}

func (d designer) comparison(req *pb.ComparePressuresRequest) (comparison, error) {
	if n, most := len(req.GetLots())*len(req.GetPressuresKpa()), d.options.Limits.Lots; n > most {
		return comparison{}, overLimit("Lots", int64(most), "lots times pressures")
	}
	var c checker
	k := d.compared(&c, req)
	k.lots = c.lots(req.GetLots())
	return k, c.err()
}

// pressures converts the pressures to compare, which must differ.
func (c *checker) pressures(kPa []float64) []layout.Pressure {
	if len(kPa) == 0 {
		c.add("pressures_kpa", "got none, want one at least")
	}
	var out []layout.Pressure
	seen := map[float64]bool{}
	for i, p := range kPa {
		field := fmt.Sprintf("pressures_kpa[%d]", i)
		c.above(field, p, mostPressure.KPa(), " kPa")
		if seen[p] {
			c.add(field, "got %v twice", p)
		}
		seen[p] = true
		out = append(out, layout.Pressure(p))
	}
	return out
}

// lots converts the lots of one request, whose ids must differ.
func (c *checker) lots(messages []*pb.Lot) []lot {
	if len(messages) == 0 {
		c.add("lots", "got none, want one at least")
	}
	var out []lot
	seen := map[string]bool{}
	for i, m := range messages {
		if c.full {
			break
		}
		path := fmt.Sprintf("lots[%d]", i)
		l := c.lot(path, m)
		if seen[l.id] {
			c.add(path+".lot", "got %q twice", l.id)
		}
		seen[l.id] = true
		out = append(out, l)
	}
	return out
}

// compare designs one lot at every pressure, from the least to the most. What
// does at one does at the next, so its heads are tried there, too.
func (d designer) compare(ctx context.Context, item Item, id string, k comparison) *pb.LotComparison {
	out := &pb.LotComparison{Lot: valid(id), Outcomes: make([]*pb.PressureOutcome, len(k.pressures))}
	order := make([]int, len(k.pressures))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(k.pressures[a], k.pressures[b]) })
	settings := k.settings
	for _, i := range order {
		if ctx.Err() != nil {
			break // nobody waits for the rest
		}
		design := d.design(ctx, k.at(item, i, d.options.AtStreet), settings)
		out.Outcomes[i] = encoded(d.Server, design, func(design *layout.Design) *pb.PressureOutcome {
			return k.costed(outcomeMessage(k.pressures[i], design), design)
		})
		if design.Status == layout.StatusDesigned {
			settings.Before = append(settings.Before[:len(settings.Before):len(settings.Before)], design)
		}
	}
	return out
}

// at is the lot at the i-th pressure.
func (k comparison) at(item Item, i int, atStreet func(layout.Supply, layout.Pressure) layout.Supply) Item {
	if item.Lot == nil {
		return item
	}
	lot := *item.Lot
	lot.Supply = layout.Supply{HeadPressure: &k.pressures[i]}
	if k.street {
		lot.Supply = atStreet(item.Lot.Supply.Or(k.settings.Supply), k.pressures[i])
	}
	item.Lot = &lot
	return item
}
