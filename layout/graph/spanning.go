package graph

import (
	"cmp"
	"slices"
)

// Kruskal returns the numbers, in edges, of a minimum spanning forest of the
// graph with n nodes (Kruskal 1956). Edges are taken by (weight, lower end,
// higher end, number), so that ties always fall the same way.
func Kruskal(n int, edges []Edge) []int {
	order := make([]int, len(edges))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int {
		return cmp.Or(edges[i].compare(edges[j]), cmp.Compare(i, j))
	})
	sets := NewDisjointSet(n)
	var forest []int
	for _, i := range order {
		if sets.Join(edges[i].From, edges[i].To) {
			forest = append(forest, i)
		}
	}
	return forest
}

// compare orders edges by weight, then by their ends, whichever way they run.
func (e Edge) compare(f Edge) int {
	return cmp.Or(
		cmp.Compare(e.Weight, f.Weight),
		cmp.Compare(min(e.From, e.To), min(f.From, f.To)),
		cmp.Compare(max(e.From, e.To), max(f.From, f.To)),
	)
}

// Path is a path between two terminals, From the lower number.
type Path struct {
	From, To int
	Weight   int64
	Edges    []int // numbers, in order
}

// Bridges returns paths between terminals from which a minimum spanning tree
// can be chosen: one of the graph whose edges are these paths is one of the
// complete graph on the terminals whose weights are the shortest distances. The
// paths come by (weight, lower end, higher end). Repeated terminals count once.
//
// One search from all terminals at once is enough (Mehlhorn 1988): every node
// is given to its nearest terminal, and for each two terminals with adjoining
// nodes the least path that goes straight from the nodes of the one to those of
// the other is returned. Such a path is a shortest one if it is in the tree. All
// run through one forest, so the edges used by those of a tree form no cycle.
func (g *Graph) Bridges(terminals ...int) []Path {
	f := g.Shortest(terminals...)
	bridges, ids := f.bridges()
	paths := make([]Path, len(bridges))
	for i, b := range bridges {
		paths[i] = f.through(ids[i], b.Weight)
	}
	slices.SortFunc(paths, func(p, q Path) int {
		return cmp.Or(cmp.Compare(p.Weight, q.Weight), cmp.Compare(p.From, q.From), cmp.Compare(p.To, q.To))
	})
	return paths
}

// bridges returns, as edges between terminals, the shortest path that crosses
// over between each two neighbours, and the number of the edge it crosses by:
// of equal ones the first. Sorting these alone saves most of Kruskal's time.
func (f Forest) bridges() (bridges []Edge, ids []int) {
	rank, k := f.ranks()
	slot := make([]int, k*k) // 1 + index in bridges
	for id, e := range f.g.edges {
		a, b := f.Source[e.From], f.Source[e.To]
		if a < 0 || b < 0 || a == b {
			continue
		}
		bridge := Edge{min(a, b), max(a, b), f.Dist[e.From] + e.Weight + f.Dist[e.To]}
		switch at := &slot[rank[bridge.From]*k+rank[bridge.To]]; {
		case *at == 0:
			bridges, ids = append(bridges, bridge), append(ids, id)
			*at = len(bridges)
		case bridge.Weight < bridges[*at-1].Weight:
			bridges[*at-1], ids[*at-1] = bridge, id
		}
	}
	return bridges, ids
}

// ranks numbers the k sources from 0.
func (f Forest) ranks() (rank []int, k int) {
	rank = make([]int, len(f.Source))
	for v, s := range f.Source {
		if v == s {
			rank[v] = k
			k++
		}
	}
	return rank, k
}

// through returns the path between the terminals on either side of an edge,
// from the lower to the higher.
func (f Forest) through(id int, weight int64) Path {
	u, v := f.g.edges[id].From, f.g.edges[id].To
	if f.Source[u] > f.Source[v] {
		u, v = v, u
	}
	back := f.Path(v)
	slices.Reverse(back)
	return Path{
		From: f.Source[u], To: f.Source[v], Weight: weight,
		Edges: slices.Concat(f.Path(u), []int{id}, back),
	}
}
