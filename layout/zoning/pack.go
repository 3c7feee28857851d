package zoning

import (
	"math"

	"lotwright/layout"
	"lotwright/layout/cutting"
)

// microlitresPerLitre is the unit in which flows are packed.
const microlitresPerLitre = 1e6

// microlitres returns a head's flow in whole µL/min, rounded down, and
// microlitresLimit the design flow to the nearest. So heads that fill the design
// flow exactly fit, whatever the last digits of their sum; at most a millionth
// of a litre per minute a head is forgiven.
func microlitres(f layout.Flow) int64      { return max(1, int64(f.LPM()*microlitresPerLitre)) }
func microlitresLimit(f layout.Flow) int64 { return int64(math.Round(f.LPM() * microlitresPerLitre)) }

// problem is the heads of one class. Heads are counted from 0 in the order of
// their labels.
type problem struct {
	heads   []int   // place of each in the list given to [Group]
	flow    []int64 // µL/min
	limit   int64
	exact   int // largest set divided exactly
	budget  int // of moves
	moves   int // spent
	measure measure
	ids     []int // scratch of tree
}

func newProblem(g *grouping, class []int) *problem {
	p := &problem{heads: class, limit: microlitresLimit(g.s.DesignFlow), exact: g.s.ExactHeads, budget: g.s.Moves, measure: g.measure}
	for _, i := range class {
		p.flow = append(p.flow, microlitres(g.heads[i].Flow))
	}
	return p
}

// packing is heads in bins.
type packing struct {
	bins  [][]int
	bound int // no packing has fewer bins
	nodes int
}

// pack finds the fewest bins, as sticks cut into pieces: one length of stick, at
// a cost of one.
func (p *problem) pack(nodes int) (packing, error) {
	r, err := cutting.Solve(cutting.Problem{Pieces: p.flow, Stocks: []cutting.Stock{{Length: p.limit, Cost: 1}}},
		cutting.Settings{Nodes: nodes})
	if err != nil {
		return packing{}, err
	}
	out := packing{bound: int(r.Bound), nodes: r.Nodes}
	for _, s := range r.Sticks {
		out.bins = append(out.bins, s.Pieces)
	}
	return out, nil
}
