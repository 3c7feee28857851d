package takeoff

import (
	"cmp"
	"fmt"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// node is a place where pipes end.
type node struct {
	label string
	arms  []arm
	heads []string // labels of the heads that stand there
}

// arm is a pipe as it leaves a node.
type arm struct {
	pipe    layout.PipeRun
	heading int
}

// nodesOf returns the places where pipes end, in the order of their labels.
// Pipes that belong to one zone each do not meet those of another that lie in
// the same trench. Heads belong to the node they stand on.
func nodesOf(d *layout.Design) []node {
	type name struct {
		label string
		zone  int
	}
	type place struct {
		at   geom.Point
		zone int
	}
	apart := slices.ContainsFunc(d.Network.Pipes, func(p layout.PipeRun) bool { return p.Zone > 0 })
	var nodes []node
	index := make(map[name]int)
	places := make(map[place]int)
	end := func(label string, p layout.PipeRun, at, toward geom.Point) {
		i, ok := index[name{label, p.Zone}]
		if !ok {
			i = len(nodes)
			index[name{label, p.Zone}], places[place{at, p.Zone}] = i, i
			nodes = append(nodes, node{label: label})
		}
		nodes[i].arms = append(nodes[i].arms, arm{p, heading(at, toward)})
	}
	for _, p := range d.Network.Pipes {
		if n := len(p.Path); n >= 2 {
			end(p.From, p, p.Path[0], p.Path[1])
			end(p.To, p, p.Path[n-1], p.Path[n-2])
		}
	}
	for _, h := range d.Heads {
		zone := h.Zone
		if !apart {
			zone = 0
		}
		i, ok := index[name{h.Label, zone}]
		if !ok {
			i, ok = places[place{h.At, zone}]
		}
		if ok {
			nodes[i].heads = append(nodes[i].heads, h.Label)
		}
	}
	slices.SortStableFunc(nodes, func(a, b node) int { return layout.CompareLabels(a.label, b.label) })
	return nodes
}

// largest returns the widest pipe of a node; of equals the first.
func (n node) largest() layout.PipeRun {
	return slices.MaxFunc(n.arms, func(a, b arm) int {
		x, _ := nominal(a.pipe.Size)
		y, _ := nominal(b.pipe.Size)
		return cmp.Compare(x, y)
	}).pipe
}

// join lists the fittings of a node:
//
//  1. At the end of a pipe a head has a threaded elbow; every other head has a
//     threaded tee, in line.
//  2. Pipes beyond two take a tee each; what comes in at the point of connection
//     counts as a pipe.
//  3. Two pipes bend by elbows, three leave a tee by those of [teeBends]; of more
//     pipes, and at the point of connection, the directions do not count: tees in
//     a row are turned as is needed.
//  4. Two pipes that meet with no fitting between them have a coupling.
//  5. A pipe that ends at nothing has a cap.
//  6. Every pipe narrower than the widest has a reducer.
func (j *job) join(n node) {
	wide := n.largest()
	pipes := len(n.arms)
	if n.label == layout.POCLabel {
		pipes++
	}
	j.outlets(n, wide, pipes)
	j.tees(Tee, wide.Size, wide, pipes-2, n.label)
	fittings := len(n.heads) > 0 || pipes > 2
	switch {
	case n.label == layout.POCLabel:
	case pipes == 1 && len(n.heads) == 0:
		j.t.count(Cap, wide.Size, 1, n.label)
		j.sockets = append(j.sockets, socket{wide.Material, wide.Size, 1, n.label})
	case pipes == 2:
		e := elbowsFor(wrap(n.arms[0].heading + halfTurn - n.arms[1].heading))
		j.elbow(n.arms[1].pipe, e)
		fittings = fittings || e.number() > 0
	case pipes == 3:
		for i, e := range teeBends([3]int{n.arms[0].heading, n.arms[1].heading, n.arms[2].heading}) {
			j.elbow(n.arms[i].pipe, e)
		}
	}
	reduced := j.reduce(n, wide)
	if pipes == 2 && n.label != layout.POCLabel && !fittings && !reduced {
		j.fitting(Coupling, wide, 1)
	}
}

// outlets lists what the heads of a node are screwed into.
func (j *job) outlets(n node, wide layout.PipeRun, pipes int) {
	size := wide.Size + " x " + j.s.HeadThread
	for i, h := range n.heads {
		if i == 0 && pipes == 1 {
			j.t.count(ThreadedElbow, size, 1, h)
			j.sockets = append(j.sockets, socket{wide.Material, wide.Size, 1, h})
			continue
		}
		j.t.count(ThreadedTee, size, 1, h)
		j.sockets = append(j.sockets, socket{wide.Material, wide.Size, 2, h})
	}
}

// tees counts tees, of three sockets each.
func (j *job) tees(item Item, size string, p layout.PipeRun, n int, label string) {
	if n > 0 {
		j.t.count(item, size, n, label)
		j.sockets = append(j.sockets, socket{p.Material, p.Size, 3 * n, label})
	}
}

// reduce lists the reducers of a node and reports whether there are any.
func (j *job) reduce(n node, wide layout.PipeRun) (any bool) {
	for _, a := range n.arms {
		if a.pipe.Size == wide.Size {
			continue
		}
		any = true
		j.t.count(Reducer, wide.Size+" x "+a.pipe.Size, 1, n.label, a.pipe.Label)
		j.sockets = append(j.sockets, socket{wide.Material, wide.Size, 1, n.label}, socket{a.pipe.Material, a.pipe.Size, 1, n.label})
	}
	return any
}

// widest returns the size of the widest pipe at a label, "" where none ends.
func widest(pipes []layout.PipeRun, label string) string {
	size, most := "", 0
	for _, p := range pipes {
		if p.From != label && p.To != label {
			continue
		}
		if d, _ := nominal(p.Size); d > most {
			size, most = p.Size, d
		}
	}
	return size
}

func firstFrom(pipes []layout.PipeRun, label string) int {
	return slices.IndexFunc(pipes, func(p layout.PipeRun) bool { return p.From == label || p.To == label })
}

// zonesOf returns the zones of the heads, in order. Where no flow was measured
// the valves are not known and there are none.
func zonesOf(d *layout.Design) []int {
	var out []int
	for _, h := range d.Heads {
		if h.Zone > 0 {
			out = append(out, h.Zone)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func zoneLabel(z int) string { return fmt.Sprintf("Z%d", z) }
