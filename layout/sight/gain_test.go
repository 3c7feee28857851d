package sight_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout/geom"
	"lotwright/layout/sight"
)

// TestGainIsTheDifferenceOfAreas: what one more reach adds to a union is the
// area with it less the area without.
func TestGainIsTheDifferenceOfAreas(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 8))
	some, none := 0, 0
	for range 150 {
		house := geom.Region{{{geom.Pt(4000, 3000), geom.Pt(9000+rng.Int64N(3000), 4000), geom.Pt(8000, 9000), geom.Pt(3000, 8000)}}}
		lawn := geom.Difference(geom.Region{{{geom.Pt(0, 0), geom.Pt(16_000, 0), geom.Pt(15_000, 14_000), geom.Pt(0, 12_000)}}}, house)
		field := sight.NewField(lawn)
		at := func() sight.Reach {
			return field.From(geom.Pt(rng.Int64N(16_000), rng.Int64N(14_000)), 6000, rng.Int64N(2)*1500)
		}
		var reaches []sight.Reach
		for range rng.IntN(7) {
			reaches = append(reaches, at())
		}
		union := sight.NewUnion(reaches)
		for range 5 {
			more := at()
			gain := union.GainM2(&more)
			assert.InDelta(t, sight.CoveredM2(append(reaches[:len(reaches):len(reaches)], more))-sight.CoveredM2(reaches), gain, 1e-8)
			if gain > 0.01 {
				some++
			} else {
				none++
			}
		}
		for i := range reaches {
			assert.InDelta(t, 0, union.GainM2(&reaches[i]), 1e-8, "nothing is added twice")
		}
	}
	assert.Greater(t, some, 300)
	assert.Greater(t, none, 50)
}

// TestSeesEach decides as Sees does, whatever the order of the points.
func TestSeesEach(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 5))
	house := geom.Region{{{geom.Pt(4000, 3000), geom.Pt(9000, 4000), geom.Pt(8000, 9000), geom.Pt(3000, 8000)}}}
	lawn := geom.Difference(geom.Region{{{geom.Pt(0, 0), geom.Pt(16_000, 0), geom.Pt(15_000, 14_000), geom.Pt(0, 12_000)}}}, house)
	field := sight.NewField(lawn)
	var grid, strewn []geom.Point
	for x := int64(0); x <= 16_000; x += 500 {
		for y := int64(0); y <= 14_000; y += 500 {
			if p := geom.Pt(x, y); lawn.Has(p) {
				grid = append(grid, p)
			}
		}
	}
	for range 300 {
		strewn = append(strewn, grid[rng.IntN(len(grid))])
	}
	seen := 0
	for range 200 {
		r := field.From(geom.Pt(rng.Int64N(33)*500, rng.Int64N(29)*500), 6000, rng.Int64N(2)*1500)
		for _, points := range [][]geom.Point{grid, strewn} {
			var got, want []int
			r.SeesEach(points, func(i int) { got = append(got, i) })
			for i, p := range points {
				if r.Sees(p) {
					want = append(want, i)
				}
			}
			assert.Equal(t, want, got, "from %v", r.Head)
			seen += len(want)
		}
	}
	assert.Greater(t, seen, 10_000)
}
