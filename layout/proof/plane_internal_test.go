package proof

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout/geom"
)

// The kernel that the rest of the program uses was written apart from this
// package, and must agree.
func TestNearerAgreesWithTheKernel(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	met := map[bool]int{}
	for range 20_000 {
		span := int64(10) << r.IntN(18)
		a, b, p := randomPoint(r, span), randomPoint(r, span), randomPoint(r, span)
		limit := r.Int64N(2 * span)
		want := geom.Segment{A: geom.Pt(a.x, a.y), B: geom.Pt(b.x, b.y)}.NearerThan(geom.Pt(p.x, p.y), limit)
		assert.Equal(t, want, segment{a, b}.nearer(p, limit), "%v %v %d", segment{a, b}, p, limit)
		met[want]++
	}
	assert.Greater(t, min(met[true], met[false]), 1000)
}

func TestNearerAtTheLimit(t *testing.T) {
	s := segment{point{0, 0}, point{4_000_000, 3_000_000}}
	// (−3, 4)·k is at right angles to s, 5k from it.
	p := point{2_000_000 - 3*100, 1_500_000 + 4*100}
	assert.False(t, s.nearer(p, 500))
	assert.True(t, s.nearer(p, 501))
	assert.True(t, s.nearer(point{p.x + 1, p.y}, 500))
	assert.False(t, s.nearer(point{-300, -400}, 500)) // about an end
	assert.True(t, s.nearer(point{-300, -399}, 500))
	assert.False(t, s.nearer(point{0, 0}, 0))
}

func TestEntered(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	met := map[bool]int{}
	for range 20_000 {
		b, s := randomBox(r, 6, 6), segment{randomPoint(r, 12), randomPoint(r, 12)}
		want := insideFor(b, s)
		assert.Equal(t, want, b.entered(s), "%v %v", b, s)
		met[want]++
	}
	assert.Greater(t, min(met[true], met[false]), 1000)
}

// insideFor narrows down the open stretch of s that lies within the four sides.
func insideFor(b box, s segment) bool {
	from, to := big.NewRat(0, 1), big.NewRat(1, 1)
	strictly := false // the stretch lost an end to a side, or has none to lose
	for _, side := range []struct{ at, step int64 }{
		{s.a.x - b.min.x, s.b.x - s.a.x}, {b.max.x - s.a.x, s.a.x - s.b.x},
		{s.a.y - b.min.y, s.b.y - s.a.y}, {b.max.y - s.a.y, s.a.y - s.b.y},
	} { // at + t·step > 0
		switch {
		case side.step == 0 && side.at <= 0:
			return false
		case side.step > 0:
			if t := big.NewRat(-side.at, side.step); t.Cmp(from) >= 0 {
				from, strictly = t, true
			}
		case side.step < 0:
			if t := big.NewRat(-side.at, side.step); t.Cmp(to) <= 0 {
				to, strictly = t, true
			}
		}
	}
	if strictly {
		return from.Cmp(to) < 0
	}
	return true
}

func TestCrosses(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	met := map[bool]int{}
	for range 20_000 {
		s, u := segment{randomPoint(r, 5), randomPoint(r, 5)}, segment{randomPoint(r, 5), randomPoint(r, 5)}
		want := geom.Segment{A: geom.Pt(s.a.x, s.a.y), B: geom.Pt(s.b.x, s.b.y)}.Crosses(geom.Segment{A: geom.Pt(u.a.x, u.a.y), B: geom.Pt(u.b.x, u.b.y)})
		assert.Equal(t, want, s.crosses(u), "%v %v", s, u)
		met[want]++
	}
	assert.Greater(t, min(met[true], met[false]), 1000)
}

func TestHalvesCoverAndShrink(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	for range 1000 {
		b := randomBox(r, maxCoord/2, int64(1)<<r.IntN(21))
		depth := 0
		for {
			first, second, ok := b.halves()
			if !ok {
				assert.Equal(t, point{1, 1}, b.max.minus(b.min))
				break
			}
			assert.Equal(t, b, box{first.min, second.max})
			if first.max.x == second.min.x {
				assert.Equal(t, [2]int64{b.min.y, b.max.y}, [2]int64{second.min.y, first.max.y})
			} else {
				assert.Equal(t, [2]int64{b.min.x, b.max.x}, [2]int64{second.min.x, first.max.x})
				assert.Equal(t, first.max.y, second.min.y)
			}
			b, depth = [2]box{first, second}[r.IntN(2)], depth+1
		}
		assert.LessOrEqual(t, depth, maxDepth)
	}
}

func TestDistancesBetweenBoxes(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for range 1000 {
		b, c := randomBox(r, 8, 4), randomBox(r, 8, 4)
		least, most := int64(math.MaxInt64), int64(0)
		for _, p := range gridOf(b) { // the ends of whole-numbered intervals are whole
			for _, q := range gridOf(c) {
				d := p.minus(q)
				least, most = min(least, d.dot(d)), max(most, d.dot(d))
			}
		}
		assert.Equal(t, least, b.gap2(c))
		assert.Equal(t, most, b.far2(c))
	}
}

func gridOf(b box) (out []point) {
	for x := b.min.x; x <= b.max.x; x++ {
		for y := b.min.y; y <= b.max.y; y++ {
			out = append(out, point{x, y})
		}
	}
	return out
}

func TestShares(t *testing.T) {
	const big = 1<<63 - 1
	assert.EqualValues(t, 3, shareDown(10, 1, 3))
	assert.EqualValues(t, 4, shareUp(10, 1, 3))
	assert.EqualValues(t, 5, shareUp(10, 1, 2))
	assert.EqualValues(t, 0, shareUp(10, 0, 2))
	assert.EqualValues(t, int64(big), shareDown(big, big, big))
	assert.EqualValues(t, big-1, shareDown(big, big-1, big))
}
