package drawing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lotwright/layout/geom"
)

func TestQuadOverlap(t *testing.T) {
	a := box{0, 0, 10, 10}.corners()
	assert.True(t, a.overlaps(box{5, 5, 15, 15}.corners()))
	assert.True(t, a.overlaps(box{2, 2, 3, 3}.corners()), "one inside the other")
	assert.False(t, a.overlaps(box{10, 0, 20, 10}.corners()), "touching is not overlapping")
	diamond := around(vec{14, 14}, 8, 8).corners().turned(vec{14, 14}, 45)
	assert.False(t, a.overlaps(diamond), "upright boxes around them overlap, they do not")
	assert.True(t, a.overlaps(around(vec{12, 12}, 8, 8).corners().turned(vec{12, 12}, 45)))
}

// TestQuadOverlapBySampling compares with points scattered over both.
func TestQuadOverlapBySampling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) quad {
			c := vec{rapid.Float64Range(0, 30).Draw(t, name), rapid.Float64Range(0, 30).Draw(t, name)}
			return around(c, rapid.Float64Range(1, 20).Draw(t, name), rapid.Float64Range(1, 20).Draw(t, name)).corners().
				turned(c, rapid.Float64Range(0, 360).Draw(t, name))
		}
		q, r := draw("q"), draw("r")
		common := false
		const steps = 24
		for i := range steps + 1 {
			for j := range steps + 1 {
				v := q[0].add(q[1].sub(q[0]).times(float64(i) / steps)).add(q[3].sub(q[0]).times(float64(j) / steps))
				common = common || insideBy(r, v, 1e-3)
			}
		}
		if common && !q.overlaps(r) {
			t.Fatalf("%v and %v have a point in common", q, r)
		}
		if q.overlaps(r) != r.overlaps(q) {
			t.Fatal("overlap must be mutual")
		}
	})
}

// insideBy reports whether v lies in a rectangle at least d from its sides.
func insideBy(q quad, v vec, d float64) bool {
	u, w := q[1].sub(q[0]), q[3].sub(q[0])
	a, b := v.sub(q[0]).dot(u)/u.norm(), v.sub(q[0]).dot(w)/w.norm()
	return a > d && a < u.norm()-d && b > d && b < w.norm()-d
}

func TestCrossedBy(t *testing.T) {
	q := box{0, 0, 10, 10}.corners()
	assert.True(t, q.crossedBy(vec{-5, 5}, vec{15, 5}))
	assert.True(t, q.crossedBy(vec{2, 2}, vec{3, 3}), "inside")
	assert.True(t, q.crossedBy(vec{-2, 4}, vec{4, -2}), "over a corner")
	assert.False(t, q.crossedBy(vec{-2, 1}, vec{1, -2}), "past a corner")
	assert.False(t, q.crossedBy(vec{-5, 5}, vec{-1, 5}), "ends before")
}

// TestPlacerNeverOverlaps places labels beside random symbols.
func TestPlacerNeverOverlaps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		frame := box{0, 0, 400, 300}
		pl := placer{within: frame}
		n := rapid.IntRange(1, 40).Draw(t, "n")
		var at []vec
		for range n {
			v := vec{rapid.Float64Range(0, 400).Draw(t, "x"), rapid.Float64Range(0, 300).Draw(t, "y")}
			at = append(at, v)
			pl.take(around(v, 8, 8).corners())
			pl.lines = append(pl.lines, [2]vec{at[0], v})
		}
		symbols := len(pl.taken)
		for _, v := range at {
			s, ok := pl.find(wish{v, 24, 12, 6, 700})
			if !ok {
				t.Fatalf("no room for %d small labels", n)
			}
			q := around(s.centre, 24, 12).corners()
			if !q.within(frame) {
				t.Fatalf("label off the frame at %v", s.centre)
			}
			for _, taken := range pl.taken {
				if q.overlaps(taken.quad) {
					t.Fatalf("label at %v overlaps %v", s.centre, taken.quad)
				}
			}
			pl.take(q)
		}
		if len(pl.taken) != symbols+n {
			t.Fatal("labels lost")
		}
	})
}

func TestPlacerPrefersTheNearFreeSide(t *testing.T) {
	pl := placer{within: box{0, 0, 200, 200}}
	s, ok := pl.find(wish{vec{100, 100}, 20, 10, 5, 50})
	require.True(t, ok)
	assert.Greater(t, s.centre.x, 100.0)
	assert.Less(t, s.centre.y, 100.0, "upper right first")
	assert.False(t, s.far)

	pl.lines = [][2]vec{{{100, 100}, {200, 0}}, {{100, 100}, {200, 100}}, {{100, 100}, {100, 0}}} // a trench that way
	s, ok = pl.find(wish{vec{100, 100}, 20, 10, 5, 50})
	require.True(t, ok)
	assert.Zero(t, pl.hidden(around(s.centre, 20, 10).corners()))

	pl.take(box{60, 60, 140, 140}.corners())
	s, ok = pl.find(wish{vec{100, 100}, 20, 10, 5, 100})
	require.True(t, ok)
	assert.True(t, s.far, "needs a leader")
	_, ok = pl.find(wish{vec{100, 100}, 20, 10, 5, 10})
	assert.False(t, ok, "nothing near by")
}

// TestHatchMeasuresArea: parallel lines a spacing apart add up to the area.
func TestHatchMeasuresArea(t *testing.T) {
	outer := circleOf(vec{300, 200}, 150)
	hole := circleOf(vec{330, 190}, 60)
	for _, angle := range []float64{0, 20, 45, 90, 135} {
		h := hatch{angle: angle, spacing: 3}
		sum := 0.0
		for _, piece := range h.across([][]vec{outer, hole}, box{0, 0, 700, 500}) {
			require.Len(t, piece, 2)
			sum += piece[1].sub(piece[0]).norm()
			d := piece[0].add(piece[1]).times(0.5)
			assert.LessOrEqual(t, d.sub(vec{300, 200}).norm(), 150.1)
			assert.GreaterOrEqual(t, d.sub(vec{330, 190}).norm(), 59.0)
		}
		assert.InEpsilon(t, math.Pi*(150*150-60*60), sum*3, 0.01, "at %v°", angle)
	}
}

func circleOf(c vec, r float64) []vec {
	var out []vec
	for i := range 360 {
		out = append(out, c.add(vec{r, 0}.turned(float64(i))))
	}
	return out
}

func TestHatchKeepsToTheFrame(t *testing.T) {
	big := [][]vec{{{-1e7, -1e7}, {1e7, -1e7}, {1e7, 1e7}, {-1e7, 1e7}}}
	assert.Less(t, len(hatch{angle: 45, spacing: 5}.across(big, box{0, 0, 100, 100})), 40)
	assert.Empty(t, hatch{angle: 45, spacing: 5}.across(nil, box{0, 0, 100, 100}))
}

func TestSimplifiedStaysWithinDetail(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var chain []vec
		for i := range rapid.IntRange(2, 60).Draw(t, "n") {
			chain = append(chain, vec{float64(i) * rapid.Float64Range(-1, 3).Draw(t, "x"), rapid.Float64Range(-2, 2).Draw(t, "y")})
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
		v := vec{10000, 0}.turned(6 * float64(i))
		quarter = append(quarter, geom.Vec{X: v.x, Y: v.y}.Round())
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
	for _, chain := range [][]vec{{{0, 0}, {40, 0}, {40, 2}, {0, 2}}, {{0, 2}, {40, 2}, {40, 0}, {0, 0}}} {
		got := ticks(chain)
		require.Len(t, got, 10, "five on either long face, none on the ends")
		for _, tick := range got {
			assert.False(t, box{0, 0, 40, 2}.has(tick[1]), "%v", tick)
			assert.InDelta(t, 3.2, tick[1].sub(tick[0]).norm(), 1e-9)
		}
	}
}

func TestSector(t *testing.T) {
	// From north, a quarter clockwise: the last corner lies due east.
	s := sector(vec{100, 100}, 10, 0, 90)
	assert.InDelta(t, 100, s[1].x, 1e-9)
	assert.InDelta(t, 90, s[1].y, 1e-9)
	assert.InDelta(t, 110, s[len(s)-1].x, 1e-9)
	assert.InDelta(t, 100, s[len(s)-1].y, 1e-9)
}
