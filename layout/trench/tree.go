package trench

import (
	"cmp"
	"slices"

	"lotwright/layout/geom"
	"lotwright/layout/graph"
)

// Two trenches count as one where they run this close, in mm: places on slanted
// edges are rounded to the grid, so that lines meant to be the same may lie up
// to a millimetre and a half apart.
const togetherSlack = 2

// endSlack keeps a line from being bent right beside its end, where that could
// cost more than it saves, in mm.
const endSlack = 10

// tree is the network that is dug: ways that join all places of terminals
// without a cycle.
type tree struct {
	chart *chart
	ways  []way
	at    [][]int // of each place, its ways
}

// newTree unites the routes: metres they share are there once, what closes a
// cycle goes, the dearest first, and so does what leads nowhere. It is no
// longer than the routes together.
func newTree(c *chart, routes []route) *tree {
	t := &tree{chart: c}
	seen := make(map[int]bool)
	for _, r := range routes {
		for _, w := range r.ways {
			if !seen[w] {
				seen[w] = true
				t.ways = append(t.ways, c.ways[w])
			}
		}
	}
	t.bend()
	t.cut()
	t.prune()
	slices.SortFunc(t.ways, func(v, w way) int { return cmp.Or(cmp.Compare(v.a, w.a), cmp.Compare(v.b, w.b)) })
	t.at = t.incidence()
	return t
}

// bend leads each way through the places of the others that it passes.
func (t *tree) bend() {
	var places []int
	for _, w := range t.ways {
		places = append(places, w.a, w.b)
	}
	slices.Sort(places)
	places = slices.Compact(places)
	var out []way
	for _, w := range t.ways {
		out = append(out, t.chart.through(w, t.chart.passed(w, places))...)
	}
	t.ways = out
}

// passed returns those of the places that w passes between its ends, in order.
func (c *chart) passed(w way, places []int) []int {
	if w.fixed {
		return nil
	}
	s := geom.Segment{A: c.places[w.a].at, B: c.places[w.b].at}
	var out []int
	for _, i := range places {
		if p := c.places[i].at; s.WithinOf(p, togetherSlack) && !p.Within(s.A, endSlack) && !p.Within(s.B, endSlack) {
			out = append(out, i)
		}
	}
	slices.SortFunc(out, func(i, j int) int {
		return cmp.Compare(c.places[i].at.Sub(s.A).Dot(s.B.Sub(s.A)), c.places[j].at.Sub(s.A).Dot(s.B.Sub(s.A)))
	})
	return out
}

// through returns the ways that lead from one end of w to the other through the
// given places, or w itself if one of them cannot be dug.
func (c *chart) through(w way, places []int) []way {
	if len(places) == 0 {
		return []way{w}
	}
	var out []way
	from := w.a
	for _, to := range append(places, w.b) {
		if !c.ground.sees(&c.places[from], &c.places[to]) {
			return []way{w}
		}
		a, b := min(from, to), max(from, to)
		s := c.ground.survey(geom.Segment{A: c.places[a].at, B: c.places[b].at})
		out = append(out, way{a: a, b: b, stretch: s})
		from = to
	}
	return out
}

// cut removes the dearest ways from cycles.
func (t *tree) cut() {
	edges := make([]graph.Edge, len(t.ways))
	for i, w := range t.ways {
		edges[i] = graph.Edge{From: w.a, To: w.b, Weight: w.cost}
	}
	var kept []way
	for _, i := range graph.Kruskal(len(t.chart.places), edges) {
		kept = append(kept, t.ways[i])
	}
	t.ways = kept
}

// prune removes ways that lead to no terminal.
func (t *tree) prune() {
	needed := make([]bool, len(t.chart.places))
	for _, p := range t.chart.standing {
		needed[p] = true
	}
	for {
		at := t.incidence()
		idle := func(p int) bool { return len(at[p]) == 1 && !needed[p] }
		n := len(t.ways)
		t.ways = slices.DeleteFunc(t.ways, func(w way) bool { return idle(w.a) || idle(w.b) })
		if len(t.ways) == n {
			return
		}
	}
}

func (t *tree) incidence() [][]int {
	at := make([][]int, len(t.chart.places))
	for i, w := range t.ways {
		at[w.a] = append(at[w.a], i)
		at[w.b] = append(at[w.b], i)
	}
	return at
}
