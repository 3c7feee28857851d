package certify_test

import (
	"context"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/certify"
	"lotwright/layout/geom"
	"lotwright/layout/sight"
)

func box(x0, y0, x1, y1 int64) geom.Region {
	return geom.Region{{{geom.Pt(x0, y0), geom.Pt(x1, y0), geom.Pt(x1, y1), geom.Pt(x0, y1)}}}
}

func prove(t *testing.T, lawn geom.Region, throwMM int64, target float64, heads, boxes int) certify.Result {
	t.Helper()
	r, err := certify.Prove(context.Background(), certify.Site{Lawn: lawn, ThrowMM: throwMM, Target: target, Heads: heads},
		certify.Settings{Boxes: boxes})
	require.NoError(t, err)
	return r
}

// TestLongLawn: a head reaches less than twice its throw along a strip, so 60 m
// need four heads of 9.144 m; with three an eighth of the strip stays dry.
func TestLongLawn(t *testing.T) {
	strip := box(0, 0, 60_000, 4000)
	assert.NotNil(t, prove(t, strip, 9144, 1, 4, 100_000).Certificate)
	assert.NotNil(t, prove(t, strip, 9144, 0.97, 4, 100_000).Certificate)
	assert.Nil(t, prove(t, strip, 9144, 0.85, 4, 100_000).Certificate, "three heads reach 85 %")
	assert.Nil(t, prove(t, strip, 9144, 1, 5, 100_000).Certificate, "four heads do it")
	assert.Nil(t, prove(t, strip, 9144, 1, 1, 100_000).Certificate, "one head is no claim")
}

// TestWallDivides: two yards either side of a house need a head each, though
// one throw spans both.
func TestWallDivides(t *testing.T) {
	yards := geom.Union(box(0, 0, 5000, 5000), box(6000, 0, 11_000, 5000))
	assert.NotNil(t, prove(t, yards, 20_000, 0.97, 2, 50_000).Certificate)
	joined := geom.Union(yards, box(5000, 0, 6000, 5000))
	assert.Nil(t, prove(t, joined, 20_000, 0.97, 2, 50_000).Certificate)
}

// TestNeverProvesTooMuch: whatever is certified, no placement of fewer heads
// found by random trial and exact area may reach the target.
func TestNeverProvesTooMuch(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 28))
	certified := 0
	for range 6 {
		lawn := geom.Difference(box(0, 0, 14_000+rng.Int64N(10_000), 12_000+rng.Int64N(10_000)),
			box(4000+rng.Int64N(2000), 4000, 8000+rng.Int64N(3000), 8000+rng.Int64N(3000)))
		target := []float64{0.9, 0.97, 1}[rng.IntN(3)]
		reached := bestOfRandom(rng, lawn, 9144)
		for heads := 2; heads <= len(reached); heads++ {
			r := prove(t, lawn, 9144, target, heads, certify.DefaultBoxes)
			if r.Certificate == nil {
				continue
			}
			certified++
			require.Less(t, reached[heads-2], target, "%d heads were ruled out", heads-1)
			require.Equal(t, heads, r.Certificate.Heads)
		}
	}
	assert.Greater(t, certified, 4)
}

// bestOfRandom returns the best share of the lawn that 1, 2, 3 and 4 heads were
// seen to reach.
func bestOfRandom(rng *rand.Rand, lawn geom.Region, throwMM int64) []float64 {
	f, b := sight.NewField(lawn), lawn.Bounds()
	best := make([]float64, 4)
	for range 400 {
		var reaches []sight.Reach
		for k := range best {
			p := geom.Pt(rng.Int64N(b.Max.X), rng.Int64N(b.Max.Y))
			reaches = append(reaches, f.From(p, throwMM, 0))
			best[k] = max(best[k], sight.CoveredM2(reaches)/lawn.AreaM2())
		}
	}
	return best
}

func TestSameCertificateTwice(t *testing.T) {
	strip := box(0, 0, 60_000, 4000)
	a, b := prove(t, strip, 9144, 0.97, 4, 100_000), prove(t, strip, 9144, 0.97, 4, 100_000)
	require.NotNil(t, a.Certificate)
	assert.Equal(t, a, b)
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := certify.Prove(ctx, certify.Site{Lawn: box(0, 0, 9000, 9000), ThrowMM: 3000, Target: 1, Heads: 3}, certify.Settings{})
	assert.ErrorIs(t, err, context.Canceled)
}

// TestComb: a comb of teeth 3 m wide and 12 m long, 3 m apart, off a back 3 m
// wide. The outer corners of two teeth are never seen from one place within
// 9.144 m, so every tooth needs a head of its own where all must be reached.
func TestComb(t *testing.T) {
	comb := box(0, 0, 21_000, 3000)
	for tooth := range int64(4) {
		comb = geom.Union(comb, box(6000*tooth, 3000, 6000*tooth+3000, 15_000))
	}
	r := prove(t, comb, 9144, 1, 4, 50_000)
	require.NotNil(t, r.Certificate)
	assert.Equal(t, r.Certificate.CellMM, r.Certificate.AtomMM, "weights stand on squares")
}

// TestSmallerNumber: where the claim is too bold, the most that holds is proven
// instead, if it is asked for.
func TestSmallerNumber(t *testing.T) {
	for _, target := range []float64{0.97, 1} {
		site := certify.Site{Lawn: box(0, 0, 60_000, 4000), ThrowMM: 9144, Target: target, Heads: 6}
		r, err := certify.Prove(context.Background(), site, certify.Settings{Boxes: 100_000})
		require.NoError(t, err)
		assert.Nil(t, r.Certificate, "four heads reach it")
		site.Least = 2
		r, err = certify.Prove(context.Background(), site, certify.Settings{Boxes: 100_000})
		require.NoError(t, err)
		require.NotNil(t, r.Certificate)
		assert.Equal(t, 4, r.Certificate.Heads)
	}
}

// TestStands: the relaxation stands about as many heads as it is worth, on
// legal ground.
func TestStands(t *testing.T) {
	lawn := geom.Difference(box(0, 0, 24_000, 20_000), box(8000, 6000, 15_000, 13_000))
	r := prove(t, lawn, 9144, 1, 5, 20_000)
	require.NotEmpty(t, r.Stands)
	sum := 0.0
	for i, s := range r.Stands {
		sum += s.Share
		assert.True(t, lawn.EdgeWithin(s.At, 32) || lawn.Has(s.At))
		if i > 0 {
			assert.GreaterOrEqual(t, r.Stands[i-1].Share, s.Share)
		}
	}
	assert.InDelta(t, r.Relaxation, sum, 0.2)
}
