package trench

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/graph/path"
	"gonum.org/v1/gonum/graph/simple"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/graph"
)

// convexLot is a lot whose features are convex and, within a layer, apart, so
// that the oracle can clip a line to each by itself. Buildings need no
// clearance here.
type convexLot struct {
	width, depth                   int64
	building, paving, roots, noDig []geom.Ring
}

func (l convexLot) lot() *layout.Lot {
	return &layout.Lot{
		ID:        "random",
		Parcel:    region(geom.Ring{geom.Pt(0, 0), geom.Pt(l.width, 0), geom.Pt(l.width, l.depth), geom.Pt(0, l.depth)}),
		Building:  region(l.building...),
		Hardscape: region(l.paving...),
		RootZone:  region(l.roots...),
		NoDig:     region(l.noDig...),
	}
}

func region(rings ...geom.Ring) geom.Region {
	var g geom.Region
	for _, r := range rings {
		g = append(g, geom.Polygon{r})
	}
	return g
}

// clip returns the part of the line from p to q inside the convex ring, edges
// not included, as shares of its length.
func clip(p, q geom.Point, ring geom.Ring) (lo, hi float64) {
	lo, hi = 0, 1
	for e := range ring.Edges() {
		d := e.B.Sub(e.A)
		fp, fq := d.Cross(p.Sub(e.A)), d.Cross(q.Sub(e.A))
		if fp <= 0 && fq <= 0 {
			return 0, 0
		}
		cut := float64(fp) / float64(fp-fq)
		if fp < 0 {
			lo = max(lo, cut)
		}
		if fq < 0 {
			hi = min(hi, cut)
		}
	}
	return lo, max(lo, hi)
}

// oraclePrice is the cost model of the package comment for one straight line,
// in mm of soil, and whether its ends set out and arrive under paving.
func (l convexLot) oraclePrice(p, q geom.Point, s Settings) (cost float64, pavedStart, pavedEnd, legal bool) {
	for _, r := range append(l.building[:len(l.building):len(l.building)], l.noDig...) {
		if lo, hi := clip(p, q, r); hi > lo {
			return 0, false, false, false
		}
	}
	length, half := p.DistanceMM(q), s.PavingCrossing.Metres()*1000/2
	cost = length
	for _, r := range l.paving {
		lo, hi := clip(p, q, r)
		if hi <= lo {
			continue
		}
		cost += (hi - lo) * length * (s.PavingFactor - 1)
		if lo > 0 {
			cost += half
		} else {
			pavedStart = true
		}
		if hi < 1 {
			cost += half
		} else {
			pavedEnd = true
		}
	}
	for _, r := range l.roots { // apart from paving
		lo, hi := clip(p, q, r)
		cost += (hi - lo) * length * (s.RootZoneFactor - 1)
	}
	return cost, pavedStart, pavedEnd, true
}

// moves are the 32 neighbours of a cell, one of each pair of opposites.
func moves() [][2]int64 {
	var out [][2]int64
	for dx := int64(0); dx <= 4; dx++ {
		for dy := int64(-4); dy <= 4; dy++ {
			if dx == 0 && dy <= 0 || gcd(dx, abs(dy)) != 1 || dx+abs(dy) > 5 {
				continue
			}
			out = append(out, [2]int64{dx, dy})
		}
	}
	return out
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// oracleGrid returns the graph of a grid with the given cell, two nodes a grid
// point as in the chart, weights in µm of soil.
func (l convexLot) oracleGrid(cell int64, s Settings) *graph.Graph {
	nx, ny := l.width/cell+1, l.depth/cell+1
	g := graph.New(int(2 * nx * ny))
	half := int64(s.PavingCrossing.Metres() * 1e6 / 2)
	for x := range nx {
		for y := range ny {
			at := int(x*ny + y)
			g.AddEdge(2*at, 2*at+1, half)
			for _, m := range moves() {
				if x+m[0] >= nx || y+m[1] < 0 || y+m[1] >= ny {
					continue
				}
				to := int((x+m[0])*ny + y + m[1])
				p, q := geom.Pt(x*cell, y*cell), geom.Pt((x+m[0])*cell, (y+m[1])*cell)
				if cost, start, end, legal := l.oraclePrice(p, q, s); legal {
					g.AddEdge(stand(at, start), stand(to, end), int64(cost*1000+0.5))
				}
			}
		}
	}
	return g
}

// randomBox is a rectangle turned by any angle.
func randomBox(rng *rand.Rand, l convexLot, least, most float64) geom.Ring {
	cx, cy := rng.Float64()*float64(l.width), rng.Float64()*float64(l.depth)
	w, h := least+rng.Float64()*(most-least), least+rng.Float64()*(most-least)
	sin, cos := math.Sincos(rng.Float64() * math.Pi)
	if rng.IntN(3) == 0 {
		sin, cos = 0, 1
	}
	var ring geom.Ring
	for _, c := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		x, y := c[0]*w/2, c[1]*h/2
		ring = append(ring, geom.Vec{X: cx + x*cos - y*sin, Y: cy + x*sin + y*cos}.Round())
	}
	return ring
}

// randomLot draws features that keep 0.3 m apart from those of any layer and
// from the lot line.
func randomLot(rng *rand.Rand) convexLot {
	l := convexLot{width: 8000 + 500*rng.Int64N(8), depth: 8000 + 500*rng.Int64N(12)}
	inside := geom.Region{{{geom.Pt(300, 300), geom.Pt(l.width-300, 300), geom.Pt(l.width-300, l.depth-300), geom.Pt(300, l.depth-300)}}}
	var taken geom.Region
	for _, layer := range []struct {
		to          *[]geom.Ring
		n           int
		least, most float64
	}{{&l.building, 2, 1500, 5000}, {&l.paving, 3, 700, 6000}, {&l.roots, 2, 1000, 3000}, {&l.noDig, 1, 500, 2000}} {
		for range layer.n {
			box := randomBox(rng, l, layer.least, layer.most)
			near := widened(geom.Region{{box}}, 300)
			if len(geom.Difference(region(box), inside)) > 0 || len(geom.Intersection(near, taken)) > 0 {
				continue
			}
			*layer.to = append(*layer.to, box)
			taken = geom.Union(taken, region(box))
		}
	}
	return l
}

// randomSpot is a grid point on open soil or, where there is any, paving.
func randomSpot(rng *rand.Rand, l convexLot, cell int64) geom.Point {
	closed := geom.Union(region(l.building...), region(l.noDig...))
	for {
		p := geom.Pt(rng.Int64N(l.width/cell+1)*cell, rng.Int64N(l.depth/cell+1)*cell)
		if closed.Locate(p) == geom.Outside {
			return p
		}
	}
}

// oracleCost is the cost of a way through the given points, in µm of soil, by
// the oracle's own arithmetic.
func (l convexLot) oracleCost(t *testing.T, places []place, s Settings) float64 {
	t.Helper()
	sum, paved, half := 0.0, false, s.PavingCrossing.Metres()*1000/2
	for i := 1; i < len(places); i++ {
		mm, start, end, legal := l.oraclePrice(places[i-1].at, places[i].at, s)
		require.True(t, legal)
		if start != paved {
			sum += half
		}
		sum += mm
		paved = end
	}
	if paved {
		sum += half
	}
	return sum * 1000
}

// between returns the route between two places and its cost; ok is false when
// there is none.
func (g *ground) between(t *testing.T, from, to geom.Point) (way *taut, ok bool) {
	t.Helper()
	c, err := newChart(context.Background(), g, nil, []terminal{{at: from, poc: true}, {at: to}})
	require.NoError(t, err)
	routes := c.refined()
	if len(routes) == 0 {
		return nil, false
	}
	return c.taut(routes[0]), true
}

// A route may not cost more than the best path on a fine grid, and must cost
// what the oracle's own arithmetic says.
func TestRoutesAgainstAGrid(t *testing.T) {
	const cell = 250
	s, err := Settings{Clearance: -1}.withDefaults()
	require.NoError(t, err)
	compared := 0
	// Terminals so near an edge that its samples are too far apart; found among
	// the first 1500 seeds.
	seeds := []uint64{118, 551, 587, 616, 885, 1096, 1233}
	for seed := range uint64(70) {
		seeds = append(seeds, seed)
	}
	for _, seed := range seeds {
		rng := rand.New(rand.NewPCG(seed, 2))
		l := randomLot(rng)
		g, grid := newGround(l.lot(), s), l.oracleGrid(cell, s)
		node := func(p geom.Point) int { return stand(int(p.X/cell*(l.depth/cell+1)+p.Y/cell), false) }
		from := randomSpot(rng, l, cell)
		best := grid.Shortest(node(from))
		for range 6 {
			to := randomSpot(rng, l, cell)
			want := best.Dist[node(to)]
			if want == graph.Unreachable || to == from {
				continue
			}
			way, ok := g.between(t, from, to)
			require.True(t, ok, "seed %d: %v to %v", seed, from, to)
			// Half a micrometre for the rounding of each step of the grid.
			assert.LessOrEqual(t, float64(way.cost()), float64(want)*(1+1e-6)+50, "seed %d: %v to %v", seed, from, to)
			assert.InDelta(t, l.oracleCost(t, way.places, s), float64(way.cost()), 10)
			compared++
		}
	}
	assert.Greater(t, compared, 300)
}

// The tree of the whole chart costs what a spanning tree of the least costs
// between each two terminals, each worked out by itself, costs.
func TestTreeAgainstAllPairs(t *testing.T) {
	s, err := Settings{Clearance: -1}.withDefaults()
	require.NoError(t, err)
	// Trees that a route joins only once it has slid; among the first 2000 seeds.
	seeds := []uint64{858, 1590, 1936, 1938}
	for seed := range uint64(120) {
		seeds = append(seeds, seed)
	}
	for _, seed := range seeds {
		rng := rand.New(rand.NewPCG(seed, 9))
		l := randomLot(rng)
		g := newGround(l.lot(), s)
		n, least := 3+rng.IntN(4), leastTreeByTrial
		if seed%10 == 0 {
			n, least = 12, leastTreeByGonum
		}
		terminals := randomTerminals(rng, l, n)
		c, err := newChart(context.Background(), g, nil, terminals)
		require.NoError(t, err)
		got := int64(0)
		routes := c.refined()
		for _, r := range routes {
			got += c.taut(r).cost()
		}
		metric := make([][]int64, n)
		for i := range metric {
			metric[i] = make([]int64, n)
			for j := range i {
				metric[i][j] = 1 << 50
				if way, ok := g.between(t, terminals[i].at, terminals[j].at); ok {
					metric[i][j] = way.cost()
				}
				metric[j][i] = metric[i][j]
			}
		}
		want := least(metric)
		if want >= 1<<50 {
			assert.Less(t, len(routes), n-1, "seed %d", seed)
			continue
		}
		require.Len(t, routes, n-1, "seed %d", seed)
		assert.LessOrEqual(t, float64(got), float64(want)*(1+1e-6)+leastGain*float64(n), "seed %d", seed)
		assert.GreaterOrEqual(t, float64(got), float64(want)*(1-1e-3), "seed %d", seed)
	}
}

func randomTerminals(rng *rand.Rand, l convexLot, n int) []terminal {
	var out []terminal
	for len(out) < n {
		p := randomSpot(rng, l, 50)
		if !slices.ContainsFunc(out, func(t terminal) bool { return t.at == p }) {
			out = append(out, terminal{at: p, poc: len(out) == 0})
		}
	}
	return out
}

// leastTreeByTrial tries every tree on n labelled nodes, one for each Prüfer
// sequence of n−2 numbers.
func leastTreeByTrial(metric [][]int64) int64 {
	n := len(metric)
	count := 1
	for range n - 2 {
		count *= n
	}
	best := int64(math.MaxInt64)
	sequence, degree := make([]int, n-2), make([]int, n)
	for k := range count {
		for i := range degree {
			degree[i] = 1
		}
		for i := range sequence {
			sequence[i] = k % n
			k /= n
			degree[sequence[i]]++
		}
		best = min(best, treeWeight(metric, sequence, degree))
	}
	return best
}

// treeWeight decodes a Prüfer sequence; degree is used up.
func treeWeight(metric [][]int64, sequence, degree []int) int64 {
	sum := int64(0)
	for _, v := range sequence {
		leaf := slices.Index(degree, 1)
		sum += metric[leaf][v]
		degree[leaf]--
		degree[v]--
	}
	u := slices.Index(degree, 1)
	v := u + 1 + slices.Index(degree[u+1:], 1)
	return sum + metric[u][v]
}

func leastTreeByGonum(metric [][]int64) int64 {
	g := simple.NewWeightedUndirectedGraph(0, 0)
	for i := range metric {
		for j := range i {
			g.SetWeightedEdge(simple.WeightedEdge{F: simple.Node(i), T: simple.Node(j), W: float64(metric[i][j])})
		}
	}
	return int64(path.Kruskal(simple.NewWeightedUndirectedGraph(0, 0), g))
}
