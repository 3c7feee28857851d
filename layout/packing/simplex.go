package packing

import (
	"math"
	"slices"
)

// Solve pivots until the basis is optimal, or the solver has made budget
// pivots in all; it reports which. Changes of bounds and right-hand sides take
// effect here.
func (s *Solver) Solve(budget int) bool {
	s.recompute()
	for {
		r, sigma := s.leaving()
		if r < 0 {
			return true
		}
		if s.pivots >= budget || !s.pivot(r, sigma) {
			return false
		}
		if s.since++; s.since >= refreshed {
			s.refresh()
		}
	}
}

// recompute sets the basic variables from the bounds the others are at. Every
// y outside the basis goes to the bound its reduced cost asks for: one whose
// bounds had met may be at the wrong one.
func (s *Solver) recompute() {
	for j, at := range s.at {
		if at < 0 {
			s.at[j] = atLower
			if s.d[j] > 0 {
				s.at[j] = atUpper
			}
		}
	}
	b := slices.Clone(s.rhs)
	for i, id := range s.active {
		row := s.rows[id]
		for k, j := range row.At {
			if s.at[j] == atUpper {
				b[i] -= row.value(k) * s.upper[j]
			}
		}
	}
	for k, row := range s.inv {
		s.x[k] = dot(row, b)
	}
}

// leaving returns the basis row farthest out of its bounds, measured along its
// edge, and whether it must rise (+1) or fall (−1); −1 when all are within.
func (s *Solver) leaving() (row int, sigma float64) {
	row, best := -1, 0.0
	for k, v := range s.x {
		out, dir := -v, 1.0
		if j := s.basis[k]; int(j) < s.n && v-s.upper[j] > out {
			out, dir = v-s.upper[j], -1
		}
		if out <= feasibleTol {
			continue
		}
		if merit := out * out / s.norm2[k]; merit > best {
			row, sigma, best = k, dir, merit
		}
	}
	return row, sigma
}

// entry is a variable that could enter the basis.
type entry struct {
	v     int32 // y_j as j, the slack of active row i as n+i
	ratio float64
	alpha float64
}

// before orders entries by ratio; ties go to the larger pivot and then to the
// lower index.
func (e entry) before(f entry) bool {
	if e.ratio != f.ratio {
		return e.ratio < f.ratio
	}
	if a, b := math.Abs(e.alpha), math.Abs(f.alpha); a != b {
		return a > b
	}
	return e.v < f.v
}

// pivot makes basis row r leave to the bound it has passed. It reports false
// when no variable can enter, which only rounding can cause.
func (s *Solver) pivot(r int, sigma float64) bool {
	s.pivots++
	s.pivotRow(r)
	out, bound := -s.x[r], 0.0
	if sigma < 0 {
		bound = s.upper[s.basis[r]]
		out = s.x[r] - bound
	}
	enter, flips, ok := s.ratioTest(s.entries(r, sigma), out)
	if !ok {
		return false
	}
	s.flip(flips)
	s.exchange(r, enter, bound)
	return true
}

// pivotRow computes row r of the tableau for the y.
func (s *Solver) pivotRow(r int) {
	alpha := s.alpha
	clear(alpha)
	for i, f := range s.inv[r] {
		if f == 0 {
			continue
		}
		row := &s.rows[s.active[i]]
		if row.Value == nil {
			for _, j := range row.At {
				alpha[j] += f
			}
			continue
		}
		value := row.Value[:len(row.At)]
		for k, j := range row.At {
			alpha[j] += f * value[k]
		}
	}
}

// entries lists what could enter for row r.
func (s *Solver) entries(r int, sigma float64) []entry {
	out := s.scratch[:0]
	for j, a := range s.alpha {
		g := sigma * a
		if s.at[j] == atLower && g < -pivotTol || s.at[j] == atUpper && g > pivotTol {
			out = append(out, entry{int32(j), math.Abs(s.d[j] / a), a})
		}
	}
	for i, a := range s.inv[r] {
		if s.slack[i] == atLower && sigma*a < -pivotTol {
			out = append(out, entry{int32(s.n + i), math.Abs(s.price[i] / a), a})
		}
	}
	s.scratch = out
	return out
}

// ratioTest takes entries in order: it passes over those whose flip to their
// other bound still leaves the row out of bounds, and the first that would
// bring it within enters. The entries passed over are returned too. They come
// off a heap, since few of many are wanted.
func (s *Solver) ratioTest(heap []entry, out float64) (enter entry, flips []entry, ok bool) {
	for i := len(heap)/2 - 1; i >= 0; i-- {
		siftDown(heap, i)
	}
	for n := len(heap); n > 0; n-- {
		e := heap[0]
		if int(e.v) >= s.n {
			return e, heap[n:], true
		}
		if out -= math.Abs(e.alpha) * s.upper[e.v]; out <= 0 {
			return e, heap[n:], true
		}
		heap[0], heap[n-1] = heap[n-1], e
		siftDown(heap[:n-1], 0)
	}
	return entry{}, nil, false
}

func siftDown(heap []entry, i int) {
	for {
		c := 2*i + 1
		if c >= len(heap) {
			return
		}
		if c+1 < len(heap) && heap[c+1].before(heap[c]) {
			c++
		}
		if !heap[c].before(heap[i]) {
			return
		}
		heap[i], heap[c] = heap[c], heap[i]
		i = c
	}
}

// flip moves each y to its other bound and the basic variables with it.
func (s *Solver) flip(entries []entry) {
	if len(entries) == 0 {
		return
	}
	moved := make([]float64, len(s.basis))
	for _, e := range entries {
		step := s.upper[e.v]
		if s.at[e.v] == atLower {
			s.at[e.v] = atUpper
		} else {
			s.at[e.v], step = atLower, -step
		}
		for _, t := range s.terms[e.v] {
			if i := s.slot[t.id]; i >= 0 {
				moved[i] += step * t.value
			}
		}
	}
	for k, row := range s.inv {
		s.x[k] -= dot(row, moved)
	}
}

// exchange lets e enter in row r, whose variable leaves to bound.
func (s *Solver) exchange(r int, e entry, bound float64) {
	col := s.column(e.v)
	from := 0.0
	if int(e.v) < s.n {
		from = s.value(e.v)
	}
	step := (s.x[r] - bound) / col[r]
	for k := range s.x {
		s.x[k] -= step * col[k]
	}
	s.x[r] = from + step
	s.reprice(r, e)
	s.leave(r, bound)
	s.basis[r] = e.v
	s.setRow(e.v, int32(r))
	s.eliminate(r, col)
}

// column returns the inverse times the column of variable v.
func (s *Solver) column(v int32) []float64 {
	col := make([]float64, len(s.inv))
	if i := int(v) - s.n; i >= 0 {
		for k, row := range s.inv {
			col[k] = row[i]
		}
		return col
	}
	terms := s.activeTerms(v)
	for k, row := range s.inv {
		for _, t := range terms {
			col[k] += row[t.id] * t.value
		}
	}
	return col
}

// activeTerms returns the column of y_j over the active rows, by their places.
func (s *Solver) activeTerms(j int32) []term {
	out := make([]term, 0, len(s.terms[j]))
	for _, t := range s.terms[j] {
		if i := s.slot[t.id]; i >= 0 {
			out = append(out, term{i, t.value})
		}
	}
	return out
}

// reprice updates reduced costs and prices for e entering in row r.
func (s *Solver) reprice(r int, e entry) {
	i := int(e.v) - s.n
	var step float64
	if i < 0 {
		step = s.d[e.v] / e.alpha
	} else {
		step = -s.price[i] / e.alpha
	}
	for j, a := range s.alpha {
		s.d[j] -= step * a
	}
	for k, f := range s.inv[r] {
		s.price[k] += step * f
	}
	if i < 0 {
		s.d[e.v] = 0
	} else {
		s.price[i] = 0
	}
}

// leave marks the variable of row r as being at the given bound.
func (s *Solver) leave(r int, bound float64) {
	v := s.basis[r]
	switch {
	case int(v) >= s.n:
		s.slack[int(v)-s.n] = atLower
	case bound > 0:
		s.at[v] = atUpper
	default:
		s.at[v] = atLower
	}
}

// eliminate updates the inverse for a column entering in row r. Rows far apart
// do not meet, so the pivot row is mostly zeros.
func (s *Solver) eliminate(r int, col []float64) {
	pivotRow := s.inv[r]
	f := 1 / col[r]
	var at []int32
	for i, v := range pivotRow {
		if v *= f; math.Abs(v) < zeroTol {
			v = 0
		} else {
			at = append(at, int32(i))
		}
		pivotRow[i] = v
	}
	s.norm2[r] = dot(pivotRow, pivotRow)
	for k, row := range s.inv {
		if k == r || math.Abs(col[k]) < zeroTol {
			continue
		}
		change := 0.0
		for _, i := range at {
			old := row[i]
			row[i] = old - col[k]*pivotRow[i]
			change += row[i]*row[i] - old*old
		}
		s.norm2[k] = math.Max(s.norm2[k]+change, zeroTol)
	}
}

// refresh computes inverse, prices and values afresh from the basis.
func (s *Solver) refresh() {
	s.since = 0
	m := len(s.basis)
	a := make([][]float64, m)
	for i := range a {
		a[i] = make([]float64, 2*m)
		a[i][m+i] = 1
	}
	for k, v := range s.basis {
		if i := int(v) - s.n; i >= 0 {
			a[i][k] = 1
			continue
		}
		for _, t := range s.activeTerms(v) {
			a[t.id][k] = t.value
		}
	}
	if !gaussJordan(a, m) {
		return // nearly singular: keep the updated inverse
	}
	for k := range m {
		copy(s.inv[k], a[k][m:])
		s.norm2[k] = dot(s.inv[k], s.inv[k])
	}
	s.reduceCosts()
	s.recompute()
}

// gaussJordan reduces the left m columns of a to the identity, with row
// pivoting; it reports false when they are nearly dependent.
func gaussJordan(a [][]float64, m int) bool {
	for k := range m {
		best := k
		for i := k; i < m; i++ {
			if math.Abs(a[i][k]) > math.Abs(a[best][k]) {
				best = i
			}
		}
		if math.Abs(a[best][k]) < pivotTol {
			return false
		}
		a[k], a[best] = a[best], a[k]
		f := 1 / a[k][k]
		for j := k; j < 2*m; j++ {
			a[k][j] *= f
		}
		for i := range m {
			if g := a[i][k]; i != k && g != 0 {
				for j := k; j < 2*m; j++ {
					a[i][j] -= g * a[k][j]
				}
			}
		}
	}
	return true
}

// reduceCosts computes prices and reduced costs from the inverse.
func (s *Solver) reduceCosts() {
	clear(s.price)
	for k, v := range s.basis {
		if int(v) >= s.n {
			continue
		}
		for i, f := range s.inv[k] {
			s.price[i] += s.cost[v] * f
		}
	}
	copy(s.d, s.cost)
	for i, id := range s.active {
		row := s.rows[id]
		for k, j := range row.At {
			s.d[j] -= s.price[i] * row.value(k)
		}
	}
	for _, v := range s.basis {
		if int(v) < s.n {
			s.d[v] = 0
		}
	}
}
