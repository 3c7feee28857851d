package hydraulic

import (
	"errors"
	"fmt"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Network is a tree of links from the source to what draws water.
type Network struct {
	Source   Curve // at Nodes[0]
	Formula  Formula
	Fittings FittingTable // empty means [DefaultFittings]
	Nodes    []Node       // Nodes[0] is where the source was measured
	Links    []Link       // one into each other node, in any order
}

// Node is a place in a network.
type Node struct {
	Label     string
	At        geom.Point    // for a map; may be left out
	Elevation layout.Length // above any one datum
	Demand    layout.Flow   // drawn at any pressure
	Emitter   Emitter       // nil: none
}

// Kind is what a link is in the trade's words.
type Kind string

// The kinds of link.
const (
	KindPipe        Kind = "pipe"         // of the sprinkler system: may be sized
	KindServiceLine Kind = "service_line" // from the street: is as it is
	KindMeter       Kind = "meter"
	KindBackflow    Kind = "backflow"
	KindValve       Kind = "valve"
	KindFilter      Kind = "filter"
	KindRegulator   Kind = "regulator"
)

// Link joins two nodes. Water runs from From to To.
type Link struct {
	Label    string
	Kind     Kind
	From, To int
	Element  Element
}

func (n *Network) fittings() FittingTable {
	if len(n.Fittings) == 0 {
		return defaultFittings
	}
	return n.Fittings
}

var defaultFittings = DefaultFittings()

// Running returns the network with the emitters at the given nodes alone.
func (n Network) Running(nodes ...int) Network {
	all := n.Nodes
	n.Nodes = make([]Node, len(all))
	for i, v := range all {
		v.Emitter = nil
		n.Nodes[i] = v
	}
	for _, i := range nodes {
		n.Nodes[i].Emitter = all[i].Emitter
	}
	return n
}

// Trimmed returns the network without the branches that feed nothing, and for
// each of its nodes the number it had. What it carries is the same; a program
// that balances flows by rounds finds it more exactly.
func (n Network) Trimmed() (Network, []int, error) {
	t, err := newTree(&n)
	if err != nil {
		return Network{}, nil, err
	}
	feeds := make([]bool, len(n.Nodes))
	feeds[0] = true
	for k := len(t.order) - 1; k > 0; k-- {
		i := t.order[k]
		feeds[i] = feeds[i] || n.Nodes[i].Emitter != nil || n.Nodes[i].Demand > 0
		feeds[t.above[i]] = feeds[t.above[i]] || feeds[i]
	}
	out := n
	out.Nodes, out.Links = nil, nil
	number, was := make([]int, len(n.Nodes)), []int(nil)
	for i, v := range n.Nodes {
		if feeds[i] {
			number[i] = len(out.Nodes)
			out.Nodes, was = append(out.Nodes, v), append(was, i)
		}
	}
	for _, l := range n.Links {
		if feeds[l.To] {
			l.From, l.To = number[l.From], number[l.To]
			out.Links = append(out.Links, l)
		}
	}
	return out, was, nil
}

// Emitters returns the nodes that have one, in order.
func (n Network) Emitters() []int {
	var out []int
	for i, v := range n.Nodes {
		if v.Emitter != nil {
			out = append(out, i)
		}
	}
	return out
}

// tree is a network in order: every node after the one above it.
type tree struct {
	order []int   // nodes, Nodes[0] first
	link  []int   // of each node, the link into it; -1 for Nodes[0]
	above []int   // of each node, the node its link comes from; -1 for Nodes[0]
	below [][]int // of each node, the nodes its links lead to, in the order of the links
}

// newTree checks the network and puts it in order.
func newTree(n *Network) (*tree, error) {
	if len(n.Nodes) == 0 {
		return nil, errors.New("the network has no nodes")
	}
	if err := n.check(); err != nil {
		return nil, err
	}
	t := &tree{link: make([]int, len(n.Nodes)), above: make([]int, len(n.Nodes)), below: make([][]int, len(n.Nodes))}
	for i := range n.Nodes {
		t.link[i], t.above[i] = -1, -1
	}
	for i, l := range n.Links {
		if l.From < 0 || l.From >= len(n.Nodes) || l.To <= 0 || l.To >= len(n.Nodes) {
			return nil, fmt.Errorf("link %q leads from node %d to node %d of %d; node 0 is the source", l.Label, l.From, l.To, len(n.Nodes))
		}
		if t.link[l.To] >= 0 {
			return nil, fmt.Errorf("links %q and %q both lead to node %q", n.Links[t.link[l.To]].Label, l.Label, n.Nodes[l.To].Label)
		}
		t.link[l.To], t.above[l.To] = i, l.From
		t.below[l.From] = append(t.below[l.From], l.To)
	}
	t.order = append(t.order, 0)
	for k := 0; k < len(t.order); k++ {
		t.order = append(t.order, t.below[t.order[k]]...)
	}
	if len(t.order) < len(n.Nodes) {
		return nil, fmt.Errorf("%d of %d nodes are not joined to the source", len(n.Nodes)-len(t.order), len(n.Nodes))
	}
	return t, nil
}

// check says what is wrong with the parts of the network, if anything.
func (n *Network) check() error {
	errs := []error{n.Source.check()}
	for _, v := range n.Nodes {
		errs = append(errs, named("node", v.Label, v.check()))
	}
	for _, l := range n.Links {
		if l.Element == nil {
			errs = append(errs, fmt.Errorf("link %q has no element", l.Label))
			continue
		}
		errs = append(errs, named("link", l.Label, l.Element.check(n)))
	}
	return errors.Join(errs...)
}

func (c Curve) check() error {
	return insist(finite(c.Static) && c.Static >= 0 && finite(c.Test.Flow) && c.Test.Flow >= 0 && finite(c.Test.Pressure) &&
		(!c.tested() || c.Test.Pressure < c.Static),
		"a source of %v that holds %v at %v", c.Static, c.Test.Pressure, c.Test.Flow)
}

func (v Node) check() error {
	err := errors.Join(
		insist(finite(v.Elevation), "an elevation of %v", v.Elevation),
		insist(finite(v.Demand) && v.Demand >= 0, "a demand of %v", v.Demand))
	if v.Emitter != nil {
		err = errors.Join(err, v.Emitter.check())
	}
	return err
}

func named(what, label string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s %q: %w", what, label, err)
}
