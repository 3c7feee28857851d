package trench

import (
	"context"
	"slices"

	"lotwright/layout/geom"
	"lotwright/layout/graph"
)

// chart is the graph of all ways a trench is thought of to go. Each place has
// two nodes, 2i for a trench in soil there and 2i+1 for one under paving, and
// between them, where there is paving, an edge that costs half a crossing.
type chart struct {
	ground *ground
	places []place
	known  map[geom.Point]int
	ways   []way
	graph  *graph.Graph
	wayOf  []int // of each edge of the graph; -1 for passing the edge of paving

	terminals []terminal
	standing  []int // place of each terminal
}

// place is a point where trenches may start, end, turn or meet.
type place struct {
	at    geom.Point
	sight fan // of the free ground
	rails []rail

	// corner is a corner of free ground and nothing else, with the same surface
	// all round, where a least-cost route only ever bends round what is in its
	// way.
	corner bool
}

// bends reports whether a taut line from q may go on round p: both edges of the
// corner lie to the same side.
func (p *place) bends(q geom.Point) bool {
	if !p.corner {
		return true
	}
	d := p.at.Sub(q)
	u, v := d.Cross(p.sight.rays[0].dir), d.Cross(p.sight.rays[1].dir)
	return u >= 0 && v >= 0 || u <= 0 && v <= 0
}

// free reports whether the place stands in free ground.
func (p *place) free() bool { return p.sight.place != geom.Outside }

// way joins two places.
type way struct {
	a, b int // a < b
	stretch
	line  geom.Line // of a sleeve, from either end; nil for a straight trench
	fixed bool      // a sleeve or a stub: its ends are not for sliding
}

// newChart draws the ways between the terminals.
func newChart(ctx context.Context, g *ground, sleeves []geom.Line, terminals []terminal) (*chart, error) {
	c := &chart{ground: g, known: make(map[geom.Point]int), graph: graph.New(0), terminals: terminals}
	stubs := c.stubs(sleeves)
	seeds := c.seeds(sleeves, stubs)
	c.ways = make([]way, 0, len(seeds)*len(seeds)/8) // about as many as see one another on real lots
	for _, p := range seeds {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		c.add(p)
	}
	for _, t := range terminals {
		c.standing = append(c.standing, c.known[t.at])
	}
	for _, s := range stubs {
		c.straight(c.known[s.A], c.known[s.B], true)
	}
	c.laySleeves(sleeves)
	return c, nil
}

// seeds returns the places a least-cost route may begin, turn or end at, in
// point order.
func (c *chart) seeds(sleeves []geom.Line, stubs []geom.Segment) []place {
	var standing []geom.Point
	for _, t := range c.terminals {
		standing = append(standing, t.at)
	}
	for _, s := range sleeves {
		if len(s) > 1 {
			standing = append(standing, s[0], s[len(s)-1])
		}
	}
	for _, s := range stubs {
		standing = append(standing, s.A, s.B)
	}
	var seeds []place
	for _, p := range standing {
		seeds = append(seeds, place{at: p})
	}
	for _, r := range c.ground.rails(standing) {
		if p := r.at(); c.ground.free.region.Has(p) {
			seeds = append(seeds, place{at: p, rails: []rail{r}})
		}
	}
	for _, p := range reflexCorners(c.ground.free.region) {
		seeds = append(seeds, place{at: p, corner: true})
	}
	return merged(seeds)
}

// merged returns the places in point order, those at the same point made one.
func merged(places []place) []place {
	slices.SortStableFunc(places, func(p, q place) int { return p.at.Compare(q.at) })
	out := places[:0]
	for _, p := range places {
		if n := len(out); n > 0 && out[n-1].at == p.at {
			out[n-1].rails = append(out[n-1].rails, p.rails...)
			out[n-1].corner = out[n-1].corner && p.corner
			continue
		}
		out = append(out, p)
	}
	return out
}

// reflexCorners returns the corners of g a taut line may bend round.
func reflexCorners(g geom.Region) []geom.Point {
	var out []geom.Point
	for ring := range g.Rings() {
		for i, b := range ring {
			if geom.Orient(ring[(i+len(ring)-1)%len(ring)], b, ring[(i+1)%len(ring)]) < 0 {
				out = append(out, b)
			}
		}
	}
	return out
}

// add puts a place on the chart, unless it is there, with the straight ways to
// the others.
func (c *chart) add(p place) {
	if _, ok := c.known[p.at]; ok {
		return
	}
	p.sight = c.ground.free.around(p.at)
	paved, rooted := c.ground.paving.region.Locate(p.at), c.ground.roots.region.Locate(p.at)
	p.corner = p.corner && len(p.sight.rays) == 2 && paved != geom.Boundary && rooted != geom.Boundary
	i := len(c.places)
	c.known[p.at] = i
	c.places = append(c.places, p)
	c.graph.AddNode()
	c.graph.AddNode()
	if paved != geom.Outside {
		c.connect(2*i, 2*i+1, c.ground.prices.edge, -1)
	}
	for j := range i {
		if q := &c.places[j]; q.bends(p.at) && p.bends(q.at) && c.ground.sees(q, &p) {
			c.straight(j, i, false)
		}
	}
}

// sees reports whether the straight line between two places stays in free
// ground and passes none of its corners on the way, where it would be two ways.
func (g *ground) sees(a, b *place) bool {
	return a.free() && b.free() && a.sight.toward(b.at.Sub(a.at)) != geom.Outside &&
		!g.free.obstructs(geom.Segment{A: a.at, B: b.at})
}

// straight adds the straight way between two places.
func (c *chart) straight(i, j int, fixed bool) {
	i, j = min(i, j), max(i, j)
	s := c.ground.survey(geom.Segment{A: c.places[i].at, B: c.places[j].at})
	c.lay(way{a: i, b: j, stretch: s, fixed: fixed})
}

// lay adds a way to the chart and the graph.
func (c *chart) lay(w way) {
	c.ways = append(c.ways, w)
	c.connect(stand(w.a, w.pavedStart), stand(w.b, w.pavedEnd), w.cost, len(c.ways)-1)
}

// stand returns the node of a place for a trench under paving or not.
func stand(place int, paved bool) int {
	if paved {
		return 2*place + 1
	}
	return 2 * place
}

func (c *chart) connect(u, v int, cost int64, way int) {
	c.graph.AddEdge(u, v, cost)
	c.wayOf = append(c.wayOf, way)
}
