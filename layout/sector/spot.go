package sector

import (
	"math"

	"lotwright/layout/geom"
)

// Steps of the settings of a head.
const (
	sweepStep = 5 // degrees (contract 4.5)

	radiusStep          = 1. / 16 // share of the throw
	radiusStepOfSeveral = 1. / 8  // where there are other nozzles to choose from
)

// distanceSteps is how finely the distance from a head is told apart, as a
// share of the longest throw: 18 mm at 30 ft.
const distanceSteps = 512

// radius is one radius a head can be set to.
type radius struct {
	nozzle int
	mm     int64
	reach  uint16  // farthest distance step it wets
	rates  []int32 // by distance step
}

// spot is a place a head may stand.
type spot struct {
	at     geom.Point
	throws []throw // by radius
}

// outlook is what of the lawn is seen from a spot, on one grid.
type outlook struct {
	cells []nearCell      // in view and within the longest throw, by bin
	of    [turn + 1]int32 // where each bin's cells begin
}

// nearCell is a cell of the lawn seen from a spot.
type nearCell struct {
	index int32
	steps uint16 // distance, rounded up
}

// throw is what a head on a spot wets with one radius.
type throw struct {
	wet, over [turn + 1]float32 // running sums over the bins, m²
	arcs      []arc             // worth trying: see arcsOf
}

// arc is the setting of a head's stops, in degrees.
type arc struct{ start, sweep int16 }

// survey works out what heads at h can do.
func (p *problem) survey(h geom.Point) (*spot, *outlook) {
	s, o := &spot{at: h, throws: make([]throw, len(p.radii))}, p.lookOut(h)
	for k := range p.radii {
		t := &s.throws[k]
		if ground := p.site.Nozzles[p.radii[k].nozzle].Ground; ground != nil && !ground.Has(h) {
			t.bar()
			continue
		}
		wet, over := p.looker.areas(float64(p.radii[k].mm))
		w, v := 0.0, 0.0
		for b := range turn {
			w, v = w+wet[b], v+over[b]
			t.wet[b+1], t.over[b+1] = float32(w), float32(v)
		}
		var swept [turn]bool
		t.arcs, swept = p.arcsOf(t)
		p.markReached(o, &p.radii[k], &swept)
	}
	return s, o
}

// lookOut lists the cells that are seen from h, bin by bin.
func (p *problem) lookOut(h geom.Point) *outlook {
	p.looker.look(h)
	p.seen, p.seenBin = p.seen[:0], p.seenBin[:0]
	reach := p.looker.reachMM
	p.grid.around(h, reach, func(cell int32, v geom.Point) {
		ray := nearestRay(v)
		dist := math.Sqrt(float64(v.Norm2()))
		if dist > p.looker.blocked[ray] {
			return
		}
		p.seen = append(p.seen, nearCell{cell, uint16(math.Ceil(dist * distanceSteps / float64(reach)))})
		p.seenBin = append(p.seenBin, int16(ray/raysPerBin))
	})
	o := &outlook{cells: make([]nearCell, len(p.seen))}
	for _, b := range p.seenBin {
		o.of[b+1]++
	}
	for b := range turn {
		o.of[b+1] += o.of[b]
	}
	next := o.of
	for i, c := range p.seen {
		b := p.seenBin[i]
		o.cells[next[b]] = c
		next[b]++
	}
	return o
}

// nearestRay returns the ray in whose half bin v lies, to within rounding; the
// first for the zero vector.
func nearestRay(v geom.Point) int {
	deg := math.Atan2(float64(v.X), float64(v.Y)) / radiansPerDegree
	return int(math.Floor(deg*raysPerBin)+rays) % rays
}

// markReached marks the cells that permitted arcs of one radius sweep over.
func (p *problem) markReached(o *outlook, r *radius, swept *[turn]bool) {
	for b := range turn {
		if !swept[b] {
			continue
		}
		for _, c := range o.cells[o.of[b]:o.of[b+1]] {
			if c.steps <= r.reach {
				p.reachable[c.index] = true
			}
		}
	}
}

// sum returns the part of a running sum over the bins that arc a sweeps over.
func (a arc) sum(running *[turn + 1]float32) float32 {
	from, to := int(a.start), int(a.start)+int(a.sweep)
	if to <= turn {
		return running[to] - running[from]
	}
	return running[turn] - running[from] + running[to-turn]
}

// bar makes t a throw of which no arc is permitted, all of it overspray.
func (t *throw) bar() {
	for b := range turn {
		t.over[b+1] = t.over[b] + 1
	}
}

// permits reports whether at most the given share of what a wets is off the lawn.
func (t *throw) permits(a arc, limit float32) bool { return a.sum(&t.over) <= limit*a.sum(&t.wet) }
