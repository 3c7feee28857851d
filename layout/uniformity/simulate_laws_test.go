package uniformity_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/uniformity"
)

// randomCase is a lawn with a hole and a notch, a wall and some heads, with
// throws in whole millimetres.
func randomCase(seed uint64) (geom.Region, []uniformity.Sprinkler) {
	rng := rand.New(rand.NewPCG(seed, 11))
	shell := geom.Ring{geom.Pt(rng.Int64N(900), rng.Int64N(900)), geom.Pt(9000+rng.Int64N(900), -rng.Int64N(900)),
		geom.Pt(8000+rng.Int64N(900), 3000+rng.Int64N(900)), geom.Pt(9000+rng.Int64N(900), 7000+rng.Int64N(900)),
		geom.Pt(-rng.Int64N(900), 7000+rng.Int64N(900))}
	hole := geom.Ring{geom.Pt(3000, 3000), geom.Pt(3500+rng.Int64N(900), 4500), geom.Pt(5000+rng.Int64N(900), 3000)}
	profiles := append(uniformity.GenericProfiles(), uniformity.Profile{})
	var heads []uniformity.Sprinkler
	for range 1 + rng.IntN(5) {
		h := uniformity.Sprinkler{
			Head: layout.Head{At: geom.Pt(rng.Int64N(9000), rng.Int64N(8000)), Kind: layout.FixedArc,
				Throw: layout.Length(1000+rng.IntN(4000)) / 1000, Flow: layout.Flow(10 * rng.Float64()),
				ArcStart: 720*rng.Float64() - 360, ArcSweep: 1 + 359*rng.Float64()},
			Profile: profiles[rng.IntN(len(profiles))],
		}
		if rng.IntN(2) == 0 {
			h.View = eastOf(rng.Int64N(8000))
		}
		if rng.IntN(3) == 0 {
			h.LeastThrow = layout.Length(rng.IntN(500)) / 1000
		}
		if rng.IntN(4) == 0 {
			h.Head.Kind = layout.VariableThrow
		}
		heads = append(heads, h)
	}
	return geom.Region{{shell, hole}}, heads
}

// TestAgainstPlainSum recomputes every cell's rate head by head from bearings
// and distances, and the cells from the lawn's own test of place.
func TestAgainstPlainSum(t *testing.T) {
	for seed := range uint64(60) {
		t.Run(fmt.Sprint("seed=", seed), func(t *testing.T) {
			lawn, heads := randomCase(seed)
			r := simulate(t, lawn, heads, layout.Length(cellMM)/1000)
			require.Equal(t, cellsByPlace(lawn), r.At)
			rates, reachedBy := make([]float64, len(r.At)), make([]int, len(r.At))
			for _, h := range heads {
				unit := plainUnit(h, r.At[0])
				for i, p := range r.At {
					if reaches(h, p) {
						rates[i] += unit * relativeRate(h, p)
						reachedBy[i]++
					}
				}
			}
			twice, sum := 0, 0.0
			for i, p := range r.At {
				require.InDelta(t, rates[i], r.Rates[i], 1e-6*math.Max(1, rates[i]), "at %v", p)
				sum += rates[i]
				if reachedBy[i] >= 2 {
					twice++
				}
			}
			assert.InDelta(t, sum/float64(len(r.At)), r.Statistics.Mean, 1e-6)
			assert.InDelta(t, float64(twice)/float64(len(r.At)), r.HeadToHead, 1e-12)
			assert.InDelta(t, sum*cellM2/60, r.Total.OnLawn.LPM(), 1e-6)
		})
	}
}

const cellMM, cellM2 = 200, 0.04

// cellsByPlace lists the centres of the cells on the lawn by asking for each.
func cellsByPlace(lawn geom.Region) (out []geom.Point) {
	b := lawn.Bounds()
	for y := b.Min.Y + cellMM/2; y <= b.Max.Y; y += cellMM {
		for x := b.Min.X + cellMM/2; x <= b.Max.X; x += cellMM {
			if lawn.Locate(geom.Pt(x, y)) == geom.Interior {
				out = append(out, geom.Pt(x, y))
			}
		}
	}
	return out
}

func reaches(h uniformity.Sprinkler, p geom.Point) bool {
	d := p.Sub(h.Head.At)
	east, north := float64(d.X), float64(d.Y)
	far := math.Hypot(east, north) / 1000
	turned := math.Mod(math.Atan2(east, north)*180/math.Pi-h.Head.ArcStart+1440, 360)
	return far <= h.Head.Throw.Metres()+1e-9 && far >= h.LeastThrow.Metres()-1e-9 &&
		(h.Head.Kind == layout.VariableThrow || turned <= h.Head.ArcSweep) &&
		(h.View == nil || h.View.Sees(p))
}

func relativeRate(h uniformity.Sprinkler, p geom.Point) float64 {
	if h.Head.Kind == layout.VariableThrow {
		return 1
	}
	return interpolate(h.Profile, p.DistanceMM(h.Head.At)/1000/h.Head.Throw.Metres())
}

// plainUnit is the rate, in mm/h, that a relative rate of 1 stands for: the
// flow over a sum of thin rings or, for a variable-throw head, over the area of
// the cells reached on a grid through the given point.
func plainUnit(h uniformity.Sprinkler, through geom.Point) float64 {
	over := 0.0
	if h.Head.Kind == layout.VariableThrow {
		for i := int64(-100); i <= 100; i++ {
			for j := int64(-100); j <= 100; j++ {
				if reaches(h, through.Add(geom.Pt(i*cellMM, j*cellMM))) {
					over += cellM2
				}
			}
		}
		return h.Head.Flow.LPM() * 60 / over
	}
	const rings = 10_000
	inner, throw := h.LeastThrow.Metres(), h.Head.Throw.Metres()
	for i := range rings {
		at := inner + (throw-inner)*(float64(i)+0.5)/rings
		over += interpolate(h.Profile, at/throw) * at * (throw - inner) / rings * h.Head.ArcSweep * math.Pi / 180
	}
	return h.Head.Flow.LPM() * 60 / over
}

func interpolate(p uniformity.Profile, share float64) float64 {
	points := p.Points
	if points == nil {
		points = uniformity.Cone().Points
	}
	for i := 1; i < len(points); i++ {
		if a, b := points[i-1], points[i]; share <= b.Share {
			t := (share - a.Share) / (b.Share - a.Share)
			return (1-t)*a.Rate + t*b.Rate
		}
	}
	return 0
}

// TestTurningTheLot turns lot and heads by quarter turns, which take cells to
// cells, and by odd angles, which do not.
func TestTurningTheLot(t *testing.T) {
	lawn := box(-5000, -3000, 5000, 3000)
	heads := []uniformity.Sprinkler{fixedArc(-5000, -3000, 5, 0, 90), fixedArc(5000, -3000, 5, 270, 90),
		fixedArc(5000, 3000, 5, 180, 90), fixedArc(-5000, 3000, 5, 90, 90), fixedArc(0, 3000, 5, 90, 180)}
	want := simulate(t, lawn, heads, 0.05)
	for _, degrees := range []float64{90, 180, 270} {
		got := simulate(t, turned(lawn, degrees), turnedHeads(heads, degrees), 0.05)
		same(t, want.Statistics, rounded(got.Statistics, want.Statistics), fmt.Sprint("turned by ", degrees))
		assert.InDelta(t, want.HeadToHead, got.HeadToHead, 1e-12)
	}
	for _, degrees := range []float64{13, 45, 200} {
		got := simulate(t, turned(lawn, degrees), turnedHeads(heads, degrees), 0.05).Statistics
		assert.InEpsilon(t, want.Statistics.Mean, got.Mean, 0.003, "turned by %v", degrees)
		assert.InDelta(t, want.Statistics.CU, got.CU, 0.003, "turned by %v", degrees)
		assert.InDelta(t, want.Statistics.DULowQuarter, got.DULowQuarter, 0.003, "turned by %v", degrees)
	}
}

// rounded returns s with the extremes of like, if it has them but for rounding.
func rounded(s, like uniformity.Statistics) uniformity.Statistics {
	if math.Abs(s.Lowest-like.Lowest)+math.Abs(s.Highest-like.Highest) < 1e-9 {
		s.Lowest, s.Highest = like.Lowest, like.Highest
	}
	return s
}

func turned(g geom.Region, degrees float64) (out geom.Region) {
	for _, poly := range g {
		var p geom.Polygon
		for _, ring := range poly {
			var r geom.Ring
			for _, at := range ring {
				r = append(r, turnedPoint(at, degrees))
			}
			p = append(p, r)
		}
		out = append(out, p)
	}
	return out
}

// turnedPoint turns clockwise, as bearings run.
func turnedPoint(p geom.Point, degrees float64) geom.Point {
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	v := p.Vec()
	return geom.Vec{X: v.X*cos + v.Y*sin, Y: v.Y*cos - v.X*sin}.Round()
}

func turnedHeads(heads []uniformity.Sprinkler, degrees float64) (out []uniformity.Sprinkler) {
	for _, h := range heads {
		h.Head.At = turnedPoint(h.Head.At, degrees)
		h.Head.ArcStart += degrees
		out = append(out, h)
	}
	return out
}

// TestSameBytes holds that two runs agree to the last bit.
func TestSameBytes(t *testing.T) {
	lawn, heads := randomCase(3)
	assert.Equal(t, simulate(t, lawn, heads, 0), simulate(t, lawn, heads, 0))
}
