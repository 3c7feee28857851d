package certify

import (
	"cmp"
	"context"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/packing"
)

// Site is the ground the proof is about.
type Site struct {
	Lawn    geom.Region
	Ground  Standing
	ThrowMM int64
	Target  float64      // τ
	Heads   int          // the number to prove: that fewer cannot do
	Likely  []geom.Point // places where heads would wet much, to begin with
}

// Settings limit the effort in work; zero values mean the defaults.
type Settings struct {
	Boxes  int // boxes looked at
	Pivots int
}

// Defaults of the effort.
const (
	DefaultBoxes  = 1000
	DefaultPivots = 20_000
)

// Result is what the search for a proof came to.
type Result struct {
	Certificate *layout.Certificate // nil: none was found
	Relaxation  float64             // value of the packing program at the end: no weights on this grid prove more
	Boxes       int
	Pivots      int
	Rounds      int
}

// perRound is how many boxes come into the program at once.
const perRound = 16

// weightScale turns the program's weights into whole numbers: one head's worth
// is about this much.
const weightScale = 1 << 20

// Prove tries to certify that fewer than site.Heads heads cannot reach the
// target. Running out of effort is a result without a certificate.
func Prove(ctx context.Context, site Site, s Settings) (Result, error) {
	if s.Boxes == 0 {
		s.Boxes = DefaultBoxes
	}
	if s.Pivots == 0 {
		s.Pivots = DefaultPivots
	}
	if site.Heads < 2 {
		return Result{}, nil
	}
	p := newProver(site, s)
	for {
		if err := ctx.Err(); err != nil {
			return Result{}, err
		}
		if p.round() {
			return p.result, nil
		}
	}
}

// prover is one proof under way.
type prover struct {
	site   Site
	s      Settings
	extra  []geom.Segment
	search search
	lp     *packing.Solver
	rows   int32
	theta  float64 // price of lawn that may stay dry, per share of the whole
	step   float64 // factor by which theta moves
	rising bool
	share  []float64
	result Result
}

func newProver(site Site, s Settings) *prover {
	extra := chords(site.Lawn)
	g := newGrid(site.Lawn)
	p := &prover{site: site, s: s, extra: extra, theta: 3 * float64(site.Heads), step: 1.3,
		lp: packing.New(len(g.cells)), share: make([]float64, len(g.cells))}
	p.search = search{lawn: site.Lawn, ground: &p.site.Ground, budget: s.Boxes, roots: newRoots(site.Lawn, &p.site.Ground),
		viewer: viewer{grid: g, throwMM: site.ThrowMM, blockers: slices.Concat(slices.Collect(site.Lawn.Edges()), extra)}}
	for i, c := range g.cells {
		p.share[i] = float64(c.area) * 2 / float64(site.Lawn.Area2())
	}
	for _, at := range site.Likely {
		p.add(box{at, leafHalf})
	}
	return p
}

// add takes the box in as a row of the program.
func (p *prover) add(b box) {
	w := p.search.viewer.from(b, p.search.viewer.blockers)
	var row packing.Row
	w.eachCell(func(i int32) {
		if wet := w.wettable(i); wet > 0 {
			row.At = append(row.At, i)
			row.Value = append(row.Value, float64(wet)/float64(p.search.viewer.grid.cells[i].area))
		}
	})
	sortRow(row)
	p.lp.Add(p.rows, row)
	p.rows++
}

// sortRow puts a row's terms in ascending order of variable.
func sortRow(row packing.Row) {
	order := make([]int, len(row.At))
	for k := range order {
		order[k] = k
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(row.At[a], row.At[b]) })
	at, value := slices.Clone(row.At), slices.Clone(row.Value)
	for k, o := range order {
		row.At[k], row.Value[k] = at[o], value[o]
	}
}

// round solves the program, tests its weights and takes in the boxes that hold
// too much. It reports whether the proof has ended one way or the other.
func (p *prover) round() bool {
	p.result.Rounds++
	p.setUpper()
	solved := p.lp.Solve(p.s.Pivots)
	p.result.Pivots, p.result.Relaxation = p.lp.Pivots(), p.value()
	limit := p.limit()
	if !solved {
		return true
	}
	if limit < weightScale {
		return !p.moveTheta()
	}
	found, done := p.search.over(limit, perRound)
	p.result.Boxes = p.search.boxes
	if done {
		p.publish(limit)
		return true
	}
	if p.search.boxes >= p.s.Boxes {
		return true
	}
	p.lp.Purge(purgeAbove)
	for _, b := range found {
		p.add(b)
	}
	p.moveTheta()
	return false
}

const purgeAbove = 200

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
	for i := range p.share {
		sum += math.Max(0, p.lp.Value(i))
	}
	return sum - p.theta*p.spare()
}

// moveTheta moves the price of dry lawn uphill, in ever smaller steps; it
// reports false when the steps have become too small to matter.
func (p *prover) moveTheta() bool {
	if p.spare() == 0 || p.step < 1.005 {
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

// limit rounds the program's weights down to whole numbers and returns the
// most one head may wet for them to prove the claim.
func (p *prover) limit() int64 {
	weights, sum := make([]int64, len(p.share)), int64(0)
	for i := range weights {
		weights[i] = int64(math.Max(0, p.lp.Value(i)) * weightScale)
		sum += weights[i]
	}
	p.search.setWeights(weights)
	return (sum - p.dry() - 1) / int64(p.site.Heads-1)
}

// dry returns the most weight that can stay dry: that of the densest cells
// with the area that may, the last one in part, rounded up.
func (p *prover) dry() int64 {
	cells := p.search.viewer.grid.cells
	left := dryArea(p.site.Lawn, targetPPM(p.site.Target))
	order := make([]int, 0, len(cells))
	for i, w := range p.search.weights {
		if w > 0 {
			order = append(order, i)
		}
	}
	slices.SortFunc(order, func(a, b int) int {
		da, db := p.search.weights[a]*cells[b].area, p.search.weights[b]*cells[a].area
		return cmp.Or(cmp.Compare(db, da), cmp.Compare(a, b))
	})
	sum := int64(0)
	for _, i := range order {
		w, area := p.search.weights[i], cells[i].area
		if area > left {
			return sum + (w*left+area-1)/area
		}
		sum += w
		left -= area
	}
	return sum
}

// targetPPM returns τ in millionths, rounded down: what cannot be reached for
// it cannot be reached for τ.
func targetPPM(target float64) int64 { return int64(math.Floor(target*1e6 + 1e-6)) }

// dryArea returns the area in mm² that may stay dry, rounded up.
func dryArea(lawn geom.Region, ppm int64) int64 {
	const million = 1_000_000
	return lawn.Area2()/2*(million-ppm)/million + 2
}

// publish fills in the certificate.
func (p *prover) publish(limit int64) {
	c := &layout.Certificate{Heads: p.site.Heads, TargetPPM: targetPPM(p.site.Target), ThrowMM: p.site.ThrowMM,
		CellMM: cellMM, AtomMM: atomMM, Blockers: p.extra, Most: limit}
	for i, w := range p.search.weights {
		if w > 0 {
			c.Cells = append(c.Cells, layout.CertificateCell{Min: p.search.viewer.grid.cells[i].min, Weight: w})
		}
	}
	p.result.Certificate = c
}
