package sight_test

import (
	"math"
	"math/rand/v2"
	"testing"

	sf "github.com/peterstace/simplefeatures/geom"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/geom"
	"lotwright/layout/sight"
)

func box(x0, y0, x1, y1 int64) geom.Region {
	return geom.Region{{{geom.Pt(x0, y0), geom.Pt(x1, y0), geom.Pt(x1, y1), geom.Pt(x0, y1)}}}
}

func TestReachClosedForms(t *testing.T) {
	room := box(-5000, -5000, 5000, 5000)
	pillared := geom.Difference(room, box(1000, -1000, 2000, 1000))
	cases := map[string]struct {
		region     geom.Region
		throw, min int64
		area       float64
	}{
		"nothing in the way":          {room, 3000, 0, 9 * math.Pi},
		"ring":                        {room, 3000, 1000, 8 * math.Pi},
		"throw beyond every corner":   {room, 8000, 0, 100},
		"square cut by the circle":    {room, 6000, 0, squareInCircle(5, 6)},
		"pillar casts a shadow":       {pillared, 100_000, 0, 100 - 2 - shadowBehind(1, 1, 2, 5)},
		"pillar beyond the throw":     {pillared, 1000, 0, math.Pi},
		"pillar and ring beyond it":   {pillared, 1000, 999, math.Pi * (1 - 0.999*0.999)},
		"dry middle larger than room": {room, 8000, 7500, 0},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			r := sight.NewField(c.region).From(geom.Pt(0, 0), c.throw, c.min)
			assert.InDelta(t, c.area, r.AreaM2(), 1e-9)
			assert.InDelta(t, c.area, sight.CoveredM2([]sight.Reach{r}), 1e-9)
		})
	}
}

// squareInCircle is the area of a square of half side a within a circle of
// radius r about its centre, a < r < a√2: the circle less four segments.
func squareInCircle(a, r float64) float64 {
	half := math.Acos(a / r)
	return math.Pi*r*r - 4*(r*r*half-a*math.Sqrt(r*r-a*a))
}

// shadowBehind is the lawn hidden behind a pillar that spans x0 to x1 and ±h
// in y, seen from the origin in a room whose far wall stands at x = w: the
// rays through its near corners bound a wedge of width 2·h/x0·x, less the
// pillar itself, and stop at the far wall.
func shadowBehind(x0, h, x1, w float64) float64 {
	slope := h / x0
	wedge := slope * (w*w - x0*x0)
	return wedge - (x1-x0)*2*h
}

func TestSeesIsExact(t *testing.T) {
	lawn := geom.Difference(box(-5000, -5000, 5000, 5000), box(1000, -1000, 2000, 1000))
	r := sight.NewField(lawn).From(geom.Pt(0, 0), 4000, 500)
	seen := map[geom.Point]bool{
		geom.Pt(1000, 0):      true,  // on the near face
		geom.Pt(1001, 0):      false, // inside the pillar
		geom.Pt(3000, 0):      false, // behind it
		geom.Pt(2500, 2500):   true,  // along the edge of the shadow
		geom.Pt(2500, 2499):   false, // a millimetre into it
		geom.Pt(2500, 2501):   true,
		geom.Pt(4000, 0):      false,
		geom.Pt(-4000, 0):     true,  // exactly the throw
		geom.Pt(-4000, 1):     false, // a hair more
		geom.Pt(-500, 0):      true,  // exactly the least throw
		geom.Pt(-499, 0):      false,
		geom.Pt(2400, 3200):   true, // 3-4-5 triangle: exactly 4 m
		geom.Pt(2401, 3200):   false,
		geom.Pt(-2400, -3200): true,
	}
	for p, want := range seen {
		assert.Equal(t, want, r.Sees(p), "%v", p)
	}
}

func TestHeadOutsideReachesNothing(t *testing.T) {
	f := sight.NewField(box(0, 0, 1000, 1000))
	for _, h := range []geom.Point{geom.Pt(2000, 0), geom.Pt(0, 500), geom.Pt(0, 0)} {
		r := f.From(h, 5000, 0)
		assert.Zero(t, r.AreaM2())
		assert.False(t, r.Sees(geom.Pt(500, 500)))
		assert.Empty(t, r.Outline(5))
	}
}

// TestSquareYard is the installer's first exercise (common practice, no
// source): how much of a square yard does one head in its middle reach? The
// shares follow from the closed form of squareInCircle: 99.06 % of a 45.5 ft
// yard at 30 ft (a 46 ft yard gives 98.75 %), all of it from 32.18 ft on.
func TestSquareYard(t *testing.T) {
	share := func(sideFeet, throwFeet float64) float64 {
		side := int64(math.Round(sideFeet*304.8)) / 2 * 2
		yard := sight.NewField(box(0, 0, side, side))
		r := yard.From(geom.Pt(side/2, side/2), int64(throwFeet*304.8), 0)
		return sight.CoveredM2([]sight.Reach{r}) / yard.Region().AreaM2()
	}
	assert.InDelta(t, squareInCircle(22.75, 30)/(45.5*45.5), share(45.5, 30), 0.0001)
	assert.InDelta(t, 0.9906, share(45.5, 30), 0.0001)
	assert.InDelta(t, 0.9875, share(46, 30), 0.0001)
	assert.InDelta(t, 1, share(45.5, 32.5), 1e-9)
	assert.Less(t, share(45.5, 32.1), 1.0)
	assert.InDelta(t, squareInCircle(22.75, 25)/(45.5*45.5), share(45.5, 25), 0.0001)
}

func TestCoveredCountsOverlapOnce(t *testing.T) {
	f := sight.NewField(box(-50_000, -50_000, 50_000, 50_000))
	lens := func(r, d float64) float64 {
		return 2*r*r*math.Acos(d/(2*r)) - d/2*math.Sqrt(4*r*r-d*d)
	}
	a, b := f.From(geom.Pt(0, 0), 9000, 0), f.From(geom.Pt(9000, 0), 9000, 0)
	assert.InDelta(t, 2*81*math.Pi-lens(9, 9), sight.CoveredM2([]sight.Reach{a, b}), 1e-6)
	assert.InDelta(t, 81*math.Pi, sight.CoveredM2([]sight.Reach{a, a, a}), 1e-6, "the same head three times")
	assert.Zero(t, sight.CoveredM2(nil))
}

// TestAgainstLibrary builds what a head reaches a second way, from a general
// overlay library (simplefeatures, a port of JTS): the lawn cut by the disc,
// less the shadow of every edge of the lawn. Areas must agree within 0.1 %.
func TestAgainstLibrary(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 60 {
		lawn := randomLawn(rng)
		field := sight.NewField(lawn)
		var reaches []sight.Reach
		union := sf.Geometry{}
		for len(reaches) < 4 {
			h := geom.Pt(rng.Int64N(40_000), rng.Int64N(40_000))
			if lawn.Locate(h) != geom.Interior {
				continue
			}
			r := field.From(h, 9144, 0)
			theirs := shadowed(t, lawn, h, 9144)
			require.InEpsilon(t, theirs.Area()/1e6, r.AreaM2(), 0.001, "head %v", h)
			require.InEpsilon(t, r.AreaM2(), sight.CoveredM2([]sight.Reach{r}), 1e-9)
			requireOutline(t, &r)
			reaches = append(reaches, r)
			u, err := sf.Union(union, theirs)
			require.NoError(t, err)
			union = u
		}
		require.InEpsilon(t, union.Area()/1e6, sight.CoveredM2(reaches), 0.001)
	}
}

// requireOutline checks the drawn outline against the exact area: chords lose
// at most a sagitta's worth along the circle.
func requireOutline(t *testing.T, r *sight.Reach) {
	t.Helper()
	area, pts := 0.0, r.Outline(5)
	for i, p := range pts {
		area += p.Cross(pts[(i+1)%len(pts)]) / 2e6
	}
	assert.InDelta(t, r.AreaM2(), area, 0.005*2*math.Pi*9.144)
	assert.LessOrEqual(t, area, r.AreaM2()+1e-6)
}

// randomLawn is a 40 m square with random houses and beds cut out of it.
func randomLawn(rng *rand.Rand) geom.Region {
	lawn := box(0, 0, 40_000, 40_000)
	for range 3 + rng.IntN(8) {
		c := geom.Pt(rng.Int64N(40_000), rng.Int64N(40_000))
		var ring geom.Ring
		n := 3 + rng.IntN(6)
		for i := range n {
			phi := 2 * math.Pi * (float64(i) + 0.7*rng.Float64()) / float64(n)
			r := 500 + 5000*rng.Float64()
			ring = append(ring, c.Add(geom.Vec{X: r * math.Cos(phi), Y: r * math.Sin(phi)}.Round()))
		}
		lawn = geom.Difference(lawn, geom.Normalize([]geom.Ring{ring}))
	}
	return lawn
}

func shadowed(t *testing.T, lawn geom.Region, h geom.Point, throw float64) sf.Geometry {
	t.Helper()
	disc, err := sf.Buffer(sf.NewPointXY(float64(h.X), float64(h.Y)).AsGeometry(), throw, sf.BufferQuadSegments(64))
	require.NoError(t, err)
	shadows := []sf.Geometry{}
	for s := range lawn.Edges() {
		if geom.Orient(s.A, s.B, h) == 0 {
			continue
		}
		far := func(v geom.Vec) (x, y float64) {
			v = v.Scale(200_000 / v.Norm())
			return float64(h.X) + v.X, float64(h.Y) + v.Y
		}
		a, b := s.A.Sub(h).Vec(), s.B.Sub(h).Vec()
		ax, ay := far(a)
		bx, by := far(b)
		// A third far corner between them, or a shadow of nearly half a turn
		// would end close behind its edge.
		mx, my := far(a.Scale(1 / a.Norm()).Add(b.Scale(1 / b.Norm())))
		shadows = append(shadows, sf.NewPolygonXY([]float64{
			float64(s.A.X), float64(s.A.Y), float64(s.B.X), float64(s.B.Y), bx, by, mx, my, ax, ay,
			float64(s.A.X), float64(s.A.Y)}).AsGeometry())
	}
	dark, err := sf.UnionMany(shadows)
	require.NoError(t, err)
	out, err := sf.Difference(disc, dark)
	require.NoError(t, err)
	return out
}

// TestSeesAgreesWithSegments compares the wedge look-up with the definition:
// the segment from head to point stays in the lawn.
func TestSeesAgreesWithSegments(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 8))
	checked := 0
	for range 40 {
		lawn := randomLawn(rng)
		field := sight.NewField(lawn)
		for range 20 {
			h := geom.Pt(rng.Int64N(40_000), rng.Int64N(40_000))
			if lawn.Locate(h) != geom.Interior {
				continue
			}
			r := field.From(h, 9144, 0)
			for range 50 {
				p := h.Add(geom.Pt(rng.Int64N(20_000)-10_000, rng.Int64N(20_000)-10_000))
				want := h.Within(p, 9144) && lawn.Has(p) && unobstructed(lawn, geom.Segment{A: h, B: p})
				require.Equal(t, want, r.Sees(p), "from %v to %v", h, p)
				checked++
			}
		}
	}
	assert.Greater(t, checked, 20_000)
}

func unobstructed(lawn geom.Region, s geom.Segment) bool {
	for e := range lawn.Edges() {
		if e.Crosses(s) {
			return false
		}
	}
	return true
}

// TestSightIsMutual: with equal throws, u sees v exactly when v sees u.
func TestSightIsMutual(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 21))
	for range 20 {
		lawn := randomLawn(rng)
		field := sight.NewField(lawn)
		var heads []geom.Point
		for len(heads) < 40 {
			if h := geom.Pt(rng.Int64N(400)*100, rng.Int64N(400)*100); lawn.Locate(h) == geom.Interior {
				heads = append(heads, h)
			}
		}
		for _, u := range heads {
			ru := field.From(u, 12_000, 0)
			for _, v := range heads {
				rv := field.From(v, 12_000, 0)
				require.Equal(t, ru.Sees(v), rv.Sees(u), "%v and %v", u, v)
			}
		}
	}
}

// TestAcrossPaving: a lawn cut by a straight path 1 m wide, 2 m east of the
// head. Allowed just the width, only the ray square to the path gets across;
// allowed more, a wedge does, whose half angle has cos = width ÷ allowance.
func TestAcrossPaving(t *testing.T) {
	yard := box(-9000, -9000, 9000, 9000)
	path := box(2000, -9000, 3000, 9000)
	lawn := geom.Difference(yard, path)
	plain := sight.NewField(lawn).From(geom.Pt(0, 0), 5000, 0)
	near := plain.AreaM2()
	halfDisc := func(d float64) float64 { // part of a 5 m disc beyond a line d from its centre
		return 25*math.Acos(d/5) - d*math.Sqrt(25-d*d)
	}
	require.InDelta(t, 25*math.Pi-halfDisc(2), near, 1e-9)
	for allowed, gain := range map[int64]float64{
		999:  0,
		1100: beyondWithin(3, 5, math.Acos(1/1.1)),
		1250: beyondWithin(3, 5, math.Acos(1/1.25)),
		9000: halfDisc(3),
	} {
		f := sight.NewFieldAcross(lawn, yard, allowed)
		r := f.From(geom.Pt(0, 0), 5000, 0)
		assert.InDelta(t, near+gain, f.CoveredWithinM2([]sight.Reach{r}), 0.001, "allowed %d", allowed)
		assert.Equal(t, gain > 0, r.Sees(geom.Pt(4000, 0)), "allowed %d", allowed)
		assert.True(t, r.Sees(geom.Pt(1999, 0)))
		assert.InDelta(t, 0, sight.CoveredM2([]sight.Reach{r})-r.AreaM2(), 1e-6)
	}
	walled := geom.Difference(yard, box(2400, -9000, 2500, 9000))
	f := sight.NewFieldAcross(lawn, walled, 9000)
	stopped := f.From(geom.Pt(0, 0), 5000, 0)
	assert.InDelta(t, near, stopped.AreaM2(), 0.001, "a wall on the path stops the throw")
}

// beyondWithin is the area beyond the line x = d, within a circle of radius r
// about the origin and the given angle of the x axis.
func beyondWithin(d, r, half float64) float64 {
	half = math.Min(half, math.Acos(d/r))
	return r*r*half - d*d*math.Tan(half)
}

func BenchmarkFrom(b *testing.B) {
	lawn := randomLawn(rand.New(rand.NewPCG(1, 2)))
	field := sight.NewField(lawn)
	h := geom.Pt(20_000, 20_000)
	for lawn.Locate(h) != geom.Interior {
		h.X += 500
	}
	b.ReportAllocs()
	for b.Loop() {
		field.From(h, 9144, 0)
	}
}

func BenchmarkCovered(b *testing.B) {
	lawn := randomLawn(rand.New(rand.NewPCG(1, 2)))
	field := sight.NewField(lawn)
	var reaches []sight.Reach
	for x := int64(5000); x < 40_000; x += 10_000 {
		for y := int64(5000); y < 40_000; y += 10_000 {
			reaches = append(reaches, field.From(geom.Pt(x, y), 9144, 0))
		}
	}
	for b.Loop() {
		sight.CoveredM2(reaches)
	}
}
