// Package setcover chooses the fewest columns that cover enough of the rows,
// and bounds from below how few can be enough.
//
// The problem is unicost set covering, whole or partial, once or several times
// over: every row has a weight and says how many columns must cover it, and
// rows of a total weight up to Spare may be covered less often. Choices
// are found by a greedy start and row-weighting local search (Gao, Weise and
// Li 2015); bounds by the linear relaxation, solved in its packing form by a
// bounded dual simplex with row generation, and by branching on it. Floats
// only propose: every bound that is reported has been checked in integers.
//
// The package knows nothing of what rows and columns stand for.
package setcover

import (
	"fmt"
	"slices"
)

// Problem is an instance. Rows and columns are counted from 0.
type Problem struct {
	// Columns lists for each column the rows it covers, in ascending order
	// without repeats.
	Columns [][]int32
	// Weights are the rows' weights, positive, with a total below 2^40.
	Weights []int64
	// Spare is the total weight of rows that may stay uncovered.
	Spare int64
	// Demand is how many chosen columns must cover each row before it counts as
	// covered, at least 1; nil means 1 for every row. A column is chosen once
	// at most.
	Demand []int32
}

// demand returns how many columns row r asks for.
func (p Problem) demand(r int) int32 {
	if p.Demand == nil {
		return 1
	}
	return p.Demand[r]
}

// maxTotalWeight keeps sums of scaled weights within 63 bits.
const maxTotalWeight = 1 << 40

// maxDemand is far above any use and keeps sums within 63 bits.
const maxDemand = 1 << 10

// Validate says what makes p not a problem, if anything.
func (p Problem) Validate() error {
	total := int64(0)
	for r, w := range p.Weights {
		if w <= 0 || w >= maxTotalWeight {
			return fmt.Errorf("row %d: weight %d is not in (0, 2^40)", r, w)
		}
		if total += w; total >= maxTotalWeight {
			return fmt.Errorf("row %d: total weight reaches 2^40", r)
		}
	}
	if p.Spare < 0 {
		return fmt.Errorf("spare weight %d is negative", p.Spare)
	}
	if p.Demand != nil && len(p.Demand) != len(p.Weights) {
		return fmt.Errorf("%d demands for %d rows", len(p.Demand), len(p.Weights))
	}
	for r, k := range p.Demand {
		if k < 1 || k > maxDemand {
			return fmt.Errorf("row %d: demand %d is not in [1, %d]", r, k, maxDemand)
		}
	}
	for c, rows := range p.Columns {
		for i, r := range rows {
			if r < 0 || int(r) >= len(p.Weights) {
				return fmt.Errorf("column %d: row %d is not in [0, %d)", c, r, len(p.Weights))
			}
			if i > 0 && rows[i-1] >= r {
				return fmt.Errorf("column %d: rows are not in ascending order", c)
			}
		}
	}
	return nil
}

// Uncovered returns the total weight of the rows that fewer of the chosen
// columns, which must not repeat, cover than they demand.
func (p Problem) Uncovered(chosen []int) int64 {
	times := make([]int32, len(p.Weights))
	for _, c := range chosen {
		for _, r := range p.Columns[c] {
			times[r]++
		}
	}
	sum := int64(0)
	for r, w := range p.Weights {
		if times[r] < p.demand(r) {
			sum += w
		}
	}
	return sum
}

// rowsOf returns for each row the columns that cover it, ascending.
func rowsOf(columns [][]int32, rows int) [][]int32 {
	count := make([]int32, rows)
	for _, col := range columns {
		for _, r := range col {
			count[r]++
		}
	}
	total := int32(0)
	for _, n := range count {
		total += n
	}
	out, slab := make([][]int32, rows), make([]int32, total)
	for r, n := range count {
		out[r], slab = slab[:0:n], slab[n:]
	}
	for c, col := range columns {
		for _, r := range col {
			out[r] = append(out[r], int32(c))
		}
	}
	return out
}

// Status says how far a solution got.
type Status int

// The statuses.
const (
	Feasible   Status = iota // a choice is found; fewer columns are not ruled out
	Optimal                  // no choice with fewer columns exists
	Infeasible               // all columns together leave too much uncovered
)

// String names the status.
func (s Status) String() string { return [...]string{"feasible", "optimal", "infeasible"}[s] }

// Settings limit the effort, counted in work and never in seconds, so that
// results are the same on any machine. Zero values mean the defaults.
type Settings struct {
	Moves  int // exchanges of the local search; 0 means [DefaultMoves]
	Pivots int // of the simplex method, all in all; 0 means [DefaultPivots], negative means no bound and no tree
	Nodes  int // of the search tree; 0 means [DefaultNodes], negative means the root only
	Seed   uint64

	// Start is a choice to begin with, a cover or not; nil means the greedy one.
	Start []int
	// Goal ends the search at a choice of so few columns; 0 means none.
	Goal int
}

// Defaults calibrated on residential lots (about 1 000 rows and 1 000 columns).
const (
	DefaultMoves  = 4000
	DefaultPivots = 8_000
	DefaultNodes  = 200
)

// ThoroughMoves is an effort for larger and denser problems than lots. On random
// problems of 200 to 400 rows and 1 000 to 4 000 columns it takes up to about a
// second; TestBestKnown says how near it comes to the best that is known.
const ThoroughMoves = 120_000

func (s Settings) withDefaults() Settings {
	if s.Moves == 0 {
		s.Moves = DefaultMoves
	}
	if s.Pivots == 0 {
		s.Pivots = DefaultPivots
	}
	if s.Nodes == 0 {
		s.Nodes = DefaultNodes
	}
	return s
}

// Result is the best choice found and what is known of the fewest.
type Result struct {
	Status    Status
	Chosen    []int // columns, ascending
	Uncovered int64 // weight left uncovered by Chosen
	Bound     int   // no choice within Spare has fewer columns
	Greedy    int   // columns in the plain greedy choice

	// Near is a choice with one column fewer than Chosen that leaves as
	// little uncovered as any the local search met; nil if it met none.
	Near []int
	Work Work
}

// Work counts what was done.
type Work struct{ Moves, Pivots, Nodes int }

// reduced is a problem after reductions, with the way back.
type reduced struct {
	columns [][]int32
	rows    [][]int32
	sets    []bitset // the columns again
	weights []int64
	demand  []int32
	most    int32 // largest demand
	spare   int64
	origin  []int     // of each column, ascending
	merged  [][]int32 // the caller's columns, in terms of the reduced rows
}

// toOriginal maps reduced columns to the caller's, ascending.
func (q *reduced) toOriginal(cols []int32) []int {
	out := make([]int, len(cols))
	for i, c := range cols {
		out[i] = q.origin[c]
	}
	slices.Sort(out)
	return out
}
