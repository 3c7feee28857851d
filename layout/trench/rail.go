package trench

import (
	"math"

	"lotwright/layout/geom"
)

// sampleSpacing is how far apart, in mm, the places lie at which a trench may
// pass the edge of paving or of a root zone, to begin with; they slide along
// it afterwards. What is under paving runs within asin(1/8) = 7° of square to
// the edge, so the spacing need only tell ways round from one another.
const sampleSpacing = 500

// rail is an edge along which a place of the chart may slide, and where on it
// the place stands.
type rail struct {
	edge geom.Segment
	mm   int64 // from edge.A
}

// length returns the length of the rail in whole millimetres, rounded up.
func (r rail) length() int64 { return int64(math.Ceil(r.edge.LengthMM())) }

// at returns the grid point where the rail stands: never to the left of the
// edge, where the paving is.
func (r rail) at() geom.Point {
	length := r.edge.LengthMM()
	if float64(r.mm) >= length {
		return r.edge.B
	}
	d := r.edge.B.Sub(r.edge.A)
	p := r.edge.A.Add(d.Vec().Scale(float64(r.mm) / length).Round())
	if geom.Orient(r.edge.A, r.edge.B, p) <= 0 {
		return p
	}
	// Rounding moved p at most (|dx|+|dy|)/2|d| to the left; one step along
	// the axis nearer to the normal moves it further than that to the right.
	if abs(d.X) >= abs(d.Y) {
		return p.Sub(geom.Pt(0, sign(d.X)))
	}
	return p.Add(geom.Pt(sign(d.Y), 0))
}

// footReach is how far a terminal may stand from an edge, in mm, for the point
// of the edge nearest to it to be a place of its own: from close by, the samples
// are too far apart to tell which edge to pass.
const footReach = 1000

// mostRails keeps lots drawn with thousands of corners from taking minutes: of
// more rails than this, every second, third… is left out. Real lots have up to
// some 300.
const mostRails = 600

// rails returns places on the edges of paving and root zones: the corners, once
// for each of their edges, points between them no more than sampleSpacing
// apart, and the points nearest to what stands close by.
func (g *ground) rails(standing []geom.Point) []rail {
	out := g.allRails(standing)
	every := (len(out) + mostRails - 1) / mostRails
	if every < 2 {
		return out
	}
	var thinned []rail
	for i := 0; i < len(out); i += every {
		thinned = append(thinned, out[i])
	}
	return thinned
}

func (g *ground) allRails(standing []geom.Point) []rail {
	var out []rail
	for _, o := range [2]*outline{g.paving, g.roots} {
		for e := range o.region.Edges() {
			r := rail{edge: e}
			pieces := (r.length() + sampleSpacing - 1) / sampleSpacing
			for i := range pieces + 1 {
				r.mm = i * r.length() / pieces
				out = append(out, r)
			}
			for _, p := range standing {
				if e.WithinOf(p, footReach) {
					out = append(out, railAt(e, p))
				}
			}
		}
	}
	return out
}

// railAt returns the rail along e with its place nearest to p.
func railAt(e geom.Segment, p geom.Point) rail {
	return rail{edge: e, mm: int64(math.Round(e.A.DistanceMM(e.Nearest(p))))}
}

func abs(v int64) int64 { return max(v, -v) }

func sign(v int64) int64 {
	if v < 0 {
		return -1
	}
	return 1
}
