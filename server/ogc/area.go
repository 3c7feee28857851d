package ogc

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/peterstace/simplefeatures/geom"
)

// area is what the parameter bbox asks for: a box or, across the meridian of 180°,
// two.
type area struct {
	system
	boxes []box
}

// area reads the parameters bbox and bbox-crs; without them there is none.
func (c call) area(x *index) (*area, error) {
	text, ok := c.query["bbox"]
	s, err := c.system("bbox-crs", x)
	if err != nil || !ok {
		return nil, err
	}
	b, err := parseBox(text)
	switch {
	case err != nil:
		return nil, badRequest("bbox: %v", err)
	case b.minY > b.maxY || b.minX > b.maxX && s.forward != nil:
		return nil, badRequest("bbox: got %q, whose lower corner is not the lower one", text)
	case b.minX > b.maxX:
		return &area{s, []box{{b.minX, b.minY, 180, b.maxY}, {-180, b.minY, b.maxX, b.maxY}}}, nil
	}
	return &area{s, []box{b}}, nil
}

// parseBox reads four numbers or, with heights that are passed over, six.
func parseBox(text string) (box, error) {
	var v []float64
	for field := range strings.SplitSeq(text, ",") {
		n, err := strconv.ParseFloat(strings.TrimSpace(field), 64)
		if err != nil || math.IsNaN(n) || math.IsInf(n, 0) || len(v) == 6 {
			return box{}, fmt.Errorf("got %q, want four numbers, or six with heights", text)
		}
		v = append(v, n)
	}
	switch len(v) {
	case 4:
		return box{v[0], v[1], v[2], v[3]}, nil
	case 6:
		return box{v[0], v[1], v[3], v[4]}, nil
	}
	return box{}, fmt.Errorf("got %d numbers, want four, or six with heights", len(v))
}

// verdict is what the bounds of a geometry say of its place.
type verdict int

const (
	outside verdict = iota
	inside
	perhaps // its positions must be looked at
)

// slack is what the side of a box in degrees may bulge in a grid: a chord of 5 km
// on a parallel, at latitudes that a grid is for, by less than 5 m.
const slack, mostSize = 5, 0.05 // metres, degrees

// judge tells what can be told from bounds. No geometry at all is everywhere
// (17-069r4, requirement /req/core/fc-bbox-response).
func (a *area) judge(b bounds) verdict {
	if !b.some() {
		return inside
	}
	west, south, east, north := b.degrees()
	of := box{west, south, east, north}
	if a.forward != nil {
		if east-west > mostSize || north-south > mostSize {
			return perhaps
		}
		of = a.around(of)
	}
	v := outside
	for _, q := range a.boxes {
		if q.around(of) {
			return inside
		}
		if !q.apart(of) {
			v = perhaps
		}
	}
	return v
}

// around is a box of the grid that holds all of a small one in degrees.
func (a *area) around(d box) box {
	x, y := a.forward(d.minX, d.minY)
	out := box{x, y, x, y}
	for _, corner := range [][2]float64{{d.minX, d.maxY}, {d.maxX, d.minY}, {d.maxX, d.maxY}} {
		out = out.grown(a.forward(corner[0], corner[1]))
	}
	return box{out.minX - slack, out.minY - slack, out.maxX + slack, out.maxY + slack}
}

// meets reports whether a geometry has a place in the area; edges count.
func (a *area) meets(e encoded) (bool, error) {
	if e.null() {
		return true, nil
	}
	text, err := a.appendGeometry(nil, e.geometry)
	if err != nil {
		return false, err
	}
	corner := false
	err = eachPosition(text, func(x, y float64, _, _ int) {
		for _, q := range a.boxes {
			corner = corner || q.holds(x, y)
		}
	})
	if err != nil || corner {
		return corner, err
	}
	shape, err := geom.UnmarshalGeoJSON(text, geom.NoValidate{})
	if err != nil {
		return false, err
	}
	for _, q := range a.boxes {
		if geom.Intersects(shape, geom.NewEnvelope(geom.XY{X: q.minX, Y: q.minY}, geom.XY{X: q.maxX, Y: q.maxY}).AsGeometry()) {
			return true, nil
		}
	}
	return false, nil
}
