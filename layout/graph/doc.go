// Package graph holds the few graph algorithms that network design needs:
// shortest paths, minimum spanning trees, and the minimum spanning tree of the
// shortest-path distances between chosen nodes. It knows nothing of lawns.
//
// Weights are int64, so that sums and ties are exact. Every tie breaks by the
// numbers of the nodes and then of the edges, so the same graph gives the same
// answer every time.
package graph
