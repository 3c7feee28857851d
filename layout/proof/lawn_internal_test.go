package proof

import (
	"fmt"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/geom"
)

func ring(xy ...int64) geom.Ring {
	var out geom.Ring
	for i := 0; i < len(xy); i += 2 {
		out = append(out, geom.Pt(xy[i], xy[i+1]))
	}
	return out
}

func TestLawnsTaken(t *testing.T) {
	shell := ring(0, 0, 10, 0, 10, 10, 0, 10)
	cases := map[string]struct {
		lawn  geom.Region
		area2 int64
	}{
		"square":                        {geom.Region{{shell}}, 200},
		"a point given twice":           {geom.Region{{ring(0, 0, 10, 0, 10, 0, 10, 10, 0, 10, 0, 0)}}, 200},
		"corner in line":                {geom.Region{{ring(0, 0, 5, 0, 10, 0, 10, 10, 0, 10)}}, 200},
		"hole":                          {geom.Region{{shell, ring(2, 2, 2, 4, 4, 4, 4, 2)}}, 192},
		"hole touches an edge":          {geom.Region{{shell, ring(5, 0, 4, 2, 6, 2)}}, 196},
		"hole touches a corner":         {geom.Region{{shell, ring(0, 0, 2, 4, 4, 2)}}, 188},
		"holes touch each other":        {geom.Region{{shell, ring(2, 2, 2, 4, 4, 4, 4, 2), ring(4, 4, 4, 6, 6, 6, 6, 4)}}, 184},
		"two that touch at a corner":    {geom.Region{{ring(0, 0, 5, 0, 5, 5, 0, 5)}, {ring(5, 5, 9, 5, 9, 9, 5, 9)}}, 82},
		"one touches the other's edge":  {geom.Region{{shell}, {ring(10, 5, 14, 3, 14, 7)}}, 216},
		"an island in a hole":           {geom.Region{{shell, ring(2, 2, 2, 8, 8, 8, 8, 2)}, {ring(4, 4, 5, 4, 5, 5)}}, 129},
		"ring that touches itself":      {geom.Region{{ring(0, 0, 10, 0, 5, 5, 10, 10, 0, 10, 5, 5)}}, 100},
		"nothing":                       {nil, 0},
		"as large as the plane permits": {geom.Region{{ring(-maxCoord, -maxCoord, maxCoord, -maxCoord, maxCoord, maxCoord, -maxCoord, maxCoord)}}, 1 << 47},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			l, err := newLawn(c.lawn)
			require.NoError(t, err)
			assert.Equal(t, c.area2, l.area2)
		})
	}
}

func TestLawnsNotTaken(t *testing.T) {
	shell := ring(0, 0, 10, 0, 10, 10, 0, 10)
	for name, g := range map[string]geom.Region{
		"clockwise":                      {{ring(0, 0, 0, 10, 10, 10, 10, 0)}},
		"bow tie":                        {{ring(0, 0, 10, 10, 10, 0, 0, 10)}},
		"spike":                          {{ring(0, 0, 10, 0, 15, 0, 10, 0, 10, 10, 0, 10)}},
		"two points":                     {{ring(0, 0, 10, 0)}},
		"two that share an edge":         {{shell}, {ring(10, 0, 20, 0, 20, 10, 10, 10)}},
		"two that overlap":               {{shell}, {ring(5, 5, 15, 5, 15, 15, 5, 15)}},
		"two that overlap a little":      {{shell}, {ring(9, 9, 19, 9, 19, 19, 9, 19)}},
		"the same twice":                 {{shell}, {shell}},
		"one in the other":               {{shell}, {ring(2, 2, 4, 2, 4, 4, 2, 4)}},
		"hole outside":                   {{shell, ring(20, 0, 20, 5, 25, 5)}},
		"hole run the wrong way":         {{shell, ring(2, 2, 4, 2, 4, 4, 2, 4)}},
		"hole in a hole":                 {{shell, ring(2, 2, 2, 8, 8, 8, 8, 2), ring(3, 3, 3, 4, 4, 4)}},
		"rings cross through corners":    {{ring(0, 0, 4, 0, 4, 4, 0, 4)}, {ring(4, 0, 8, 2, 4, 4, 2, 2)}},
		"a corner pierces an edge":       {{shell}, {ring(12, 8, 10, 5, 8, 5, 12, 2)}},
		"outside the plane":              {{ring(0, 0, maxCoord+1, 0, 0, 10)}},
		"two edges cross far from zero":  {{ring(4_000_000, 0, 4_000_010, 10, 4_000_010, 0, 4_000_000, 11)}},
		"ring winds twice round a point": {{ring(0, 0, 10, 0, 10, 10, 0, 10, 1, 1, 9, 1, 9, 9, 1, 9)}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := newLawn(g)
			assert.Error(t, err)
		})
	}
}

func TestMosaicsAreTaken(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 300 {
		m := randomMosaic(r, 4, 6, 0.3+0.6*r.Float64())
		l := m.lawn(t)
		assert.Zero(t, m.area(square(point{-99, -99}, 999)).Cmp(big.NewRat(l.area2, 2)))

		for i, e := range m.edges { // inside out
			m.edges[i] = segment{e.b, e.a}
		}
		_, err := lawnWithin(m.edges)
		assert.Equal(t, len(m.edges) > 0, err != nil)
	}
}

// Where two mosaics have a piece in common, their outlines together bound no
// lawn.
func TestMosaicsLaidTwiceAreNot(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	refused := 0
	for range 200 {
		m, twice := randomMosaic(r, 3, 6, 0.5), mosaic{}
		for _, p := range m.pieces {
			if r.IntN(3) == 0 {
				twice.pieces = append(twice.pieces, p)
			}
		}
		twice.edges = joined(outlineOf(twice.pieces))
		_, err := lawnWithin(append(twice.edges, m.edges...))
		if len(twice.pieces) > 0 {
			refused++
			assert.Error(t, err)
		}
	}
	assert.Greater(t, refused, 100)
}

func TestPlace(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	met := map[place]int{}
	for range 200 {
		m := randomMosaic(r, 3, 6, 0.6)
		l := m.lawn(t)
		for range 20 {
			p := point{r.Int64N(44), r.Int64N(36)}
			want := m.place(ratPoint{big.NewRat(p.x, 2), big.NewRat(p.y, 2)})
			assert.Equal(t, want, l.place(p), "%v in %v", p, m.edges)
			met[want]++
		}
	}
	assert.Greater(t, min(met[inside], met[onEdge], met[outside]), 100)
}

func TestEnteredByByHand(t *testing.T) {
	// A square with a notch from the right, a hole, and a hole that touches
	// the left edge at (0, 5).
	l, err := newLawn(geom.Region{{ring(0, 0, 20, 0, 20, 4, 16, 10, 20, 16, 20, 20, 0, 20),
		ring(6, 6, 6, 14, 12, 14, 12, 6), ring(0, 5, 3, 6, 3, 4)}})
	require.NoError(t, err)
	cases := []struct {
		s    segment
		want bool
	}{
		{segment{point{20, 4}, point{20, 16}}, false},  // over the mouth of the notch
		{segment{point{20, 0}, point{20, 20}}, false},  // and along the edges beside it
		{segment{point{16, 10}, point{30, 10}}, false}, // out of the notch
		{segment{point{16, 10}, point{12, 10}}, true},  // between notch and hole
		{segment{point{6, 6}, point{12, 14}}, false},   // a hole's diagonal
		{segment{point{6, 6}, point{12, 15}}, true},    // just past the hole's corner
		{segment{point{-5, 5}, point{3, 5}}, false},    // in where a hole touches the edge
		{segment{point{-5, 5}, point{4, 5}}, true},     // and out at its far side
		{segment{point{-5, 6}, point{3, 4}}, true},     // beside the touch
		{segment{point{-5, 0}, point{-5, 20}}, false},
		{segment{point{-5, -5}, point{25, 25}}, true},
		{segment{point{0, 0}, point{0, 20}}, false}, // an edge
		{segment{point{0, 0}, point{20, 4}}, true},
	}
	for _, c := range cases {
		assert.Equal(t, c.want, l.enteredBy(c.s), "%v", c.s)
		assert.Equal(t, c.want, l.enteredBy(segment{c.s.b, c.s.a}), "%v turned round", c.s)
	}
}

// Between two places where a segment meets lines of the outline nothing can
// change, so the oracle looks at the middle of each stretch.
func TestEnteredBy(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	met := map[bool]int{}
	for range 300 {
		m := randomMosaic(r, 3, 6, 0.2+0.7*r.Float64())
		if len(m.edges) == 0 {
			continue
		}
		l := m.lawn(t)
		for range 10 {
			s := segment{m.edges[r.IntN(len(m.edges))].a, m.edges[r.IntN(len(m.edges))].b}
			if r.IntN(3) == 0 {
				s.b = point{r.Int64N(22), r.Int64N(18)}
			}
			if s.a == s.b {
				continue
			}
			want, stops := false, m.stops(s)
			for k := 1; k < len(stops); k++ {
				middle := new(big.Rat).Add(stops[k-1], stops[k])
				want = want || m.place(ratOf(s.a).towards(ratOf(s.b), middle.Mul(middle, big.NewRat(1, 2)))) == inside
			}
			assert.Equal(t, want, l.enteredBy(s), fmt.Sprint(s, m.edges))
			met[want]++
		}
	}
	assert.Greater(t, min(met[true], met[false]), 300)
}
