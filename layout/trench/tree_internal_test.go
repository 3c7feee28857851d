package trench

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// field is a chart of open ground with the given terminals and other places.
func field(t *testing.T, terminals, others []geom.Point) *chart {
	t.Helper()
	square := geom.Region{{{geom.Pt(0, 0), geom.Pt(20000, 0), geom.Pt(20000, 20000), geom.Pt(0, 20000)}}}
	s, err := Settings{}.withDefaults()
	require.NoError(t, err)
	var ts []terminal
	for i, p := range terminals {
		ts = append(ts, terminal{at: p, poc: i == 0})
	}
	c, err := newChart(context.Background(), newGround(&layout.Lot{Parcel: square}, s), nil, ts)
	require.NoError(t, err)
	for _, p := range others {
		c.add(place{at: p})
	}
	return c
}

// through returns the route through the given points.
func (c *chart) routeThrough(t *testing.T, points ...geom.Point) route {
	t.Helper()
	var r route
	for i, p := range points {
		at, ok := c.known[p]
		require.True(t, ok)
		r.places = append(r.places, at)
		if i == 0 {
			continue
		}
		for w := range c.ways {
			if c.ways[w].a == min(at, r.places[i-1]) && c.ways[w].b == max(at, r.places[i-1]) {
				r.ways = append(r.ways, w)
			}
		}
	}
	require.Len(t, r.ways, len(points)-1)
	return r
}

func (t *tree) segments() []geom.Segment {
	var out []geom.Segment
	for _, w := range t.ways {
		out = append(out, geom.Segment{A: t.chart.places[w.a].at, B: t.chart.places[w.b].at})
	}
	return out
}

func TestLinesAMillimetreApartAreOneTrench(t *testing.T) {
	// Both routes leave a along the same line; one of them turns off at x, which
	// rounding has put a millimetre beside the other.
	a, b, d, x := geom.Pt(1000, 1000), geom.Pt(9000, 1000), geom.Pt(5000, 6000), geom.Pt(5000, 1001)
	c := field(t, []geom.Point{a, b, d}, []geom.Point{x})
	routes := []route{c.routeThrough(t, a, b), c.routeThrough(t, a, x, d)}
	tree := newTree(c, routes)
	assert.ElementsMatch(t, []geom.Segment{{A: a, B: x}, {A: b, B: x}, {A: d, B: x}}, tree.segments())
	assert.Less(t, tree.length(), c.length(routes)-3_999_000)
}

func TestTheDearestWayOfACycleIsNotDug(t *testing.T) {
	a, b, d := geom.Pt(1000, 1000), geom.Pt(5000, 1000), geom.Pt(1000, 8000)
	c := field(t, []geom.Point{a, b, d}, nil)
	tree := newTree(c, []route{c.routeThrough(t, a, b), c.routeThrough(t, b, d), c.routeThrough(t, d, a)})
	assert.ElementsMatch(t, []geom.Segment{{A: a, B: b}, {A: a, B: d}}, tree.segments())
}

func TestWaysToNowhereAreNotDug(t *testing.T) {
	a, b, x, y := geom.Pt(1000, 1000), geom.Pt(5000, 1000), geom.Pt(5000, 3000), geom.Pt(6000, 5000)
	c := field(t, []geom.Point{a, b}, []geom.Point{x, y})
	tree := newTree(c, []route{c.routeThrough(t, a, b), c.routeThrough(t, b, x, y)})
	assert.Equal(t, []geom.Segment{{A: a, B: b}}, tree.segments())
}
