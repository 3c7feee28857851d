package packing

import (
	"math"
	"slices"
)

// Row is the left-hand side of a constraint.
type Row struct {
	At    []int32   // variables, ascending
	Value []float64 // their coefficients, positive; nil: all are 1
}

func (r Row) value(k int) float64 {
	if r.Value == nil {
		return 1
	}
	return r.Value[k]
}

// in returns the coefficient of variable j.
func (r Row) in(j int32) float64 {
	k, ok := slices.BinarySearch(r.At, j)
	if !ok {
		return 0
	}
	return r.value(k)
}

// term is a coefficient of a column: in the row with the given id.
type term struct {
	id    int32
	value float64
}

// Solver is a program and its present basis. Rows are known by small numbers
// that the caller chooses.
type Solver struct {
	n     int
	cost  []float64
	upper []float64
	terms [][]term // of each y, in rows taken in at some time

	rows   []Row   // by id
	slot   []int32 // place of each id among the active rows, −1: not active
	active []int32 // ids
	rhs    []float64

	basis []int32     // variable of each basis row: y_j as j, the slack of active row i as n+i
	at    []int32     // of each y: basis row, or atLower or atUpper
	slack []int32     // of each slack: basis row, or atLower
	inv   [][]float64 // inverse of the basis
	norm2 []float64   // squared length of each row of inv
	x     []float64   // values of the basic variables
	d     []float64   // reduced costs of the y
	price []float64   // dual values of the active rows

	alpha   []float64 // the pivot row, of the y
	scratch []entry
	pivots  int
	since   int // pivots since the inverse was computed afresh
}

const (
	atLower = -1
	atUpper = -2
)

// Tolerances, in units of y. They only steer.
const (
	feasibleTol = 1e-9
	pivotTol    = 1e-9
	zeroTol     = 1e-13 // entries of the inverse below it are dropped
	costJitter  = 1e-6  // largest change of a cost to break ties
	refreshed   = 500   // pivots after which the inverse is computed afresh
	slackEnough = 0.05  // what a row has to spare to be let go by Purge
)

// New returns a program of n variables with upper bounds 1 and no rows.
func New(n int) *Solver {
	s := &Solver{n: n, cost: make([]float64, n), upper: make([]float64, n), at: make([]int32, n),
		terms: make([][]term, n), d: make([]float64, n), alpha: make([]float64, n)}
	for j := range n {
		// A fixed low-discrepancy sequence: distinct, the same every time.
		_, frac := math.Modf(float64(j+1) * 0.6180339887498949)
		s.cost[j] = 1 + costJitter*frac
		s.upper[j] = 1
		s.d[j] = s.cost[j]
		s.at[j] = atUpper
	}
	return s
}

// Pivots returns the pivots made so far.
func (s *Solver) Pivots() int { return s.pivots }

// SetUpper sets the upper bound of y_j.
func (s *Solver) SetUpper(j int, u float64) { s.upper[j] = u }

// Upper returns the upper bound of y_j.
func (s *Solver) Upper(j int) float64 { return s.upper[j] }

// Value returns the present value of y_j, which may be slightly out of bounds
// unless the program was solved.
func (s *Solver) Value(j int) float64 { return s.value(int32(j)) }

func (s *Solver) value(j int32) float64 {
	switch k := s.at[j]; k {
	case atLower:
		return 0
	case atUpper:
		return s.upper[j]
	default:
		return s.x[k]
	}
}

// Gain returns by how much the optimum would rise per unit of y_j's upper
// bound: its reduced cost where it is at that bound, else 0.
func (s *Solver) Gain(j int) float64 {
	if s.at[j] != atUpper {
		return 0
	}
	return math.Max(0, s.d[j])
}

// Active returns the ids of the rows in the program, in no particular but a
// repeatable order. The slice must not be changed.
func (s *Solver) Active() []int32 { return s.active }

// Has reports whether the row is in the program.
func (s *Solver) Has(id int32) bool { return int(id) < len(s.slot) && s.slot[id] >= 0 }

// Price returns the dual value of an active row: how much of its right-hand
// side's object the covering problem buys.
func (s *Solver) Price(id int32) float64 { return s.price[s.slot[id]] }

// RHS returns the right-hand side of an active row.
func (s *Solver) RHS(id int32) float64 { return s.rhs[s.slot[id]] }

// SetRHS sets the right-hand side of an active row.
func (s *Solver) SetRHS(id int32, b float64) { s.rhs[s.slot[id]] = b }

// Add takes a row in under the given id, with right-hand side 1 and its slack
// basic. A row that was in before may be added again with the same content.
func (s *Solver) Add(id int32, row Row) {
	s.enlist(id, row)
	m := len(s.basis)
	inv := make([]float64, m+1, m+64)
	for k, v := range s.basis {
		if int(v) >= s.n {
			continue
		}
		if a := row.in(v); a != 0 {
			for i, f := range s.inv[k] {
				inv[i] -= a * f
			}
		}
	}
	inv[m] = 1
	for k := range s.inv {
		s.inv[k] = append(s.inv[k], 0)
	}
	left := 1.0
	for k, j := range row.At {
		left -= row.value(k) * s.value(j)
	}
	s.slot[id] = int32(m)
	s.inv, s.norm2 = append(s.inv, inv), append(s.norm2, dot(inv, inv))
	s.active, s.rhs, s.price = append(s.active, id), append(s.rhs, 1), append(s.price, 0)
	s.x, s.slack, s.basis = append(s.x, left), append(s.slack, int32(m)), append(s.basis, int32(s.n+m))
}

// enlist records the row's terms when the id is new.
func (s *Solver) enlist(id int32, row Row) {
	for int(id) >= len(s.rows) {
		s.rows, s.slot = append(s.rows, Row{}), append(s.slot, -1)
	}
	if s.rows[id].At != nil {
		return
	}
	s.rows[id] = row
	for k, j := range row.At {
		s.terms[j] = append(s.terms[j], term{id, row.value(k)})
	}
}

// Purge lets go of the rows with right-hand side 1 that have plenty to spare,
// if there are more than the given number of rows.
func (s *Solver) Purge(above int) {
	if len(s.active) <= above {
		return
	}
	for i := len(s.active) - 1; i >= 0; i-- {
		if k := s.slack[i]; k >= 0 && s.rhs[i] == 1 && s.x[k] > slackEnough {
			s.remove(i, int(k))
		}
	}
}

// remove lets go of active row i, whose slack is basic in row k. Both are
// replaced by the last of their kind.
func (s *Solver) remove(i, k int) {
	last := len(s.active) - 1
	s.slot[s.active[i]] = -1
	s.inv[k], s.norm2[k], s.x[k], s.basis[k] = s.inv[last], s.norm2[last], s.x[last], s.basis[last]
	s.setRow(s.basis[k], int32(k))
	s.inv, s.norm2, s.x, s.basis = s.inv[:last], s.norm2[:last], s.x[:last], s.basis[:last]
	for r, row := range s.inv {
		row[i] = row[last]
		s.inv[r] = row[:last]
	}
	s.active[i], s.rhs[i], s.price[i], s.slack[i] = s.active[last], s.rhs[last], s.price[last], s.slack[last]
	s.active, s.rhs, s.price, s.slack = s.active[:last], s.rhs[:last], s.price[:last], s.slack[:last]
	if i < last {
		s.slot[s.active[i]] = int32(i)
		if k := s.slack[i]; k >= 0 {
			s.basis[k] = int32(s.n + i)
		}
	}
}

// setRow records that variable v is basic in row k.
func (s *Solver) setRow(v, k int32) {
	if int(v) < s.n {
		s.at[v] = k
	} else {
		s.slack[int(v)-s.n] = k
	}
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}
