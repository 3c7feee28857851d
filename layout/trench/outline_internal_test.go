package trench

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout"
	"lotwright/layout/geom"
)

func seg(x0, y0, x1, y1 int64) geom.Segment {
	return geom.Segment{A: geom.Pt(x0, y0), B: geom.Pt(x1, y1)}
}

// notched is a square of 100 with a notch down to (50, 50) from the top.
var notched = geom.Region{{{geom.Pt(0, 0), geom.Pt(100, 0), geom.Pt(100, 100), geom.Pt(50, 50), geom.Pt(0, 100)}}}

func TestCovered(t *testing.T) {
	cases := map[string]struct {
		s    geom.Segment
		want []span
	}{
		"right through":                      {seg(-100, 20, 300, 20), []span{{0.25, 0.5}}},
		"inside":                             {seg(10, 10, 90, 10), []span{{0, 1}}},
		"outside":                            {seg(-10, -10, 110, -10), nil},
		"from the edge inward":               {seg(0, 20, 50, 20), []span{{0, 1}}},
		"from the edge outward":              {seg(0, 20, -50, 20), nil},
		"along an edge":                      {seg(0, 0, 100, 0), nil},
		"along an edge and beyond it":        {seg(-50, 0, 150, 0), nil},
		"past a corner":                      {seg(-10, 10, 10, -10), nil},
		"in at a corner":                     {seg(-50, -50, 50, 50), []span{{0.5, 1}}},
		"touching the notch from inside":     {seg(0, 50, 100, 50), []span{{0, 1}}},
		"over the notch":                     {seg(0, 75, 100, 75), []span{{0, 0.25}, {0.75, 1}}},
		"from corner to corner under it":     {seg(0, 0, 100, 100), []span{{0, 0.5}}},
		"along the notch's edge from inside": {seg(0, 0, 75, 75), []span{{0, 2.0 / 3}}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			o := newOutline(notched)
			assert.Equal(t, c.want, o.covered(c.s, nil))
			var mirrored []span
			for _, w := range c.want {
				mirrored = append([]span{{1 - w.hi, 1 - w.lo}}, mirrored...)
			}
			got := o.covered(geom.Segment{A: c.s.B, B: c.s.A}, nil)
			assert.Len(t, got, len(mirrored))
			for i := range got {
				assert.InDelta(t, mirrored[i].lo, got[i].lo, 1e-15)
				assert.InDelta(t, mirrored[i].hi, got[i].hi, 1e-15)
			}
		})
	}
}

func TestCoveredBySeveralPolygons(t *testing.T) {
	// The nearer one comes second, and the two meet at (100, 100).
	o := newOutline(geom.Region{
		{{geom.Pt(100, 100), geom.Pt(200, 100), geom.Pt(200, 200), geom.Pt(100, 200)}},
		{{geom.Pt(0, 0), geom.Pt(100, 0), geom.Pt(100, 100), geom.Pt(0, 100)}},
		{{geom.Pt(0, 150), geom.Pt(50, 150), geom.Pt(50, 200), geom.Pt(0, 200)}},
	})
	assert.Equal(t, []span{{0, 1}}, o.covered(seg(0, 0, 200, 200), nil))
	assert.Equal(t, []span{{0, 0.25}, {0.5, 1}}, o.covered(seg(0, 160, 200, 160), nil))
	assert.Equal(t, []span{{0, 0.5}, {0.75, 1}}, o.covered(seg(200, 160, 0, 160), nil))
}

// On a small grid segments meet corners and edges all the time; the middle of
// each stretch between two events is asked where it lies.
func TestCoveredAgainstPoints(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	const side, fine = 6, 5040
	for range 3000 {
		var ring geom.Ring
		for range 3 + rng.IntN(5) {
			ring = append(ring, geom.Pt(rng.Int64N(side), rng.Int64N(side)))
		}
		g := geom.NormalizeEvenOdd([]geom.Ring{ring})
		s := seg(rng.Int64N(side), rng.Int64N(side), rng.Int64N(side), rng.Int64N(side))
		if len(g) == 0 || s.A == s.B {
			continue
		}
		// The same, fine times as large, has grid points to ask.
		var large geom.Region
		for _, poly := range g {
			var p geom.Polygon
			for _, r := range poly {
				var q geom.Ring
				for _, v := range r {
					q = append(q, geom.Pt(v.X*fine, v.Y*fine))
				}
				p = append(p, q)
			}
			large = append(large, p)
		}
		spans := newOutline(g).covered(s, nil)
		d := s.B.Sub(s.A)
		for k := int64(0); k <= fine; k += 7 {
			at := geom.Pt(s.A.X*fine+d.X*k, s.A.Y*fine+d.Y*k)
			share, in := float64(k)/fine, false
			for _, w := range spans {
				in = in || w.lo < share-1e-9 && share+1e-9 < w.hi
			}
			if place := large.Locate(at); place == geom.Interior && share > 0 && share < 1 {
				inOrAtEnd := in
				for _, w := range spans {
					inOrAtEnd = inOrAtEnd || math.Abs(w.lo-share) <= 1e-9 || math.Abs(w.hi-share) <= 1e-9
				}
				assert.True(t, inOrAtEnd, "%v of %v in %v", share, s, g)
			} else if place == geom.Outside {
				assert.False(t, in, "%v of %v in %v", share, s, g)
			}
		}
	}
}

func TestFan(t *testing.T) {
	o := newOutline(notched)
	cases := map[string]struct {
		at, toward geom.Point
		want       geom.Place
	}{
		"from inside":              {geom.Pt(20, 20), geom.Pt(1, 0), geom.Interior},
		"from outside":             {geom.Pt(-1, 20), geom.Pt(1, 0), geom.Outside},
		"in from an edge":          {geom.Pt(0, 20), geom.Pt(1, 3), geom.Interior},
		"out from an edge":         {geom.Pt(0, 20), geom.Pt(-1, 3), geom.Outside},
		"along an edge":            {geom.Pt(0, 20), geom.Pt(0, -1), geom.Boundary},
		"into a corner":            {geom.Pt(0, 0), geom.Pt(1, 1), geom.Interior},
		"out of a corner":          {geom.Pt(0, 0), geom.Pt(1, -1), geom.Outside},
		"along a corner's edge":    {geom.Pt(0, 0), geom.Pt(0, 7), geom.Boundary},
		"up the notch":             {geom.Pt(50, 50), geom.Pt(0, 1), geom.Outside},
		"beside the notch":         {geom.Pt(50, 50), geom.Pt(1, 0), geom.Interior},
		"down from the notch":      {geom.Pt(50, 50), geom.Pt(0, -1), geom.Interior},
		"along the notch":          {geom.Pt(50, 50), geom.Pt(3, 3), geom.Boundary},
		"in line, the other way":   {geom.Pt(50, 50), geom.Pt(-3, -3), geom.Interior},
		"straight on past an edge": {geom.Pt(100, 0), geom.Pt(1, 0), geom.Outside},
	}
	for name, c := range cases {
		assert.Equal(t, c.want, o.around(c.at).toward(c.toward), name)
	}
}

func TestFanWhereTwoShellsTouch(t *testing.T) {
	o := newOutline(geom.Region{
		{{geom.Pt(0, 0), geom.Pt(10, 0), geom.Pt(10, 10), geom.Pt(0, 10)}},
		{{geom.Pt(10, 10), geom.Pt(20, 10), geom.Pt(20, 20), geom.Pt(10, 20)}},
	})
	f := o.around(geom.Pt(10, 10))
	assert.Equal(t, geom.Interior, f.toward(geom.Pt(1, 1)))
	assert.Equal(t, geom.Interior, f.toward(geom.Pt(-1, -1)))
	assert.Equal(t, geom.Outside, f.toward(geom.Pt(-1, 1)))
	assert.Equal(t, geom.Outside, f.toward(geom.Pt(1, -1)))
}

func TestObstructs(t *testing.T) {
	o := newOutline(notched)
	assert.True(t, o.obstructs(seg(0, 75, 100, 75)), "crosses the notch")
	assert.True(t, o.obstructs(seg(0, 50, 100, 50)), "passes its tip")
	assert.False(t, o.obstructs(seg(0, 40, 100, 40)))
	assert.False(t, o.obstructs(seg(0, 100, 50, 50)), "along its edge")
	assert.False(t, o.obstructs(seg(0, 50, 50, 50)), "as far as its tip")
}

// What is widened holds every point within the distance, to a millimetre, and
// none beyond 1/cos 15° of it.
func TestWidened(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	for range 100 {
		var ring geom.Ring
		for range 3 + rng.IntN(6) {
			ring = append(ring, geom.Pt(rng.Int64N(4000), rng.Int64N(4000)))
		}
		g := geom.NormalizeEvenOdd([]geom.Ring{ring})
		if len(g) == 0 {
			continue
		}
		wide := newOutline(widened(g, 300))
		for range 300 {
			p := geom.Pt(rng.Int64N(6000)-1000, rng.Int64N(6000)-1000)
			switch mm := g.DistanceMM(p); {
			case g.Has(p) || mm < 299:
				assert.NotEqual(t, geom.Outside, wide.region.Locate(p), "%v, %v mm from %v", p, mm, g)
			case mm > 300/math.Cos(math.Pi/12)+1:
				assert.NotEqual(t, geom.Interior, wide.region.Locate(p), "%v, %v mm from %v", p, mm, g)
			}
		}
	}
	square := geom.Region{{{geom.Pt(0, 0), geom.Pt(1000, 0), geom.Pt(1000, 1000), geom.Pt(0, 1000)}}}
	assert.Len(t, widened(square, 300)[0][0], 12, "three corners for each")
	assert.Equal(t, square, widened(square, 0))
	assert.Empty(t, widened(nil, 300))
}

func TestCoarsened(t *testing.T) {
	for _, radius := range []int64{300, 2000, 6000} {
		disc, err := geom.Disc(geom.Pt(7, -9), radius)
		assert.NoError(t, err)
		coarse := coarsened(disc, 100)
		corners := len(coarse[0][0])
		assert.Less(t, corners, len(disc[0][0])/2, "radius %d", radius)
		assert.Less(t, geom.Region(geom.Difference(disc, coarse)).AreaM2(), 0.01, "what is lost is rounding")
		for _, p := range coarse[0][0] {
			assert.LessOrEqual(t, disc.DistanceMM(p), 102.0)
		}
	}
	// Square corners and notches stay.
	assert.Equal(t, geom.Union(notched), coarsened(notched, 20))
	big := geom.Region{{{geom.Pt(0, 0), geom.Pt(9000, 0), geom.Pt(9000, 9000), geom.Pt(4500, 4500), geom.Pt(0, 9000)}}}
	assert.Equal(t, geom.Union(big), coarsened(big, 100))
}

func TestCoarsenedLosesNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for range 200 {
		var ring geom.Ring
		for i := range 60 {
			r := 1000 + 80*rng.Float64()
			sin, cos := math.Sincos(math.Pi * float64(i) / 30)
			ring = append(ring, geom.Vec{X: r * cos, Y: r * sin}.Round())
		}
		g := geom.Normalize([]geom.Ring{ring})
		// Corners are rounded: a strip of a millimetre all round at most.
		assert.Less(t, geom.Difference(g, coarsened(g, 100)).AreaM2(), 0.002)
	}
}

func TestTreesTakeFewCorners(t *testing.T) {
	disc, err := geom.Disc(geom.Pt(5000, 5000), 2000)
	assert.NoError(t, err)
	square := geom.Region{{{geom.Pt(0, 0), geom.Pt(10000, 0), geom.Pt(10000, 10000), geom.Pt(0, 10000)}}}
	g := newGround(&layout.Lot{Parcel: square, RootZone: disc}, Settings{})
	assert.Less(t, len(g.roots.parts[0].edges), 16)
}

func TestRailStandsOffThePaving(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for range 2000 {
		e := seg(rng.Int64N(5000), rng.Int64N(5000), rng.Int64N(5000), rng.Int64N(5000))
		if e.A == e.B {
			continue
		}
		r := rail{edge: e}
		assert.Equal(t, e.A, r.at())
		r.mm = rng.Int64N(r.length() + 1)
		p := r.at()
		assert.LessOrEqual(t, geom.Orient(e.A, e.B, p), 0)
		assert.LessOrEqual(t, e.DistanceMM(p), math.Sqrt2+1e-9)
		assert.InDelta(t, float64(r.mm), e.A.DistanceMM(p), 1.5)
		r.mm = r.length()
		assert.Equal(t, e.B, r.at())
	}
}

func TestPlacesHaveALimit(t *testing.T) {
	var ring geom.Ring
	for i := range 3000 {
		sin, cos := math.Sincos(math.Pi * float64(i) / 1500)
		r := 5000 + 100*float64(i%2)
		ring = append(ring, geom.Vec{X: r * cos, Y: r * sin}.Round())
	}
	g := &ground{paving: newOutline(geom.Region{{ring}}), roots: newOutline(nil)}
	assert.LessOrEqual(t, len(g.rails(nil)), mostRails)
	assert.Greater(t, len(g.rails(nil)), mostRails/2)
}
