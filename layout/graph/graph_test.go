package graph_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/graph/path"
	"gonum.org/v1/gonum/graph/simple"

	"lotwright/layout/graph"
)

// build returns a graph of n nodes with the given edges.
func build(n int, edges []graph.Edge) *graph.Graph {
	g := graph.New(n)
	for _, e := range edges {
		g.AddEdge(e.From, e.To, e.Weight)
	}
	return g
}

// randomEdges draws m edges without loops or parallels and with weights below
// limit, so that a small limit means many ties.
func randomEdges(rng *rand.Rand, n, m int, limit int64) []graph.Edge {
	taken := make(map[[2]int]bool)
	var edges []graph.Edge
	for range m {
		u, v := rng.IntN(n), rng.IntN(n)
		key := [2]int{min(u, v), max(u, v)}
		if u == v || taken[key] {
			continue
		}
		taken[key] = true
		edges = append(edges, graph.Edge{From: u, To: v, Weight: rng.Int64N(limit)})
	}
	return edges
}

// eachRandomGraph runs check on graphs from sparse to dense and from all ties
// to hardly any.
func eachRandomGraph(t *testing.T, check func(t *testing.T, rng *rand.Rand, n int, edges []graph.Edge)) {
	t.Helper()
	for seed := range uint64(200) {
		rng := rand.New(rand.NewPCG(seed, 1))
		n := 2 + rng.IntN(24)
		limit := []int64{1, 2, 4, 1000, 1 << 40}[rng.IntN(5)]
		edges := randomEdges(rng, n, rng.IntN(4*n), limit)
		t.Run(fmt.Sprintf("seed=%d", seed), func(t *testing.T) { check(t, rng, n, edges) })
	}
}

// reference is the same graph as gonum sees it. Weights stay below 2^53, so
// its floats are exact.
func reference(n int, edges []graph.Edge) *simple.WeightedUndirectedGraph {
	g := simple.NewWeightedUndirectedGraph(0, 0)
	for i := range n {
		g.AddNode(simple.Node(i))
	}
	for _, e := range edges {
		g.SetWeightedEdge(simple.WeightedEdge{F: simple.Node(e.From), T: simple.Node(e.To), W: float64(e.Weight)})
	}
	return g
}

func TestShortestByHand(t *testing.T) {
	// 0 –1– 1 –1– 2 and a direct 0 –3– 2; 3 stands alone.
	g := build(4, []graph.Edge{{0, 1, 1}, {0, 2, 3}, {2, 1, 1}})
	f := g.Shortest(0)
	assert.Equal(t, []int64{0, 1, 2, graph.Unreachable}, f.Dist)
	assert.Equal(t, []int{0, 0, 0, -1}, f.Source)
	assert.Equal(t, []int{0, 2}, f.Path(2))
	assert.Empty(t, f.Path(0))
	assert.Empty(t, f.Path(3))
}

func TestShortestTieGoesToTheNodeSettledFirst(t *testing.T) {
	for _, edges := range [][]graph.Edge{
		{{0, 1, 1}, {0, 2, 1}, {1, 3, 1}, {2, 3, 1}},
		{{2, 3, 1}, {1, 3, 1}, {0, 2, 1}, {0, 1, 1}},
	} {
		g := build(4, edges)
		last := g.Edge(g.Shortest(0).Via[3])
		assert.Equal(t, 1, last.Other(3), "edges %v", edges)
	}
}

func TestShortestAgainstGonum(t *testing.T) {
	eachRandomGraph(t, func(t *testing.T, rng *rand.Rand, n int, edges []graph.Edge) {
		g, ref := build(n, edges), reference(n, edges)
		source := rng.IntN(n)
		f, want := g.Shortest(source), path.DijkstraFrom(simple.Node(source), ref)
		for v := range n {
			if f.Dist[v] == graph.Unreachable {
				assert.True(t, want.WeightTo(int64(v)) > 1e300, "node %d", v)
				continue
			}
			assert.Equal(t, want.WeightTo(int64(v)), float64(f.Dist[v]), "node %d", v)
			assert.Equal(t, f.Dist[v], checkWalk(t, g, f.Path(v), source, v), "node %d", v)
		}
	})
}

// checkWalk follows the edges from one node to another and returns their weight.
func checkWalk(t *testing.T, g *graph.Graph, ids []int, from, to int) int64 {
	t.Helper()
	sum, at := int64(0), from
	for _, id := range ids {
		e := g.Edge(id)
		require.Contains(t, []int{e.From, e.To}, at)
		at = e.Other(at)
		sum += e.Weight
	}
	require.Equal(t, to, at)
	return sum
}

func TestShortestFromSeveralSources(t *testing.T) {
	eachRandomGraph(t, func(t *testing.T, rng *rand.Rand, n int, edges []graph.Edge) {
		g := build(n, edges)
		sources := []int{rng.IntN(n), rng.IntN(n), rng.IntN(n)}
		f := g.Shortest(sources...)
		for v := range n {
			nearest := graph.Unreachable
			for _, s := range sources {
				nearest = min(nearest, g.Shortest(s).Dist[v])
			}
			require.Equal(t, nearest, f.Dist[v])
			if nearest < graph.Unreachable {
				assert.Contains(t, sources, f.Source[v])
				assert.Equal(t, nearest, checkWalk(t, g, f.Path(v), f.Source[v], v))
			}
		}
	})
}

func TestKruskalTakesTiesByNodeNumbers(t *testing.T) {
	// A 3 × 3 mesh of equal edges has 192 spanning trees; the order and the
	// sense in which its edges are given must not choose among them.
	var mesh []graph.Edge
	for r := range 3 {
		for c := range 3 {
			if c < 2 {
				mesh = append(mesh, graph.Edge{3*r + c, 3*r + c + 1, 1})
			}
			if r < 2 {
				mesh = append(mesh, graph.Edge{3*r + c, 3*r + c + 3, 1})
			}
		}
	}
	want := treeKeys(mesh, graph.Kruskal(9, mesh))
	assert.Len(t, want, 8)
	rng := rand.New(rand.NewPCG(7, 7))
	for range 50 {
		rng.Shuffle(len(mesh), func(i, j int) { mesh[i], mesh[j] = reversed(mesh[j]), mesh[i] })
		assert.Equal(t, want, treeKeys(mesh, graph.Kruskal(9, mesh)))
	}
}

func treeKeys(edges []graph.Edge, ids []int) [][2]int {
	var keys [][2]int
	for _, i := range ids {
		keys = append(keys, [2]int{min(edges[i].From, edges[i].To), max(edges[i].From, edges[i].To)})
	}
	return keys
}

func TestKruskalAgainstGonum(t *testing.T) {
	eachRandomGraph(t, func(t *testing.T, _ *rand.Rand, n int, edges []graph.Edge) {
		forest := graph.Kruskal(n, edges)
		want := path.Kruskal(simple.NewWeightedUndirectedGraph(0, 0), reference(n, edges))
		assert.Equal(t, want, float64(totalWeight(edges, forest)))
		assertNoCycle(t, n, edges, forest)
	})
}

func totalWeight(edges []graph.Edge, ids []int) int64 {
	sum := int64(0)
	for _, i := range ids {
		sum += edges[i].Weight
	}
	return sum
}

// assertNoCycle peels leaves until nothing is left: only a forest comes to
// nothing.
func assertNoCycle(t *testing.T, n int, edges []graph.Edge, ids []int) {
	t.Helper()
	left := make(map[int]bool)
	degree := make([]int, n)
	for _, i := range ids {
		require.False(t, left[i], "edge %d twice", i)
		left[i] = true
		degree[edges[i].From]++
		degree[edges[i].To]++
	}
	for peeled := true; peeled; {
		peeled = false
		for i := range left {
			if e := edges[i]; degree[e.From] == 1 || degree[e.To] == 1 {
				degree[e.From]--
				degree[e.To]--
				delete(left, i)
				peeled = true
			}
		}
	}
	assert.Empty(t, left, "edges on a cycle")
}

func TestBridgesByHand(t *testing.T) {
	// A star: the centre 3 is no terminal and goes to 0, the nearest, so the
	// paths from 1 and 2 lead through it to 0, and none leads from 1 to 2.
	g := build(4, []graph.Edge{{0, 3, 1}, {1, 3, 2}, {2, 3, 3}, {0, 2, 9}})
	assert.Equal(t, []graph.Path{
		{From: 0, To: 1, Weight: 3, Edges: []int{0, 1}},
		{From: 0, To: 2, Weight: 4, Edges: []int{0, 2}},
	}, g.Bridges(2, 0, 1, 0))
	assert.Empty(t, g.Bridges(1))
	assert.Empty(t, g.Bridges())
}

// spanningTree chooses the tree from the bridges.
func spanningTree(g *graph.Graph, terminals []int) []graph.Path {
	sets := graph.NewDisjointSet(g.Order())
	var tree []graph.Path
	for _, p := range g.Bridges(terminals...) {
		if sets.Join(p.From, p.To) {
			tree = append(tree, p)
		}
	}
	return tree
}

func TestBridgesAgainstTheCompleteGraph(t *testing.T) {
	eachRandomGraph(t, func(t *testing.T, rng *rand.Rand, n int, edges []graph.Edge) {
		g := build(n, edges)
		terminals := rng.Perm(n)[:1+rng.IntN(n)]
		want := path.Kruskal(simple.NewWeightedUndirectedGraph(0, 0), reference(n, closure(g, terminals)))
		sum, used := int64(0), map[int]bool{}
		for _, p := range spanningTree(g, terminals) {
			assert.Contains(t, terminals, p.From)
			assert.Contains(t, terminals, p.To)
			assert.Equal(t, p.Weight, checkWalk(t, g, p.Edges, p.From, p.To))
			assert.Equal(t, p.Weight, g.Shortest(p.From).Dist[p.To], "the path is a shortest one")
			sum += p.Weight
			for _, id := range p.Edges {
				used[id] = true
			}
		}
		assert.Equal(t, want, float64(sum))
		var union []int
		for id := range used {
			union = append(union, id)
		}
		assertNoCycle(t, n, edges, union)
	})
}

// closure lists the shortest distances between terminals.
func closure(g *graph.Graph, terminals []int) []graph.Edge {
	var edges []graph.Edge
	for i, u := range terminals {
		f := g.Shortest(u)
		for _, v := range terminals[:i] {
			if f.Dist[v] < graph.Unreachable {
				edges = append(edges, graph.Edge{From: u, To: v, Weight: f.Dist[v]})
			}
		}
	}
	return edges
}

func TestSameAnswerTwice(t *testing.T) {
	eachRandomGraph(t, func(t *testing.T, _ *rand.Rand, n int, edges []graph.Edge) {
		g := build(n, edges)
		assert.Equal(t, g.Bridges(0, n/2, n-1), build(n, edges).Bridges(n-1, 0, n/2))
	})
}

func TestGraphGrows(t *testing.T) {
	var g graph.Graph
	assert.Equal(t, 0, g.AddNode())
	assert.Equal(t, 1, g.AddNode())
	assert.Equal(t, 2, g.Order())
	assert.Equal(t, 0, g.AddEdge(0, 0, 5), "a loop")
	assert.Equal(t, 1, g.AddEdge(1, 0, 7))
	assert.Equal(t, int64(7), g.Shortest(0).Dist[1])
}

func TestDisjointSet(t *testing.T) {
	d := graph.NewDisjointSet(5)
	assert.True(t, d.Join(0, 1))
	assert.True(t, d.Join(3, 4))
	assert.False(t, d.Join(1, 0))
	assert.True(t, d.Join(4, 0))
	assert.Equal(t, d.Find(1), d.Find(3))
	assert.NotEqual(t, d.Find(2), d.Find(3))
	assert.Equal(t, 4, d.Size(0))
	assert.Equal(t, 1, d.Size(2))
}

// mesh is a square mesh with random weights: the shape of a visibility graph's
// worst case for Dijkstra's queue.
func mesh(side int) *graph.Graph {
	rng := rand.New(rand.NewPCG(1, 2))
	g := graph.New(side * side)
	for r := range side {
		for c := range side {
			if c+1 < side {
				g.AddEdge(r*side+c, r*side+c+1, rng.Int64N(1000))
			}
			if r+1 < side {
				g.AddEdge(r*side+c, (r+1)*side+c, rng.Int64N(1000))
			}
		}
	}
	return g
}

func BenchmarkShortest(b *testing.B) {
	for _, side := range []int{10, 30, 100} {
		g := mesh(side)
		b.Run(fmt.Sprintf("nodes=%d", side*side), func(b *testing.B) {
			for b.Loop() {
				g.Shortest(0)
			}
		})
	}
}

func BenchmarkBridges(b *testing.B) {
	for _, side := range []int{10, 30, 100} {
		g := mesh(side)
		var terminals []int
		for i := 0; i < side*side; i += side*side/20 + 1 {
			terminals = append(terminals, i)
		}
		b.Run(fmt.Sprintf("nodes=%d/terminals=%d", side*side, len(terminals)), func(b *testing.B) {
			for b.Loop() {
				g.Bridges(terminals...)
			}
		})
	}
}

func BenchmarkKruskal(b *testing.B) {
	for _, n := range []int{10, 100, 1000} {
		edges := randomEdges(rand.New(rand.NewPCG(3, 4)), n, 10*n, 100)
		b.Run(fmt.Sprintf("nodes=%d/edges=%d", n, len(edges)), func(b *testing.B) {
			for b.Loop() {
				graph.Kruskal(n, edges)
			}
		})
	}
}

func reversed(e graph.Edge) graph.Edge { return graph.Edge{From: e.To, To: e.From, Weight: e.Weight} }
