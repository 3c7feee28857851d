package hydraulic

import (
	"context"
	"errors"
	"fmt"

	"lotwright/layout"
)

// Task asks for pipe that serves every head.
type Task struct {
	Sizing
	Zones [][]int         // nodes whose emitters run together; nil: each alone
	Least layout.Pressure // at every emitter while it runs
}

// sizingRounds bound [SizeForHeads]. One is enough for heads running alone,
// unless the velocity limit binds; zones take two or three.
const sizingRounds = 8

// SizeForHeads chooses the cheapest pipe with which every emitter has the least
// pressure asked for while its zone runs, each pipe reckoned with the most that
// any zone sends through it: where emitters take unlike flows that is on the
// safe side.
//
// Losses are first reckoned with what the emitters take at that pressure. For
// one running alone that settles it: what is left over at a head falls as its
// flow grows, so it has the pressure if it has it at that flow. In a zone the
// heads near the source take more than that, and any pipe may carry more than
// its velocity allows; then sizes are chosen again for the flows found, which
// only grow. Sizes and flows that have not come to terms after eight rounds are
// reported as such.
func SizeForHeads(ctx context.Context, n Network, task Task) (Sized, error) {
	limits := Limits{Zones: task.Zones, VelocityLimit: task.VelocityLimit}.filled(&n)
	t, err := newTree(&n)
	if err == nil {
		err = errors.Join(limits.check(&n), insist(finite(task.Least) && task.Least > 0, "a least pressure of %v", task.Least))
	}
	if err != nil {
		return Sized{}, err
	}
	load := t.firstLoad(&n, limits.Zones, task.Least)
	for round := range sizingRounds {
		out, err := Size(ctx, n, load, task.Sizing)
		out.Rounds = round + 1
		if err != nil || out.Status != Sizable {
			return out, err
		}
		states, served, err := run(ctx, out.Network, limits, task.Least)
		if err != nil || served {
			return out, err
		}
		load.grow(states, limits.Zones)
	}
	return Sized{Status: Unconverged, Rounds: sizingRounds, Reason: fmt.Sprintf("pipe sizes and flows did not come to terms in %d rounds", sizingRounds)}, nil
}

// firstLoad is what the emitters take at a pressure: in each link and from the
// source, the most of any zone.
func (t *tree) firstLoad(n *Network, zones [][]int, p layout.Pressure) Load {
	load := Load{Flow: make([]layout.Flow, len(n.Links)), Need: make([]layout.Pressure, len(n.Nodes))}
	for _, zone := range zones {
		into := make([]layout.Flow, len(n.Nodes))
		for _, i := range zone {
			into[i] += flowOf(n.Nodes[i].Emitter.flowAt(headOf(p)))
			load.Need[i] = p
		}
		for k := len(t.order) - 1; k >= 0; k-- {
			i := t.order[k]
			into[i] += n.Nodes[i].Demand
			if i > 0 {
				into[t.above[i]] += into[i]
				load.Flow[t.link[i]] = max(load.Flow[t.link[i]], into[i])
			}
		}
		load.Drawn = max(load.Drawn, into[0])
	}
	load.Peak = append([]layout.Flow(nil), load.Flow...)
	return load
}

// run solves every zone and reports whether all have their pressure and keep to
// the velocity limit.
func run(ctx context.Context, n Network, l Limits, least layout.Pressure) (states []Result, served bool, err error) {
	served = true
	for k, zone := range l.Zones {
		r, err := Solve(ctx, n.Running(zone...), Settings{})
		if err != nil {
			return nil, false, err
		}
		if r.Status == NotSettled {
			return nil, false, fmt.Errorf("zone %d: %s", k+1, r.Reason)
		}
		for _, i := range zone {
			served = served && r.Nodes[i].Pressure >= least-bandSlack
		}
		for i, s := range r.Links {
			served = served && (n.Links[i].Kind != KindPipe || s.Velocity <= l.VelocityLimit)
		}
		states = append(states, r)
	}
	return states, served, nil
}

// grow raises the load to the states found. Heads running alone keep the flow
// at the pressure asked for, which is the one that matters to their losses.
func (l *Load) grow(states []Result, zones [][]int) {
	for k, r := range states {
		for i, s := range r.Links {
			l.Peak[i] = max(l.Peak[i], s.Flow)
			if len(zones[k]) > 1 {
				l.Flow[i] = max(l.Flow[i], s.Flow)
			}
		}
		if len(zones[k]) > 1 {
			l.Drawn = max(l.Drawn, drawnFrom(r))
		}
	}
}
