package drawing

import (
	"math"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/paper"
)

const (
	sideOff   = 4.0  // of the figures from the lot line
	sideSpare = 10.0 // by which a side must be longer than its figures

	straightBend = 0.5  // degrees a straight side may bend
	curveBend    = 12.0 // degrees between chords that still stand for one curve
	leastChords  = 3    // of a curve
)

// side is a stretch of a lot's outline that a surveyor gives one length: a
// straight line or a curve drawn in chords.
type side struct {
	chords []geom.Segment
	curve  bool
}

// sides writes the length of every side of the lot beside it, outside, where it
// is long enough and there is room.
func (p *painter) sides(pl *paper.Placer, parcel geom.Region) {
	for _, poly := range parcel {
		for _, ring := range poly {
			for _, s := range sidesOf(ring) {
				p.side(pl, s)
			}
		}
	}
}

// sidesOf splits an outline into sides: edges that run straight on are one,
// then three or more such that bend little from each to the next are one curve.
func sidesOf(ring geom.Ring) []side {
	straight := straightened(ring)
	var out []side
	for _, group := range bendGroups(straight) {
		if len(group) >= leastChords {
			out = append(out, side{group, true})
			continue
		}
		for i := range group {
			out = append(out, side{group[i : i+1], false})
		}
	}
	return out
}

// straightened joins edges of a ring that run on in one direction.
func straightened(ring geom.Ring) []geom.Segment {
	var out []geom.Segment
	for e := range ring.Edges() {
		if e.A == e.B {
			continue
		}
		if n := len(out); n > 0 && bend(out[n-1], e) < straightBend {
			out[n-1].B = e.B
			continue
		}
		out = append(out, e)
	}
	if n := len(out); n > 1 && bend(out[n-1], out[0]) < straightBend {
		out[0].A = out[n-1].A
		out = out[:n-1]
	}
	return out
}

// bendGroups splits a closed chain at its corners.
func bendGroups(edges []geom.Segment) [][]geom.Segment {
	n := len(edges)
	first := 0
	for i := range edges {
		if bend(edges[(i+n-1)%n], edges[i]) >= curveBend {
			first = i
			break
		}
	}
	var out [][]geom.Segment
	for k := range edges {
		e := edges[(first+k)%n]
		if m := len(out); m > 0 && bend(out[m-1][len(out[m-1])-1], e) < curveBend {
			out[m-1] = append(out[m-1], e)
			continue
		}
		out = append(out, []geom.Segment{e})
	}
	return out
}

// bend returns the angle, in degrees, by which b turns off from a.
func bend(a, b geom.Segment) float64 {
	u, w := a.B.Sub(a.A).Vec(), b.B.Sub(b.A).Vec()
	return math.Abs(math.Atan2(u.Cross(w), u.Dot(w))) * 180 / math.Pi
}

func (s side) length() layout.Length {
	sum := 0.0
	for _, c := range s.chords {
		sum += c.LengthMM()
	}
	return layout.Length(sum / geom.MillimetresPerMetre)
}

// along returns the place a share of the way along the side.
func (s side) along(share float64) geom.Vec {
	left := float64(s.length()) * geom.MillimetresPerMetre * share
	for _, c := range s.chords {
		if l := c.LengthMM(); left > l {
			left -= l
			continue
		}
		return c.A.Vec().Add(c.B.Sub(c.A).Vec().Scale(left / c.LengthMM()))
	}
	return s.chords[len(s.chords)-1].B.Vec()
}

// shares are the places along a side, best first, where its figures may stand.
func (s side) shares() []float64 {
	if s.curve {
		return []float64{0.5}
	}
	return []float64{0.5, 0.38, 0.62, 0.26, 0.74}
}

func (p *painter) side(pl *paper.Placer, s side) {
	words, size := p.words(s.length()), p.letters.side
	if s.curve {
		words = "curve " + words
	}
	along := p.at(s.chords[len(s.chords)-1].B.Vec()).Sub(p.at(s.chords[0].A.Vec()))
	wide := paper.Width(words, size, false)
	for _, share := range s.shares() {
		if room := along.Norm() * 2 * min(share, 1-share); room < wide+sideSpare {
			return
		}
		outward := paper.At(-along.Y, along.X).Times(1 / along.Norm()) // the lot lies to the left of its sides
		at := p.at(s.along(share))
		at = at.Add(outward.Times(p.bulge(s, at, outward, wide) + sideOff + size/2))
		l := paper.Label{Words: words, Size: size, Anchor: paper.AtMiddle, Angle: upright(along), Colour: darkGrey}
		l.At = at.Add(paper.At(0, (paper.Ascent-paper.Descent)/2*size).Turned(l.Angle))
		if pl.Free(l.Quad()) {
			p.Text(l)
			pl.Take(l.Quad())
			return
		}
	}
}

// bulge returns how far a curve comes out towards its figures, within their
// width, beyond the place they stand at.
func (p *painter) bulge(s side, at, outward paper.Vec, width float64) float64 {
	out := 0.0
	for _, c := range s.chords {
		if v := p.at(c.A.Vec()).Sub(at); math.Abs(v.Cross(outward)) < width/2 {
			out = max(out, v.Dot(outward))
		}
	}
	return out
}

// upright returns the angle of a direction, turned half round where text along
// it would stand on its head.
func upright(along paper.Vec) float64 {
	deg := math.Atan2(along.Y, along.X) * 180 / math.Pi
	switch {
	case deg > 90:
		return deg - 180
	case deg <= -90:
		return deg + 180
	}
	return deg
}
