package paper

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestQuadOverlap(t *testing.T) {
	a := Box{0, 0, 10, 10}.Corners()
	assert.True(t, a.Overlaps(Box{5, 5, 15, 15}.Corners()))
	assert.True(t, a.Overlaps(Box{2, 2, 3, 3}.Corners()), "one inside the other")
	assert.False(t, a.Overlaps(Box{10, 0, 20, 10}.Corners()), "touching is not overlapping")
	diamond := Around(Vec{14, 14}, 8, 8).Corners().Turned(Vec{14, 14}, 45)
	assert.False(t, a.Overlaps(diamond), "upright boxes around them overlap, they do not")
	assert.True(t, a.Overlaps(Around(Vec{12, 12}, 8, 8).Corners().Turned(Vec{12, 12}, 45)))
}

// TestQuadOverlapBySampling compares with points scattered over both.
func TestQuadOverlapBySampling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) Quad {
			c := Vec{rapid.Float64Range(0, 30).Draw(t, name), rapid.Float64Range(0, 30).Draw(t, name)}
			return Around(c, rapid.Float64Range(1, 20).Draw(t, name), rapid.Float64Range(1, 20).Draw(t, name)).Corners().
				Turned(c, rapid.Float64Range(0, 360).Draw(t, name))
		}
		q, r := draw("q"), draw("r")
		common := false
		const steps = 24
		for i := range steps + 1 {
			for j := range steps + 1 {
				v := q[0].Add(q[1].Sub(q[0]).Times(float64(i) / steps)).Add(q[3].Sub(q[0]).Times(float64(j) / steps))
				common = common || insideBy(r, v, 1e-3)
			}
		}
		if common && !q.Overlaps(r) {
			t.Fatalf("%v and %v have a point in common", q, r)
		}
		if q.Overlaps(r) != r.Overlaps(q) {
			t.Fatal("overlap must be mutual")
		}
	})
}

// insideBy reports whether v lies in a rectangle at least d from its sides.
func insideBy(q Quad, v Vec, d float64) bool {
	u, w := q[1].Sub(q[0]), q[3].Sub(q[0])
	a, b := v.Sub(q[0]).Dot(u)/u.Norm(), v.Sub(q[0]).Dot(w)/w.Norm()
	return a > d && a < u.Norm()-d && b > d && b < w.Norm()-d
}

func TestCrossedBy(t *testing.T) {
	q := Box{0, 0, 10, 10}.Corners()
	assert.True(t, q.CrossedBy(Vec{-5, 5}, Vec{15, 5}))
	assert.True(t, q.CrossedBy(Vec{2, 2}, Vec{3, 3}), "inside")
	assert.True(t, q.CrossedBy(Vec{-2, 4}, Vec{4, -2}), "over a corner")
	assert.False(t, q.CrossedBy(Vec{-2, 1}, Vec{1, -2}), "past a corner")
	assert.False(t, q.CrossedBy(Vec{-5, 5}, Vec{-1, 5}), "ends before")
}

// TestPlacerNeverOverlaps places labels beside random symbols.
func TestPlacerNeverOverlaps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		frame := Box{0, 0, 400, 300}
		pl := Placer{Within: frame}
		n := rapid.IntRange(1, 40).Draw(t, "n")
		var at []Vec
		for range n {
			v := Vec{rapid.Float64Range(0, 400).Draw(t, "x"), rapid.Float64Range(0, 300).Draw(t, "y")}
			at = append(at, v)
			pl.Take(Around(v, 8, 8).Corners())
			pl.Lines = append(pl.Lines, [2]Vec{at[0], v})
		}
		symbols := len(pl.Taken)
		for _, v := range at {
			s, ok := pl.Find(Wish{v, 24, 12, 6, 700})
			if !ok {
				t.Fatalf("no room for %d small labels", n)
			}
			q := Around(s.Centre, 24, 12).Corners()
			if !q.Within(frame) {
				t.Fatalf("label off the frame at %v", s.Centre)
			}
			for _, taken := range pl.Taken {
				if q.Overlaps(taken.Quad) {
					t.Fatalf("label at %v overlaps %v", s.Centre, taken.Quad)
				}
			}
			pl.Take(q)
		}
		if len(pl.Taken) != symbols+n {
			t.Fatal("labels lost")
		}
	})
}

func TestPlacerPrefersTheNearFreeSide(t *testing.T) {
	pl := Placer{Within: Box{0, 0, 200, 200}}
	s, ok := pl.Find(Wish{Vec{100, 100}, 20, 10, 5, 50})
	require.True(t, ok)
	assert.Greater(t, s.Centre.X, 100.0)
	assert.Less(t, s.Centre.Y, 100.0, "upper right first")
	assert.False(t, s.Far)

	pl.Lines = [][2]Vec{{{100, 100}, {200, 0}}, {{100, 100}, {200, 100}}, {{100, 100}, {100, 0}}} // a trench that way
	s, ok = pl.Find(Wish{Vec{100, 100}, 20, 10, 5, 50})
	require.True(t, ok)
	assert.Zero(t, pl.Hidden(Around(s.Centre, 20, 10).Corners()))

	pl.Take(Box{60, 60, 140, 140}.Corners())
	s, ok = pl.Find(Wish{Vec{100, 100}, 20, 10, 5, 100})
	require.True(t, ok)
	assert.True(t, s.Far, "needs a leader")
	_, ok = pl.Find(Wish{Vec{100, 100}, 20, 10, 5, 10})
	assert.False(t, ok, "nothing near by")
}

// TestHatchMeasuresArea: parallel lines a spacing apart add up to the area.
func TestHatchMeasuresArea(t *testing.T) {
	outer := circleOf(Vec{300, 200}, 150)
	hole := circleOf(Vec{330, 190}, 60)
	for _, angle := range []float64{0, 20, 45, 90, 135} {
		h := Hatch{Angle: angle, Spacing: 3}
		sum := 0.0
		for _, piece := range h.across([][]Vec{outer, hole}, Box{0, 0, 700, 500}) {
			require.Len(t, piece, 2)
			sum += piece[1].Sub(piece[0]).Norm()
			d := piece[0].Add(piece[1]).Times(0.5)
			assert.LessOrEqual(t, d.Sub(Vec{300, 200}).Norm(), 150.1)
			assert.GreaterOrEqual(t, d.Sub(Vec{330, 190}).Norm(), 59.0)
		}
		assert.InEpsilon(t, math.Pi*(150*150-60*60), sum*3, 0.01, "at %v°", angle)
	}
}

func circleOf(c Vec, r float64) []Vec {
	var out []Vec
	for i := range 360 {
		out = append(out, c.Add(Vec{r, 0}.Turned(float64(i))))
	}
	return out
}

func TestHatchKeepsToTheFrame(t *testing.T) {
	big := [][]Vec{{{-1e7, -1e7}, {1e7, -1e7}, {1e7, 1e7}, {-1e7, 1e7}}}
	assert.Less(t, len(Hatch{Angle: 45, Spacing: 5}.across(big, Box{0, 0, 100, 100})), 40)
	assert.Empty(t, Hatch{Angle: 45, Spacing: 5}.across(nil, Box{0, 0, 100, 100}))
}
