package hydraulic

import (
	"context"
	"fmt"

	"lotwright/layout"
)

// Limits says what a network is judged by. The zero value asks for the defaults.
type Limits struct {
	First         int      // number of the first zone, in words; 0 means 1
	Zones         [][]int  // nodes whose emitters run together; nil: each emitter alone, in the order of the nodes
	FlowShare     float64  // share of the measured flow that may be used; 0 means [DefaultFlowShare]
	VelocityLimit Velocity // 0 means [DefaultVelocityLimit]
}

// DefaultFlowShare keeps a quarter of the measured flow in reserve. Common
// practice, no source.
const DefaultFlowShare = 0.75

func (l Limits) filled(n *Network) Limits {
	if l.FlowShare == 0 {
		l.FlowShare = DefaultFlowShare
	}
	if l.VelocityLimit == 0 {
		l.VelocityLimit = DefaultVelocityLimit
	}
	if l.Zones == nil {
		for _, i := range n.Emitters() {
			l.Zones = append(l.Zones, []int{i})
		}
	}
	return l
}

func (l Limits) check(n *Network) error {
	for k, zone := range l.Zones {
		for _, i := range zone {
			if i < 0 || i >= len(n.Nodes) || n.Nodes[i].Emitter == nil {
				return fmt.Errorf("zone %d: node %d has no emitter", k+1, i)
			}
		}
	}
	return insist(l.FlowShare > 0 && l.FlowShare <= 1 && l.VelocityLimit > 0,
		"a flow share of %v and a velocity limit of %v", l.FlowShare, l.VelocityLimit)
}

// Settled is how every head of a network runs.
type Settled struct {
	Heads []HeadState           // by zone, then as the zone lists them
	Zones []Result              // the state of the network while each zone runs
	Links []LinkState           // of each link, the state with the largest flow
	Worst int                   // of Heads, the one with the least pressure; -1 if there are none
	Least layout.PerformanceRow // the least pressure, throw and flow of any head inside its band or above; what can be counted on everywhere

	Shortfalls []Shortfall   // what fails, by how much and what would cure it; empty if all is well
	Notes      []layout.Note // what should be known
}

// HeadState is how a head runs after all losses.
type HeadState struct {
	Node      int
	Zone      int                   // from 1
	Pressure  layout.Pressure       // before the head
	Row       layout.PerformanceRow // what it does there; the top row if regulated, zero below the band
	Regulated bool                  // the pressure is above the rated band
	InBand    bool                  // not below the rated band
}

// bandSlack is how far, in kPa, a pressure may lie below one asked for: a
// hundred times what a solution leaves unbalanced.
const bandSlack = 100 * headTolerance * layout.KPaPerMetreHead

// Settle finds the pressure, throw and flow of every head, zone by zone. Heads
// must be [TableEmitter]s. The network is taken as it is; what its sizes, its
// heads or its supply ought to be instead is for the caller, told by the
// shortfalls.
func Settle(ctx context.Context, n Network, l Limits) (Settled, error) {
	l = l.filled(&n)
	if err := l.check(&n); err != nil {
		return Settled{}, err
	}
	for _, i := range n.Emitters() {
		if _, ok := n.Nodes[i].Emitter.(TableEmitter); !ok {
			return Settled{}, fmt.Errorf("node %q: a head without a table has no throw", n.Nodes[i].Label)
		}
	}
	s := settler{net: &n, limits: l, out: Settled{Worst: -1, Links: make([]LinkState, len(n.Links))}}
	for k, zone := range l.Zones {
		r, err := Solve(ctx, n.Running(zone...), Settings{})
		if err != nil {
			return Settled{}, err
		}
		if r.Status == NotSettled {
			return Settled{}, fmt.Errorf("zone %d: %s", k+1, r.Reason)
		}
		if err := s.add(ctx, k, r); err != nil {
			return Settled{}, err
		}
	}
	s.checkLinks()
	return s.out, s.checkRatings(ctx)
}

// number is what a zone is called.
func (s *settler) number(k int) int { return max(1, s.limits.First) + k }

type settler struct {
	net    *Network
	limits Limits
	out    Settled
}

// add takes up the state of one zone.
func (s *settler) add(ctx context.Context, k int, r Result) error {
	s.out.Zones = append(s.out.Zones, r)
	for i, l := range r.Links {
		if l.Flow > s.out.Links[i].Flow {
			s.out.Links[i] = l
		}
	}
	short := false
	for _, i := range s.limits.Zones[k] {
		h := HeadState{Node: i, Zone: k + 1, Pressure: r.Nodes[i].Pressure}
		low, _ := s.model(i).Band()
		if h.Pressure < low && h.Pressure >= low-bandSlack {
			h.Pressure = low
		}
		h.Row, h.Regulated, h.InBand = s.model(i).At(h.Pressure)
		short = short || !h.InBand
		if s.out.Worst < 0 || h.Pressure < s.out.Heads[s.out.Worst].Pressure {
			s.out.Worst = len(s.out.Heads)
		}
		if h.InBand {
			s.lower(h.Row)
		}
		s.out.Heads = append(s.out.Heads, h)
	}
	s.checkFlow(k, r)
	s.checkMain(k, r)
	s.checkEvenness(k, r)
	if short {
		return s.explain(ctx, k)
	}
	return nil
}

// lower brings the least row down to another.
func (s *settler) lower(r layout.PerformanceRow) {
	least := &s.out.Least
	if least.Pressure == 0 {
		*least = r
		return
	}
	*least = layout.PerformanceRow{Pressure: min(least.Pressure, r.Pressure), Throw: min(least.Throw, r.Throw), Flow: min(least.Flow, r.Flow)}
}

func (s *settler) model(i int) layout.HeadModel { return s.net.Nodes[i].Emitter.(TableEmitter).Model }
