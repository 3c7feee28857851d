package setcover

import "math"

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
		v := c.x.lp.Price(col)
		if c.x.lp.RHS(col) != 1 || v < leastValue {
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
		if c.x.lp.Price(col) >= 0.5 && !c.x.forbidden[col] {
			cols = append(cols, col)
		}
	}
	left := int64(0)
	covered := make([]bool, len(c.x.q.weights))
	for _, col := range cols {
		for _, j := range c.x.q.columns[col] {
			covered[j] = true
		}
	}
	for j, w := range c.x.q.weights {
		if !covered[j] && c.x.covered[j] == 0 {
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
		if x.lp.RHS(c) == takenRHS {
			out = append(out, c)
		}
	}
	return out
}

// Right-hand sides that switch a constraint off: far above anything the rows
// could hold. The two differ so that a column's fate can be read back.
const (
	takenRHS     = 1 << 20
	forbiddenRHS = 1 << 21
)

// with runs f with column col taken for good.
func (c *closer) with(col int32, f func() bool) bool {
	x := c.x
	x.taken++
	for _, j := range x.q.columns[col] {
		x.covered[j]++
	}
	x.setRHS(col, takenRHS)
	x.setTheta(x.theta)
	done := f()
	x.taken--
	for _, j := range x.q.columns[col] {
		x.covered[j]--
	}
	x.setRHS(col, 1)
	x.setTheta(x.theta)
	return done
}

// without runs f with column col ruled out.
func (c *closer) without(col int32, f func() bool) bool {
	x := c.x
	x.forbidden[col] = true
	x.setRHS(col, forbiddenRHS)
	done := f()
	x.forbidden[col] = false
	x.setRHS(col, 1)
	return done
}

func (x *relaxation) setRHS(col int32, v float64) { x.lp.SetRHS(col, v) }
