package hydraulic_test

import (
	"fmt"
	"math/rand/v2"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

// sch40 is a built-in Schedule 40 size.
func sch40(nominal string) hydraulic.PipeSize {
	s, ok := hydraulic.SizeOf(hydraulic.PVCSch40, nominal)
	if !ok {
		panic(nominal)
	}
	return s
}

// nozzle takes gpm at 40 psi.
func nozzle(gpm float64) hydraulic.PowerEmitter {
	return hydraulic.PowerEmitter{Flow: layout.GPM(gpm), Pressure: layout.PSI(40)}
}

// chain joins each node to the one before by the links given.
func chain(source hydraulic.Curve, links ...hydraulic.Link) hydraulic.Network {
	n := hydraulic.Network{Source: source, Nodes: []hydraulic.Node{{Label: "N0"}}}
	for i, l := range links {
		l.From, l.To = i, i+1
		if l.Label == "" {
			l.Label = fmt.Sprintf("L%d", i+1)
		}
		n.Nodes = append(n.Nodes, hydraulic.Node{Label: fmt.Sprintf("N%d", i+1)})
		n.Links = append(n.Links, l)
	}
	return n
}

// pipe is a link of pipe.
func pipe(nominal string, feet float64, fittings ...hydraulic.FittingCount) hydraulic.Link {
	return hydraulic.Link{Kind: hydraulic.KindPipe,
		Element: hydraulic.Pipe{Size: sch40(nominal), Length: layout.Feet(feet), Fittings: fittings}}
}

func measured(static, gpm, held float64) hydraulic.Curve {
	return hydraulic.Curve{Static: layout.PSI(static), Test: layout.FlowTest{Flow: layout.GPM(gpm), Pressure: layout.PSI(held)}}
}

// between is a number from low to high.
func between(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

// randomNetwork is a feed of up to five devices and a tree of up to 40 pipes
// behind it, on uneven ground, with nozzles, some fixed demands, and now and then
// a regulator on a branch.
func randomNetwork(r *rand.Rand) hydraulic.Network {
	n := hydraulic.Network{Source: measured(between(r, 50, 100), between(r, 10, 60), between(r, 25, 45)),
		Nodes: []hydraulic.Node{{Label: "source", Elevation: layout.Length(between(r, -1, 1))}}}
	if r.IntN(4) == 0 {
		n.Source = hydraulic.Held(layout.PSI(between(r, 30, 100)))
	}
	at := randomFeed(r, &n)
	first := len(n.Nodes)
	sizes := hydraulic.SizesOf(hydraulic.PVCSch40)
	for k := range 1 + r.IntN(40) {
		from := at
		if k > 0 {
			from = first + r.IntN(k)
		}
		v := hydraulic.Node{Label: fmt.Sprintf("N%d", len(n.Nodes)), Elevation: layout.Length(between(r, -3, 3))}
		if r.IntN(3) > 0 {
			v.Emitter = hydraulic.PowerEmitter{Flow: layout.GPM(between(r, 0.3, 5)), Pressure: layout.PSI(between(r, 25, 60))}
			if r.IntN(5) == 0 {
				v.Emitter = lowHead(between(r, 0.5, 3))
			}
		}
		if r.IntN(6) == 0 {
			v.Demand = layout.GPM(between(r, 0, 0.3))
		}
		l := hydraulic.Link{Kind: hydraulic.KindPipe, Element: hydraulic.Pipe{Size: sizes[r.IntN(len(sizes))], Length: layout.Length(between(r, 0.5, 40)),
			Fittings: []hydraulic.FittingCount{{Fitting: hydraulic.Ell90, Count: r.IntN(3)}}}}
		if k > 0 && r.IntN(15) == 0 {
			l = hydraulic.Link{Kind: hydraulic.KindRegulator, Element: hydraulic.Regulator{Set: layout.PSI(between(r, 15, 50))}}
			if _, behind := n.Links[from-1].Element.(hydraulic.Regulator); behind {
				l.Element = hydraulic.SquareLoss{Loss: layout.PSI(2), At: layout.GPM(10)}
			}
		}
		l.Label, l.From, l.To = fmt.Sprintf("L%d", len(n.Nodes)), from, len(n.Nodes)
		n.Nodes, n.Links = append(n.Nodes, v), append(n.Links, l)
	}
	return n
}

// lowHead is a head of the catalogue with a band so low that most are regulated.
func lowHead(gpm float64) hydraulic.TableEmitter {
	return hydraulic.TableEmitter{Model: layout.HeadModel{Name: "low", Rows: []layout.PerformanceRow{
		{Pressure: layout.PSI(10), Throw: 3, Flow: layout.GPM(gpm)}, {Pressure: layout.PSI(18), Throw: 4, Flow: layout.GPM(1.3 * gpm)},
		{Pressure: layout.PSI(28), Throw: 5, Flow: layout.GPM(1.5 * gpm)}}}}
}

// randomFeed adds up to five devices and returns the node behind them.
func randomFeed(r *rand.Rand, n *hydraulic.Network) int {
	meter, _ := hydraulic.Meter([]string{"5/8 in", "3/4 in", "1 in"}[r.IntN(3)])
	meter.Most = 0
	for _, e := range []hydraulic.Element{
		hydraulic.Pipe{Size: sch40("1 in"), Length: layout.Length(between(r, 5, 30))},
		meter,
		hydraulic.LossCurve{Offset: layout.PSI(between(r, 0, 4)), Points: []hydraulic.LossPoint{
			{Flow: layout.GPM(5), Loss: layout.PSI(between(r, 4, 5))}, {Flow: layout.GPM(20), Loss: layout.PSI(between(r, 5, 8))},
			{Flow: layout.GPM(400), Loss: layout.PSI(between(r, 8, 90))}}},
		hydraulic.GenericValve(),
		hydraulic.Regulator{Set: layout.PSI(between(r, 20, 60))},
	} {
		if r.IntN(3) == 0 {
			continue
		}
		k := len(n.Nodes)
		n.Nodes = append(n.Nodes, hydraulic.Node{Label: fmt.Sprintf("N%d", k), Elevation: layout.Length(between(r, -1, 1))})
		n.Links = append(n.Links, hydraulic.Link{Label: fmt.Sprintf("L%d", k), Kind: hydraulic.KindFilter, From: k - 1, To: k, Element: e})
	}
	return len(n.Nodes) - 1
}

// withoutDeadEnds gives every end of a network something to feed.
func withoutDeadEnds(r *rand.Rand, n hydraulic.Network) hydraulic.Network {
	ends := map[int]bool{}
	for i := range n.Nodes {
		ends[i] = true
	}
	for _, l := range n.Links {
		delete(ends, l.From)
	}
	for i, v := range n.Nodes {
		if ends[i] && v.Emitter == nil {
			n.Nodes[i].Emitter = nozzle(between(r, 0.5, 4))
		}
	}
	return n
}
