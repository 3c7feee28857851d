package join

import (
	"math"

	"lotwright/importer"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// measure is what a parcel has of a feature.
type measure struct {
	share    float64 // of an area or of a line's length, 0 to 1; 0 for points
	distance float64 // of a point or line from the parcel, in mm; +Inf when it does not count
}

func (m measure) counts() bool {
	return m.share > 0 || m.distance <= SnapMetres*geom.MillimetresPerMetre
}

var nothing = measure{distance: math.Inf(1)}

// meter measures features against one parcel.
type meter struct {
	plane  project.Plane
	region geom.Region
	near   importer.Bounds // the parcel's bounds and a little more
}

// newMeter sets up a plane on the parcel; false when its outline is no area.
func newMeter(parcel importer.Feature, near importer.Bounds) (meter, bool) {
	m := meter{near: near, plane: project.NewPlane(near.Center())}
	if dLon, dLat := project.DegreesAround(near.Center()[1], mostExtent); near.Max[0]-near.Min[0] > dLon || near.Max[1]-near.Min[1] > dLat {
		return m, false
	}
	switch parcel.Geometry.Type {
	case importer.Polygon, importer.MultiPolygon:
		m.region = m.plane.Region(parcel.Geometry)
	}
	return m, len(m.region) > 0
}

// mostExtent bounds the width and height of a parcel, in metres, so that the
// plane's grid holds it.
const mostExtent = 3000

// measure measures one feature.
func (m meter) measure(x importer.Feature) measure {
	if _, bad := importer.FirstError(x.Findings); bad {
		return measure{share: 1} // whatever it is, it may lie here
	}
	g, _ := project.Cut(x.Geometry, m.near)
	switch x.Geometry.Type {
	case importer.Polygon, importer.MultiPolygon:
		return m.area(x.Geometry, g)
	case importer.LineString, importer.MultiLineString:
		return m.line(x.Geometry, g)
	}
	return m.point(g)
}

// area measures an area g, of which cut is near the parcel.
func (m meter) area(g, cut importer.Geometry) measure {
	shared := geom.Intersection(m.plane.Region(cut), m.region)
	area := shared.AreaM2()
	if area < SliverArea {
		return nothing
	}
	share := min(1, area/max(degreesArea(g), area))
	if share < DoubtfulShare && isSliver(shared) {
		return nothing
	}
	return measure{share: share}
}

// isSliver reports whether a region is nowhere wider than SliverWidthMM.
func isSliver(g geom.Region) bool {
	core, err := geom.Buffer(g, -SliverWidthMM/2, geom.MitreJoin)
	return err == nil && len(core) == 0
}

// line measures a line by the share of its length within half a wall's
// thickness of the parcel; what lies wholly outside counts by its distance.
func (m meter) line(g, cut importer.Geometry) measure {
	inside, nearest := 0.0, math.Inf(1)
	for _, part := range cut.Parts {
		line := m.plane.Line(part[0])
		for s := range line.Edges() {
			inside += m.lengthInside(s)
		}
		for _, p := range line {
			nearest = min(nearest, m.distance(p))
		}
	}
	if inside < 2*layout.WallThicknessMM {
		return measure{distance: nearest}
	}
	return measure{share: min(1, inside/max(m.length(g), inside))}
}

// lengthStep is the distance of the points at which a line is looked at, in mm.
const lengthStep = 250

// lengthInside returns the length of s that lies in the parcel, to a step.
func (m meter) lengthInside(s geom.Segment) float64 {
	n := 1 + int(s.LengthMM()/lengthStep)
	in := 0
	for k := range n {
		u := (float64(k) + 0.5) / float64(n)
		p := s.A.Vec().Add(s.B.Sub(s.A).Vec().Scale(u)).Round()
		if m.distance(p) <= layout.WallThicknessMM/2 {
			in++
		}
	}
	return s.LengthMM() * float64(in) / float64(n)
}

// length returns the length of a line geometry in mm.
func (m meter) length(g importer.Geometry) float64 {
	sum := 0.0
	for _, part := range g.Parts {
		for _, line := range part {
			sum += m.plane.Line(line).LengthMM()
		}
	}
	return sum
}

func (m meter) point(cut importer.Geometry) measure {
	nearest := math.Inf(1)
	for p := range cut.Positions {
		nearest = min(nearest, m.distance(m.plane.Point(p)))
	}
	return measure{distance: nearest}
}

// distance returns how far p lies outside the parcel, in mm.
func (m meter) distance(p geom.Point) float64 {
	if m.region.Has(p) {
		return 0
	}
	return m.region.DistanceMM(p)
}

// degreesArea returns the area of a geometry in m², roughly: in degrees shrunk
// by the cosine of the latitude, good to a hundredth for the shares it is for.
func degreesArea(g importer.Geometry) float64 {
	const metresPerDegree = 111_195 // of a sphere of the Earth's mean radius
	sum := 0.0
	for _, part := range g.Parts {
		for k, ring := range part {
			a := math.Abs(shoelace(ring))
			if k > 0 {
				a = -a
			}
			sum += a
		}
	}
	cos := math.Cos(g.Bounds().Center()[1] * math.Pi / 180)
	return sum * cos * metresPerDegree * metresPerDegree
}

func shoelace(ring []importer.Position) float64 {
	sum := 0.0
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		o := ring[0]
		sum += (p[0]-o[0])*(q[1]-o[1]) - (p[1]-o[1])*(q[0]-o[0])
	}
	return sum / 2
}
