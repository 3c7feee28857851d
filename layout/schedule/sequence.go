package schedule

// Start is one run of one zone.
type Start struct {
	Zone       int // index into the zones
	Label      string
	FromMinute int // after the midnight that begins the day; 1440 and more is the next morning
	Minutes    int
}

// ToMinute is when the run ends.
func (s Start) ToMinute() int { return s.FromMinute + s.Minutes }

// waiting is a zone with cycles still to run.
type waiting struct {
	zone   int
	left   int // cycles
	ready  int // minute from which the next may start
	cycles Cycles
}

// tail is how long the zone needs from its next start, soaks included.
func (w waiting) tail() int { return w.left*w.cycles.Minutes + (w.left-1)*w.cycles.SoakMinutes }

// sequence puts the cycles of zones one after the other, one zone at a time:
// while one soaks, others run. Of the zones that are ready, that with the
// longest way to go runs next, ties by order of zones, so that soaks end as
// early as may be.
func sequence(zones []Zone, runs []waiting, from int) []Start {
	var starts []Start
	for now := from; ; {
		next := nextRun(runs, now)
		if next < 0 {
			return starts
		}
		w := &runs[next]
		now = max(now, w.ready)
		starts = append(starts, Start{Zone: w.zone, Label: zones[w.zone].Label, FromMinute: now, Minutes: w.cycles.Minutes})
		now += w.cycles.Minutes
		w.left--
		w.ready = now + w.cycles.SoakMinutes
	}
}

// nextRun is the index of what runs next, -1 when all is done: the longest
// tail among those ready, else the first to be ready.
func nextRun(runs []waiting, now int) int {
	best := -1
	for i := range runs {
		if runs[i].left > 0 && (best < 0 || before(runs[i], runs[best], now)) {
			best = i
		}
	}
	return best
}

func before(a, b waiting, now int) bool {
	if ra, rb := max(a.ready, now), max(b.ready, now); ra != rb {
		return ra < rb
	}
	return a.tail() > b.tail()
}
