package takeoff

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout/geom"
)

func TestElbowsFor(t *testing.T) {
	for bend, want := range map[int]elbows{
		0: {}, 22_499: {}, -22_499: {}, 22_500: {of45: 1}, 45_000: {of45: 1}, 67_499: {of45: 1},
		67_500: {of90: 1}, -90_000: {of90: 1}, 112_499: {of90: 1}, 112_500: {of45: 1, of90: 1}, 157_500: {of90: 2}, 180_000: {of90: 2},
	} {
		assert.Equal(t, want, elbowsFor(bend), "%d", bend)
	}
}

// spokes returns headings in degrees.
func spokes(a, b, c int) [3]int { return [3]int{wrap(a * degree), wrap(b * degree), wrap(c * degree)} }

func TestTeeBends(t *testing.T) {
	for name, c := range map[string]struct {
		headings [3]int
		of45     int
		of90     int
	}{
		"square":                    {spokes(0, 180, 90), 0, 0},
		"square, turned":            {spokes(33, 213, -57), 0, 0},
		"square, branch first":      {spokes(90, 0, 180), 0, 0},
		"branch 20° off":            {spokes(0, 180, 110), 0, 0},
		"branch 40° off: shared":    {spokes(0, 180, 130), 0, 0},
		"branch at 45°":             {spokes(0, 180, 45), 1, 0},
		"run bent by 90°, opposite": {spokes(0, 90, 225), 1, 0},
		"thirds, as Steiner's":      {spokes(0, 120, 240), 1, 0},
	} {
		t.Run(name, func(t *testing.T) {
			sum := elbows{}
			for _, e := range teeBends(c.headings) {
				sum = sum.plus(e)
			}
			assert.Equal(t, elbows{c.of45, c.of90}, sum)
		})
	}
}

// TestTeeBendsAgainstAllTurns tries every tenth of a degree.
func TestTeeBendsAgainstAllTurns(t *testing.T) {
	for a := 0; a < 180; a += 7 {
		for b := a + 5; b < 360; b += 11 {
			h := spokes(3, a+3, b+3)
			got := 0
			for _, e := range teeBends(h) {
				got += e.number()
			}
			least := math.MaxInt
			for branch := range 3 {
				for axis := -halfTurn; axis < halfTurn; axis += 100 {
					x, y, z := h[(branch+1)%3], h[(branch+2)%3], h[branch]
					n := elbowsFor(wrap(x-axis)).number() + elbowsFor(wrap(y-axis-halfTurn)).number() +
						min(elbowsFor(wrap(z-axis-square)).number(), elbowsFor(wrap(z-axis+square)).number())
					least = min(least, n)
				}
			}
			assert.LessOrEqual(t, got, least, "%v", h)
		}
	}
}

func TestStretches(t *testing.T) {
	corner := geom.Line{geom.Pt(0, 0), geom.Pt(3000, 0), geom.Pt(3000, 4000)}
	assert.Equal(t, []stretch{{3000, elbows{of90: 1}}, {mm: 4000}}, stretches(corner))

	slight := geom.Line{geom.Pt(0, 0), geom.Pt(3000, 0), geom.Pt(6000, 1000)} // 18.4°
	assert.Len(t, stretches(slight), 1)

	// A quarter circle of 0.5 m in bends of 15° counts as bends of 30°, each a 45.
	var round geom.Line
	for i := range 7 {
		a := float64(i) * math.Pi / 12
		round = append(round, geom.Vec{X: 500 * math.Sin(a), Y: 500 - 500*math.Cos(a)}.Round())
	}
	n := elbows{}
	for _, s := range stretches(round) {
		n = n.plus(s.end)
	}
	assert.Equal(t, elbows{of45: 2}, n)
}

func TestNominal(t *testing.T) {
	for text, want := range map[string]int{"1 in": 1000, "3/4 in": 750, "1-1/4 in": 1250, "1.5 in PVC": 1500, "32 mm": 1260, "1 in x 3/4 in": 1000} {
		got, ok := nominal(text)
		assert.True(t, ok, text)
		assert.Equal(t, want, got, text)
	}
	for _, text := range []string{"", "in", "1in", "x in", "1/0 in", "-1 in", "1 ft", "NaN in", "1e9 in", "1--1 in"} {
		_, ok := nominal(text)
		assert.False(t, ok, text)
	}
}

func TestSleeveFor(t *testing.T) {
	for pipe, want := range map[string]string{"1/2 in": "1 in", "3/4 in": "1-1/2 in", "1 in": "2 in", "1-1/4 in": "2-1/2 in", "25 mm": "2 in"} {
		got, err := sleeveFor(pipe)
		assert.NoError(t, err)
		assert.Equal(t, want, got, pipe)
	}
	_, err := sleeveFor("5 in")
	assert.ErrorContains(t, err, "no sleeve is twice as wide as 5 in")
}
