package assemble

import (
	"cmp"
	"math"
	"slices"

	"lotwright/importer"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// addLines adds what is drawn as lines: walls, thickened, and sleeves.
func (b *builder) addLines() {
	for _, x := range b.features {
		if !slices.Contains(lines, x.Geometry.Type) {
			continue
		}
		for _, part := range x.Geometry.Parts {
			if line, ok := b.line(x, part[0]); ok {
				b.addLine(x, line)
			}
		}
	}
	slices.SortFunc(b.lot.Sleeves, compareLines)
	b.lot.Sleeves = slices.CompactFunc(b.lot.Sleeves, slices.Equal[geom.Line])
}

func (b *builder) addLine(x importer.Feature, line geom.Line) {
	if x.Layer == layout.LayerSleeve {
		for _, piece := range clipLine(line, b.lot.Parcel) {
			b.lot.Sleeves = append(b.lot.Sleeves, oneDirection(piece))
		}
		return
	}
	wall := thickened(oneDirection(line))
	inside := geom.Intersection(wall, b.lot.Parcel)
	switch {
	case len(inside) == 0:
		b.findOf(x, b.at(outside(x), line[0]))
		return
	case b.leaves(line) && !x.Joined:
		b.findOf(x, b.at(importer.Warning("feature.clipped", "cut at the lot line"), inside[0][0][0]))
	}
	b.regions[x.Layer] = append(b.regions[x.Layer], inside)
}

// wallBends is how far the outline of a thickened wall may be smoothed where
// its pieces meet at an angle: a twentieth of its thickness.
var wallBends = geom.Simplification{MeanMM: 3, MostMM: layout.WallThicknessMM / 20}

// thickened gives a wall drawn as a line its thickness: the union of a
// rectangle for every piece, longer by half the thickness at both ends.
func thickened(line geom.Line) geom.Region {
	var rings []geom.Ring
	for s := range line.Edges() {
		rings = append(rings, plank(s))
	}
	wall := geom.Normalize(rings)
	if len(rings) == 1 {
		return wall
	}
	rings = rings[:0]
	for ring := range wall.Rings() {
		rings = append(rings, geom.Simplify(ring, wallBends))
	}
	return geom.Normalize(rings)
}

// plank is the rectangle of a piece of wall, counter-clockwise.
func plank(s geom.Segment) geom.Ring {
	along := s.B.Sub(s.A).Vec()
	along = along.Scale(layout.WallThicknessMM / 2 / along.Norm())
	across := geom.Vec{X: -along.Y, Y: along.X}
	a, b := s.A.Vec().Sub(along), s.B.Vec().Add(along)
	return geom.Ring{a.Sub(across).Round(), b.Sub(across).Round(), b.Add(across).Round(), a.Add(across).Round()}
}

// leaves reports whether a line goes further out of the parcel than a wall on
// the lot line would.
func (b *builder) leaves(line geom.Line) bool {
	return slices.ContainsFunc(line, func(p geom.Point) bool {
		return b.lot.Parcel.Locate(p) == geom.Outside && b.lot.Parcel.DistanceMM(p) > SnapMM
	})
}

// line puts a line into the plane, without repeated positions; ok is false
// when nothing is left of it.
func (b *builder) line(x importer.Feature, positions []importer.Position) (geom.Line, bool) {
	if len(positions) < 2 {
		b.findOf(x, importer.Fault("line.too_few", "a line has fewer than 2 positions"))
		return nil, false
	}
	line := slices.Compact(b.plane.Line(positions))
	if len(line) < 2 {
		b.findOf(x, importer.Warning("feature.empty_dropped", "a line without length was left out").At(positions[0]))
		return nil, false
	}
	return line, true
}

// oneDirection runs a line from the lesser of its ends.
func oneDirection(l geom.Line) geom.Line {
	reversed := slices.Clone(l)
	slices.Reverse(reversed)
	if compareLines(reversed, l) < 0 {
		return reversed
	}
	return l
}

func compareLines(l, m geom.Line) int { return slices.CompareFunc(l, m, geom.Point.Compare) }

// clipLine returns the pieces of l that lie in g.
func clipLine(l geom.Line, g geom.Region) []geom.Line {
	var pieces []geom.Line
	var piece geom.Line
	end := func() {
		if len(piece) > 1 {
			pieces = append(pieces, piece)
		}
		piece = nil
	}
	for s := range l.Edges() {
		at := stops(s, g)
		for k := 1; k < len(at); k++ {
			if !g.Has(middle(at[k-1], at[k])) {
				end()
				continue
			}
			if len(piece) == 0 {
				piece = geom.Line{at[k-1]}
			}
			piece = append(piece, at[k])
		}
	}
	end()
	return pieces
}

// stops returns the ends of s and the places between where it meets an edge of
// g, in order.
func stops(s geom.Segment, g geom.Region) []geom.Point {
	at := []geom.Point{s.A, s.B}
	for t := range g.Edges() {
		if p, ok := meeting(s, t); ok {
			at = append(at, p)
		}
	}
	d := s.B.Sub(s.A)
	slices.SortFunc(at, func(p, q geom.Point) int {
		return cmp.Or(cmp.Compare(p.Sub(s.A).Dot(d), q.Sub(s.A).Dot(d)), p.Compare(q))
	})
	return slices.Compact(at)
}

// meeting returns the grid point nearest to where s and t meet, if they do.
func meeting(s, t geom.Segment) (geom.Point, bool) {
	if !s.Touches(t) {
		return geom.Point{}, false
	}
	d, e := s.B.Sub(s.A), t.B.Sub(t.A)
	den := float64(d.Cross(e))
	if den == 0 {
		return t.A, s.Has(t.A)
	}
	u := float64(t.A.Sub(s.A).Cross(e)) / den
	return geom.Pt(s.A.X+int64(math.Round(u*float64(d.X))), s.A.Y+int64(math.Round(u*float64(d.Y)))), true
}

func middle(p, q geom.Point) geom.Point { return geom.Pt((p.X+q.X)/2, (p.Y+q.Y)/2) }
