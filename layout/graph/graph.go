package graph

import "math"

// Unreachable is the distance of a node that no path leads to.
const Unreachable = int64(math.MaxInt64)

// Edge joins two nodes, both ways.
type Edge struct {
	From, To int
	Weight   int64
}

// Other returns the end of e that is not u.
func (e Edge) Other(u int) int { return e.From ^ e.To ^ u }

// Graph is an undirected graph with weights on its edges. Nodes are numbered
// from 0 and edges in the order they were added; parallel edges and loops are
// allowed. The zero value has no nodes. A graph is for one goroutine.
type Graph struct {
	order int
	edges []Edge

	// The numbers of the edges at node u are incident[first[u]:first[u+1]],
	// for the first indexed edges.
	first    []int32
	incident []int32
	indexed  int
}

// New returns a graph of n nodes and no edges.
func New(n int) *Graph { return &Graph{order: n} }

// Order returns the number of nodes.
func (g *Graph) Order() int { return g.order }

// AddNode adds a node and returns its number.
func (g *Graph) AddNode() int {
	g.order++
	return g.order - 1
}

// AddEdge joins u and v and returns the number of the new edge. The weight
// must not be negative, and the weights of any path must add up to less than
// [Unreachable].
func (g *Graph) AddEdge(u, v int, weight int64) int {
	g.edges = append(g.edges, Edge{From: u, To: v, Weight: weight})
	return len(g.edges) - 1
}

// Edge returns the edge with the given number.
func (g *Graph) Edge(id int) Edge { return g.edges[id] }

// at returns the numbers of the edges at u, in order.
func (g *Graph) at(u int) []int32 { return g.incident[g.first[u]:g.first[u+1]] }

// index lists the edges at each node, if any came since it was last done.
func (g *Graph) index() {
	if g.indexed == len(g.edges) && len(g.first) == g.order+1 {
		return
	}
	g.first = make([]int32, g.order+2)
	for _, e := range g.edges {
		g.first[e.From+2]++
		g.first[e.To+2]++
	}
	for u := range g.order {
		g.first[u+2] += g.first[u+1]
	}
	g.incident = make([]int32, 2*len(g.edges))
	for id, e := range g.edges {
		for _, u := range [2]int{e.From, e.To} {
			g.incident[g.first[u+1]] = int32(id)
			g.first[u+1]++
		}
	}
	g.first, g.indexed = g.first[:g.order+1], len(g.edges)
}
