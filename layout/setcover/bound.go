package setcover

import (
	"cmp"
	"math"
	"slices"

	"lotwright/layout/packing"
)

// relaxation bounds a reduced problem from below. For any weights y ≥ 0 on the
// rows, no column holding more than M of them, a choice of N columns holds at
// most N·M; and what it leaves uncovered, of a total row weight up to Spare,
// holds at most the fractional knapsack K(y). So N ≥ (Σy − K)/M. The best y is
// the dual of the linear relaxation: y_j ≤ θ·weight_j, where θ is the price of
// Spare, found by a search over θ around packing programs.
//
// Where rows demand several columns, b_j of them, a column may not serve twice,
// so N is the number of columns it takes, the fullest first, to hold Σ b_j·y_j
// less the knapsack. The dual then has for each column a z_c ≥ 0, what it holds
// above 1:
//
//	maximise Σ b_j·y_j − Σ z_c − θ·Spare   with   Σ_{j in c} y_j ≤ 1 + z_c
//
// As a packing program that is one in Y_j = b_j·y_j and Z_c = lift − z_c. A
// column taken for good is one whose z_c may fall to −1: its constraint binds
// either way, which is what less demand on its rows comes to.
type relaxation struct {
	q      *reduced
	lp     *packing.Solver
	share  []float64 // weight of each row as a share of the total
	spare  float64   // Spare as a share of the total
	theta  float64
	budget int // pivots

	covered   []int  // how many columns taken for good cover each row
	forbidden []bool // columns ruled out
	held      []bool // columns taken for good
	taken     int    // columns taken for good

	best     int  // best checked bound at the root
	complete bool // the last program was solved to optimality
}

func newRelaxation(q *reduced, start []int32, budget int) *relaxation {
	total := int64(0)
	for _, w := range q.weights {
		total += w
	}
	variables := len(q.weights)
	if q.most > 1 {
		variables += len(q.columns)
	}
	x := &relaxation{q: q, lp: packing.New(variables), share: make([]float64, len(q.weights)),
		spare: float64(q.spare) / float64(total), budget: budget,
		covered: make([]int, len(q.weights)), forbidden: make([]bool, len(q.columns)), held: make([]bool, len(q.columns))}
	for c := range variables - len(q.weights) {
		x.lp.SetUpper(len(q.weights)+c, lift)
	}
	for j, w := range q.weights {
		x.share[j] = float64(w) / float64(total)
	}
	for _, c := range start {
		x.take(c)
	}
	return x
}

// optimise solves the packing program over all columns, taking in violated
// ones as they show, at the present bounds. It stops once the checked bound
// reaches goal, or the program, which only falls as constraints come in, no
// longer promises more than the best checked bound; that one is returned.
//
// Constraints are looked for half way between the program's y and the best
// weights checked so far (in-out separation, Ben-Ameur and Neto 2007), which
// takes about half as many rounds as at y itself.
func (x *relaxation) optimise(goal int) int {
	best, inner := x.taken, []float64(nil)
	x.complete = false
	for {
		solved := x.lp.Solve(x.budget)
		y := x.values()
		mid := between(y, inner)
		bound, most := x.checked(mid)
		if bound >= best || inner == nil {
			best, inner = max(best, bound), scaled(mid, 1/most)
		}
		if best >= goal || !solved {
			return best
		}
		over := x.violated(mid)
		if len(over) == 0 { // what is left to gain is between mid and y
			if bound, most = x.checked(y); bound > best {
				best, inner = bound, scaled(y, 1/most)
			}
			over = x.violated(y)
		}
		if x.complete = len(over) == 0; x.complete || best >= goal || float64(x.taken)+x.promise() <= float64(best) {
			return best
		}
		x.lp.Purge(purgeAbove)
		for _, c := range over {
			x.take(c)
		}
	}
}

// purgeAbove is the number of constraints above which those with plenty to
// spare are let go; they are taken in again should they be violated.
const purgeAbove = 120

// take takes column c in as a constraint.
func (x *relaxation) take(c int32) { x.lp.Add(c, x.constraint(c)) }

// lift is the most that a column may hold above 1 in the program where rows
// demand several columns. To be beaten by more, a column would have to save that
// many others.
const lift = 7

// constraint is what the program asks of column c.
func (x *relaxation) constraint(c int32) packing.Row {
	col := x.q.columns[c]
	if x.q.most == 1 {
		return packing.Row{At: col}
	}
	row := packing.Row{At: append(slices.Clone(col), x.excess(c))}
	for _, j := range col {
		row.Value = append(row.Value, 1/(float64(x.q.demand[j])*(1+lift)))
	}
	row.Value = append(row.Value, 1.0/(1+lift))
	return row
}

// excess is the variable Z_c.
func (x *relaxation) excess(c int32) int32 { return int32(len(x.q.weights)) + c }

// use returns how far the program's solution uses column c, of its active ones.
func (x *relaxation) use(c int32) float64 {
	if x.q.most == 1 {
		return x.lp.Price(c)
	}
	return x.lp.Price(c) / (1 + lift)
}

// need returns how many more columns row j asks for.
func (x *relaxation) need(j int) int { return max(0, int(x.q.demand[j])-x.covered[j]) }

// values returns the program's y.
func (x *relaxation) values() []float64 {
	y := make([]float64, len(x.q.weights))
	for j := range y {
		y[j] = math.Max(0, x.lp.Value(j)) / float64(x.q.demand[j])
	}
	return y
}

// promise returns the program's optimum less the price of Spare: no weights
// with y ≤ θ·weight can prove more.
func (x *relaxation) promise() float64 {
	sum := 0.0
	for j := range x.q.weights {
		sum += math.Max(0, x.lp.Value(j))
	}
	if x.q.most > 1 {
		for _, c := range x.lp.Active() {
			z := int(x.excess(c))
			sum += x.lp.Value(z) - x.lp.Upper(z)
		}
	}
	return sum - x.theta*x.spare
}

// between returns the middle of y and inner, or y if there is no inner.
func between(y, inner []float64) []float64 {
	if inner == nil {
		return y
	}
	mid := make([]float64, len(y))
	for j, v := range y {
		mid[j] = (v + inner[j]) / 2
	}
	return mid
}

func scaled(y []float64, f float64) []float64 {
	out := make([]float64, len(y))
	for j, v := range y {
		out[j] = v * f
	}
	return out
}

// rowsPerRound is how many violated constraints are taken in at once.
const rowsPerRound = 12

// violationTol is by how much a column may hold more than one head's worth of
// weight before its constraint is taken in.
const violationTol = 1e-5

// violated returns the columns, not yet taken in, that hold too much of y; the
// worst first, and only such as differ in more than a third of their rows from
// those before them.
func (x *relaxation) violated(y []float64) []int32 {
	type load struct {
		c int32
		v float64
	}
	var over []load
	for c, col := range x.q.columns {
		if x.forbidden[c] || x.lp.Has(int32(c)) {
			continue
		}
		v := 0.0
		for _, j := range col {
			v += y[j]
		}
		if v > 1+violationTol {
			over = append(over, load{int32(c), v})
		}
	}
	slices.SortFunc(over, func(a, b load) int { return cmp.Or(cmp.Compare(b.v, a.v), cmp.Compare(a.c, b.c)) })
	var out []int32
	seen := newBitset(len(y))
	for _, l := range over {
		if len(out) == rowsPerRound {
			break
		}
		if fresh(seen, x.q.columns[l.c]) {
			out = append(out, l.c)
			for _, j := range x.q.columns[l.c] {
				seen.add(j)
			}
		}
	}
	return out
}

func fresh(seen bitset, rows []int32) bool {
	n := 0
	for _, j := range rows {
		if seen.has(j) {
			n++
		}
	}
	return 3*n <= 2*len(rows)
}

// setTheta sets the upper bounds θ·weight of the rows not covered for good.
func (x *relaxation) setTheta(theta float64) {
	x.theta = theta
	for j, a := range x.share {
		x.lp.SetUpper(j, x.upperOf(j, a))
	}
}

func (x *relaxation) upperOf(j int, share float64) float64 {
	need := x.need(j)
	switch {
	case need == 0:
		return 0
	case x.q.spare == 0:
		return x.ceiling(j)
	}
	return math.Min(x.ceiling(j), x.theta*share*float64(x.q.demand[j])/float64(need))
}

// ceiling is what variable j cannot exceed anyhow.
func (x *relaxation) ceiling(j int) float64 {
	if x.q.most == 1 {
		return 1
	}
	return float64(x.q.demand[j]) * (1 + lift)
}

// thetaRounds bounds the search for the price of Spare.
const thetaRounds = 8

// root bounds the whole problem, up to goal.
//
// As a function of θ the optimum less θ·Spare is concave and piecewise linear.
// From a guess θ is doubled or halved until the maximum is between two of
// them; then the meeting point of their tangents is tried next. The search
// ends when the tangents promise no more than is proven already.
func (x *relaxation) root(goal int, guess float64) int {
	x.setTheta(guess)
	x.best = x.optimise(goal)
	if x.q.spare == 0 {
		return x.best
	}
	var lo, hi *tangent
	for range thetaRounds {
		if x.best >= goal || x.lp.Pivots() >= x.budget {
			break
		}
		t := x.tangent()
		if t.slope > 0 {
			lo = &t
		} else {
			hi = &t
		}
		next, promise := nextTheta(lo, hi)
		if promise <= float64(x.best) {
			break
		}
		x.setTheta(next)
		x.best = max(x.best, x.optimise(goal))
	}
	return x.best
}

// tangent is the value and slope of the bound at a θ.
type tangent struct{ theta, value, slope float64 }

func (x *relaxation) tangent() tangent {
	t := tangent{theta: x.theta, value: x.promise(), slope: -x.spare}
	for j, a := range x.share {
		if x.lp.Upper(j) < x.ceiling(j) {
			t.slope += a * x.lp.Gain(j)
		}
	}
	return t
}

// nextTheta returns the θ to try next and what the tangents promise there.
func nextTheta(lo, hi *tangent) (theta, promise float64) {
	switch {
	case hi == nil:
		return lo.theta * 2, lo.at(lo.theta * 2)
	case lo == nil:
		return hi.theta / 2, hi.at(hi.theta / 2)
	}
	theta = (hi.at(0) - lo.at(0)) / (lo.slope - hi.slope)
	return theta, lo.at(theta)
}

// at returns the tangent's value at θ.
func (t *tangent) at(theta float64) float64 { return t.value + t.slope*(theta-t.theta) }

// weightScale turns weights y into whole numbers for the check.
const weightScale = 1 << 20

// checked returns the bound that weights y prove, worked out in integers from
// nothing but the problem: Σ, M and K as in [relaxation], with columns taken
// for good counted and their rows left out, and ruled-out columns ignored. It
// also returns M in units of y.
func (x *relaxation) checked(y []float64) (bound int, most float64) {
	if x.q.most > 1 {
		return x.checkedMany(y), 1
	}
	whole := make([]int64, len(y))
	sum := int64(0)
	for j, v := range y {
		if x.covered[j] == 0 {
			whole[j] = int64(v * weightScale)
			sum += whole[j]
		}
	}
	top := int64(1)
	for c, col := range x.q.columns {
		if x.forbidden[c] {
			continue
		}
		held := int64(0)
		for _, j := range col {
			held += whole[j]
		}
		top = max(top, held)
	}
	bound = x.taken
	if left := sum - knapsack(whole, x.q.weights, x.q.spare); left > 0 {
		bound += int((left + top - 1) / top)
	}
	return bound, float64(top) / weightScale
}

// checkedMany is checked where rows demand several columns: however the columns
// neither taken nor ruled out are chosen, N of them hold no more than the N
// fullest. If all together hold too little, it returns more than all columns.
func (x *relaxation) checkedMany(y []float64) int {
	whole, asked := make([]int64, len(y)), make([]int64, len(y))
	left := int64(0)
	for j, v := range y {
		whole[j] = int64(v * weightScale)
		asked[j] = whole[j] * int64(x.need(j))
		if asked[j] == 0 {
			whole[j] = 0
		}
		left += asked[j]
	}
	left -= knapsack(asked, x.q.weights, x.q.spare)
	var held []int64
	for c, col := range x.q.columns {
		if x.forbidden[c] || x.held[c] {
			continue
		}
		sum := int64(0)
		for _, j := range col {
			sum += whole[j]
		}
		held = append(held, sum)
	}
	slices.Sort(held)
	bound := x.taken
	for _, sum := range slices.Backward(held) {
		if left <= 0 {
			return bound
		}
		left -= sum
		bound++
	}
	if left > 0 {
		return len(x.q.columns) + 1
	}
	return bound
}

// knapsack returns the most y that rows of total weight up to spare can hold,
// the last one taken in part, rounded up.
func knapsack(y, weights []int64, spare int64) int64 {
	if spare == 0 {
		return 0
	}
	var order []int32
	for j, v := range y {
		if v > 0 {
			order = append(order, int32(j))
		}
	}
	slices.SortFunc(order, func(a, b int32) int {
		ra, rb := float64(y[a])/float64(weights[a]), float64(y[b])/float64(weights[b])
		return cmp.Or(cmp.Compare(rb, ra), cmp.Compare(a, b))
	})
	sum := int64(0)
	for _, j := range order {
		if weights[j] > spare {
			// The order is by rounded ratios; one part in 2^40 more than
			// covers what rounding could have put out of order.
			return sum + int64(math.Ceil(float64(y[j])/float64(weights[j])*float64(spare)*(1+1e-12))) + sum>>40 + 1
		}
		sum += y[j]
		spare -= weights[j]
	}
	return sum
}
