package hydraulic

import (
	"context"
	"fmt"

	"lotwright/layout"
)

func (s *settler) fails(rule, format string, args ...any) {
	s.out.Shortfalls = append(s.out.Shortfalls, Shortfall{rule, fmt.Sprintf(format, args...)})
}

func (s *settler) note(rule string, severity layout.Severity, format string, args ...any) {
	s.out.Notes = append(s.out.Notes, layout.Note{Rule: rule, Severity: severity, Text: fmt.Sprintf(format, args...)})
}

// checkFlow holds what a zone draws against the share of the measured flow.
func (s *settler) checkFlow(k int, r Result) {
	measured := s.net.Source.Test.Flow
	drawn := drawnFrom(r)
	if limit := measured * layout.Flow(s.limits.FlowShare); measured > 0 && drawn > limit {
		s.fails("supply.flow_low", "zone %d takes %v and %.0f %% of the measured %v is %v: at least %v must be measured, or fewer heads run together",
			s.number(k), drawn, 100*s.limits.FlowShare, measured, limit, drawn/layout.Flow(s.limits.FlowShare))
	}
}

// mainPressure is the least that should be left where the supply was measured
// (NFPA 291, 4.2.2).
const mainPressure = 20 * layout.Pressure(layout.KPaPerPSI)

// checkMain holds the pressure at the source against the least it should keep.
func (s *settler) checkMain(k int, r Result) {
	if p := r.Nodes[0].Pressure; p < mainPressure {
		s.note("supply.main_low", layout.SeverityWarning, "zone %d draws the supply down to %v; %v should be kept in a main", s.number(k), p, mainPressure)
	}
}

// drawnFrom returns what leaves the network in a state.
func drawnFrom(r Result) (q layout.Flow) {
	for _, v := range r.Nodes {
		q += v.Outflow
	}
	return q
}

// evenFlow is how far a head's flow may lie from the mean of its zone: 10 %,
// which is 20 % of pressure (extension guidance on laterals after Jarrett 2000
// and Pair 1983).
const evenFlow = 0.10

// checkEvenness compares the flows of a zone of like heads.
func (s *settler) checkEvenness(k int, r Result) {
	zone := s.limits.Zones[k]
	var sum layout.Flow
	for _, i := range zone {
		if s.model(i).Name != s.model(zone[0]).Name {
			return
		}
		sum += r.Nodes[i].Outflow - s.net.Nodes[i].Demand
	}
	mean := sum / layout.Flow(len(zone))
	for _, i := range zone {
		if q := r.Nodes[i].Outflow - s.net.Nodes[i].Demand; q < mean*(1-evenFlow) || q > mean*(1+evenFlow) {
			s.note("zone.uneven", layout.SeverityWarning, "zone %d: %s takes %v and the mean head %v, more than 10 %% apart",
				s.number(k), s.net.Nodes[i].Label, q, mean)
		}
	}
}

// explain says how much pressure the heads of a zone lack, and where it goes.
// Each head is given the flow it takes at the foot of its band: if the source
// held the missing pressure more, a head running alone would come to just that.
func (s *settler) explain(ctx context.Context, k int) error {
	asked := s.net.Running()
	for _, i := range s.limits.Zones[k] {
		asked.Nodes[i].Demand += s.model(i).Rows[0].Flow
	}
	r, err := Solve(ctx, asked, Settings{})
	if err != nil {
		return err
	}
	worst, lack := -1, layout.Pressure(0)
	for _, i := range s.limits.Zones[k] {
		low, _ := s.model(i).Band()
		if l := low - r.Nodes[i].Pressure; worst < 0 || l > lack {
			worst, lack = i, l
		}
	}
	if lack <= 0 { // the uneven draw of the others starves a head of its zone
		s.fails("supply.pressure_low", "zone %d: a head falls below its rated band while others take more than they need", s.number(k))
		return nil
	}
	low, _ := s.model(worst).Band()
	t := sumRows(asked.Budget(r, worst))
	rule, cure := "supply.pressure_low", fmt.Sprintf("%v more static pressure, or as much less lost on the way", lack)
	if lack <= t.height {
		rule, cure = "supply.elevation_high", fmt.Sprintf("a place %v lower, or %v more static pressure", layout.Length(headOf(lack)), lack)
	}
	s.fails(rule, "%s would get %v at %v and the %s head needs at least %v. Of the static %v, the supply falls by %v, devices lose %v, pipe %v, and the height takes %v. It would take %s",
		s.net.Nodes[worst].Label, r.Nodes[worst].Pressure, s.model(worst).Rows[0].Flow, s.model(worst).Name, low,
		s.net.Source.Static, t.supply, t.devices, t.pipe, t.height, cure)
	return nil
}

// checkLinks holds the largest flow of every link against what it may carry.
func (s *settler) checkLinks() {
	for i, l := range s.net.Links {
		state := s.out.Links[i]
		if limit := flowOf(l.Element.limit()); state.Flow > limit {
			s.fails("device.flow_high", "%s carries %v and nothing is known of it above %v: a larger one is needed", l.Label, state.Flow, limit)
		}
		if c, ok := l.Element.(LossCurve); ok && c.Judged {
			s.note("device.judged", layout.SeverityInfo, "the loss of %s is a judgement: its maker's curve would be surer", l.Label)
		}
		if p, ok := l.Element.(Pipe); ok && state.Velocity > s.limits.VelocityLimit {
			s.fails("pipe.velocity_high", "in %s, %s, %v runs at %v and the limit is %v: it must be wider, or its flow at most %v",
				l.Label, p.Size.Nominal, state.Flow, state.Velocity, s.limits.VelocityLimit, p.Size.FlowAt(s.limits.VelocityLimit))
		}
	}
}

// checkRatings holds the static pressure against what each pipe should stand
// under.
func (s *settler) checkRatings(ctx context.Context) error {
	still, err := Solve(ctx, s.net.still(), Settings{})
	if err != nil {
		return err
	}
	for _, l := range s.net.Links {
		p, ok := l.Element.(Pipe)
		static := max(still.Nodes[l.From].Pressure, still.Nodes[l.To].Pressure)
		if ok && p.Size.Rating > 0 && static > p.Size.UsablePressure() {
			s.note("pipe.rating", layout.SeverityWarning,
				"%s stands under %v; %s %s should under no more than %v, 72 %% of its rating, unless surges (water hammer) are reckoned",
				l.Label, static, p.Size.Material, p.Size.Nominal, p.Size.UsablePressure())
		}
	}
	return nil
}

// still returns the network with nothing drawn and springs open, so that every
// node has the most pressure it can have.
func (n Network) still() Network {
	n = n.Running()
	for i := range n.Nodes {
		n.Nodes[i].Demand = 0
	}
	n.Links = append([]Link(nil), n.Links...)
	for i, l := range n.Links {
		if _, ok := l.Element.(LossCurve); ok {
			n.Links[i].Element = SquareLoss{}
		}
	}
	return n
}

// totals of a pressure budget.
type totals struct{ supply, devices, pipe, height layout.Pressure }

func sumRows(rows []BudgetRow) (t totals) {
	for _, r := range rows {
		switch r.Item {
		case ItemStatic:
		case ItemSupply:
			t.supply += r.Loss
		case ItemElevation:
			t.height += r.Loss
		case Item(KindPipe), Item(KindServiceLine), ItemFittings:
			t.pipe += r.Loss
		default:
			t.devices += r.Loss
		}
	}
	return t
}
