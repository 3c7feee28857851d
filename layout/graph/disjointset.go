package graph

// DisjointSet keeps the numbers 0…n−1 in sets that can be joined.
type DisjointSet struct {
	parent []int
	size   []int
}

// NewDisjointSet returns n sets of one member each.
func NewDisjointSet(n int) *DisjointSet {
	d := &DisjointSet{parent: make([]int, n), size: make([]int, n)}
	for i := range n {
		d.parent[i], d.size[i] = i, 1
	}
	return d
}

// Find returns the member that stands for i's set.
func (d *DisjointSet) Find(i int) int {
	for d.parent[i] != i {
		d.parent[i] = d.parent[d.parent[i]]
		i = d.parent[i]
	}
	return i
}

// Join makes one set of those of i and j and reports whether they were two.
func (d *DisjointSet) Join(i, j int) bool {
	i, j = d.Find(i), d.Find(j)
	if i == j {
		return false
	}
	if d.size[i] < d.size[j] {
		i, j = j, i
	}
	d.parent[j] = i
	d.size[i] += d.size[j]
	return true
}

// Size returns the number of members of i's set.
func (d *DisjointSet) Size(i int) int { return d.size[d.Find(i)] }
