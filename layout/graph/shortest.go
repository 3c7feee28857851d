package graph

import "slices"

// Forest holds the shortest paths from every node to the nearest of some
// sources.
type Forest struct {
	Dist   []int64 // to the source; [Unreachable] where no path leads
	Source []int   // the source reached; -1 for none
	Via    []int   // edge that leads to the node from its side of the source; -1 at a source and for none

	g *Graph
}

// Shortest returns the shortest paths from each node to its nearest source
// (Dijkstra 1959). Among shortest paths of equal weight it takes the one whose
// last node but one was settled first; nodes are settled by (distance, number).
func (g *Graph) Shortest(sources ...int) Forest {
	g.index()
	f := g.unvisited()
	var queue visits
	for _, s := range slices.Sorted(slices.Values(sources)) {
		f.Dist[s], f.Source[s] = 0, s
		queue.push(visit{0, s})
	}
	for len(queue) > 0 {
		if v := queue.pop(); v.dist == f.Dist[v.node] {
			f.relax(v.node, &queue)
		}
	}
	return f
}

func (g *Graph) unvisited() Forest {
	n := g.Order()
	f := Forest{Dist: make([]int64, n), Source: make([]int, n), Via: make([]int, n), g: g}
	for i := range n {
		f.Dist[i], f.Source[i], f.Via[i] = Unreachable, -1, -1
	}
	return f
}

// relax offers the paths through u to its neighbours.
func (f Forest) relax(u int, queue *visits) {
	for _, id := range f.g.at(u) {
		e := f.g.edges[id]
		v, d := e.Other(u), f.Dist[u]+e.Weight
		if d < f.Dist[v] {
			f.Dist[v], f.Source[v], f.Via[v] = d, f.Source[u], int(id)
			queue.push(visit{d, v})
		}
	}
}

// Path returns the numbers of the edges from v's source to v, in order; none
// when v is a source or out of reach.
func (f Forest) Path(v int) []int {
	var path []int
	for f.Via[v] >= 0 {
		path = append(path, f.Via[v])
		v = f.g.edges[f.Via[v]].Other(v)
	}
	slices.Reverse(path)
	return path
}
