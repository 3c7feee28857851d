package takeoff

import (
	"math"

	"lotwright/layout/geom"
)

// Bends are told in thousandths of a degree, rounded, so that what a bend is
// taken for does not hang on the last bit of an arc tangent.
const (
	degree   = 1000
	fullTurn = 360 * degree
	halfTurn = 180 * degree
	square   = 90 * degree
	eighth   = 45 * degree
)

// flexed is the bend that pipe takes without a fitting: less than 22.5°, so that
// every bend is taken for the nearest multiple of 45°. That the pipe gives so
// much is a judgement; in cold weather or with short pieces it gives less.
const flexed = eighth / 2

// bendReach is how near to one another bends in the same sense count as one, in
// mm: pipe does not flex twice within half a metre. A judgement.
const bendReach = 500

// heading returns the direction from p to q.
func heading(p, q geom.Point) int {
	d := q.Sub(p)
	return wrap(int(math.Round(math.Atan2(float64(d.Y), float64(d.X)) * (halfTurn / math.Pi))))
}

// wrap returns the angle from −180° up to 180°.
func wrap(a int) int {
	a %= fullTurn
	switch {
	case a >= halfTurn:
		return a - fullTurn
	case a < -halfTurn:
		return a + fullTurn
	}
	return a
}

func abs(v int) int { return max(v, -v) }

// elbows are the fittings of a bend.
type elbows struct{ of45, of90 int }

func (e elbows) plus(f elbows) elbows { return elbows{e.of45 + f.of45, e.of90 + f.of90} }

func (e elbows) number() int { return e.of45 + e.of90 }

// elbowsFor returns what a bend takes.
func elbowsFor(bend int) elbows {
	eighths := (abs(bend) + flexed) / eighth
	return elbows{of45: eighths % 2, of90: eighths / 2}
}

// stretch is a piece of a pipe run between fittings.
type stretch struct {
	mm  float64
	end elbows // at its far end
}

// stretches divides a path at the bends that need elbows.
func stretches(path geom.Line) []stretch {
	out := []stretch{{}}
	bend, since := 0, 0.0 // of the bends that may count as one, and from the last of them
	for i := 1; i < len(path); i++ {
		out[len(out)-1].mm += path[i-1].DistanceMM(path[i])
		since += path[i-1].DistanceMM(path[i])
		if i+1 == len(path) {
			break
		}
		b := wrap(heading(path[i], path[i+1]) - heading(path[i-1], path[i]))
		if since > bendReach || b*bend < 0 {
			bend = 0
		}
		bend, since = bend+b, 0
		if e := elbowsFor(bend); e.number() > 0 {
			out[len(out)-1].end = e
			out = append(out, stretch{})
			bend = 0
		}
	}
	return out
}

// teeBends returns the elbows that three pipes leaving a tee in the given
// directions need, one entry a pipe. The tee is turned, and its branch chosen,
// so that they are fewest; then so that the bends are least.
func teeBends(headings [3]int) [3]elbows {
	var best [3]elbows
	least := [2]int{math.MaxInt, 0}
	for branch := range 3 {
		a, b := headings[(branch+1)%3], headings[(branch+2)%3]
		for _, axis := range axes(a, b, headings[branch]) {
			bends := [3]int{}
			bends[(branch+1)%3] = wrap(a - axis)
			bends[(branch+2)%3] = wrap(b - axis - halfTurn)
			bends[branch] = nearer(wrap(headings[branch]-axis-square), wrap(headings[branch]-axis+square))
			number, sum := 0, 0
			var e [3]elbows
			for i, bend := range bends {
				e[i] = elbowsFor(bend)
				number += e[i].number()
				sum += abs(bend)
			}
			if number < least[0] || number == least[0] && sum < least[1] {
				best, least = e, [2]int{number, sum}
			}
		}
	}
	return best
}

func nearer(a, b int) int {
	if abs(b) < abs(a) {
		return b
	}
	return a
}

// axes returns the directions of a tee's run that are worth trying: along each
// pipe, and half-way between each two of these.
func axes(a, b, branch int) []int {
	out := []int{a, wrap(b + halfTurn), wrap(branch - square), wrap(branch + square)}
	for i := range 4 {
		for j := range i {
			out = append(out, wrap(out[i]+wrap(out[j]-out[i])/2))
		}
	}
	return out
}
