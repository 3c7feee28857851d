package geom

import "math"

// Simplification says how far an outline may move when corners are left out.
type Simplification struct {
	// MeanMM bounds the area between a new edge and the corners it stands for,
	// divided by the edge's length: the mean shift of the outline.
	MeanMM float64
	// MostMM bounds the distance of each corner left out from the new edge,
	// and how far the corners may run back against its direction, so that
	// folds which happen to lie close together are not taken for one line.
	MostMM float64
}

// simplifyWindow is how many corners one new edge may stand for.
const simplifyWindow = 64

// Simplify returns r with the fewest corners, taken from its own, under the
// bounds of s. The outline starts at the least corner, which stays; of several
// ways with as few corners the one that moves the outline least is taken. The
// result can cross itself where r comes closer to itself than the bounds.
//
// It is a shortest path from corner to corner round the ring (Imai and Iri
// 1988), with the window as a limit on the length of a step.
func Simplify(r Ring, s Simplification) Ring {
	if len(r) < 4 {
		return r
	}
	r = r.canonical()
	n := len(r)
	best := make([]route, n+1)
	for j := 1; j <= n; j++ {
		best[j] = route{edges: math.MaxInt}
		for i := j - 1; i >= max(0, j-simplifyWindow); i-- {
			shift, ok := s.shift(r, i, j)
			if !ok {
				continue
			}
			way := route{edges: best[i].edges + 1, shift: best[i].shift + shift, from: i}
			if way.before(best[j]) {
				best[j] = way
			}
		}
	}
	return r.along(best)
}

// route is the best way found to a corner: over how many edges, the area it
// leaves aside in mm², and the corner before.
type route struct {
	edges int
	shift float64
	from  int
}

func (a route) before(b route) bool {
	return a.edges < b.edges || a.edges == b.edges && a.shift < b.shift
}

// shift returns the area between the edge from corner i to corner j and the
// corners between, and whether that edge is within the bounds.
func (s Simplification) shift(r Ring, i, j int) (float64, bool) {
	chord := Segment{r[i], r[j%len(r)]}
	area2 := int64(0)
	for k := i; k < j; k++ {
		area2 += r[k].Sub(chord.A).Cross(r[(k+1)%len(r)].Sub(chord.A))
	}
	area := math.Abs(float64(area2)) / 2
	if chord.A == chord.B || area > s.MeanMM*chord.LengthMM() {
		return 0, false
	}
	d := chord.B.Sub(chord.A)
	furthest, slack := int64(0), s.MostMM*chord.LengthMM()
	for k := i + 1; k < j; k++ {
		along := r[k].Sub(chord.A).Dot(d)
		furthest = max(furthest, along)
		if float64(furthest-along) > slack || chord.DistanceMM(r[k]) > s.MostMM {
			return 0, false
		}
	}
	return area, true
}

// along returns the corners of the best way round.
func (r Ring) along(best []route) Ring {
	var out Ring
	for k := len(r); k > 0; k = best[k].from {
		out = append(out, r[best[k].from])
	}
	for a, b := 0, len(out)-1; a < b; a, b = a+1, b-1 {
		out[a], out[b] = out[b], out[a]
	}
	return out
}
