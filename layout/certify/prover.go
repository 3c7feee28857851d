package certify

import (
	"cmp"
	"context"
	"math"
	"slices"

	"lotwright/layout/geom"
	"lotwright/layout/packing"
)

// prover looks for weights on one grid.
type prover struct {
	site   Site
	s      Settings
	heads  int            // the claim at present
	extra  []geom.Segment // blockers that are no edges
	search search
	spots  *spots
	lp     *packing.Solver // its rows: first the spots, then boxes
	boxes  []box           // of the rows after the spots
	y      []float64       // weights the program proposes
	share  []float64       // of the lawn, in each cell
	theta  float64         // price of lawn that may stay dry, per share of the whole
	step   float64         // factor by which theta moves
	rising bool
	result Result
}

// Where theta begins: at thetaGuess a head, as weights spread over a third of
// the lawn make it; and the factor it moves by at first and at last.
const (
	thetaGuess = 3
	firstStep  = 1.3
	lastStep   = 1.005
)

func newProver(site Site, g *grid, s Settings) *prover {
	p := &prover{site: site, s: s, extra: chords(site.Lawn), theta: thetaGuess * float64(site.Heads), step: firstStep,
		lp: packing.New(len(g.cells)), share: make([]float64, len(g.cells)), y: make([]float64, len(g.cells))}
	p.search = newSearch(site, &p.site.Ground, viewer{grid: g, throwMM: site.ThrowMM,
		blockers: slices.Concat(slices.Collect(site.Lawn.Edges()), p.extra)}, s.Boxes)
	for i, c := range g.cells {
		p.share[i] = float64(c.area) * 2 / float64(site.Lawn.Area2())
	}
	p.spots = newSpots(site.Lawn, &p.site.Ground, &p.search.viewer, site.Likely)
	return p
}

// follow takes over from a coarser grid the boxes that mattered and the price.
func (p *prover) follow(coarse *prover) {
	p.theta, p.step = coarse.theta, math.Sqrt(firstStep)
	for _, t := range coarse.tight() {
		p.spots.add(t.box, &p.search.viewer)
	}
}

// perRound is how many boxes come into the program at once; above purgeAbove
// rows those with plenty to spare are let go.
const (
	perRound   = 16
	purgeAbove = 200
)

// weightScale turns the program's weights into whole numbers: one head's worth
// is about this much.
const weightScale = 1 << 20

// run looks for weights that prove that fewer than the given number of heads
// cannot do.
func (p *prover) run(ctx context.Context, heads int) error {
	p.heads = heads
	for done := false; !done; {
		if err := ctx.Err(); err != nil {
			return err
		}
		done = p.round()
	}
	p.result.Boxes, p.result.Pivots = p.search.boxes(), p.lp.Pivots()
	p.result.Stands = p.stands()
	return nil
}

// nearlyShare is how far, in heads, the program may be from the claim for a
// finer grid to be worth trying.
const nearlyShare = 0.25

// nearly reports whether a finer grid may prove what this one did not.
func (p *prover) nearly() bool { return p.result.Relaxation > float64(p.heads-1)-nearlyShare }

// lower asks for smaller numbers, unless the claim is proven.
func (p *prover) lower(ctx context.Context, sum *Result) error {
	for heads := p.heads - 1; p.result.Certificate == nil && p.site.Least > 1 && heads >= p.site.Least; heads-- {
		if p.search.boxes() >= p.s.Boxes || p.lp.Pivots() >= p.s.Pivots {
			break
		}
		p.step = math.Sqrt(firstStep)
		before := p.result
		if err := p.run(ctx, heads); err != nil {
			return err
		}
		sum.Certificate = p.result.Certificate
		sum.Boxes += p.result.Boxes - before.Boxes
		sum.Pivots += p.result.Pivots - before.Pivots
		sum.Rounds += p.result.Rounds - before.Rounds
	}
	return nil
}

// round solves the program, tests its weights and takes in the boxes that hold
// too much. It reports whether the proof has ended one way or the other.
func (p *prover) round() bool {
	p.result.Rounds++
	p.setUpper()
	solved := p.sample()
	p.result.Relaxation = p.value()
	if !solved {
		return true
	}
	limit := p.limit()
	if limit < weightScale { // the program itself does not hold that much
		return !p.moveTheta()
	}
	found, none := p.search.over(limit, perRound)
	if none {
		p.publish(limit)
		return true
	}
	if p.search.boxes() >= p.s.Boxes {
		return true
	}
	p.lp.Purge(purgeAbove)
	for _, b := range found {
		p.lp.Add(int32(len(p.spots.boxes)+len(p.boxes)), p.search.viewer.row(b))
		p.boxes = append(p.boxes, b)
	}
	p.moveTheta()
	return false
}

// sample solves the program over the spots, for the present theta. It reports
// whether the effort sufficed.
func (p *prover) sample() bool {
	for {
		if !p.lp.Solve(p.s.Pivots) {
			return false
		}
		for i := range p.y {
			p.y[i] = math.Max(0, p.lp.Value(i))
		}
		over := p.spots.over(p.y, p.lp.Has, perRound)
		if len(over) == 0 {
			return true
		}
		p.lp.Purge(purgeAbove)
		for _, i := range over {
			p.lp.Add(i, p.spots.rows[i])
		}
	}
}

// leastShare is the share of a head under which a row does not matter.
const leastShare = 0.01

// tightBox is a box that bounds the program, and how much of a head stands in it.
type tightBox struct {
	box
	share float64
}

// tight returns the boxes that bound the program, most of a head first.
func (p *prover) tight() (out []tightBox) {
	for _, id := range p.lp.Active() {
		share := p.lp.Price(id)
		if share < leastShare {
			continue
		}
		if k := int(id) - len(p.spots.boxes); k >= 0 {
			out = append(out, tightBox{p.boxes[k], share})
		} else {
			out = append(out, tightBox{p.spots.boxes[id], share})
		}
	}
	slices.SortFunc(out, func(a, b tightBox) int {
		return cmp.Or(cmp.Compare(b.share, a.share), a.center.Compare(b.center), cmp.Compare(a.half, b.half))
	})
	return out
}

// stands returns where the program stands heads.
func (p *prover) stands() (out []Stand) {
	for _, t := range p.tight() {
		out = append(out, Stand{t.center, t.share})
	}
	return out
}

// spare returns the share of the lawn that may stay dry.
func (p *prover) spare() float64 { return 1 - p.site.Target }

func (p *prover) setUpper() {
	for i, a := range p.share {
		u := 1.0
		if p.spare() > 0 {
			u = math.Min(1, p.theta*a)
		}
		p.lp.SetUpper(i, u)
	}
}

// value is the program's optimum less the price of what may stay dry.
func (p *prover) value() float64 {
	sum := 0.0
	for i := range p.y {
		sum += math.Max(0, p.lp.Value(i))
	}
	return sum - p.theta*p.spare()
}

// moveTheta moves the price of dry lawn uphill, in ever smaller steps; it
// reports false when the steps have become too small to matter.
func (p *prover) moveTheta() bool {
	if p.spare() == 0 || p.step < lastStep {
		return false
	}
	slope := -p.spare()
	for i, a := range p.share {
		if p.lp.Upper(i) < 1 {
			slope += a * p.lp.Gain(i)
		}
	}
	if rising := slope > 0; rising != p.rising {
		p.rising = rising
		p.step = math.Sqrt(p.step)
	}
	if p.rising {
		p.theta *= p.step
	} else {
		p.theta /= p.step
	}
	return true
}
