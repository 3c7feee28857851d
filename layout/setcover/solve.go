package setcover

import (
	"context"
	"fmt"
)

// Solve chooses columns for p and bounds their number. It returns an error
// only for a malformed problem or a cancelled context; running out of effort
// or an impossible target is a [Status].
//
//  1. Rows that too few columns cover are taken off Spare; if that cannot bear them the
//     problem is Infeasible and the result says what all columns leave.
//  2. The problem is reduced.
//  3. A greedy cover is improved by a short local search.
//  4. The relaxation bounds it. If the bound is smaller than the cover, local
//     search and branching try in turn to close the gap, first with little
//     effort and then with all of it.
func Solve(ctx context.Context, p Problem, s Settings) (Result, error) {
	if err := p.Validate(); err != nil {
		return Result{}, err
	}
	for _, c := range s.Start {
		if c < 0 || c >= len(p.Columns) {
			return Result{}, fmt.Errorf("start: column %d is not in [0, %d)", c, len(p.Columns))
		}
	}
	s = s.withDefaults()
	spare, ok := spareLeft(p)
	if !ok {
		return Result{Status: Infeasible, Uncovered: p.Spare - spare}, nil
	}
	q := reduce(p, spare)
	if total(q.weights) <= spare {
		return Result{Status: Optimal, Uncovered: p.Uncovered(nil)}, nil
	}
	r := run{ctx: ctx, q: q, s: s, best: greedy(q)}
	r.result.Greedy = len(r.best)
	if s.Start != nil {
		r.best = q.completed(q.fromOriginal(s.Start))
	}
	if err := r.all(); err != nil {
		return Result{}, err
	}
	r.result.Chosen = q.toOriginal(r.best)
	r.result.Uncovered = p.Uncovered(r.result.Chosen)
	if len(r.near) == len(r.best)-1 {
		r.result.Near = q.toOriginal(r.near)
	}
	return r.result, nil
}

// spareLeft returns Spare less the weight of the rows that fewer columns cover
// than they demand, and whether that is not negative.
func spareLeft(p Problem) (int64, bool) {
	spare := p.Spare
	for r, cols := range rowsOf(p.Columns, len(p.Weights)) {
		if len(cols) < int(p.demand(r)) {
			spare -= p.Weights[r]
		}
	}
	return spare, spare >= 0
}

func total(weights []int64) int64 {
	sum := int64(0)
	for _, w := range weights {
		sum += w
	}
	return sum
}

// run is one solution under way.
type run struct {
	ctx    context.Context
	q      *reduced
	s      Settings
	best   []int32
	near   []int32
	result Result
}

// quickMoves are spent before the first bound: on residential lots enough to find
// the fewest on most, which the bound then only has to confirm.
const quickMoves = 60

// shortShare is the share of the moves and nodes spent on a first try at a gap:
// on most problems either of them closes it soon or not at all.
const shortShare = 8

func (r *run) all() error {
	if r.s.Pivots < 0 {
		r.result.Bound = 1
		r.search(r.s.Moves, max(1, r.s.Goal))
		return r.ctx.Err()
	}
	quick := min(quickMoves, r.s.Moves)
	r.search(quick, max(1, r.s.Goal))
	if err := r.ctx.Err(); err != nil {
		return err
	}
	x := newRelaxation(r.q, r.best, r.s.Pivots)
	r.result.Bound = max(1, x.root(len(r.best), r.thetaGuess()))
	r.result.Work.Pivots = x.lp.Pivots()
	short := max(quick, r.s.Moves/shortShare)
	for _, try := range [...]struct{ moves, nodes int }{
		{short - quick, r.s.Nodes / shortShare}, {r.s.Moves - short, r.s.Nodes},
	} {
		if err := r.ctx.Err(); err != nil {
			return err
		}
		if r.result.Bound < len(r.best) {
			r.search(try.moves, max(r.result.Bound, r.s.Goal))
		}
		if err := r.ctx.Err(); err != nil {
			return err
		}
		if r.result.Bound < len(r.best) && try.nodes > 0 {
			r.branch(x, try.nodes)
		}
	}
	if r.result.Bound >= len(r.best) {
		r.result.Bound, r.result.Status = len(r.best), Optimal
	}
	return nil
}

// search runs the local search from the best cover and keeps what it finds.
func (r *run) search(moves, goal int) {
	s := newSearch(r.q, r.best, r.s.Seed)
	found, done := s.run(moves, goal)
	r.result.Work.Moves += done
	if found != nil {
		r.best = found
	}
	if len(s.near) == len(r.best)-1 {
		r.near = s.near
	}
}

// branch closes the gap if it can with so many nodes.
func (r *run) branch(x *relaxation, nodes int) {
	x.setTheta(x.theta)
	c := closer{x: x, best: r.best, nodes: nodes}
	closed := c.run()
	r.best = c.best
	r.result.Work.Nodes += c.spent
	r.result.Work.Pivots = x.lp.Pivots()
	if closed {
		r.result.Bound = len(r.best)
	}
}

// thetaGuess is where the search for the price of Spare begins, per share of
// the total weight. Were every y at its bound θ·weight, and f the share of the
// rows with any, then Σy = θf; with Σy − θ·Spare about the number of columns
// and f around a third, θ is about three times that number.
func (r *run) thetaGuess() float64 { return 3 * float64(len(r.best)) }
