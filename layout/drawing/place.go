package drawing

import "math"

// placer finds room for labels: inside its bounds, on nothing already taken and
// where possible off the lines to be kept in view.
type placer struct {
	within box
	taken  []claim
	lines  [][2]vec
}

// spot is a place found for a label.
type spot struct {
	centre vec
	far    bool // far enough from what it names to need a leader
}

// claim is a piece of the page that is taken, with the upright box around it
// for quick answers.
type claim struct {
	quad
	around box
}

// Scores of a spot, lower is better; in page units of distance.
const (
	lineCost      = 9.0  // per line a label would hide
	nearRing      = 14.0 // how far to look before any line is accepted
	ringStep      = 4.0
	leaderFrom    = 7.0 // distances that need a leader
	directions    = 16
	directionCost = 0.05 // so that equal spots go to the first direction
)

// wish is a label that wants room: its size and how far from the place it names
// its nearest side may be, at least and at most.
type wish struct {
	at            vec
	width, height float64
	gap, reach    float64
}

// find looks for room for a label. Where a crowd leaves no room that a leader
// could get to unhindered, leaders may cross what is taken.
func (pl *placer) find(w wish) (spot, bool) {
	s, ok := pl.search(w, false)
	if !ok && w.reach > w.gap+leaderFrom {
		return pl.search(w, true)
	}
	return s, ok
}

// search goes through the spots around a place.
//
// It tries the spots of one ring after another, sixteen to a ring, and takes
// the cheapest of the near rings, or failing those the cheapest of the first
// ring that has any. Ties go to the smaller ring, then to the direction met
// first, counting counter-clockwise from the upper right.
func (pl *placer) search(w wish, crossing bool) (spot, bool) {
	best, cost := spot{}, math.Inf(1)
	for d := w.gap; d <= w.reach; d += ringStep {
		if d > w.gap+nearRing && !math.IsInf(cost, 1) {
			break
		}
		for i := range directions {
			s, c := pl.try(w, d, i)
			if s.far && !crossing && pl.leaderHits(w, s.centre) {
				continue
			}
			if c += d - w.gap; c < cost {
				best, cost = s, c
			}
		}
	}
	return best, !math.IsInf(cost, 1)
}

// try scores one spot; one that is not free costs infinitely much.
func (pl *placer) try(w wish, distance float64, direction int) (spot, float64) {
	const upperRight = -45
	u := vec{1, 0}.turned(upperRight - 360*float64(direction)/directions)
	s := spot{
		centre: w.at.add(vec{u.x * (w.width/2 + distance), u.y * (w.height/2 + distance)}),
		far:    distance > w.gap+leaderFrom,
	}
	q := around(s.centre, w.width, w.height).corners()
	if !pl.free(q) {
		return s, math.Inf(1)
	}
	return s, pl.hidden(q)*lineCost + float64(direction)*directionCost
}

func (pl *placer) free(q quad) bool {
	if !q.within(pl.within) {
		return false
	}
	b := q.bounds()
	for _, t := range pl.taken {
		if b.meets(t.around) && q.overlaps(t.quad) {
			return false
		}
	}
	return true
}

func (pl *placer) hidden(q quad) float64 {
	n, b := 0.0, q.bounds()
	for _, l := range pl.lines {
		if b.meets(span(l[0], l[1])) && q.crossedBy(l[0], l[1]) {
			n++
		}
	}
	return n
}

// leaderHits reports whether a leader would run over something taken, what it
// starts from excepted.
func (pl *placer) leaderHits(w wish, to vec) bool {
	along := to.sub(w.at)
	from := w.at.add(along.times(min(1, (w.gap+1)*math.Sqrt2/along.norm())))
	b := span(from, to)
	for _, t := range pl.taken {
		if b.meets(t.around) && t.crossedBy(from, to) {
			return true
		}
	}
	return false
}

// take keeps others off a piece of the page.
func (pl *placer) take(q quad) { pl.taken = append(pl.taken, claim{q, q.bounds()}) }
