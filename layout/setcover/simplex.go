package setcover

import (
	"cmp"
	"math"
	"slices"
)

// packing is the linear program
//
//	maximise Σ_j cost_j·y_j   with   Σ_{j∈c} y_j ≤ rhs_c,   0 ≤ y_j ≤ upper_j
//
// over the rows j of a covering problem, with one constraint for each column c
// taken in so far. It is solved by the bounded dual simplex method with the
// bound-flipping ratio test (Maros 2003), which starts from the trivial basis
// (every y at its upper bound), keeps going after a constraint is added or a
// bound moved, and gives up at any time with something usable. The inverse of
// the basis is kept dense: a hundred constraints are usual.
type packing struct {
	q     *reduced
	cost  []float64
	upper []float64

	active []int32 // column of each constraint
	slot   []int32 // constraint of each column, −1: not taken in
	rhs    []float64

	basis []int32     // variable of each basis row: row j, or len(q.weights)+i for the slack of constraint i
	at    []int32     // of each y: basis row, or atLower or atUpper
	slack []int32     // of each slack: basis row, or atLower
	inv   [][]float64 // inverse of the basis
	norm2 []float64   // squared length of each row of inv
	x     []float64   // values of the basic variables
	d     []float64   // reduced costs of the y
	price []float64   // of each constraint: its column's value in the covering problem

	alpha   []float64 // the pivot row, of the y
	scratch []entry
	pivots  int
	since   int // pivots since the inverse was computed afresh
}

const (
	atLower = -1
	atUpper = -2
)

// Tolerances of the simplex method, in units of heads and shares of a head.
// They only steer it; what it yields is checked in integers.
const (
	feasibleTol = 1e-9
	pivotTol    = 1e-9
	zeroTol     = 1e-13 // entries of the inverse below it are dropped
	costJitter  = 1e-6  // largest change of a cost to break ties
	refreshed   = 500   // pivots after which the inverse is computed afresh
)

func newPacking(q *reduced) *packing {
	n := len(q.weights)
	p := &packing{q: q, cost: make([]float64, n), upper: make([]float64, n), at: make([]int32, n),
		d: make([]float64, n), alpha: make([]float64, n), slot: make([]int32, len(q.columns))}
	for j := range n {
		// A fixed low-discrepancy sequence: distinct, the same every time.
		_, frac := math.Modf(float64(j+1) * 0.6180339887498949)
		p.cost[j] = 1 + costJitter*frac
		p.upper[j] = 1
		p.d[j] = p.cost[j]
		p.at[j] = atUpper
	}
	for c := range p.slot {
		p.slot[c] = -1
	}
	return p
}

// value returns the present value of y_j.
func (p *packing) value(j int32) float64 {
	switch k := p.at[j]; k {
	case atLower:
		return 0
	case atUpper:
		return p.upper[j]
	default:
		return p.x[k]
	}
}

// add takes column c in as a constraint, its slack basic.
func (p *packing) add(c int32) {
	m := len(p.basis)
	row := make([]float64, m+1, m+64)
	for k, v := range p.basis {
		if int(v) < len(p.at) && p.q.sets[c].has(v) {
			for i, f := range p.inv[k] {
				row[i] -= f
			}
		}
	}
	row[m] = 1
	for k := range p.inv {
		p.inv[k] = append(p.inv[k], 0)
	}
	p.inv = append(p.inv, row)
	p.norm2 = append(p.norm2, dot(row, row))
	left := 1.0
	for _, j := range p.q.columns[c] {
		left -= p.value(j)
	}
	p.slot[c] = int32(m)
	p.active = append(p.active, c)
	p.rhs = append(p.rhs, 1)
	p.price = append(p.price, 0)
	p.x = append(p.x, left)
	p.slack = append(p.slack, int32(m))
	p.basis = append(p.basis, int32(len(p.at)+m))
}

// purge lets go of constraints that have more than slackEnough to spare, once
// there are many; the relaxation takes them in again should they be violated.
func (p *packing) purge() {
	if len(p.active) < purgeFrom {
		return
	}
	for i := len(p.active) - 1; i >= 0; i-- {
		if k := p.slack[i]; k >= 0 && p.rhs[i] == 1 && p.x[k] > slackEnough {
			p.remove(i, int(k))
		}
	}
}

const (
	purgeFrom   = 120
	slackEnough = 0.05
)

// remove lets go of constraint i, whose slack is basic in row k. Both are
// replaced by the last of their kind.
func (p *packing) remove(i, k int) {
	last := len(p.active) - 1
	p.slot[p.active[i]] = -1
	p.inv[k], p.norm2[k], p.x[k], p.basis[k] = p.inv[last], p.norm2[last], p.x[last], p.basis[last]
	p.setRow(p.basis[k], int32(k))
	p.inv, p.norm2, p.x, p.basis = p.inv[:last], p.norm2[:last], p.x[:last], p.basis[:last]
	for _, row := range p.inv {
		row[i] = row[last]
	}
	for r := range p.inv {
		p.inv[r] = p.inv[r][:last]
	}
	p.active[i], p.rhs[i], p.price[i], p.slack[i] = p.active[last], p.rhs[last], p.price[last], p.slack[last]
	p.active, p.rhs, p.price, p.slack = p.active[:last], p.rhs[:last], p.price[:last], p.slack[:last]
	if i < last {
		p.slot[p.active[i]] = int32(i)
		if s := p.slack[i]; s >= 0 {
			p.basis[s] = int32(len(p.at) + i)
		}
	}
}

// setRow records that variable v is basic in row k.
func (p *packing) setRow(v, k int32) {
	if int(v) < len(p.at) {
		p.at[v] = k
	} else {
		p.slack[int(v)-len(p.at)] = k
	}
}

// recompute sets the basic variables from the bounds the others are at; call
// it after changing upper or rhs. Every y outside the basis goes to the bound
// its reduced cost asks for: one whose bounds had met may be at the wrong one.
func (p *packing) recompute() {
	for j, at := range p.at {
		if at < 0 {
			p.at[j] = atLower
			if p.d[j] > 0 {
				p.at[j] = atUpper
			}
		}
	}
	b := slices.Clone(p.rhs)
	for i, c := range p.active {
		for _, j := range p.q.columns[c] {
			if p.at[j] == atUpper {
				b[i] -= p.upper[j]
			}
		}
	}
	for k, row := range p.inv {
		p.x[k] = dot(row, b)
	}
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}

// solve pivots until the basis is feasible, and so optimal, or the budget of
// pivots is spent; it reports which.
func (p *packing) solve(budget int) bool {
	for {
		r, sigma := p.leaving()
		if r < 0 {
			return true
		}
		if p.pivots >= budget {
			return false
		}
		if !p.pivot(r, sigma) {
			return false
		}
		if p.since++; p.since >= refreshed {
			p.refresh()
		}
	}
}

// leaving returns the basis row that is farthest out of its bounds, measured
// along its edge (exact dual steepest edge), and whether it must rise (+1) or
// fall (−1); −1 when all are within.
func (p *packing) leaving() (row int, sigma float64) {
	row, best := -1, 0.0
	for k, v := range p.x {
		out, dir := -v, 1.0
		if j := p.basis[k]; int(j) < len(p.at) && v-p.upper[j] > out {
			out, dir = v-p.upper[j], -1
		}
		if out <= feasibleTol {
			continue
		}
		if s := out * out / p.norm2[k]; s > best {
			row, sigma, best = k, dir, s
		}
	}
	return row, sigma
}

// entry is a variable that could enter the basis: y_j, or the slack of
// constraint i as len(y)+i.
type entry struct {
	v     int32
	ratio float64
	alpha float64
}

// pivot makes basis row r leave to the bound it has passed. It reports false
// when no variable can enter, which only rounding can cause.
func (p *packing) pivot(r int, sigma float64) bool {
	p.pivots++
	p.pivotRow(r)
	entries := p.entries(r, sigma)
	out, bound := -p.x[r], 0.0
	if sigma < 0 {
		bound = p.upper[p.basis[r]]
		out = p.x[r] - bound
	}
	enter, flips, ok := p.ratioTest(entries, out)
	if !ok {
		return false
	}
	p.flip(flips)
	p.exchange(r, enter, bound)
	return true
}

// pivotRow computes row r of the tableau for the y.
func (p *packing) pivotRow(r int) {
	clear(p.alpha)
	for i, f := range p.inv[r] {
		if f == 0 {
			continue
		}
		for _, j := range p.q.columns[p.active[i]] {
			p.alpha[j] += f
		}
	}
}

// entries lists what could enter for row r.
func (p *packing) entries(r int, sigma float64) []entry {
	out := p.scratch[:0]
	for j, a := range p.alpha {
		g := sigma * a
		if p.at[j] == atLower && g < -pivotTol || p.at[j] == atUpper && g > pivotTol {
			out = append(out, entry{int32(j), math.Abs(p.d[j] / a), a})
		}
	}
	for i, a := range p.inv[r] {
		if p.slack[i] == atLower && sigma*a < -pivotTol {
			out = append(out, entry{int32(len(p.at) + i), math.Abs(p.price[i] / a), a})
		}
	}
	p.scratch = out
	return out
}

// before orders entries by ratio; ties go to the larger pivot and then to the
// lower index.
func (e entry) before(f entry) bool {
	return cmp.Or(cmp.Compare(e.ratio, f.ratio), cmp.Compare(math.Abs(f.alpha), math.Abs(e.alpha)), cmp.Compare(e.v, f.v)) < 0
}

// ratioTest takes entries in order: it passes over those whose flip to their
// other bound still leaves the row out of bounds, and the first that would
// bring it within enters. The entries passed over are returned too. They come
// off a heap, since few of many are wanted.
func (p *packing) ratioTest(heap []entry, out float64) (enter entry, flips []entry, ok bool) {
	for i := len(heap)/2 - 1; i >= 0; i-- {
		siftDown(heap, i)
	}
	for n := len(heap); n > 0; n-- {
		e := heap[0]
		if int(e.v) >= len(p.at) {
			return e, heap[n:], true
		}
		if out -= math.Abs(e.alpha) * p.upper[e.v]; out <= 0 {
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
func (p *packing) flip(entries []entry) {
	if len(entries) == 0 {
		return
	}
	moved := make([]float64, len(p.basis))
	for _, e := range entries {
		step := p.upper[e.v]
		if p.at[e.v] == atLower {
			p.at[e.v] = atUpper
		} else {
			p.at[e.v], step = atLower, -step
		}
		for _, c := range p.q.rows[e.v] {
			if i := p.slot[c]; i >= 0 {
				moved[i] += step
			}
		}
	}
	for k, row := range p.inv {
		p.x[k] -= dot(row, moved)
	}
}

// exchange lets e enter in row r, whose variable leaves to bound.
func (p *packing) exchange(r int, e entry, bound float64) {
	col := p.column(e.v)
	from := 0.0
	if int(e.v) < len(p.at) {
		from = p.value(e.v)
	}
	step := (p.x[r] - bound) / col[r]
	for k := range p.x {
		p.x[k] -= step * col[k]
	}
	p.x[r] = from + step
	p.reprice(r, e)
	p.leave(r, bound)
	p.basis[r] = e.v
	p.setRow(e.v, int32(r))
	p.eliminate(r, col)
}

// column returns the inverse times the column of variable v.
func (p *packing) column(v int32) []float64 {
	col := make([]float64, len(p.inv))
	for k, row := range p.inv {
		if i := int(v) - len(p.at); i >= 0 {
			col[k] = row[i]
			continue
		}
		for _, c := range p.q.rows[v] {
			if i := p.slot[c]; i >= 0 {
				col[k] += row[i]
			}
		}
	}
	return col
}

// reprice updates reduced costs and prices for e entering in row r.
func (p *packing) reprice(r int, e entry) {
	var step float64
	if int(e.v) < len(p.at) {
		step = p.d[e.v] / e.alpha
	} else {
		step = -p.price[int(e.v)-len(p.at)] / e.alpha
	}
	for j, a := range p.alpha {
		p.d[j] -= step * a
	}
	for i, f := range p.inv[r] {
		p.price[i] += step * f
	}
	if int(e.v) < len(p.at) {
		p.d[e.v] = 0
	} else {
		p.price[int(e.v)-len(p.at)] = 0
	}
}

// leave marks the variable of row r as being at the given bound.
func (p *packing) leave(r int, bound float64) {
	v := p.basis[r]
	switch {
	case int(v) >= len(p.at):
		p.slack[int(v)-len(p.at)] = atLower
	case bound > 0:
		p.at[v] = atUpper
	default:
		p.at[v] = atLower
	}
}

// eliminate updates the inverse for a column entering in row r. Constraints
// far apart do not meet, so the pivot row is mostly zeros.
func (p *packing) eliminate(r int, col []float64) {
	pivotRow := p.inv[r]
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
	p.norm2[r] = dot(pivotRow, pivotRow)
	for k, row := range p.inv {
		if k == r || math.Abs(col[k]) < zeroTol {
			continue
		}
		change := 0.0
		for _, i := range at {
			old := row[i]
			row[i] = old - col[k]*pivotRow[i]
			change += row[i]*row[i] - old*old
		}
		p.norm2[k] = math.Max(p.norm2[k]+change, zeroTol)
	}
}

// refresh computes inverse, prices and values afresh from the basis, by
// Gauss–Jordan elimination with row pivoting.
func (p *packing) refresh() {
	p.since = 0
	m := len(p.basis)
	a := make([][]float64, m)
	for i := range a {
		a[i] = make([]float64, 2*m)
		a[i][m+i] = 1
	}
	for k, v := range p.basis {
		if i := int(v) - len(p.at); i >= 0 {
			a[i][k] = 1
			continue
		}
		for _, c := range p.q.rows[v] {
			if i := p.slot[c]; i >= 0 {
				a[i][k] = 1
			}
		}
	}
	if !gaussJordan(a, m) {
		return // nearly singular: keep the updated inverse
	}
	for k := range m {
		copy(p.inv[k], a[k][m:])
		p.norm2[k] = dot(p.inv[k], p.inv[k])
	}
	p.reduceCosts()
	p.recompute()
}

// gaussJordan reduces the left m columns of a to the identity.
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
func (p *packing) reduceCosts() {
	clear(p.price)
	for k, v := range p.basis {
		if int(v) >= len(p.at) {
			continue
		}
		for i, f := range p.inv[k] {
			p.price[i] += p.cost[v] * f
		}
	}
	copy(p.d, p.cost)
	for i, c := range p.active {
		for _, j := range p.q.columns[c] {
			p.d[j] -= p.price[i]
		}
	}
	for _, v := range p.basis {
		if int(v) < len(p.at) {
			p.d[v] = 0
		}
	}
}
