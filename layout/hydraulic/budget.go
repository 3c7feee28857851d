package hydraulic

import "lotwright/layout"

// BudgetRow is one loss on the way from the source to a node.
type BudgetRow struct {
	Item  Item
	Label string          // of the link; empty for what is not one
	Loss  layout.Pressure // negative for a gain, such as ground that falls
	Left  layout.Pressure // after this row and all before it
}

// Item is what a row of a pressure budget is about: the kind of a link, or one
// of these.
type Item string

// The items that are not links.
const (
	ItemStatic    Item = "static"    // the pressure with every tap shut; loses nothing
	ItemSupply    Item = "supply"    // what the supply falls by as the water runs
	ItemFittings  Item = "fittings"  // of the pipe in the row before
	ItemElevation Item = "elevation" // of the node above the source
)

// Budget lists where the pressure goes between the source and a node, in a state
// of the network: the static pressure, what the supply falls by, every link in
// the order the water passes it, and the rise of the ground (the items of the
// International Plumbing Code, appendix E, E103.2.2). The last row's Left is the
// pressure at the node. It is empty if the network or the state is unsound.
func (n Network) Budget(r Result, node int) []BudgetRow {
	t, err := newTree(&n)
	if err != nil || node < 0 || node >= len(n.Nodes) || len(r.Nodes) != len(n.Nodes) || len(r.Links) != len(n.Links) {
		return nil
	}
	left := n.Source.Static
	rows := []BudgetRow{{Item: ItemStatic, Left: left}}
	lose := func(item Item, label string, loss layout.Pressure) {
		left -= loss
		rows = append(rows, BudgetRow{item, label, loss, left})
	}
	lose(ItemSupply, "", n.Source.Static-r.Nodes[0].Pressure)
	for _, i := range t.path(node) {
		l, state := n.Links[i], r.Links[i]
		p, ok := l.Element.(Pipe)
		if !ok || len(p.Fittings) == 0 {
			lose(Item(l.Kind), l.Label, state.Loss)
			continue
		}
		straight := state.Loss * layout.Pressure(p.Length/p.equivalent(&n))
		lose(Item(l.Kind), l.Label, straight)
		lose(ItemFittings, l.Label, state.Loss-straight)
	}
	lose(ItemElevation, "", pressureOf((n.Nodes[node].Elevation - n.Nodes[0].Elevation).Metres()))
	return rows
}

// path returns the links from the source to a node.
func (t *tree) path(node int) []int {
	if node == 0 {
		return nil
	}
	return append(t.path(t.above[node]), t.link[node])
}
