package sector

import (
	"cmp"
	"slices"
)

// arcStartStep is how far apart, in degrees, the left stops of the arcs listed
// for a spot are; the search turns them by single degrees afterwards.
const arcStartStep = 3

// An arc is listed when it sweeps at least freshBins degrees that those listed
// before it leave out or, while fewer than fullList are listed, when it shares
// no more than likeShare of the smaller arc with any of them.
const (
	freshBins = 5
	fullList  = 8
	likeShare = 0.7
)

// arcsOf returns the arcs worth trying on a spot and all the bins that
// permitted arcs sweep over. From every left stop the widest permitted arc is
// taken; of these, in order of the lawn they wet, those that are unlike the
// ones before.
func (p *problem) arcsOf(t *throw) (arcs []arc, swept [turn]bool) {
	type widest struct {
		arc
		lawn float32
	}
	var all []widest
	for start := 0; start < turn; start += arcStartStep {
		if a, ok := p.widestFrom(t, int16(start), p.oversprayLimit); ok {
			all = append(all, widest{a, a.sum(&t.wet) - a.sum(&t.over)})
		}
	}
	slices.SortFunc(all, func(v, w widest) int {
		return cmp.Or(cmp.Compare(w.lawn, v.lawn), cmp.Compare(v.start, w.start))
	})
	var listed [turn]bool
	unlisted := countFalse(&listed)
	for _, w := range all {
		w.mark(&swept)
		if w.total(&unlisted) >= freshBins || len(arcs) < fullList && !slices.ContainsFunc(arcs, w.like) {
			arcs = append(arcs, w.arc)
			w.mark(&listed)
			unlisted = countFalse(&listed)
		}
	}
	return arcs, swept
}

// mark marks the bins of a.
func (a arc) mark(bins *[turn]bool) {
	from, to := int(a.start), int(a.start)+int(a.sweep)
	for b := from; b < min(to, turn); b++ {
		bins[b] = true
	}
	for b := range to - turn {
		bins[b] = true
	}
}

// countFalse returns the running number of bins not marked.
func countFalse(bins *[turn]bool) (running [turn + 1]int64) {
	for b, marked := range bins {
		running[b+1] = running[b]
		if !marked {
			running[b+1]++
		}
	}
	return running
}

// widestFrom returns the widest permitted arc from a left stop.
func (p *problem) widestFrom(t *throw, start int16, limit float32) (arc, bool) {
	for sweep := p.greatestSweep; sweep >= p.leastSweep; sweep -= sweepStep {
		if a := (arc{start, int16(sweep)}); t.permits(a, limit) {
			return a, true
		}
	}
	return arc{}, false
}

// like reports whether a and b share most of the smaller one.
func (a arc) like(b arc) bool {
	common := 0
	for shift := -turn; shift <= turn; shift += turn {
		from := max(int(a.start), int(b.start)+shift)
		to := min(int(a.start)+int(a.sweep), int(b.start)+int(b.sweep)+shift)
		common += max(0, to-from)
	}
	return float64(common) > likeShare*float64(min(a.sweep, b.sweep))
}
