package geom_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/geom"
)

// The predicates promise integer exactness up to MaxCoord. Here they are asked
// at the very edge of that range and compared with unbounded integers and
// fractions (math/big), written from the definitions and not from the code.

func rat(v int64) *big.Rat { return new(big.Rat).SetInt64(v) }

func sub(a, b *big.Rat) *big.Rat { return new(big.Rat).Sub(a, b) }
func mul(a, b *big.Rat) *big.Rat { return new(big.Rat).Mul(a, b) }
func add(a, b *big.Rat) *big.Rat { return new(big.Rat).Add(a, b) }

// bigCross is (b−a) × (c−a).
func bigCross(a, b, c geom.Point) *big.Rat {
	return sub(
		mul(sub(rat(b.X), rat(a.X)), sub(rat(c.Y), rat(a.Y))),
		mul(sub(rat(b.Y), rat(a.Y)), sub(rat(c.X), rat(a.X))))
}

// bigDist2 is the squared distance from p to the segment a–b, as a fraction:
// to the foot of the perpendicular where that lies on the segment.
func bigDist2(a, b, p geom.Point) *big.Rat {
	dx, dy := sub(rat(b.X), rat(a.X)), sub(rat(b.Y), rat(a.Y))
	vx, vy := sub(rat(p.X), rat(a.X)), sub(rat(p.Y), rat(a.Y))
	len2 := add(mul(dx, dx), mul(dy, dy))
	t := new(big.Rat)
	if len2.Sign() > 0 {
		t.Quo(add(mul(vx, dx), mul(vy, dy)), len2)
	}
	if t.Sign() < 0 {
		t.SetInt64(0)
	} else if t.Cmp(rat(1)) > 0 {
		t.SetInt64(1)
	}
	ex, ey := sub(vx, mul(t, dx)), sub(vy, mul(t, dy))
	return add(mul(ex, ex), mul(ey, ey))
}

// farPoint is a point of any kind: anywhere in range, or within a few
// millimetres of its border.
func farPoint(rng *rand.Rand) geom.Point {
	coordinate := func() int64 {
		switch rng.IntN(4) {
		case 0:
			return geom.MaxCoord - rng.Int64N(3)
		case 1:
			return -geom.MaxCoord + rng.Int64N(3)
		case 2:
			return rng.Int64N(9) - 4
		}
		return rng.Int64N(2*geom.MaxCoord+1) - geom.MaxCoord
	}
	return geom.Pt(coordinate(), coordinate())
}

// nearLine is a point within about a millimetre of the line through a and b,
// or, one time in four, anywhere.
func nearLine(rng *rand.Rand, a, b geom.Point) geom.Point {
	if rng.IntN(4) == 0 {
		return farPoint(rng)
	}
	t := rng.Float64()
	p := a.Vec().Add(b.Sub(a).Vec().Scale(t)).Round()
	return geom.Pt(p.X+rng.Int64N(3)-1, p.Y+rng.Int64N(3)-1)
}

func TestOrientationIsExactAtTheLimit(t *testing.T) {
	rng := rand.New(rand.NewPCG(101, 1))
	count := map[int]int{}
	for range 20_000 {
		a, b := farPoint(rng), farPoint(rng)
		c := nearLine(rng, a, b)
		want := bigCross(a, b, c).Sign()
		count[want]++
		require.Equal(t, want, geom.Orient(a, b, c), "%v %v %v", a, b, c)
		require.Equal(t, -want, geom.Orient(b, a, c), "%v %v %v", a, b, c)
		require.Equal(t, want == 0 && bigDist2(a, b, c).Sign() == 0, geom.Segment{A: a, B: b}.Has(c))
	}
	for _, s := range []int{-1, 0, 1} {
		assert.Greater(t, count[s], 500, "side %d must be tried", s)
	}
}

func TestRangesAreExactAtTheLimit(t *testing.T) {
	rng := rand.New(rand.NewPCG(101, 2))
	yes := 0
	for range 20_000 {
		a, b := farPoint(rng), farPoint(rng)
		p := nearLine(rng, a, b)
		s := geom.Segment{A: a, B: b}
		d2 := bigDist2(a, b, p)
		f, _ := d2.Float64()
		// The limits that matter are those next to the distance itself.
		for _, limit := range []int64{0, int64(math.Sqrt(f)), int64(math.Sqrt(f)) + 1, 9144, 2 * geom.MaxCoord} {
			beyond := d2.Cmp(mul(rat(limit), rat(limit)))
			want := beyond <= 0
			require.Equal(t, want, s.WithinOf(p, limit), "%v to %v within %d", s, p, limit)
			require.Equal(t, beyond < 0, s.NearerThan(p, limit), "%v to %v nearer than %d", s, p, limit)
			if want {
				yes++
			}
			require.Equal(t, bigDist2(a, a, p).Cmp(mul(rat(limit), rat(limit))) <= 0, a.Within(p, limit))
		}
		require.InDelta(t, math.Sqrt(f), s.DistanceMM(p), 1e-3)
	}
	assert.Greater(t, yes, 10_000)
}

// TestRangeOfRightTriangles takes distances that are whole: the foot of the
// height of a 3-4-5 triangle with sides 15k, 20k, 25k lies 12k from its corner.
func TestRangeOfRightTriangles(t *testing.T) {
	for _, k := range []int64{1, 77, 5000, geom.MaxCoord / 20} {
		s := geom.Segment{A: geom.Pt(15*k, 0), B: geom.Pt(0, 20*k)}
		origin := geom.Pt(0, 0)
		assert.True(t, s.WithinOf(origin, 12*k))
		assert.False(t, s.WithinOf(origin, 12*k-1))
		assert.False(t, s.NearerThan(origin, 12*k))
		assert.True(t, s.NearerThan(origin, 12*k+1))
		assert.Equal(t, float64(12*k), s.DistanceMM(origin))
	}
}

// meeting says how two segments meet, worked out in fractions: whether they
// have a point in common, and whether they cross inside both.
func meeting(s, t geom.Segment) (touch, cross bool) {
	d := sub(
		mul(rat(s.B.X-s.A.X), rat(t.B.Y-t.A.Y)),
		mul(rat(s.B.Y-s.A.Y), rat(t.B.X-t.A.X)))
	if d.Sign() == 0 {
		for _, end := range []struct {
			p    geom.Point
			a, b geom.Point
		}{{s.A, t.A, t.B}, {s.B, t.A, t.B}, {t.A, s.A, s.B}, {t.B, s.A, s.B}} {
			touch = touch || bigDist2(end.a, end.b, end.p).Sign() == 0
		}
		return touch, false
	}
	u := new(big.Rat).Quo(sub(
		mul(rat(t.A.X-s.A.X), rat(t.B.Y-t.A.Y)),
		mul(rat(t.A.Y-s.A.Y), rat(t.B.X-t.A.X))), d)
	v := new(big.Rat).Quo(sub(
		mul(rat(t.A.X-s.A.X), rat(s.B.Y-s.A.Y)),
		mul(rat(t.A.Y-s.A.Y), rat(s.B.X-s.A.X))), d)
	one := rat(1)
	in := func(w *big.Rat) bool { return w.Sign() >= 0 && w.Cmp(one) <= 0 }
	inside := func(w *big.Rat) bool { return w.Sign() > 0 && w.Cmp(one) < 0 }
	return in(u) && in(v), inside(u) && inside(v)
}

func TestMeetingSegments(t *testing.T) {
	rng := rand.New(rand.NewPCG(101, 3))
	small := func() geom.Point { return geom.Pt(rng.Int64N(5), rng.Int64N(5)) }
	draw := []func() (s, t geom.Segment){
		func() (s, t geom.Segment) { // every degenerate contact
			return geom.Segment{A: small(), B: small()}, geom.Segment{A: small(), B: small()}
		},
		func() (s, t geom.Segment) { // long ones that pass each other's ends closely
			s = geom.Segment{A: farPoint(rng), B: farPoint(rng)}
			return s, geom.Segment{A: nearLine(rng, s.A, s.B), B: farPoint(rng)}
		},
	}
	touching, crossing := 0, 0
	for i := range 30_000 {
		s, u := draw[i%2]()
		touch, cross := meeting(s, u)
		require.Equal(t, touch, s.Touches(u), "%v %v", s, u)
		require.Equal(t, touch, u.Touches(s), "%v %v", s, u)
		require.Equal(t, cross, s.Crosses(u), "%v %v", s, u)
		if touch {
			touching++
		}
		if cross {
			crossing++
		}
	}
	assert.Greater(t, touching, 5000)
	assert.Greater(t, crossing, 1000)
}

func TestNearestPointOfASegment(t *testing.T) {
	rng := rand.New(rand.NewPCG(101, 4))
	for range 10_000 {
		s := geom.Segment{A: farPoint(rng), B: farPoint(rng)}
		p := nearLine(rng, s.A, s.B)
		q := s.Nearest(p)
		halfDiagonal := math.Sqrt2/2 + 1e-6 // of a grid cell
		require.LessOrEqual(t, s.DistanceMM(q), halfDiagonal, "%v is on %v", q, s)
		require.LessOrEqual(t, q.DistanceMM(p), s.DistanceMM(p)+halfDiagonal, "%v is the nearest to %v", q, p)
	}
}

// whereabouts decides the place of p by a ray straight up, in fractions.
func whereabouts(g geom.Region, p geom.Point) geom.Place {
	above := 0
	for s := range g.Edges() {
		if bigDist2(s.A, s.B, p).Sign() == 0 {
			return geom.Boundary
		}
		left, right := s.A, s.B
		if left.X > right.X {
			left, right = right, left
		}
		if left.X <= p.X && p.X < right.X {
			t := new(big.Rat).Quo(rat(p.X-left.X), rat(right.X-left.X))
			y := add(rat(left.Y), mul(t, rat(right.Y-left.Y)))
			if y.Cmp(rat(p.Y)) > 0 {
				above++
			}
		}
	}
	if above%2 == 1 {
		return geom.Interior
	}
	return geom.Outside
}

func TestLocateIsExact(t *testing.T) {
	rng := rand.New(rand.NewPCG(101, 5))
	count := map[geom.Place]int{}
	for i := range 300 {
		var r geom.Ring
		for range 3 + rng.IntN(9) {
			if i%2 == 0 {
				r = append(r, farPoint(rng))
			} else {
				r = append(r, geom.Pt(rng.Int64N(12), rng.Int64N(12)))
			}
		}
		g := geom.Normalize([]geom.Ring{r})
		if len(g) == 0 {
			continue
		}
		var edges []geom.Segment
		for s := range g.Edges() {
			edges = append(edges, s)
		}
		for range 60 {
			s := edges[rng.IntN(len(edges))]
			p := nearLine(rng, s.A, s.B)
			want := whereabouts(g, p)
			count[want]++
			require.Equal(t, want, g.Locate(p), "%v in %v", p, g)
			require.Equal(t, want != geom.Outside, g.Has(p))
		}
	}
	for _, place := range []geom.Place{geom.Outside, geom.Boundary, geom.Interior} {
		assert.Greater(t, count[place], 800, "place %d must be tried", place)
	}
}

func TestAreasAtTheLimit(t *testing.T) {
	const m = geom.MaxCoord
	whole := box(-m, -m, m, m)
	assert.Equal(t, int64(2*4*m*m), whole.Area2())
	assert.InEpsilon(t, 4*float64(m)*m/1e6, whole.AreaM2(), 1e-12)
	assert.Equal(t, -whole[0][0].Area2(), whole[0][0].Reversed().Area2())
	assert.Equal(t, whole, geom.Union(whole, box(0, 0, m, m)))
	half := geom.Intersection(whole, geom.Region{{{geom.Pt(-m, -m), geom.Pt(m, -m), geom.Pt(m, m)}}})
	assert.Equal(t, whole.Area2()/2, half.Area2())
}

func TestEdgeWithin(t *testing.T) {
	rng := rand.New(rand.NewPCG(101, 6))
	for range 200 {
		g := randomStar(rng)
		if len(g) == 0 {
			continue
		}
		for range 20 {
			p := geom.Pt(rng.Int64N(24_000)-8000, rng.Int64N(24_000)-8000)
			least := math.Inf(1)
			for s := range g.Edges() {
				d2, _ := bigDist2(s.A, s.B, p).Float64()
				least = min(least, math.Sqrt(d2))
			}
			require.InDelta(t, least, g.DistanceMM(p), 1e-6)
			require.True(t, g.EdgeWithin(p, int64(math.Ceil(least+1e-6))))
			require.True(t, g.EdgeNearerThan(p, int64(math.Floor(least+1e-6))+1))
			require.False(t, g.EdgeNearerThan(p, int64(math.Floor(least-1e-6))))
			require.False(t, least > 1 && g.EdgeWithin(p, int64(math.Floor(least-1e-6))))
		}
	}
	assert.True(t, math.IsInf(geom.Region(nil).DistanceMM(geom.Pt(0, 0)), 1))
	assert.False(t, geom.Region(nil).EdgeWithin(geom.Pt(0, 0), math.MaxInt32))
}
