package hydraulic

import (
	"context"
	"fmt"
	"math"

	"lotwright/layout"
)

// Settings limit a solution. The zero value is right for any network of a lot.
type Settings struct {
	Steps int // Newton's, for each round; 0 means [DefaultSteps]
}

// DefaultSteps is far above the four to ten that networks take.
const DefaultSteps = 200

// headTolerance is the largest imbalance of head, in m, left at an emitter.
const headTolerance = 1e-9

// Solve finds the flows and pressures of a network. That there is too little
// water is a status; an error is a fault in the network or the context.
//
//  1. Emitters begin with a typical flow; regulators begin open.
//  2. Regulators that hold cut the tree into parts. From the outermost inwards,
//     each part is solved with the flow beyond its regulators given.
//  3. An emitter that would draw water in is shut, one that would exceed its
//     greatest flow is held at it, a regulator with more pressure before it than
//     it is set to holds; and each is released when that no longer applies. If
//     anything changed, go back to 2.
func Solve(ctx context.Context, n Network, s Settings) (Result, error) {
	t, err := newTree(&n)
	if err != nil {
		return Result{}, err
	}
	if s.Steps <= 0 {
		s.Steps = DefaultSteps
	}
	v := newSolver(&n, t, s)
	settled, err := v.run(ctx)
	if err != nil {
		return Result{}, err
	}
	return v.result(settled), nil
}

// mode is what an emitter does.
type mode int

const (
	closed mode = iota // no emitter
	open               // flow follows pressure
	dry                // shut: it would draw water in
	capped             // at its greatest flow
)

type solver struct {
	*tree
	net   *Network
	limit int

	source law
	losing []law     // of the link into each node
	drive  []law     // of each emitter
	most   []float64 // of each emitter, m³/s
	flat   []float64 // least slope of each emitter's law

	mode []mode
	held []bool    // the link into a node is a regulator that holds
	draw []float64 // of each emitter, m³/s
	flow []float64 // into each node, m³/s
	head []float64 // m

	steps, cuts int
	imbalance   float64

	// of the present step
	lossSlope, driveSlope, excess []float64 // by node
	constant, gain                []float64 // change of flow into a node = constant + gain · change of head above it
	rise, step                    []float64 // change of head, change of draw
}

func newSolver(n *Network, t *tree, s Settings) *solver {
	size := len(n.Nodes)
	v := &solver{tree: t, net: n, limit: s.Steps, source: n.Source.law(),
		losing: make([]law, size), drive: make([]law, size), mode: make([]mode, size), held: make([]bool, size)}
	for _, column := range []*[]float64{&v.most, &v.flat, &v.draw, &v.flow, &v.head, &v.lossSlope, &v.driveSlope, &v.excess,
		&v.constant, &v.gain, &v.rise, &v.step} {
		*column = make([]float64, size)
	}
	for _, i := range t.order {
		if i > 0 {
			v.losing[i] = n.Links[t.link[i]].Element.law(n)
		}
		if e := n.Nodes[i].Emitter; e != nil {
			v.mode[i], v.drive[i], v.most[i], v.draw[i] = open, e.drive(), e.most(), e.typical()
			top, _ := v.drive[i].loss(e.typical())
			v.flat[i] = flatDrive * top / e.typical()
		}
	}
	return v
}

// run works through the rounds. Each can change what an emitter or a regulator
// does; a few are enough, since what one change sets free another seldom binds.
func (v *solver) run(ctx context.Context) (settled bool, err error) {
	for range 10 + 2*len(v.order) {
		if err := ctx.Err(); err != nil {
			return false, err
		}
		v.imbalance = 0
		for _, part := range v.parts() {
			if !v.solvePart(part) {
				return false, nil
			}
		}
		if !v.change() {
			return true, nil
		}
	}
	return false, nil
}

// parts returns the nodes of each part of the tree in order, outermost part
// first.
func (v *solver) parts() [][]int {
	number := make([]int, len(v.order))
	var parts [][]int
	for _, i := range v.order {
		if i == 0 || v.held[i] {
			number[i] = len(parts)
			parts = append(parts, nil)
		} else {
			number[i] = number[v.above[i]]
		}
		parts[number[i]] = append(parts[number[i]], i)
	}
	for i, j := 0, len(parts)-1; i < j; i, j = i+1, j-1 {
		parts[i], parts[j] = parts[j], parts[i]
	}
	return parts
}

// solvePart balances the emitters of one part by Newton's method: downhill on
// its content, which is convex. A full step is taken unless the content rises
// towards its end; then bisection finds a shorter one that ends downhill.
func (v *solver) solvePart(part []int) bool {
	v.spread(part)
	for range v.limit {
		off := v.measure(part)
		if off <= headTolerance {
			v.imbalance = max(v.imbalance, off)
			return true
		}
		v.steps++
		v.direct(part)
		v.advance(part)
	}
	return false
}

// spread sums the flows towards the part's first node and takes the losses of
// head away from it.
func (v *solver) spread(part []int) {
	for k := len(part) - 1; k >= 0; k-- {
		i := part[k]
		v.flow[i] = cubicMetres(v.net.Nodes[i].Demand) + v.draw[i]
		for _, c := range v.below[i] {
			v.flow[i] += v.flow[c]
		}
	}
	for k, i := range part {
		v.head[i] = v.headFrom(i, k == 0)
	}
}

// headFrom returns the head at a node, given that above it.
func (v *solver) headFrom(i int, first bool) float64 {
	z := v.net.Nodes[i].Elevation.Metres()
	switch {
	case i == 0:
		lost, _ := v.source.loss(v.flow[0])
		return z + headOf(v.net.Source.Static) - lost
	case first:
		return z + headOf(v.net.Links[v.link[i]].Element.(Regulator).Set)
	}
	lost, _ := v.losing[i].loss(v.flow[i])
	return v.head[v.above[i]] - lost
}

// flatDrive is the least slope an emitter's law is taken to have for a step,
// as a share of that from nothing to its typical flow: at no flow it is flat.
const flatDrive = 1e-6

// measure finds how far the head at each open emitter exceeds what drives its
// flow, and the slopes there. It returns the largest.
func (v *solver) measure(part []int) (worst float64) {
	for _, i := range part {
		v.lossSlope[i], v.excess[i] = 0, 0
		if i > 0 {
			_, v.lossSlope[i] = v.losing[i].loss(v.flow[i])
		}
		if v.mode[i] != open {
			continue
		}
		drives, slope := v.drive[i].loss(v.draw[i])
		v.driveSlope[i] = max(slope, v.flat[i])
		v.excess[i] = v.head[i] - v.net.Nodes[i].Elevation.Metres() - drives
		worst = max(worst, math.Abs(v.excess[i]))
	}
	return worst
}

// direct finds Newton's step: up the tree, the flow into each node as a linear
// function of the head above it; down the tree, the heads.
func (v *solver) direct(part []int) {
	for k := len(part) - 1; k >= 0; k-- {
		i := part[k]
		constant, gain := 0.0, 0.0
		if v.mode[i] == open {
			constant, gain = v.excess[i]/v.driveSlope[i], 1/v.driveSlope[i]
		}
		for _, c := range v.below[i] {
			if !v.held[c] {
				constant, gain = constant+v.constant[c], gain+v.gain[c]
			}
		}
		if k > 0 {
			damp := 1 + gain*v.lossSlope[i]
			constant, gain = constant/damp, gain/damp
		}
		v.constant[i], v.gain[i] = constant, gain
	}
	for k, i := range part {
		switch {
		case k > 0:
			above := v.rise[v.above[i]]
			v.rise[i] = above - v.lossSlope[i]*(v.constant[i]+v.gain[i]*above)
		case i == 0:
			_, slope := v.source.loss(v.flow[0])
			v.rise[i] = -slope * v.constant[i] / (1 + slope*v.gain[i])
		default:
			v.rise[i] = 0
		}
		v.step[i] = 0
		if v.mode[i] == open {
			v.step[i] = (v.excess[i] + v.rise[i]) / v.driveSlope[i]
		}
	}
}

// Bounds of a step: the slope of the content at its end, as a share of that at
// its beginning. A positive one means that the step went too far.
const (
	forgivenOvershoot = 0.1
	stepHalvings      = 60
)

// advance takes the step, or the largest part of it found by bisection that
// ends downhill.
func (v *solver) advance(part []int) {
	from := make([]float64, len(part))
	for k, i := range part {
		from[k] = v.draw[i]
	}
	start := v.downhill(part)
	try := func(share float64) float64 {
		for k, i := range part {
			v.draw[i] = from[k] + share*v.step[i]
		}
		v.spread(part)
		v.measure(part)
		return v.downhill(part)
	}
	if try(1) >= -forgivenOvershoot*start {
		return
	}
	v.cuts++
	low, high := 0.0, 1.0
	for range stepHalvings {
		mid := (low + high) / 2
		switch slope := try(mid); {
		case slope < 0:
			high = mid
		case slope > start/2:
			low = mid
		default:
			return
		}
	}
	try(low)
}

// downhill is how fast the content falls along the step.
func (v *solver) downhill(part []int) (fall float64) {
	for _, i := range part {
		fall += v.excess[i] * v.step[i]
	}
	return fall
}

// change sets what emitters and regulators do by the state found, and reports
// whether any changed.
func (v *solver) change() (changed bool) {
	for _, i := range v.order {
		if next := v.nextMode(i); next != v.mode[i] {
			v.mode[i], changed = next, true
			switch next {
			case dry:
				v.draw[i] = 0
			case capped:
				v.draw[i] = v.most[i]
			case open:
				v.draw[i] = v.net.Nodes[i].Emitter.typical()
			}
		}
		if i == 0 {
			continue
		}
		if r, ok := v.net.Links[v.link[i]].Element.(Regulator); ok {
			holds := v.head[v.above[i]] > v.net.Nodes[i].Elevation.Metres()+headOf(r.Set)+headTolerance
			changed = changed || holds != v.held[i]
			v.held[i] = holds
		}
	}
	return changed
}

func (v *solver) nextMode(i int) mode {
	pressure := v.head[i] - v.net.Nodes[i].Elevation.Metres()
	switch v.mode[i] {
	case open:
		if v.draw[i] < 0 {
			return dry
		}
		if v.draw[i] > v.most[i] {
			return capped
		}
	case dry:
		if pressure > headTolerance {
			return open
		}
	case capped:
		if needs, _ := v.drive[i].loss(v.most[i]); pressure < needs-headTolerance {
			return open
		}
	}
	return v.mode[i]
}

// result reads the state off.
func (v *solver) result(settled bool) Result {
	r := Result{Status: Solved, Steps: v.steps, Cuts: v.cuts, Imbalance: v.imbalance,
		Nodes: make([]NodeState, len(v.net.Nodes)), Links: make([]LinkState, len(v.net.Links))}
	for i, n := range v.net.Nodes {
		r.Nodes[i] = NodeState{Head: layout.Length(v.head[i]), Outflow: n.Demand + flowOf(v.draw[i]),
			Pressure: pressureOf(v.head[i] - n.Elevation.Metres())}
		if i == 0 {
			continue
		}
		state := &r.Links[v.link[i]]
		state.Flow, state.Regulating = flowOf(v.flow[i]), v.held[i]
		state.Loss = pressureOf(v.head[v.above[i]] - v.head[i])
		if p, ok := v.net.Links[v.link[i]].Element.(Pipe); ok {
			state.Velocity = p.Size.Velocity(state.Flow)
		}
	}
	v.judge(&r, settled)
	return r
}

// judge says what is wrong with the state found, if anything.
func (v *solver) judge(r *Result, settled bool) {
	if !settled {
		r.Status, r.Reason = NotSettled, fmt.Sprintf("the flows did not settle in %d steps", v.steps)
		return
	}
	for _, i := range v.order {
		if v.mode[i] == dry || r.Nodes[i].Pressure < -layout.Pressure(headTolerance*layout.KPaPerMetreHead) {
			r.Status, r.Reason = Short, fmt.Sprintf("there is no pressure at %s: %v", v.net.Nodes[i].Label, r.Nodes[i].Pressure)
			return
		}
	}
	for i, l := range v.net.Links {
		if limit := flowOf(l.Element.limit()); r.Links[i].Flow > limit {
			r.Status, r.Reason = Beyond, fmt.Sprintf("%s carries %v, more than the %v it is known to", l.Label, r.Links[i].Flow, limit)
			return
		}
	}
}
