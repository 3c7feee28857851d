package setcover

import (
	"math"
	"slices"
)

// close tries to raise the checked bound to the size of the best cover by
// branching: a column is taken for good or ruled out, and the relaxation is
// solved again from where it stands. A branch is cut off when its checked
// bound reaches the size of the best cover. A cover met on the way that is
// smaller becomes the best one.
type closer struct {
	x     *relaxation
	best  []int32
	nodes int // left to spend
	spent int
}

// run reports whether the whole tree was searched, so that best is optimal.
func (c *closer) run() bool { return c.node() }

func (c *closer) node() bool {
	if c.nodes == 0 || c.x.lp.Pivots() >= c.x.budget {
		return false
	}
	c.nodes--
	c.spent++
	theta := c.x.theta
	defer func() { c.x.setTheta(theta) }()
	for try := 0; ; try++ {
		if c.x.optimise(len(c.best)) >= len(c.best) {
			return true
		}
		c.tryRounding()
		if c.x.taken >= len(c.best) {
			return true
		}
		if col := c.branching(); col >= 0 {
			return c.with(col, c.node) && c.without(col, c.node)
		}
		// No column is worth its price: what may be spared is priced wrongly
		// for what is left of the problem.
		if try == 2*priceSteps {
			return false
		}
		c.x.setTheta(stepped(theta, try))
	}
}

// priceSteps is how many times a price of Spare is doubled, and how many times
// halved, before a node is given up.
const priceSteps = 10

// stepped returns theta doubled once, halved once, doubled twice and so on.
func stepped(theta float64, try int) float64 {
	n := try/2 + 1
	if try%2 == 1 {
		n = -n
	}
	return math.Ldexp(theta, n)
}

// branching returns the undecided column whose value is nearest to one half,
// or −1 when none has a value.
func (c *closer) branching() int32 {
	best, bestDist := int32(-1), 0.5
	for _, col := range c.x.lp.Active() {
		v := c.x.use(col)
		if c.x.forbidden[col] || c.x.held[col] || v < leastValue {
			continue
		}
		if d := math.Abs(v - 0.5); best < 0 || d < bestDist {
			best, bestDist = col, d
		}
	}
	return best
}

// leastValue is the value below which a column counts as not used at all.
const leastValue = 1e-6

// tryRounding keeps the columns with a value of a half or more if they make a
// smaller cover than the best.
func (c *closer) tryRounding() {
	var cols []int32
	for _, col := range c.x.lp.Active() {
		if c.x.use(col) >= 0.5 && !c.x.forbidden[col] && !c.x.held[col] {
			cols = append(cols, col)
		}
	}
	left := int64(0)
	times := slices.Clone(c.x.covered)
	for _, col := range cols {
		for _, j := range c.x.q.columns[col] {
			times[j]++
		}
	}
	for j, w := range c.x.q.weights {
		if times[j] < int(c.x.q.demand[j]) {
			left += w
		}
	}
	if left <= c.x.q.spare && len(cols)+c.x.taken < len(c.best) {
		c.best = append(cols, c.x.takenColumns()...)
	}
}

// takenColumns returns the columns taken for good.
func (x *relaxation) takenColumns() []int32 {
	var out []int32
	for _, c := range x.lp.Active() {
		if x.held[c] {
			out = append(out, c)
		}
	}
	return out
}

// offRHS is a right-hand side that switches a constraint off: far above anything
// the rows could hold.
const offRHS = 1 << 20

// with runs f with column col taken for good.
func (c *closer) with(col int32, f func() bool) bool {
	x := c.x
	x.hold(col, 1)
	done := f()
	x.hold(col, -1)
	return done
}

// hold takes column col for good, step being 1, or gives it free again, −1.
func (x *relaxation) hold(col int32, step int) {
	x.taken += step
	x.held[col] = step > 0
	for _, j := range x.q.columns[col] {
		x.covered[j] += step
	}
	switch {
	case x.q.most > 1 && x.held[col]:
		x.lp.SetUpper(int(x.excess(col)), 1+lift)
	case x.q.most > 1:
		x.lp.SetUpper(int(x.excess(col)), lift)
	case x.held[col]:
		x.lp.SetRHS(col, offRHS)
	default:
		x.lp.SetRHS(col, 1)
	}
	x.setTheta(x.theta)
}

// without runs f with column col ruled out.
func (c *closer) without(col int32, f func() bool) bool {
	x := c.x
	x.forbidden[col] = true
	x.lp.SetRHS(col, offRHS)
	done := f()
	x.forbidden[col] = false
	x.lp.SetRHS(col, 1)
	return done
}
