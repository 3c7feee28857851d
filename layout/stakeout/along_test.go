package stakeout_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/stakeout"
)

func ground(x0, y0, x1, y1 int64) geom.Region {
	return geom.Region{{{geom.Pt(x0, y0), geom.Pt(x1, y0), geom.Pt(x1, y1), geom.Pt(x0, y1)}}}
}

// TestOnSide: a tap 3.2 m from a corner on a wall of 10 m is found by one tape from
// that corner; one 60 cm off the wall is not, and a lot line serves where no wall
// does.
func TestOnSide(t *testing.T) {
	house, lot := ground(5000, 5000, 15000, 12000), ground(0, 0, 20000, 20000)
	corners := stakeout.References(house, lot)
	find := func(x, y int64) (stakeout.Along, bool) {
		return stakeout.OnSide(stakeout.Named{Name: layout.POCLabel, At: geom.Pt(x, y)}, corners, stakeout.Centimetre, house, lot)
	}
	a, ok := find(8200, 5000)
	require.True(t, ok)
	assert.Equal(t, geom.Pt(5000, 5000), a.From.At)
	assert.Equal(t, geom.Pt(15000, 5000), a.To.At)
	assert.Equal(t, int64(320), a.Marks)
	assert.Zero(t, a.Error)
	a, ok = find(14003, 4970)
	require.True(t, ok)
	assert.Equal(t, geom.Pt(15000, 5000), a.From.At, "the nearer corner")
	assert.Equal(t, int64(100), a.Marks)
	assert.InDelta(t, 0.0302, a.Error.Metres(), 0.0001, "30 mm off the wall and 3 mm along it")
	_, ok = find(8200, 4400)
	assert.False(t, ok)
	a, ok = find(8200, 0)
	require.True(t, ok)
	assert.Equal(t, "L", a.From.Name[:1])

	rng := rand.New(rand.NewPCG(3, 4))
	for range 200 {
		x := 5000 + rng.Int64N(10_001)
		a, ok := find(x, 12000)
		require.True(t, ok)
		assert.LessOrEqual(t, a.Error.Metres(), 0.0051, "half a centimetre of rounding")
		assert.LessOrEqual(t, a.Distance.Metres(), 5.0051)
	}
}
