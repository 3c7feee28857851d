package design

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/hydraulic"
	"lotwright/layout/trench"
	"lotwright/layout/zoning"
)

// Prices of what valves at the branches take besides pipe, in cents: those of the
// built-in price list, with the labour of setting a box.
const (
	wirePerMetre  = 46
	boxSet        = 2900
	valvesPerBox  = 4
	branchesEvery = 6 // surveyed lots
)

// valveWay is one way to place the valves.
type valveWay struct {
	pipe, main, wire layout.Length
	pipeCents        int64
	boxes            int
}

func (w valveWay) cents() int64 {
	return w.pipeCents + int64(wirePerMetre*w.wire.Metres()) + int64(boxSet*w.boxes)
}

// BenchmarkMainWithValvesAtBranches sets, on every sixth surveyed lot, a zone's own
// pipe from its valve at the tap beside a main to valves where the heads of a zone
// part, both with the cheapest pipe that serves every head. -v lists the lots.
func BenchmarkMainWithValvesAtBranches(b *testing.B) {
	batch, err := assemble.Open(context.Background(), []assemble.Input{{Path: "../../testdata/reference/lots_A.geojson"}}, assemble.Options{})
	require.NoError(b, err)
	defer batch.Close()
	for range b.N {
		var taps, branches valveWay
		lots, cheaper := 0, 0
		for i := 0; i < batch.Len(); i += branchesEvery {
			r, ok := rotorsOn(b, batch.Lot(i).Lot)
			if !ok {
				continue
			}
			tap, branch := r.valvesAtTap(), r.valvesAtBranches(b)
			b.Logf("%s: %d heads, %d zones, trench %.0f m; at the tap %.0f m of pipe, %.2f; main of %.0f m, %.0f m in all, pipe %.2f, wire %.0f m, %d boxes, %.2f in all",
				r.lot.ID, len(r.d.Heads), len(r.d.Water.Zones), r.d.Network.TrenchLength.Metres(), tap.pipe.Metres(), float64(tap.cents())/100,
				branch.main.Metres(), branch.pipe.Metres(), float64(branch.pipeCents)/100, branch.wire.Metres(), branch.boxes, float64(branch.cents())/100)
			if lots++; branch.cents() < tap.cents() {
				cheaper++
			}
			taps, branches = taps.plus(tap), branches.plus(branch)
		}
		n := float64(lots)
		b.ReportMetric(taps.pipe.Metres()/n, "m-tap/lot")
		b.ReportMetric(branches.pipe.Metres()/n, "m-branch/lot")
		b.ReportMetric(float64(taps.cents())/100/n, "cost-tap/lot")
		b.ReportMetric(float64(branches.cents())/100/n, "cost-branch/lot")
		b.ReportMetric(float64(cheaper), "cheaper")
		b.ReportMetric(n, "lots")
	}
}

func (w valveWay) plus(v valveWay) valveWay {
	return valveWay{w.pipe + v.pipe, w.main + v.main, w.wire + v.wire, w.pipeCents + v.pipeCents, w.boxes + v.boxes}
}

// rotorsOn designs a lot with rotors on a measured supply.
func rotorsOn(b *testing.B, lot *layout.Lot) (*run, bool) {
	static, rotor := layout.PSI(75), layout.GenericRotor()
	s := Settings{Family: &rotor, Effort: Effort{SectorMoves: 5_000},
		Supply: layout.Supply{StaticPressure: &static, FlowTest: &layout.FlowTest{Flow: layout.GPM(12), Pressure: layout.PSI(62)}}}
	r := &run{lot: lot, s: s.filled(), d: &layout.Design{Status: layout.StatusDesigned}}
	r.setParts([]layout.FixedArcFamily{rotor})
	for _, stage := range []func(context.Context) error{r.ground, r.assign, r.supplyArcs, r.layArcs} {
		require.NoError(b, stage(context.Background()))
	}
	return r, r.d.Water != nil && r.d.Water.PipeSized && len(r.d.Water.Zones) > 1
}

// valvesAtTap is what was designed.
func (r *run) valvesAtTap() valveWay {
	zones := len(r.d.Water.Zones)
	return valveWay{pipe: r.d.Network.PipeLength, pipeCents: r.d.Water.PipeCost, boxes: (zones + valvesPerBox - 1) / valvesPerBox}
}

// branches is pipe with valves at the branches, as it is laid.
type branches struct {
	valveWay
	pipes []layout.PipeRun
	heads []layout.Head
	zones [][]int         // of heads
	laid  map[string]bool // ends of the main
}

// valvesAtBranches lays a main to where the heads of each zone part, for the same
// zones, and sizes it with the laterals as one network of which one zone runs at
// a time.
func (r *run) valvesAtBranches(b *testing.B) valveWay {
	ways, err := zoning.NewTrench(r.d.Network)
	require.NoError(b, err)
	out, forks := branches{laid: map[string]bool{}}, map[string]bool{}
	for _, z := range r.d.Water.Zones {
		var mine []layout.Head
		var grouped []zoning.Head
		for _, h := range r.d.Heads {
			if h.Zone == z.Number {
				mine = append(mine, h)
				grouped = append(grouped, zoning.Head{Label: h.Label, At: h.At, Flow: h.Flow})
			}
		}
		dealt, err := zoning.Group(grouped, zoning.Settings{DesignFlow: 1000, Trench: ways, ValvesAtBranches: true})
		require.NoError(b, err)
		fork := dealt.Zones[0].Valve.Name
		forks[fork] = true
		out.lay(r.d.Network, mine, fork)
	}
	out.boxes = len(forks)
	out.pipeCents = out.cheapest(b, r)
	return out.valveWay
}

// lay adds the pipe of one zone. Places of its laterals are moved by millimetres,
// since pipes are told apart by where they end.
func (o *branches) lay(net layout.Network, heads []layout.Head, fork string) {
	shift := geom.Pt(int64(len(o.zones)+1), 0)
	way, toHeads := trench.PipesTo(net, heads)
	onMain := pathTo(way, fork)
	for _, p := range way {
		if onMain[p.To] {
			if o.wire += p.Length; o.laid[p.To] { // the valve's own wire
				continue
			}
			o.laid[p.To] = true
			o.wire, o.main = o.wire+p.Length, o.main+p.Length // and the one that all share
		} else {
			p.Path = shifted(p.Path, shift, p.From == fork)
		}
		o.pipe += p.Length
		p.Label = fmt.Sprintf("P%d", len(o.pipes)+1)
		o.pipes = append(o.pipes, p)
	}
	var zone []int
	for k, h := range heads {
		if toHeads[k] >= 0 && !onMain[way[toHeads[k]].To] {
			h.At = h.At.Add(shift)
		}
		zone = append(zone, len(o.heads))
		o.heads = append(o.heads, h)
	}
	o.zones = append(o.zones, zone)
}

// shifted moves a path, but for its first place where that is to stay.
func shifted(path geom.Line, by geom.Point, stays bool) (out geom.Line) {
	for k, at := range path {
		if k > 0 || !stays {
			at = at.Add(by)
		}
		out = append(out, at)
	}
	return out
}

// cheapest is the price of the cheapest pipe that serves every head.
func (o *branches) cheapest(b *testing.B, r *run) int64 {
	l, err := r.draw(layout.Network{POC: r.d.Network.POC, Pipes: o.pipes}, o.heads)
	require.NoError(b, err)
	task := hydraulic.Task{Sizing: hydraulic.Sizing{Sizes: r.s.Pipe, VelocityLimit: r.s.VelocityLimit}, Least: r.d.Pressure}
	for _, zone := range o.zones {
		var nodes []int
		for _, i := range zone {
			nodes = append(nodes, l.nodes[slices.Index(l.heads, i)])
		}
		task.Zones = append(task.Zones, nodes)
	}
	sized, err := hydraulic.SizeForHeads(context.Background(), l.net, task)
	require.NoError(b, err)
	require.Equal(b, hydraulic.Sizable, sized.Status, sized.Reason)
	return sized.Cents
}

// pathTo marks the ends of the pipes on the way to a named end.
func pathTo(pipes []layout.PipeRun, name string) map[string]bool {
	out := map[string]bool{}
	for i := 0; i >= 0; {
		if i = slices.IndexFunc(pipes, func(p layout.PipeRun) bool { return p.To == name }); i >= 0 {
			out[name] = true
			name = pipes[i].From
		}
	}
	return out
}
