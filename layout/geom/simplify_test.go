package geom_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout/geom"
)

var centimetre = geom.Simplification{MeanMM: 10, MostMM: 50}

// koch returns a Koch snowflake of 3·4^level edges around the origin.
func koch(level int, side float64) geom.Ring {
	h := side * math.Sqrt(3) / 2
	vs := []geom.Vec{{X: 0, Y: 0}, {X: side / 2, Y: h}, {X: side, Y: 0}}
	for range level {
		var next []geom.Vec
		for k, a := range vs {
			d := vs[(k+1)%len(vs)].Sub(a).Scale(1. / 3)
			left := geom.Vec{X: d.X/2 - d.Y*math.Sqrt(3)/2, Y: d.Y/2 + d.X*math.Sqrt(3)/2}
			next = append(next, a, a.Add(d), a.Add(d).Add(left), a.Add(d).Add(d))
		}
		vs = next
	}
	r := make(geom.Ring, len(vs))
	for k, v := range vs {
		r[len(vs)-1-k] = v.Round()
	}
	return r
}

// star returns a star of n corners between two radii.
func star(n int, inner, outer float64) geom.Ring {
	r := make(geom.Ring, n)
	for k := range r {
		d := outer
		if k%2 == 1 {
			d = inner
		}
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		r[k] = geom.Vec{X: d * cos, Y: d * sin}.Round()
	}
	return r
}

// A boundary of 12,288 edges of 4 cm comes down to a sixth at the same area; a
// star whose 5,000 corners all matter stays.
func TestSimplifyTellsDetailFromShape(t *testing.T) {
	fine := koch(6, 30_000)
	coarse := geom.Simplify(fine, centimetre)
	assert.Less(t, len(coarse), 2000)
	assert.InEpsilon(t, float64(fine.Area2()), float64(coarse.Area2()), 0.005)
	region, flaws := geom.Mend([]geom.Ring{coarse})
	assert.Empty(t, flaws)
	assert.Len(t, region, 1)

	spikes := star(5000, 7000, 15_000)
	assert.Len(t, geom.Simplify(spikes, centimetre), 5000)
}

func TestSimplifyByHand(t *testing.T) {
	square := ring(0, 0, 10, 0, 10, 10, 0, 10)
	assert.Equal(t, square, geom.Simplify(square, centimetre))
	assert.Equal(t, square, geom.Simplify(ring(0, 0, 5, 0.005, 10, 0, 10, 5, 10, 10, 0, 10), centimetre))
	notch := ring(0, 0, 5, 0, 5, 1, 5.1, 1, 5.1, 0, 10, 0, 10, 10, 0, 10)
	assert.Equal(t, notch, geom.Simplify(notch, centimetre))
	assert.Equal(t, ring(0, 0, 1, 1), geom.Simplify(ring(0, 0, 1, 1), centimetre))
	assert.Empty(t, geom.Simplify(nil, centimetre))
}

// Every corner left out must lie within the bound of the outline that is left,
// wherever the ring starts.
func TestSimplifyStaysWithinBounds(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for range 100 {
		fine := randomRing(r, 200+r.IntN(200), 3_000+r.Float64()*20_000)
		coarse := geom.Simplify(fine, centimetre)
		assert.Equal(t, coarse, geom.Simplify(turned([]geom.Ring{fine}, r.IntN(len(fine)), false)[0], centimetre))
		left := geom.Region{{coarse}}
		for _, p := range fine {
			assert.LessOrEqual(t, left.DistanceMM(p), centimetre.MostMM)
		}
	}
}
