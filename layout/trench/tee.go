package trench

import (
	"cmp"
	"math"
	"slices"

	"lotwright/layout/geom"
)

// A tee between heads can shorten a spanning tree: by 13.4 % at the very most
// (the Steiner ratio, conjectured by Gilbert and Pollak in 1968), by some 3 % as
// a rule. improved adds them one by one:
//
//  1. Where two ways of the tree meet at a sharp angle, the point from which
//     their three ends are reached at the least cost is a candidate.
//  2. Candidates are tried in the order of what they would save over open
//     ground: the chart gets the place, and a spanning tree is drawn that must
//     reach it.
//  3. The first that makes the network cheaper, and no longer, is kept; all tees
//     settle where they then lie best, and the new tree has candidates of its
//     own. Tees at which three ways no longer meet are dropped.
//  4. It ends when no candidate helps, or after four tees a terminal.
func (c *chart) improved(t *tree) *tree {
	tried := make(map[geom.Point]bool)
	for range 4 * len(c.terminals) {
		better, ok := c.withTee(t, tried)
		if !ok {
			break
		}
		t = c.settled(better)
	}
	return t
}

// withTee returns the tree with the first of its candidates that helps.
func (c *chart) withTee(t *tree, tried map[geom.Point]bool) (*tree, bool) {
	tees := t.tees()
	for _, p := range t.candidates() {
		if tried[p.at] || !c.ground.free.region.Has(p.at) {
			continue
		}
		tried[p.at] = true
		if try := c.joining(append(tees[:len(tees):len(tees)], p.at)); try.betters(t, leastTee) {
			return try, true
		}
	}
	return nil, false
}

// joining returns the network that joins the terminals and the tees.
func (c *chart) joining(tees []geom.Point) *tree {
	var places []int
	for _, p := range tees {
		c.add(place{at: p})
		places = append(places, c.known[p])
	}
	routes, _ := c.spanning(places...)
	return newTree(c, routes)
}

// betters reports whether t is cheaper than u by at least so much, in µm of
// soil, and no longer.
func (t *tree) betters(u *tree, by int64) bool {
	return u.cost()-t.cost() >= by && t.length() <= u.length()
}

// settleRounds is the most often each tee is moved. Tees next to one another
// close in on their best places by about half the distance a round.
const settleRounds = 20

// settled returns the tree with its tees where they lie best, given the places
// they are joined to and one another.
func (c *chart) settled(t *tree) *tree {
	at := make(map[int]geom.Point)
	for range settleRounds {
		moved := false
		for p, ways := range t.at {
			if t.isTee(p) {
				moved = t.move(p, ways, at) || moved
			}
		}
		if !moved {
			break
		}
	}
	var tees []geom.Point
	for p := range t.at {
		if t.isTee(p) {
			tees = append(tees, t.stands(p, at))
		}
	}
	if try := c.joining(tees); try.betters(t, 1) {
		return try
	}
	return t
}

// stands returns where a place is, tees that have moved taken into account.
func (t *tree) stands(p int, moved map[int]geom.Point) geom.Point {
	if q, ok := moved[p]; ok {
		return q
	}
	return t.chart.places[p].at
}

// move puts a tee where its ways come together best, if it can see their ends
// from there, and reports whether that gains anything.
func (t *tree) move(p int, ways []int, moved map[int]geom.Point) bool {
	g := t.chart.ground
	here := t.stands(p, moved)
	var branches []branch
	before := int64(0)
	for _, i := range ways {
		end := t.stands(t.ways[i].other(p), moved)
		if t.ways[i].fixed || end == here {
			return false
		}
		s := g.survey(geom.Segment{A: here, B: end})
		branches = append(branches, branch{end, float64(s.cost) / float64(s.length)})
		before += s.cost
	}
	there := junction(branches)
	from := place{at: there, sight: g.free.around(there)}
	after := int64(0)
	for _, b := range branches {
		to := place{at: b.to, sight: g.free.around(b.to)}
		if b.to == there || !g.sees(&from, &to) {
			return false
		}
		after += g.survey(geom.Segment{A: there, B: b.to}).cost
	}
	if after >= before {
		return false
	}
	moved[p] = there
	return true
}

// leastTee is the least a tee must save, in µm of soil: a fitting and two cuts
// are not made for less than 5 cm. Common practice, no source.
const leastTee = 50_000

// tees returns where three ways or more meet beside the terminals.
func (t *tree) tees() []geom.Point {
	var out []geom.Point
	for p := range t.at {
		if t.isTee(p) {
			out = append(out, t.chart.places[p].at)
		}
	}
	return out
}

func (t *tree) isTee(p int) bool { return len(t.at[p]) > 2 && !slices.Contains(t.chart.standing, p) }

// cost returns what digging the tree costs, in µm of soil. The edge of paving is
// passed within ways, and at places where some ways go on under paving and
// others, or a terminal, stand beside it.
func (t *tree) cost() int64 {
	sum := int64(0)
	under, beside := make(map[int]bool), make(map[int]bool)
	for _, p := range t.chart.standing {
		beside[p] = true
	}
	for _, w := range t.ways {
		sum += w.cost
		under[w.a], beside[w.a] = under[w.a] || w.pavedStart, beside[w.a] || !w.pavedStart
		under[w.b], beside[w.b] = under[w.b] || w.pavedEnd, beside[w.b] || !w.pavedEnd
	}
	for p := range under {
		if under[p] && beside[p] {
			sum += t.chart.ground.prices.edge
		}
	}
	return sum
}

func (t *tree) length() int64 {
	sum := int64(0)
	for _, w := range t.ways {
		sum += w.length
	}
	return sum
}

// branch is a straight way as seen from one of its ends.
type branch struct {
	to    geom.Point
	price float64 // of a metre
}

// candidate is a place for a tee and what it would save over open ground.
type candidate struct {
	at    geom.Point
	saves int64 // µm of soil
}

// candidates returns the places where a tee might help, the best first.
func (t *tree) candidates() []candidate {
	var out []candidate
	for p := range t.at {
		at, branches := t.chart.places[p].at, t.branches(p)
		for i, a := range branches {
			for _, b := range branches[:i] {
				out = appendCandidate(out, at, a, b, branch{at, min(a.price, b.price)})
			}
		}
	}
	slices.SortFunc(out, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(b.saves, a.saves), a.at.Compare(b.at))
	})
	return out
}

func (t *tree) branches(p int) []branch {
	var out []branch
	for _, i := range t.at[p] {
		if w := t.ways[i]; !w.fixed {
			out = append(out, branch{t.chart.places[w.other(p)].at, float64(w.cost) / float64(w.length)})
		}
	}
	return out
}

// appendCandidate appends the point that three branches are best joined at, if
// that saves something over joining them at a place.
func appendCandidate(out []candidate, at geom.Point, branches ...branch) []candidate {
	p := junction(branches)
	if saves := int64((cost(branches, at.Vec()) - cost(branches, p.Vec())) * 1000); saves >= leastTee {
		return append(out, candidate{p, saves})
	}
	return out
}

// junctionRounds is enough for Weiszfeld's iteration, which gains a digit in
// three rounds or so at a point well inside the triangle, to settle within a
// millimetre; one that settles more slowly lies at a corner and is of no use.
const junctionRounds = 40

// junction returns the grid point from which the ends of three branches are
// reached at the least cost over open ground (Weiszfeld 1937).
func junction(branches []branch) geom.Point {
	var p geom.Vec
	for _, b := range branches {
		p = p.Add(b.to.Vec())
	}
	p = p.Scale(1 / float64(len(branches)))
	for range junctionRounds {
		var x, y, pull float64
		for _, b := range branches {
			d := distance(b.to.Vec(), p)
			if d < 1 {
				return b.to
			}
			x += float64(float64(b.to.X) * (b.price / d)) // the conversion forbids fused operations
			y += float64(float64(b.to.Y) * (b.price / d))
			pull += b.price / d
		}
		p = geom.Vec{X: x / pull, Y: y / pull}
	}
	return p.Round()
}

// cost returns what straight branches to a point cost, in mm of soil.
func cost(branches []branch, p geom.Vec) float64 {
	sum := 0.0
	for _, b := range branches {
		sum += float64(b.price * distance(b.to.Vec(), p))
	}
	return sum
}

func distance(p, q geom.Vec) float64 {
	d := p.Sub(q)
	return math.Sqrt(float64(d.X*d.X) + float64(d.Y*d.Y))
}
