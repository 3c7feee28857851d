package hydraulic

import (
	"context"
	"errors"
	"fmt"
	"math"

	"lotwright/layout"
)

// Sizing says what pipe there is and how fast water may run in it.
type Sizing struct {
	Sizes         []PricedSize // narrow to wide; empty means [DefaultPrices]
	VelocityLimit Velocity     // 0 means [DefaultVelocityLimit]
}

func (s Sizing) filled() Sizing {
	if len(s.Sizes) == 0 {
		s.Sizes = DefaultPrices()
	}
	if s.VelocityLimit == 0 {
		s.VelocityLimit = DefaultVelocityLimit
	}
	return s
}

func (s Sizing) check() error {
	errs := []error{insist(finite(s.VelocityLimit) && s.VelocityLimit > 0, "a velocity limit of %v", s.VelocityLimit)}
	for i, p := range s.Sizes {
		errs = append(errs,
			insist(i == 0 || p.Inside > s.Sizes[i-1].Inside, "size %d, %s, is not wider than the one before", i, p.Nominal),
			insist(finite(p.PerMetre) && p.PerMetre >= 0 && p.PerMetre < 1e6, "size %d, %s: a price of %v", i, p.Nominal, p.PerMetre))
	}
	return errors.Join(errs...)
}

// Load is what a network has to carry when its pipes are sized.
type Load struct {
	Drawn layout.Flow       // from the source
	Flow  []layout.Flow     // in each link, for the losses
	Peak  []layout.Flow     // in each link, for the velocity; nil means Flow
	Need  []layout.Pressure // least at each node; 0 none
}

// SizeStatus is how sizing ended.
type SizeStatus string

// The statuses of sizing.
const (
	Sizable     SizeStatus = "sized"       // at the least cost
	TooFast     SizeStatus = "too_fast"    // in some pipe even the widest size is too narrow for its flow
	TooLittle   SizeStatus = "too_little"  // the widest sizes lose too much
	Unconverged SizeStatus = "unconverged" // sizes and flows did not come to terms (see [SizeForHeads])
)

// Sized is a network with the cheapest pipe.
type Sized struct {
	Status SizeStatus
	Reason string          // in words; empty when sized
	Lack   layout.Pressure // how much more the source would have to hold, if too little

	Network Network // with the sizes chosen
	Chosen  []int   // by link, the number of the size; -1 for what is not sized
	Cents   int64   // hundredths of the price list's currency
	Bound   float64 // no choice costs less, even if a pipe may be laid in two sizes; hundredths
	Steps   int     // of all cost functions together: the work done
	Rounds  int     // of sizes and flows (see [SizeForHeads])
}

// Size chooses the size of every link of [KindPipe], so that every node has the
// pressure it needs, water runs nowhere faster than the limit, no pipe is wider
// than the one before it, and the cost is least. Heads are counted in whole
// millimetres, losses and needs rounded up, what is available down, and costs in
// whole hundredths, rounded up; for these figures the choice is exact. Of equal
// costs the wider pipe is taken, outermost last.
//
//  1. From the outermost pipes inwards, the least cost of what lies beyond
//     a node is found as a step function of the head there, once for each widest
//     size allowed.
//  2. A pipe of a size shifts the function by its loss and its price; of the
//     sizes the least is taken; pipes that part at a node add.
//  3. From the source outwards, the head there is picks the sizes.
func Size(ctx context.Context, n Network, load Load, s Sizing) (Sized, error) {
	s = s.filled()
	t, err := newTree(&n)
	if err == nil {
		err = errors.Join(s.check(), load.check(&n))
	}
	if err != nil {
		return Sized{}, err
	}
	z := &sizer{tree: t, net: &n, load: load, s: s, available: wholeDown(n.Nodes[0].Elevation.Metres() + headOf(n.Source.At(load.Drawn)))}
	if err := z.weigh(); err != nil {
		return Sized{}, err
	}
	if out, bad := z.hopeless(); bad {
		return out, nil
	}
	for k := len(t.order) - 1; k >= 0; k-- {
		if err := ctx.Err(); err != nil {
			return Sized{}, err
		}
		z.cheapen(t.order[k])
	}
	return z.result(), nil
}

func (l *Load) check(n *Network) error {
	if l.Peak == nil {
		l.Peak = l.Flow
	}
	errs := []error{
		insist(finite(l.Drawn) && l.Drawn >= 0, "a draw of %v", l.Drawn),
		insist(len(l.Flow) == len(n.Links) && len(l.Peak) == len(n.Links), "flows for %d and %d of %d links", len(l.Flow), len(l.Peak), len(n.Links)),
		insist(len(l.Need) == len(n.Nodes), "needs for %d of %d nodes", len(l.Need), len(n.Nodes))}
	for _, q := range append(append([]layout.Flow(nil), l.Flow...), l.Peak...) {
		errs = append(errs, insist(finite(q) && q >= 0, "a flow of %v", q))
	}
	for _, p := range l.Need {
		errs = append(errs, insist(finite(p) && p >= 0, "a need of %v", p))
	}
	return errors.Join(errs...)
}

// wholeUp and wholeDown count a head in whole millimetres. A millionth is
// forgiven for the last bits; what is beyond all use is cut off, so that sums
// stay in range.
func wholeUp(metres float64) int64   { return int64(min(math.Ceil(1000*metres-1e-6), beyondUse)) }
func wholeDown(metres float64) int64 { return int64(min(math.Floor(1000*metres+1e-6), beyondUse)) }

// beyondUse is a head in mm, or a cost in hundredths, that no network has.
const beyondUse = 1e13

// anyHead is a head, in mm, below all others.
const anyHead = math.MinInt32

// unlimited is a head, in mm, above all others.
const unlimited = math.MaxInt32

// option is one way to make a link.
type option struct {
	size       int // number of the size; -1 what is there
	loss, cost int64
	exact      float64 // loss in m, not rounded
}

type sizer struct {
	*tree
	net       *Network
	load      Load
	s         Sizing
	available int64 // head at the source, mm

	options [][]option       // into each node, narrow to wide
	ceiling []int64          // head a regulator leaves at each node, mm
	beyond  [][]stepFunction // at each node, by the widest size allowed: cost of all beyond it
	before  [][]stepFunction // the same with the link into it, at the node above
	steps   int
}

// weigh finds the ways to make each link.
func (z *sizer) weigh() error {
	size := len(z.net.Nodes)
	z.options, z.ceiling = make([][]option, size), make([]int64, size)
	z.beyond, z.before = make([][]stepFunction, size), make([][]stepFunction, size)
	for _, i := range z.order {
		z.ceiling[i] = unlimited
		if i == 0 {
			continue
		}
		l := z.net.Links[z.link[i]]
		q := cubicMetres(z.load.Flow[z.link[i]])
		pipe, ok := l.Element.(Pipe)
		if !ok || l.Kind != KindPipe {
			h, _ := l.Element.law(z.net).loss(q)
			z.options[i] = []option{{-1, wholeUp(h), 0, h}}
			if r, ok := l.Element.(Regulator); ok {
				z.ceiling[i] = wholeDown(z.net.Nodes[i].Elevation.Metres() + headOf(r.Set))
			}
			continue
		}
		for k, p := range z.s.Sizes {
			pipe.Size = p.PipeSize
			if err := pipe.check(z.net); err != nil {
				return fmt.Errorf("link %q as %s: %w", l.Label, p.Nominal, err)
			}
			if p.Velocity(z.load.Peak[z.link[i]]) > z.s.VelocityLimit {
				continue
			}
			h, _ := pipe.law(z.net).loss(q)
			z.options[i] = append(z.options[i], option{k, wholeUp(h), p.Cents(pipe.Length), h})
		}
	}
	return nil
}

// need is the least head at a node for itself, mm.
func (z *sizer) need(i int) int64 {
	if z.load.Need[i] == 0 {
		return anyHead
	}
	return wholeUp(z.net.Nodes[i].Elevation.Metres() + headOf(z.load.Need[i]))
}

// hopeless reports a network that no sizes can serve, and why.
func (z *sizer) hopeless() (out Sized, bad bool) {
	needs := make([]int64, len(z.order))
	for k := len(z.order) - 1; k >= 0; k-- {
		i := z.order[k]
		needs[i] = z.need(i)
		for _, c := range z.below[i] {
			if len(z.options[c]) == 0 {
				return z.tooFast(c), true
			}
			if needs[c] > z.ceiling[c] {
				return Sized{Status: TooLittle, Lack: pressureOf(float64(needs[c]-z.ceiling[c]) / 1000), Reason: fmt.Sprintf(
					"%s is set too low for what lies behind it", z.net.Links[z.link[c]].Label)}, true
			}
			widest := z.options[c][len(z.options[c])-1]
			needs[i] = max(needs[i], needs[c]+widest.loss)
		}
	}
	if needs[0] <= z.available {
		return Sized{}, false
	}
	lack := pressureOf(float64(needs[0]-z.available) / 1000)
	return Sized{Status: TooLittle, Lack: lack, Reason: fmt.Sprintf(
		"even the widest pipe loses too much: the source would have to hold %v more", lack)}, true
}

func (z *sizer) tooFast(i int) Sized {
	l, widest := z.net.Links[z.link[i]], z.s.Sizes[len(z.s.Sizes)-1]
	peak := z.load.Peak[z.link[i]]
	return Sized{Status: TooFast, Reason: fmt.Sprintf("in %s, %v in the widest pipe, %s, runs at %v; the limit is %v",
		l.Label, peak, widest.Nominal, widest.Velocity(peak), z.s.VelocityLimit)}
}

// cheapen finds the cost functions of a node, those beyond it being known.
func (z *sizer) cheapen(i int) {
	sizes := len(z.s.Sizes)
	z.beyond[i], z.before[i] = make([]stepFunction, sizes), make([]stepFunction, sizes)
	for s := range sizes {
		f := stepFunction{{z.need(i), 0}}
		for _, c := range z.below[i] {
			f = f.plus(z.before[c][s])
		}
		z.beyond[i][s] = f.notAbove(z.ceiling[i])
		z.steps += len(f)
	}
	if i == 0 {
		return
	}
	for s := range sizes {
		if s > 0 {
			z.before[i][s] = z.before[i][s-1]
		}
		for _, o := range z.options[i] {
			if o.size == s || o.size < 0 {
				z.before[i][s] = z.before[i][s].orElse(z.beyond[i][s].behind(o.loss, o.cost, z.available))
			}
		}
	}
}

// result picks the sizes from the source outwards.
func (z *sizer) result() Sized {
	widest := len(z.s.Sizes) - 1
	out := Sized{Status: Sizable, Network: *z.net, Chosen: make([]int, len(z.net.Links)), Steps: z.steps, Bound: z.splitBound()}
	out.Cents, _ = z.beyond[0][widest].at(z.available)
	out.Network.Links = append([]Link(nil), z.net.Links...)
	head, allowed := make([]int64, len(z.order)), make([]int, len(z.order))
	head[0], allowed[0] = z.available, widest
	for _, i := range z.order[1:] {
		l, above := z.link[i], z.above[i]
		o := z.pick(i, head[above], allowed[above])
		out.Chosen[l], allowed[i] = o.size, allowed[above]
		head[i] = min(head[above]-o.loss, z.ceiling[i])
		if o.size >= 0 {
			allowed[i] = o.size
			pipe := z.net.Links[l].Element.(Pipe)
			pipe.Size = z.s.Sizes[o.size].PipeSize
			out.Network.Links[l].Element = pipe
		}
	}
	return out
}

// pick returns the cheapest way to make a link at a head, the widest of equals.
func (z *sizer) pick(i int, head int64, allowed int) (best option) {
	least := int64(math.MaxInt64)
	for _, o := range z.options[i] {
		if o.size > allowed {
			break
		}
		s := o.size
		if s < 0 {
			s = allowed
		}
		if cost, ok := z.beyond[i][s].at(min(head-o.loss, z.ceiling[i])); ok && cost+o.cost <= least {
			least, best = cost+o.cost, o
		}
	}
	return best
}
