package sector

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// problem is a site prepared for the search.
type problem struct {
	site Site
	s    Settings

	grid           *grid
	areaOf         []int32 // by cell, of the site's areas; nil where there are none
	radii          []radius
	fullRate       int32 // highest rate of a head at full throw
	leastSweep     int
	greatestSweep  int
	oversprayLimit float32

	spots     []*spot
	outlooks  []*outlook // of the spots on this grid; nil where not yet worked out
	pinned    int        // the first spots are those of pinned heads
	fixed     []head     // as they are set; their spots are the first of all
	near      [][]int32  // for each spot, others to slide to
	reachable []bool     // by cell: some permitted sector wets it
	unfit     []geom.Point

	looker  looker
	seen    []nearCell // scratch of lookOut
	seenBin []int16
}

// The number of heads is searched for on a grid of so many cells to the least
// radius, on which DU_lq comes out up to 0.03 too high: the search learns where
// the cells are. What it finds is set right on a grid of fineCellMM, the cells
// that uniformity is stated for.
const (
	cellsPerRadius = 12
	fineCellMM     = 250
)

// rayMargin is taken off the overspray limit, as a share of it, for what 720
// rays measure too little: the tests find no more than a third of it.
const rayMargin = 0.02

func newProblem(site Site, s Settings) (*problem, error) {
	if err := check(site, s); err != nil {
		return nil, err
	}
	p := &problem{site: site, s: s,
		leastSweep: or(site.LeastSweep, DefaultLeastSweep), greatestSweep: or(site.GreatestSweep, turn),
		oversprayLimit: float32(s.OversprayLimit * (1 - rayMargin))}
	least := p.setRadii()
	p.grid = newGrid(site.Lawn, max(fineCellMM, least/cellsPerRadius))
	if len(p.grid.at) == 0 {
		return nil, errors.New("the lawn is too small to hold a cell of the grid")
	}
	p.setAreas()
	p.reachable = make([]bool, len(p.grid.at))
	p.looker.lawn, p.looker.blockers = slices.Collect(site.Lawn.Edges()), slices.Collect(site.Blockers.Edges())
	p.setSpots()
	return p, nil
}

func check(site Site, s Settings) error {
	if len(site.Nozzles) == 0 {
		return errors.New("no nozzle to place")
	}
	for _, z := range site.Nozzles {
		if !(z.Throw > 0 && z.Flow > 0 && z.TurnedDown >= 0 && z.TurnedDown <= z.Throw) {
			return fmt.Errorf("nozzle %q: throw and flow must be positive and the least radius within the throw", z.Name)
		}
		if !(z.Runs >= 0 && z.Runs < math.Inf(1)) {
			return fmt.Errorf("nozzle %q: it cannot run %v times as long as others", z.Name, z.Runs)
		}
		if err := checkProfile(z.Profile); err != nil {
			return fmt.Errorf("nozzle %q: %w", z.Name, err)
		}
	}
	if site.LeastSweep < 0 || site.LeastSweep%sweepStep != 0 || site.GreatestSweep%sweepStep != 0 ||
		site.GreatestSweep > turn || or(site.GreatestSweep, turn) < or(site.LeastSweep, DefaultLeastSweep) {
		return fmt.Errorf("sweeps from %d° to %d° are not multiples of %d° in order", site.LeastSweep, site.GreatestSweep, sweepStep)
	}
	for i, h := range site.Fixed {
		if h.Nozzle < 0 || h.Nozzle >= len(site.Nozzles) || h.Radius <= 0 || h.Radius > site.Nozzles[h.Nozzle].Throw || h.SweepDeg < 1 || h.SweepDeg > turn {
			return fmt.Errorf("fixed head %d: no nozzle is set so", i+1)
		}
	}
	if !(s.CoverageTarget <= 1 && s.UniformityTarget < 1 && s.OversprayLimit < 1) {
		return fmt.Errorf("targets of %v and %v or an overspray limit of %v are out of range", s.CoverageTarget, s.UniformityTarget, s.OversprayLimit)
	}
	return nil
}

func checkProfile(profile []RadialRate) error {
	for i, pt := range profile {
		if len(profile) < 2 || !(pt.Rate >= 0) || i > 0 && !(pt.Share > profile[i-1].Share) {
			return fmt.Errorf("profile point %d: shares must rise and rates not be negative", i+1)
		}
	}
	return nil
}

// setRadii lists the radii of every nozzle and returns the least, in mm. A
// nozzle is not turned down to where a smaller one reaches fully open: that one
// spreads its water as thin as the rest.
func (p *problem) setRadii() (least int64) {
	step := radiusStep
	if len(p.site.Nozzles) > 1 {
		step = radiusStepOfSeveral
	}
	least = math.MaxInt64
	for n, z := range p.site.Nozzles {
		for _, mm := range p.withFixed(n, radiiOf(z, p.nextSmaller(z), step)) {
			p.radii = append(p.radii, radius{nozzle: n, mm: mm})
			p.looker.reachMM, least = max(p.looker.reachMM, mm), min(least, mm)
		}
	}
	p.setRates()
	return least
}

// shortestReach returns the longest radius of the family that throws least, in mm.
func (p *problem) shortestReach() int64 {
	longest := map[int]int64{}
	for _, r := range p.radii {
		f := p.site.Nozzles[r.nozzle].Family
		longest[f] = max(longest[f], r.mm)
	}
	least := p.looker.reachMM
	for _, mm := range longest {
		least = min(least, mm)
	}
	return least
}

// withFixed adds the radii that fixed heads of a nozzle are set to.
func (p *problem) withFixed(nozzle int, radii []int64) []int64 {
	for _, h := range p.site.Fixed {
		if h.Nozzle == nozzle {
			radii = append(radii, h.Radius.Millimetres())
		}
	}
	slices.SortFunc(radii, func(a, b int64) int { return cmp.Compare(b, a) })
	return slices.Compact(radii)
}

// nextSmaller returns the longest throw of a nozzle of its family shorter than
// that of z; 0 if there is none.
func (p *problem) nextSmaller(z Nozzle) layout.Length {
	next := layout.Length(0)
	for _, o := range p.site.Nozzles {
		if o.Family == z.Family && o.Throw < z.Throw {
			next = max(next, o.Throw)
		}
	}
	return next
}

// radiiOf lists the radii of a nozzle in mm, the longest first: steps of a share
// of its throw, and turned down all the way unless a smaller nozzle does that.
func radiiOf(z Nozzle, smaller layout.Length, step float64) []int64 {
	out := []int64{z.Throw.Millimetres()}
	if z.TurnedDown == 0 {
		return out
	}
	for i := 1; ; i++ {
		r := max(z.Throw*layout.Length(1-float64(step*float64(i))), z.TurnedDown)
		mm := int64(math.Ceil(r.Metres()*geom.MillimetresPerMetre - 1e-6)) // not below the least
		if r <= smaller || mm >= out[len(out)-1] {
			return out
		}
		out = append(out, mm)
	}
}

// topRate is the highest rate of all, in the whole-numbered unit of depth: 40
// heads on one cell stay far below 2^31.
const topRate = 10_000

// setRates fills in the tables of rates, those of a family that runs longer in
// proportion higher: what counts is the water that lies in the end. The rate at
// the head, flow over the square of the radius, is the same for every arc.
func (p *problem) setRates() {
	density := func(r *radius) float64 {
		z := &p.site.Nozzles[r.nozzle]
		return float64(z.Flow.LPM()*or(z.Runs, 1)) / float64(r.mm*r.mm)
	}
	top := 0.0
	for k := range p.radii {
		top = max(top, density(&p.radii[k]))
	}
	for k := range p.radii {
		r := &p.radii[k]
		profile, highest := profileOf(&p.site.Nozzles[r.nozzle])
		r.reach = uint16(r.mm * distanceSteps / p.looker.reachMM)
		r.rates = make([]int32, r.reach+1)
		for q := range r.rates {
			// Distances are rounded up: half a step less is right on average.
			share := max(0, float64(q)-0.5) * float64(p.looker.reachMM) / (distanceSteps * float64(r.mm))
			r.rates[q] = int32(math.Round(topRate * density(r) / top * rateAt(profile, share) / highest))
		}
		if k == 0 || p.radii[k-1].nozzle != r.nozzle {
			p.fullRate = max(p.fullRate, int32(topRate*density(r)/top))
		}
	}
}

// profileOf returns the radial profile of a nozzle and its highest rate.
func profileOf(z *Nozzle) (profile []RadialRate, highest float64) {
	profile = z.Profile
	if profile == nil {
		profile = []RadialRate{{Share: 0, Rate: 1}, {Share: 1, Rate: 0}}
	}
	return profile, slices.MaxFunc(profile, func(a, b RadialRate) int { return cmp.Compare(a.Rate, b.Rate) }).Rate
}

// rateAt returns the relative rate at a share of the throw.
func rateAt(profile []RadialRate, share float64) float64 {
	i := 1
	for i < len(profile)-1 && share > profile[i].Share {
		i++
	}
	a, b := profile[i-1], profile[i]
	return max(0, a.Rate+float64((b.Rate-a.Rate)*((share-a.Share)/(b.Share-a.Share))))
}

// setSpots surveys the spots, those of pinned heads first. Spots on which no
// permitted arc exists are dropped.
func (p *problem) setSpots() {
	for _, h := range p.site.Fixed {
		p.addFixed(h)
	}
	for _, h := range p.site.Pinned {
		if p.site.Lawn.Locate(h) != geom.Interior || !p.addSpot(h) {
			p.unfit = append(p.unfit, h)
		}
	}
	p.pinned = len(p.spots)
	spots := slices.Clone(p.site.Spots)
	slices.SortFunc(spots, geom.Point.Compare)
	for _, h := range slices.Compact(spots) {
		p.addSpot(h)
	}
	p.setNear()
}

// addFixed surveys the spot of a fixed head and notes how that is set.
func (p *problem) addFixed(h Sector) {
	if p.site.Lawn.Locate(h.At) != geom.Interior {
		p.unfit = append(p.unfit, h.At)
		return
	}
	k := slices.IndexFunc(p.radii, func(r radius) bool { return r.nozzle == h.Nozzle && r.mm == h.Radius.Millimetres() })
	set := head{spot: int32(len(p.spots)), k: int16(k), arc: arc{bearing(h.StartDeg), int16(h.SweepDeg)}}
	s, o := p.survey(h.At)
	p.spots, p.outlooks, p.fixed = append(p.spots, s), append(p.outlooks, o), append(p.fixed, set)
	first, second := o.swept(set.arc)
	for _, c := range slices.Concat(first, second) {
		if c.steps <= p.radii[k].reach {
			p.reachable[c.index] = true
		}
	}
}

// addSpot surveys a spot and keeps it if there is a permitted arc on it.
func (p *problem) addSpot(h geom.Point) bool {
	s, o := p.survey(h)
	if s.fit() {
		p.spots, p.outlooks = append(p.spots, s), append(p.outlooks, o)
		return true
	}
	return false
}

// finer returns the same problem on a finer grid.
func (p *problem) finer(cellMM int64) *problem {
	q := *p
	q.grid = newGrid(p.site.Lawn, cellMM)
	q.outlooks = make([]*outlook, len(p.spots))
	q.setAreas()
	return &q
}

// outlook returns what is seen from a spot.
func (p *problem) outlook(spot int32) *outlook {
	if p.outlooks[spot] == nil {
		p.outlooks[spot] = p.lookOut(p.spots[spot].at)
	}
	return p.outlooks[spot]
}

func (s *spot) fit() bool {
	return slices.ContainsFunc(s.throws, func(t throw) bool { return len(t.arcs) > 0 })
}

// A head may slide in one move to the nearest neighbours spots within
// 1/slideShare of the longest throw.
const (
	neighbours = 16
	slideShare = 2
)

func (p *problem) setNear() {
	p.near = make([][]int32, len(p.spots))
	limit := p.looker.reachMM / slideShare
	for i := range p.spots {
		at := p.spots[i].at
		var order []int32
		first, _ := slices.BinarySearchFunc(p.spots[p.pinned:], at.X-limit, func(s *spot, x int64) int { return cmp.Compare(s.at.X, x) })
		for j := p.pinned + first; j < len(p.spots) && p.spots[j].at.X <= at.X+limit; j++ {
			if j != i && p.spots[j].at.Within(at, limit) {
				order = append(order, int32(j))
			}
		}
		slices.SortFunc(order, func(a, b int32) int {
			return cmp.Or(cmp.Compare(p.spots[a].at.Sub(at).Norm2(), p.spots[b].at.Sub(at).Norm2()), cmp.Compare(a, b))
		})
		p.near[i] = order[:min(neighbours, len(order))]
	}
}

// SpotSpacing returns how far apart, in mm, spots should be for the nozzles on
// a lawn of the given area: a ninth of the longest throw, and on large lawns
// so much that there are some two thousand of them.
func SpotSpacing(nozzles []Nozzle, lawnM2 float64) int64 {
	longest := int64(0)
	for _, z := range nozzles {
		longest = max(longest, z.Throw.Millimetres())
	}
	return max(longest/spotsPerThrow, int64(math.Sqrt(lawnM2/mostSpots)*geom.MillimetresPerMetre))
}

const (
	spotsPerThrow = 9
	mostSpots     = 2000
)
