package trench

import (
	"cmp"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/graph"
)

// refinements is the most often the chart is redrawn with the places routes
// have slid to. Two or three rounds are usual.
const refinements = 8

// slideShare is the share of its cost that sliding may save a route. On 6000
// random routes it saved 1.8 % at most, and less than 0.6 % on 99 of 100.
const slideShare = 0.02

// route is a least-cost way between two terminals.
type route struct {
	places []int // from one terminal to the other
	ways   []int // between them: one fewer
}

// refined returns the routes of a minimum spanning tree of the terminals that
// can be reached from the point of connection, by cost. It lets the routes of
// the tree, and those that might yet displace one, slide along the edges they
// pass, puts the places they come to on the chart, and begins again until
// nothing is gained.
func (c *chart) refined() []route {
	tree, rivals := c.spanning()
	for range refinements {
		if !c.slide(slices.Concat(tree, rivals)) {
			break
		}
		tree, rivals = c.spanning()
	}
	return tree
}

// spanning returns the routes of a minimum spanning tree of the terminals, and
// any tees, joined to the point of connection, as the chart stands, and those
// that would be in it if sliding made them cheaper by slideShare.
func (c *chart) spanning(tees ...int) (tree, rivals []route) {
	var nodes []int
	for _, p := range slices.Concat(c.standing, tees) {
		nodes = append(nodes, stand(p, false))
	}
	var chosen []graph.Path
	joined, surely := graph.NewDisjointSet(c.graph.Order()), graph.NewDisjointSet(c.graph.Order())
	bridges, cheaper := c.graph.Bridges(nodes...), 0
	for _, p := range bridges { // the cheapest first
		for ; float64(bridges[cheaper].Weight) < float64(p.Weight)*(1-slideShare); cheaper++ {
			surely.Join(bridges[cheaper].From, bridges[cheaper].To)
		}
		if joined.Join(p.From, p.To) {
			chosen = append(chosen, p)
		} else if surely.Find(p.From) != surely.Find(p.To) {
			rivals = append(rivals, c.route(p))
		}
	}
	for _, p := range chosen {
		if joined.Find(p.From) == joined.Find(nodes[0]) {
			tree = append(tree, c.route(p))
		}
	}
	return tree, rivals
}

// route drops from a path in the graph the steps across the edge of paving.
func (c *chart) route(p graph.Path) route {
	r := route{places: []int{p.From / 2}}
	for _, id := range p.Edges {
		if w := c.wayOf[id]; w >= 0 {
			last := r.places[len(r.places)-1]
			r.places = append(r.places, c.ways[w].other(last))
			r.ways = append(r.ways, w)
		}
	}
	return r
}

// other returns the end of w that is not place.
func (w way) other(place int) int { return w.a ^ w.b ^ place }

// length returns the sum of the lengths of the routes, in µm.
func (c *chart) length(routes []route) int64 {
	sum := int64(0)
	for _, r := range routes {
		for _, w := range r.ways {
			sum += c.ways[w].length
		}
	}
	return sum
}

func metres(micrometres int64) layout.Length { return layout.Length(float64(micrometres) / 1e6) }

// firstSlide is the widest step, in mm, by which a place is tried along its
// rail: half of the spacing, rounded to a power of two.
const firstSlide = 256

// leastGain is the gain, in µm of soil, below which sliding stops.
const leastGain = 100

// slide adds to the chart the places to which the routes slide when pulled
// taut, and reports whether that gains anything.
func (c *chart) slide(routes []route) bool {
	gained := false
	for _, r := range routes {
		t := c.taut(r)
		before := t.cost()
		t.crossEdges()
		for step := int64(firstSlide); step > 0; step /= 2 {
			for t.slideBy(step) {
			}
		}
		if before-t.cost() < leastGain {
			continue
		}
		gained = true
		for _, p := range t.places {
			c.add(place{at: p.at, rails: p.rails})
		}
	}
	return gained
}

// taut is a route whose places slide along their rails.
type taut struct {
	chart  *chart
	places []place
	legs   []stretch // between them, all in the same sense
	fixed  []bool    // legs that stay as they are
}

// taut copies a route; places that may not slide lose their rails.
func (c *chart) taut(r route) *taut {
	t := &taut{chart: c}
	for k, i := range r.places {
		p := c.places[i]
		if k == 0 || k == len(r.ways) || c.ways[r.ways[k-1]].fixed || c.ways[r.ways[k]].fixed {
			p.rails = nil
		}
		t.places = append(t.places, p)
	}
	for k, w := range r.ways {
		leg := c.ways[w].stretch
		if c.ways[w].a != r.places[k] {
			leg = leg.reversed()
		}
		t.legs, t.fixed = append(t.legs, leg), append(t.fixed, c.ways[w].fixed)
	}
	return t
}

// crossEdges makes a place of every point where a leg crosses the edge of
// paving or of a root zone, so that it can slide.
func (t *taut) crossEdges() {
	for k := 0; k < len(t.legs); k++ {
		if !t.fixed[k] {
			k += t.crossLeg(k)
		}
	}
}

// crossLeg divides leg k where it crosses edges and returns by how many legs
// there are more.
func (t *taut) crossLeg(k int) int {
	s := geom.Segment{A: t.places[k].at, B: t.places[k+1].at}
	inserted := 0
	for _, r := range t.chart.ground.crossed(s) {
		last := t.places[k+inserted]
		p := place{at: r.at(), rails: []rail{r}}
		p.sight = t.chart.ground.free.around(p.at)
		if p.at == last.at || p.at == s.B || !t.chart.ground.sees(&p, &last) || !t.chart.ground.sees(&p, &t.places[k+inserted+1]) {
			continue
		}
		at := k + inserted
		t.legs[at] = t.chart.ground.survey(geom.Segment{A: last.at, B: p.at})
		t.legs = slices.Insert(t.legs, at+1, t.chart.ground.survey(geom.Segment{A: p.at, B: s.B}))
		t.places = slices.Insert(t.places, at+1, p)
		t.fixed = slices.Insert(t.fixed, at+1, false)
		inserted++
	}
	return inserted
}

// crossed returns the edges of paving and root zones that s crosses and where,
// in order along s.
func (g *ground) crossed(s geom.Segment) []rail {
	var out []rail
	d := s.B.Sub(s.A)
	share := func(e geom.Segment) float64 {
		v := e.B.Sub(e.A)
		return float64(e.A.Sub(s.A).Cross(v)) / float64(d.Cross(v))
	}
	for _, o := range [2]*outline{g.paving, g.roots} {
		for e := range o.region.Edges() {
			if s.Crosses(e) {
				out = append(out, railAt(e, along(s, share(e))))
			}
		}
	}
	slices.SortFunc(out, func(a, b rail) int {
		return cmp.Or(cmp.Compare(share(a.edge), share(b.edge)), a.edge.A.Compare(b.edge.A))
	})
	return out
}

// cost returns the cost of the route in µm of soil, passing the edge of paving
// wherever one leg ends under it and the next does not begin there. Terminals
// count as outside.
func (t *taut) cost() int64 {
	sum, paved := int64(0), false
	for _, l := range t.legs {
		if l.pavedStart != paved {
			sum += t.chart.ground.prices.edge
		}
		sum += l.cost
		paved = l.pavedEnd
	}
	if paved {
		sum += t.chart.ground.prices.edge
	}
	return sum
}

// slideBy tries to move each place by step either way along each of its rails
// and keeps what lowers the cost. It reports whether anything did.
func (t *taut) slideBy(step int64) bool {
	gained := false
	for k, p := range t.places {
		gained = t.slidePlace(k, p.rails, step) || gained
	}
	return gained
}

func (t *taut) slidePlace(k int, rails []rail, step int64) bool {
	for _, r := range rails {
		for _, mm := range [2]int64{max(r.mm-step, 0), min(r.mm+step, r.length())} {
			if t.try(k, rail{r.edge, mm}) {
				return true
			}
		}
	}
	return false
}

// try moves place k to a position on its rail if that lowers the cost.
func (t *taut) try(k int, r rail) bool {
	p := r.at()
	if p == t.places[k].at || p == t.places[k-1].at || p == t.places[k+1].at {
		return false
	}
	moved := place{at: p, sight: t.chart.ground.free.around(p), rails: []rail{r}}
	if !t.chart.ground.sees(&moved, &t.places[k-1]) || !t.chart.ground.sees(&moved, &t.places[k+1]) {
		return false
	}
	before, in, out := t.cost(), t.legs[k-1], t.legs[k]
	t.legs[k-1] = t.chart.ground.survey(geom.Segment{A: t.places[k-1].at, B: p})
	t.legs[k] = t.chart.ground.survey(geom.Segment{A: p, B: t.places[k+1].at})
	if t.cost() >= before {
		t.legs[k-1], t.legs[k] = in, out
		return false
	}
	t.places[k] = moved
	return true
}
