package paper

import "math"

// Placer finds room for labels: inside its bounds, on nothing already taken and
// where possible off the lines to be kept in view.
type Placer struct {
	Within Box
	Taken  []claim
	Lines  [][2]Vec
}

// Spot is a place found for a label.
type Spot struct {
	Centre Vec
	Far    bool // far enough from what it names to need a leader
}

// claim is a piece of the page that is taken, with the upright box around it
// for quick answers.
type claim struct {
	Quad
	around Box
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

// Wish is a label that wants room: its size and how far from the place it names
// its nearest side may be, at least and at most.
type Wish struct {
	At            Vec
	Width, Height float64
	Gap, Reach    float64
}

// Find looks for room for a label. Where a crowd leaves no room that a leader
// could get to unhindered, leaders may cross what is taken.
func (pl *Placer) Find(w Wish) (Spot, bool) {
	s, ok := pl.search(w, false)
	if !ok && w.Reach > w.Gap+leaderFrom {
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
func (pl *Placer) search(w Wish, crossing bool) (Spot, bool) {
	best, cost := Spot{}, math.Inf(1)
	for d := w.Gap; d <= w.Reach; d += ringStep {
		if d > w.Gap+nearRing && !math.IsInf(cost, 1) {
			break
		}
		for i := range directions {
			s, c := pl.try(w, d, i)
			if s.Far && !crossing && pl.leaderHits(w, s.Centre) {
				continue
			}
			if c += d - w.Gap; c < cost {
				best, cost = s, c
			}
		}
	}
	return best, !math.IsInf(cost, 1)
}

// try scores one spot; one that is not free costs infinitely much.
func (pl *Placer) try(w Wish, distance float64, direction int) (Spot, float64) {
	const upperRight = -45
	u := Vec{1, 0}.Turned(upperRight - 360*float64(direction)/directions)
	s := Spot{
		Centre: w.At.Add(Vec{u.X * (w.Width/2 + distance), u.Y * (w.Height/2 + distance)}),
		Far:    distance > w.Gap+leaderFrom,
	}
	q := Around(s.Centre, w.Width, w.Height).Corners()
	if !pl.Free(q) {
		return s, math.Inf(1)
	}
	return s, pl.Hidden(q)*lineCost + float64(direction)*directionCost
}

// Free reports whether a piece of the page lies inside the bounds and on nothing
// taken.
func (pl *Placer) Free(q Quad) bool {
	if !q.Within(pl.Within) {
		return false
	}
	b := q.Bounds()
	for _, t := range pl.Taken {
		if b.Meets(t.around) && q.Overlaps(t.Quad) {
			return false
		}
	}
	return true
}

// Hidden counts the lines that a label there would hide.
func (pl *Placer) Hidden(q Quad) float64 {
	n, b := 0.0, q.Bounds()
	for _, l := range pl.Lines {
		if b.Meets(Span(l[0], l[1])) && q.CrossedBy(l[0], l[1]) {
			n++
		}
	}
	return n
}

// leaderHits reports whether a leader would run over something taken, what it
// starts from excepted.
func (pl *Placer) leaderHits(w Wish, to Vec) bool {
	along := to.Sub(w.At)
	from := w.At.Add(along.Times(min(1, (w.Gap+1)*math.Sqrt2/along.Norm())))
	b := Span(from, to)
	for _, t := range pl.Taken {
		if b.Meets(t.around) && t.CrossedBy(from, to) {
			return true
		}
	}
	return false
}

// Take keeps others off a piece of the page.
func (pl *Placer) Take(q Quad) { pl.Taken = append(pl.Taken, claim{q, q.Bounds()}) }
