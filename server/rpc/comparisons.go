package rpc

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lotwright/layout"
	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// A comparison is an operation whose settings are its request, with
// [comparisonMark] in front, and whose results are messages LotComparison.

// comparisonMark tells the settings of a comparison from the message Settings, of
// which no encoding begins with a zero.
const comparisonMark = 0

// mostPressures is how many pressures a batch is compared at.
const mostPressures = 20

// mostPriceList is far longer than any list of prices.
const mostPriceList = 1 << 20 // bytes

// Cost is what a lot costs by a price list, in cents.
type Cost struct{ Parts, Labour int64 }

// CompareBatch starts a comparison of all lots of a batch.
func (b batches) CompareBatch(ctx context.Context, req *pb.CompareBatchRequest) (*longrunningpb.Operation, error) {
	batch, err := resource("name", req.GetName(), batchesName)
	if err != nil {
		return nil, err
	}
	if _, err := b.store.Batch(ctx, tenant(ctx), batch); err != nil {
		return nil, err
	}
	var c checker
	settings, err := b.steered(ctx, &c, "settings", req.GetProfile(), req.GetSettings())
	if err != nil {
		return nil, err
	}
	kept := &pb.CompareBatchRequest{Name: req.GetName(), PressuresKpa: req.GetPressuresKpa(), Point: req.GetPoint(), Settings: settings, PriceList: req.GetPriceList()}
	if n := len(req.GetPressuresKpa()); n > mostPressures {
		c.add("pressures_kpa", "got %d, want at most %d", n, mostPressures)
	}
	b.compared(&c, kept)
	r := c.request("request_id", req.GetRequestId(), req)
	if err := c.err(); err != nil {
		return nil, err
	}
	o, err := b.store.StartComparison(ctx, tenant(ctx), batch, madeUp("c"), append([]byte{comparisonMark}, deterministic(kept)...), r)
	if err != nil {
		return nil, err
	}
	return operationMessage(o), nil
}

// asked is what the two requests to compare have in common.
type asked interface {
	GetPressuresKpa() []float64
	GetPoint() pb.ComparePressuresRequest_Point
	GetSettings() *pb.Settings
	GetPriceList() string
}

// compared checks a request to compare.
func (s *Server) compared(c *checker, req asked) comparison {
	k := comparison{street: req.GetPoint() == pb.ComparePressuresRequest_STREET, settings: s.settings(c, "settings", req.GetSettings())}
	if k.settings.Effort == "" {
		k.settings.Effort = "quick"
	}
	if _, known := pb.ComparePressuresRequest_Point_name[int32(req.GetPoint())]; !known {
		c.add("point", "got %v, want HEADS or STREET", req.GetPoint())
	}
	k.pressures = c.pressures(req.GetPressuresKpa())
	switch n := len(req.GetPriceList()); {
	case n > mostPriceList:
		c.add("price_list", "got %d bytes, want at most %d", n, mostPriceList)
	case s.options.Price != nil:
		var err error
		if k.price, err = s.options.Price(req.GetPriceList()); err != nil {
			c.add("price_list", "%v", err)
		}
	}
	return k
}

// compareStored compares a lot that was imported.
func (s *Server) compareStored(ctx context.Context, item Item, id string, asked []byte) (store.Design, error) {
	req := &pb.CompareBatchRequest{}
	if err := proto.Unmarshal(asked, req); err != nil {
		return store.Design{}, err
	}
	var c checker
	k := s.compared(&c, req)
	if err := c.err(); err != nil {
		return store.Design{}, err
	}
	m := designer{Server: s}.compare(ctx, item, id, k)
	if err := ctx.Err(); err != nil {
		return store.Design{}, err
	}
	outcome := m.Outcomes[len(m.Outcomes)-1]
	for _, o := range m.Outcomes {
		if o.Status == pb.Design_DESIGNED {
			outcome = o
		}
	}
	return store.Design{Status: store.Status(strings.ToLower(outcome.Status.String())), Reason: outcome.Reason, Content: deterministic(m)}, nil
}

// lotComparison is the result of a lot. Of a lot that the program is to blame for
// there is no more than that.
func lotComparison(d store.Design, pressures []float64) (*pb.LotComparison, error) {
	m := &pb.LotComparison{}
	if d.Status != store.Failed {
		err := proto.Unmarshal(d.Content, m)
		if err == nil && len(m.Outcomes) != len(pressures) {
			err = fmt.Errorf("it has %d outcomes of %d", len(m.Outcomes), len(pressures))
		}
		if err != nil {
			return nil, fmt.Errorf("comparison of lot %q: %w", d.Lot, err)
		}
		return m, nil
	}
	m.Lot = valid(d.Lot)
	for _, p := range pressures {
		m.Outcomes = append(m.Outcomes, &pb.PressureOutcome{AskedKpa: p, Status: pb.Design_FAILED, Reason: d.Reason})
	}
	return m, nil
}

const comparisonsName = "/comparisons/"

func comparisonName(o store.Operation) string {
	return batchesName + "/" + o.Batch + comparisonsName + o.ID
}

// comparisonOf finds a comparison that has ended, and what was asked for.
func (b batches) comparisonOf(ctx context.Context, field, name string) (o store.Operation, req *pb.CompareBatchRequest, err error) {
	parent, id, ok := strings.Cut(name, comparisonsName)
	batch, err := resource(field, parent, batchesName)
	if err != nil || !ok || id == "" || strings.Contains(id, "/") {
		return o, nil, invalidFields([]violation{{field, "got " + quoted(name) + ", want batches/, an id, /comparisons/ and an id"}})
	}
	o, err = b.store.Operation(ctx, tenant(ctx), id)
	switch {
	case err != nil:
		return o, nil, err
	case o.Batch != batch || o.Purpose != store.ToCompare:
		return o, nil, fmt.Errorf("comparison %q of batch %q: %w", clipped(id), clipped(batch), store.ErrNotFound)
	case o.State == store.Running:
		return o, nil, fmt.Errorf("comparison %q of batch %q is being made: %w", id, batch, store.ErrState)
	}
	req = &pb.CompareBatchRequest{}
	return o, req, proto.Unmarshal(o.Settings[1:], req)
}

// resultsPage is how many results are read at a time.
const resultsPage = 500

// GetComparison sums up a comparison.
func (b batches) GetComparison(ctx context.Context, req *pb.GetComparisonRequest) (*pb.Comparison, error) {
	o, asked, err := b.comparisonOf(ctx, "name", req.GetName())
	if err != nil {
		return nil, err
	}
	sums := newSums(asked.PressuresKpa)
	for after := 0; ; {
		list, err := b.store.Results(ctx, tenant(ctx), o.ID, after, resultsPage)
		if err != nil {
			return nil, err
		}
		if len(list) == 0 {
			break
		}
		for _, d := range list {
			lot, err := lotComparison(d, asked.PressuresKpa)
			if err != nil {
				return nil, err
			}
			sums.add(lot)
			after = d.Number
		}
	}
	m := &pb.Comparison{Name: comparisonName(o), State: stateMessage(o.State), Point: asked.Point, CreateTime: timestamppb.New(o.Created), EndTime: timestamppb.New(o.Ended)}
	m.Scenarios, m.LotsChanging = sums.scenarios()
	return m, nil
}

// sums add up lots, money in whole cents.
type sums struct {
	all           []*pb.Scenario
	parts, labour []int64
	changing      int32
}

func newSums(pressures []float64) *sums {
	s := &sums{parts: make([]int64, len(pressures)), labour: make([]int64, len(pressures))}
	for _, p := range pressures {
		s.all = append(s.all, &pb.Scenario{AskedKpa: p})
	}
	return s
}

func (s *sums) add(lot *pb.LotComparison) {
	changing := false
	for i, o := range lot.Outcomes {
		t := s.all[i]
		t.Lots++
		switch o.Status {
		case pb.Design_DESIGNED:
			t.Designed++
			t.Heads += o.GetHeads()
			t.HeadsBound += o.GetHeadsBound()
			t.TrenchM += o.GetTrenchM()
			t.PipeM += o.GetPipeM()
			s.parts[i] += cents(o.GetPartsCost())
			s.labour[i] += cents(o.GetLabourCost())
		case pb.Design_INFEASIBLE:
			t.Infeasible++
		case pb.Design_INVALID:
			t.Invalid++
		default:
			t.Failed++
		}
		// A lot that is not designed is told apart from one without heads.
		first := lot.Outcomes[0]
		changing = changing || o.GetHeads() != first.GetHeads() || (o.Heads == nil) != (first.Heads == nil)
	}
	if changing {
		s.changing++
	}
}

func cents(units float64) int64 { return int64(math.Round(units * 100)) }

func (s *sums) scenarios() ([]*pb.Scenario, int32) {
	for i, t := range s.all {
		t.PartsCost, t.LabourCost = float64(s.parts[i])/100, float64(s.labour[i])/100
	}
	return s.all, s.changing
}

// ListLotComparisons lists a comparison lot by lot.
func (b batches) ListLotComparisons(ctx context.Context, req *pb.ListLotComparisonsRequest) (*pb.ListLotComparisonsResponse, error) {
	var c checker
	p := page{List: "comparison", Parent: req.GetParent()}
	size := c.page(&p, req.GetPageSize(), usualPage, req.GetPageToken())
	after := c.number("page_token", p.After)
	if err := c.err(); err != nil {
		return nil, err
	}
	o, asked, err := b.comparisonOf(ctx, "parent", req.GetParent())
	if err != nil {
		return nil, err
	}
	list, err := b.store.Results(ctx, tenant(ctx), o.ID, after, size+1)
	if err != nil {
		return nil, err
	}
	resp := &pb.ListLotComparisonsResponse{}
	for _, d := range list[:min(size, len(list))] {
		lot, err := lotComparison(d, asked.PressuresKpa)
		if err != nil {
			return nil, err
		}
		resp.Lots = append(resp.Lots, lot)
	}
	if len(list) > size {
		resp.NextPageToken = p.from(strconv.Itoa(list[size-1].Number))
	}
	return resp, nil
}

// comparisonOperation is the operation of a comparison.
func comparisonOperation(o store.Operation) *longrunningpb.Operation {
	metadata := &pb.CompareBatchMetadata{Comparison: comparisonName(o), State: stateMessage(o.State), Lots: int32(o.Lots), Finished: int32(o.Finished()), CreateTime: timestamppb.New(o.Created)}
	if !o.Ended.IsZero() {
		metadata.EndTime = timestamppb.New(o.Ended)
	}
	m := &longrunningpb.Operation{Name: operationsName + "/" + o.ID, Metadata: packed(metadata), Done: o.State != store.Running}
	switch o.State {
	case store.Done:
		m.Result = &longrunningpb.Operation_Response{Response: packed(&pb.CompareBatchResponse{Comparison: comparisonName(o)})}
	case store.Cancelled:
		m.Result = &longrunningpb.Operation_Error{Error: &status.Status{Code: int32(codes.Canceled), Message: "the operation was cancelled; lots compared by then are kept"}}
	}
	return m
}

func stateMessage(s store.State) pb.DesignBatchMetadata_State {
	return map[store.State]pb.DesignBatchMetadata_State{
		store.Running: pb.DesignBatchMetadata_RUNNING, store.Done: pb.DesignBatchMetadata_DONE, store.Cancelled: pb.DesignBatchMetadata_CANCELLED}[s]
}

// costed adds to an outcome what its lot costs.
func (k comparison) costed(m *pb.PressureOutcome, d *layout.Design) *pb.PressureOutcome {
	if k.price == nil || d.Status != layout.StatusDesigned {
		return m
	}
	cost, err := k.price(d)
	if err != nil {
		return &pb.PressureOutcome{AskedKpa: m.AskedKpa, Status: pb.Design_FAILED, Reason: valid(err.Error())}
	}
	parts, labour := float64(cost.Parts)/100, float64(cost.Labour)/100
	m.PartsCost, m.LabourCost = &parts, &labour
	return m
}
