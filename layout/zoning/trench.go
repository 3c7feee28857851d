package zoning

import (
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// pocName is what the point of connection is called as the end of a run.
const pocName = "POC"

// Trench is a trench network as a tree, hung from the point of connection.
type Trench struct {
	nodes []node // the first is the point of connection, and parents come before children
	named map[string]int
	at    map[geom.Point]int
}

// node is an end of a run.
type node struct {
	Place
	parent int   // -1 for the root
	up     int64 // length of the stretch from the parent, mm
	depth  int   // stretches from the root
	before int   // place in a walk along the tree, each branch to its end
}

// NewTrench reads the runs of a network as a tree. An error names an end that
// two stretches lead to, or that does not hang from the point of connection.
func NewTrench(net layout.Network) (*Trench, error) {
	t := &Trench{named: map[string]int{pocName: 0}, at: map[geom.Point]int{net.POC: 0}}
	t.nodes = []node{{Place: Place{pocName, net.POC}, parent: -1}}
	below, err := stretches(net.Runs)
	if err != nil {
		return nil, err
	}
	for k := 0; k < len(t.nodes); k++ {
		for _, s := range below[t.nodes[k].Name] {
			t.add(k, s)
		}
		delete(below, t.nodes[k].Name)
	}
	if len(below) > 0 {
		return nil, fmt.Errorf("zoning: the runs from %s do not hang from the point of connection", leastKey(below))
	}
	t.walk()
	return t, nil
}

// stretch is trench between two named ends.
type stretch struct {
	to   Place
	from string
	um   float64 // length, micrometres
}

// stretches joins the pieces between the same ends, and lists them by the
// nearer end, in natural order of the farther.
func stretches(runs []layout.TrenchRun) (map[string][]stretch, error) {
	into := make(map[string]*stretch)
	for _, r := range runs {
		if len(r.Path) == 0 {
			return nil, fmt.Errorf("zoning: the run from %s to %s has no path", r.From, r.To)
		}
		end := r.Path[len(r.Path)-1]
		s := into[r.To]
		if s == nil {
			s = &stretch{from: r.From}
			into[r.To] = s
		}
		if s.from != r.From || r.To == pocName {
			return nil, fmt.Errorf("zoning: two stretches of trench lead to %s, from %s and %s", r.To, s.from, r.From)
		}
		s.to = Place{r.To, end}
		s.um += math.Round(r.Length.Metres() * micrometresPerMetre)
	}
	below := make(map[string][]stretch)
	for _, s := range into { // in any order: sorted below
		below[s.from] = append(below[s.from], *s)
	}
	for _, s := range below {
		slices.SortFunc(s, func(a, b stretch) int { return layout.CompareLabels(a.to.Name, b.to.Name) })
	}
	return below, nil
}

const (
	micrometresPerMetre      = 1e6
	micrometresPerMillimetre = 1e3
)

func leastKey(m map[string][]stretch) string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	return slices.MinFunc(keys, layout.CompareLabels)
}

func (t *Trench) add(parent int, s stretch) {
	n := node{Place: s.to, parent: parent, up: int64(math.Round(s.um / micrometresPerMillimetre)), depth: t.nodes[parent].depth + 1}
	t.named[n.Name] = len(t.nodes)
	if _, taken := t.at[n.At]; !taken {
		t.at[n.At] = len(t.nodes)
	}
	t.nodes = append(t.nodes, n)
}

// walk numbers the nodes along the tree. Children come after their parents in
// nodes, so sizes are summed from the back.
func (t *Trench) walk() {
	size := make([]int, len(t.nodes))
	for k := len(t.nodes) - 1; k > 0; k-- {
		size[k]++
		size[t.nodes[k].parent] += size[k]
	}
	next := make([]int, len(t.nodes)) // where the next branch of a node begins
	for k := range t.nodes {
		if k > 0 {
			up := t.nodes[k].parent
			t.nodes[k].before = next[up]
			next[up] += size[k]
		}
		next[k] = t.nodes[k].before + 1
	}
}

// joining returns the length of trench that joins nodes to the point of
// connection, in mm.
func (t *Trench) joining(nodes []int) int64 {
	total := int64(0)
	seen := make(map[int]bool)
	for _, k := range nodes {
		for ; k > 0 && !seen[k]; k = t.nodes[k].parent {
			seen[k] = true
			total += t.nodes[k].up
		}
	}
	return total
}

// nodesNamed looks names up; all of them come from this trench.
func (t *Trench) nodesNamed(names []string) []int {
	out := make([]int, len(names))
	for i, n := range names {
		out[i] = t.named[n]
	}
	return out
}

// fork returns the node at which the ways to the given nodes part; for a single
// node, the one it hangs from.
func (t *Trench) fork(nodes []int) int {
	at := nodes[0]
	for _, k := range nodes[1:] {
		at = t.meet(at, k)
	}
	if len(nodes) == 1 && at > 0 {
		at = t.nodes[at].parent
	}
	return at
}

// meet returns the deepest node that leads to both.
func (t *Trench) meet(a, b int) int {
	for a != b {
		if t.nodes[a].depth < t.nodes[b].depth {
			a, b = b, a
		}
		a = t.nodes[a].parent
	}
	return a
}

// trenchMeasure measures zones along a trench.
type trenchMeasure struct {
	t    *Trench
	node []int // of each head; -1 for none

	stamp int
	seen  []int // last stamp
}

func newTrenchMeasure(heads []Head, t *Trench) *trenchMeasure {
	m := &trenchMeasure{t: t, seen: make([]int, len(t.nodes))}
	for _, h := range heads {
		k, ok := t.at[h.At]
		if !ok {
			k = -1
		}
		m.node = append(m.node, k)
	}
	return m
}

func (m *trenchMeasure) reaches(head int) bool { return m.node[head] >= 0 }

// length is [Trench.joining] without its map.
func (m *trenchMeasure) length(heads []int) int64 {
	m.stamp++
	total := int64(0)
	for _, h := range heads {
		for k := m.node[h]; k > 0 && m.seen[k] != m.stamp; k = m.t.nodes[k].parent {
			m.seen[k] = m.stamp
			total += m.t.nodes[k].up
		}
	}
	return total
}

// sequence walks along the trench.
func (m *trenchMeasure) sequence(heads []int) []int {
	out := slices.Clone(heads)
	slices.SortStableFunc(out, func(i, j int) int {
		return m.t.nodes[m.node[i]].before - m.t.nodes[m.node[j]].before
	})
	return out
}

// setValve chooses the place of a zone's valve.
func (g *grouping) setValve(z *Zone) {
	t := g.s.Trench
	if t == nil {
		z.Valve, z.Lateral = Place{pocName, g.s.TapAt}, z.Pipe
		return
	}
	at := 0
	if g.s.ValvesAtBranches {
		var nodes []int
		for _, i := range z.Heads {
			nodes = append(nodes, t.at[g.heads[i].At])
		}
		at = t.fork(nodes)
	}
	z.Valve = t.nodes[at].Place
	z.Lateral = z.Pipe - fromMM(t.joining([]int{at}))
}
