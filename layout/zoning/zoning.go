package zoning

import (
	"cmp"
	"fmt"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Head is one head to be put on a valve.
type Head struct {
	Label string // unique
	At    geom.Point
	Flow  layout.Flow // positive
	Class Class
}

// Class is what heads must have in common to share a valve. Any part may be
// left empty.
type Class struct {
	Family        string // kind of head or nozzle family
	Precipitation string // precipitation class, where families differ within
	Exposure      string // sun
	Soil          string
}

// Tap stands for the point of connection in [Settings].Distance.
const Tap = -1

// Settings say what a valve may draw and how pipe is measured.
type Settings struct {
	// DesignFlow is the most one valve may draw. 0: not known; no zones can
	// be worked out then.
	DesignFlow layout.Flow

	// Trench is the network the pipe lies in; nil: Distance is used.
	Trench *Trench
	// Distance returns the length of pipe between two heads, by their places
	// in the list, or a head and [Tap], in millimetres, the same both ways.
	// graph.Unreachable, or anything from 2^40 up, means that no way leads there. Nil: as the
	// crow flies.
	Distance func(i, j int) int64
	// TapAt is the point of connection. With a Trench it is not needed.
	TapAt geom.Point

	// ValvesAtBranches puts each valve where the heads of its zone branch off
	// in the Trench, fed by a main, instead of at the point of connection.
	ValvesAtBranches bool

	Nodes      int // steps of packing, each class; 0 means those of layout/cutting
	ExactHeads int // largest class divided exactly; 0 means [DefaultExactHeads], at most [MostExactHeads]
	Moves      int // zones measured by the local search, each class; 0 means [DefaultMoves], negative means none
}

// Default efforts, and the most that may be asked for. Judgements: each a few
// hundredths of a second.
const (
	DefaultExactHeads = 13
	DefaultMoves      = 20_000
	MostExactHeads    = 18
)

// Status tells how good a [Result] is.
type Status string

// The statuses.
const (
	Optimal     Status = "optimal"      // fewest valves, proven
	Feasible    Status = "feasible"     // valid, but fewer valves are not ruled out
	FlowUnknown Status = "flow_unknown" // no design flow, no zones
)

// Zone is the heads of one valve.
type Zone struct {
	Number int      // from 1, by the least label
	Heads  []int    // places in the list, by label
	Labels []string // of these heads
	Class  Class
	Flow   layout.Flow

	Pipe    layout.Length // the zone's own tree, from the tap
	Lateral layout.Length // of it, what lies beyond the valve
	Valve   Place
}

// Place is a named place of the trench, or the tap.
type Place struct {
	Name string // "POC", "T3", "H4"
	At   geom.Point
}

// Refusal is a head that could not be put on any valve.
type Refusal struct {
	Head   int
	Label  string
	Rule   string // "zone.flow_over_limit" or "zone.no_way"
	Reason string
	Flow   layout.Flow // of the head
	Limit  layout.Flow
}

// Result is a grouping.
type Result struct {
	Status Status
	Zones  []Zone
	Bound  int // no grouping has fewer zones

	Pipe         layout.Length // sum over zones
	PipeShortest bool          // no grouping into as many zones has less, proven
	Main         layout.Length // joins the tap to the valves

	Refused []Refusal // by label; the zones are without them

	Nodes int // steps of packing
	Moves int // zones measured by the local search
}

// Group puts heads on valves; see the package comment for how. A head that takes
// more than the design flow by itself, or that no way leads to, is refused and
// the others are grouped. An error means input that makes no sense.
func Group(heads []Head, s Settings) (Result, error) {
	if err := validate(heads, s); err != nil {
		return Result{}, err
	}
	if s.DesignFlow == 0 {
		return Result{Status: FlowUnknown}, nil
	}
	g := grouping{heads: heads, s: s.withDefaults(), result: Result{Status: Optimal, PipeShortest: true}}
	g.measure = newMeasure(heads, s)
	for _, c := range g.classes() {
		if err := g.divide(c); err != nil {
			return Result{}, fmt.Errorf("zoning: %w", err)
		}
	}
	g.number()
	return g.result, nil
}

func (s Settings) withDefaults() Settings {
	s.ExactHeads = min(cmp.Or(s.ExactHeads, DefaultExactHeads), MostExactHeads)
	s.Moves = cmp.Or(s.Moves, DefaultMoves)
	return s
}

// grouping is one call of [Group] under way.
type grouping struct {
	heads   []Head
	s       Settings
	measure measure
	result  Result
}

// classes returns, for each class, the heads that can be grouped by label; the
// classes by their least label. The others are refused.
func (g *grouping) classes() [][]int {
	order := make([]int, len(g.heads))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int { return layout.CompareLabels(g.heads[i].Label, g.heads[j].Label) })
	place := make(map[Class]int)
	var out [][]int
	for _, i := range order {
		if g.refuse(i) {
			continue
		}
		k, ok := place[g.heads[i].Class]
		if !ok {
			k = len(out)
			place[g.heads[i].Class], out = k, append(out, nil)
		}
		out[k] = append(out[k], i)
	}
	return out
}

// refuse reports whether head i can be on no valve, and lists it then.
func (g *grouping) refuse(i int) bool {
	h, limit := g.heads[i], g.s.DesignFlow
	r := Refusal{Head: i, Label: h.Label, Flow: h.Flow, Limit: limit}
	switch {
	case microlitres(h.Flow) > microlitresLimit(limit):
		r.Rule = "zone.flow_over_limit"
		r.Reason = fmt.Sprintf("head %s takes %v by itself and one valve may draw %v", h.Label, h.Flow, limit)
	case !g.measure.reaches(i):
		r.Rule = "zone.no_way"
		r.Reason = fmt.Sprintf("no way of trench leads from the point of connection to head %s", h.Label)
	default:
		return false
	}
	g.result.Refused = append(g.result.Refused, r)
	return true
}

// divide puts the heads of one class on valves.
func (g *grouping) divide(class []int) error {
	p := newProblem(g, class)
	packed, err := p.pack(g.s.Nodes)
	if err != nil {
		return err
	}
	best, exact := p.shortest(packed.bins)
	if exact {
		packed.bound = len(best)
	}
	if len(best) > packed.bound {
		g.result.Status = Feasible
	}
	g.result.Bound += packed.bound
	g.result.Nodes += packed.nodes
	g.result.PipeShortest = g.result.PipeShortest && exact
	g.result.Moves += p.moves
	for _, z := range best {
		g.result.Zones = append(g.result.Zones, g.zone(p, z))
	}
	return nil
}

// zone describes a zone of the class p.
func (g *grouping) zone(p *problem, z zone) Zone {
	out := Zone{Class: g.heads[p.heads[0]].Class, Pipe: fromMM(z.length)}
	slices.Sort(z.heads)
	for _, k := range z.heads {
		i := p.heads[k]
		out.Heads = append(out.Heads, i)
		out.Labels = append(out.Labels, g.heads[i].Label)
		out.Flow += g.heads[i].Flow
	}
	g.setValve(&out)
	return out
}

// number orders the zones and sums up.
func (g *grouping) number() {
	r := &g.result
	slices.SortFunc(r.Zones, func(a, b Zone) int { return layout.CompareLabels(a.Labels[0], b.Labels[0]) })
	valves := make([]string, len(r.Zones))
	for i := range r.Zones {
		r.Zones[i].Number = i + 1
		r.Pipe += r.Zones[i].Pipe
		valves[i] = r.Zones[i].Valve.Name
	}
	if t := g.s.Trench; t != nil {
		r.Main = fromMM(t.joining(t.nodesNamed(valves)))
	}
}

// fromMM returns a length given in whole millimetres.
func fromMM(mm int64) layout.Length { return layout.Length(mm) / geom.MillimetresPerMetre }

// noWay is a distance no pipe has, in millimetres: sums of it stay exact.
const noWay = int64(1) << 40

// measure tells how long the tree of a zone is.
type measure interface {
	reaches(head int) bool
	// length returns the length of the tree joining heads to the tap, in mm.
	length(heads []int) int64
	// sequence orders heads so that neighbours in it tend to share a tree.
	sequence(heads []int) []int
}

func newMeasure(heads []Head, s Settings) measure {
	if s.Trench != nil {
		return newTrenchMeasure(heads, s.Trench)
	}
	return newSpanMeasure(heads, s)
}

// The greatest flow and the most heads that are taken: flows in µL/min then stay
// within what layout/cutting takes, and their squares sum up within 63 bits. Far
// beyond the tap of a house.
const (
	greatestFlow layout.Flow = 1000 // L/min
	mostHeads    int         = 400
)

func validate(heads []Head, s Settings) error {
	if !(s.DesignFlow >= 0 && s.DesignFlow <= greatestFlow) {
		return fmt.Errorf("zoning: design flow %v is not between 0 and %v", s.DesignFlow, greatestFlow)
	}
	if len(heads) > mostHeads {
		return fmt.Errorf("zoning: %d heads; at most %d are taken", len(heads), mostHeads)
	}
	seen := make(map[string]bool, len(heads))
	for i, h := range heads {
		switch {
		case h.Label == "":
			return fmt.Errorf("zoning: head %d has no label", i)
		case seen[h.Label]:
			return fmt.Errorf("zoning: two heads are labelled %s", h.Label)
		case !(h.Flow > 0 && h.Flow <= greatestFlow):
			return fmt.Errorf("zoning: head %s: flow %v is not between 0 and %v", h.Label, h.Flow, greatestFlow)
		}
		seen[h.Label] = true
	}
	return validateDistances(heads, s)
}

func validateDistances(heads []Head, s Settings) error {
	if s.Trench != nil || s.Distance == nil {
		return nil
	}
	for i := range heads {
		for j := Tap; j < i; j++ {
			if d := s.Distance(i, j); d < 0 || d != s.Distance(j, i) {
				return fmt.Errorf("zoning: the distances between head %s and place %d are %d and %d mm; they must be equal and not negative",
					heads[i].Label, j, d, s.Distance(j, i))
			}
		}
	}
	return nil
}
