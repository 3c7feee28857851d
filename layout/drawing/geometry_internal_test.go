package drawing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lotwright/layout/geom"
	"lotwright/layout/paper"
)

func TestSimplifiedStaysWithinDetail(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var chain []paper.Vec
		for i := range rapid.IntRange(2, 60).Draw(t, "n") {
			chain = append(chain, paper.At(float64(i)*rapid.Float64Range(-1, 3).Draw(t, "x"), rapid.Float64Range(-2, 2).Draw(t, "y")))
		}
		detail := rapid.Float64Range(0, 2).Draw(t, "detail")
		got := simplified(chain, detail)
		if got[0] != chain[0] || got[len(got)-1] != chain[len(chain)-1] {
			t.Fatal("ends must stay")
		}
		for _, v := range chain {
			best := math.Inf(1)
			for i := 1; i < len(got); i++ {
				best = min(best, offLine(v, got[i-1], got[i]))
			}
			if best > detail+1e-9 {
				t.Fatalf("%v lies %v off", v, best)
			}
		}
	})
}

func TestSidesOf(t *testing.T) {
	// 20 m by 10 m, one long side cut by a neighbour's corner.
	ring := geom.Ring{geom.Pt(0, 0), geom.Pt(8000, 1), geom.Pt(20000, 0), geom.Pt(20000, 10000), geom.Pt(0, 10000)}
	sides := sidesOf(ring)
	require.Len(t, sides, 4)
	assert.InDelta(t, 20.0, sides[0].length().Metres(), 1e-6)
	assert.False(t, sides[0].curve)

	// A quarter circle of 10 m in 15 chords between two straight sides.
	quarter := geom.Ring{geom.Pt(0, 0)}
	for i := range 16 {
		v := paper.At(10000, 0).Turned(6 * float64(i))
		quarter = append(quarter, geom.Vec{X: v.X, Y: v.Y}.Round())
	}
	sides = sidesOf(quarter)
	require.Len(t, sides, 3)
	curves := 0
	for _, s := range sides {
		if s.curve {
			curves++
			assert.InDelta(t, 15*2*10*math.Sin(3*math.Pi/180), s.length().Metres(), 0.005)
			middle := s.along(0.5)
			assert.InDelta(t, 10000*math.Sqrt2/2, middle.X, 30)
			assert.InDelta(t, 10000*math.Sqrt2/2, middle.Y, 30)
		}
	}
	assert.Equal(t, 1, curves)
	assert.Empty(t, sidesOf(nil))
	assert.Empty(t, sidesOf(geom.Ring{geom.Pt(1, 1), geom.Pt(1, 1)}))
}

func TestTicksPointAwayFromTheWall(t *testing.T) {
	for _, chain := range [][]paper.Vec{{paper.At(0, 0), paper.At(40, 0), paper.At(40, 2), paper.At(0, 2)}, {paper.At(0, 2), paper.At(40, 2), paper.At(40, 0), paper.At(0, 0)}} {
		got := ticks(chain)
		require.Len(t, got, 10, "five on either long face, none on the ends")
		for _, tick := range got {
			assert.False(t, paper.Box{Left: 0, Top: 0, Right: 40, Bottom: 2}.Has(tick[1]), "%v", tick)
			assert.InDelta(t, 3.2, tick[1].Sub(tick[0]).Norm(), 1e-9)
		}
	}
}

func TestSector(t *testing.T) {
	// From north, a quarter clockwise: the last corner lies due east.
	s := sector(paper.At(100, 100), 10, 0, 90)
	assert.InDelta(t, 100, s[1].X, 1e-9)
	assert.InDelta(t, 90, s[1].Y, 1e-9)
	assert.InDelta(t, 110, s[len(s)-1].X, 1e-9)
	assert.InDelta(t, 100, s[len(s)-1].Y, 1e-9)
}
