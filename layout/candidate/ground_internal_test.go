package candidate

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// TestAllNearAgreesWithTheDrawnStrips: where every point of the lawn is said to
// be near legal ground, no strip drawn by buffers holds a point to try; and
// mostly the other way round.
func TestAllNearAgreesWithTheDrawnStrips(t *testing.T) {
	box := func(rng *rand.Rand, most int64) geom.Region {
		x, y := rng.Int64N(20_000), rng.Int64N(20_000)
		slant := rng.Int64N(400)
		w, h := 1000+rng.Int64N(most), 1000+rng.Int64N(most)
		return geom.Region{{{geom.Pt(x, y), geom.Pt(x+w, y+slant), geom.Pt(x+w-slant, y+h), geom.Pt(x, y+h)}}}
	}
	near, strips, unsure := 0, 0, 0
	for seed := range uint64(300) {
		rng := rand.New(rand.NewPCG(seed, 3))
		lot := &layout.Lot{Parcel: geom.Region{{{geom.Pt(0, 0), geom.Pt(20_000, 0), geom.Pt(21_000, 20_000), geom.Pt(0, 20_000)}}},
			Building: geom.Union(box(rng, 9000), box(rng, 9000), box(rng, 5000)), Hardscape: box(rng, 8000)}
		lawn, err := Irrigated(lot, LawnSettings{LeastStripMM: 300})
		require.NoError(t, err)
		g, err := NewGround(lot, lawn.Region, Clearances{EdgeMM: 100, BuildingMM: 300})
		require.NoError(t, err)
		drawn, err := g.strips(600)
		require.NoError(t, err)
		switch tried := gridPoints(drawn, middleStepMM); {
		case g.allNear(600):
			near++
			require.Empty(t, tried, "seed %d", seed)
			require.Empty(t, g.MiddleLine)
		case len(tried) > 0:
			strips++
		default:
			unsure++
		}
	}
	assert.Greater(t, near, 50)
	assert.Greater(t, strips, 10)
	assert.Less(t, unsure, near, "or nothing is saved")
}
