package sight_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/geom"
	"lotwright/layout/sight"
)

// TestDryMakesUpTheRest: what is dry and what is covered add up to the region,
// and the middle of every patch worth the name is seen by no head.
func TestDryMakesUpTheRest(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 4))
	for range 40 {
		house := geom.Region{{{geom.Pt(4000, 3000), geom.Pt(9000+rng.Int64N(3000), 4000), geom.Pt(8000, 9000), geom.Pt(3000, 8000)}}}
		lawn := geom.Difference(geom.Region{{{geom.Pt(0, 0), geom.Pt(16_000, 0), geom.Pt(15_000, 14_000), geom.Pt(0, 12_000)}}}, house)
		field := sight.NewField(lawn)
		var reaches []sight.Reach
		for range rng.IntN(5) {
			reaches = append(reaches, field.From(geom.Pt(rng.Int64N(16_000), rng.Int64N(14_000)), 6000, rng.Int64N(2)*1500))
		}
		dry := 0.0
		for _, d := range field.Dry(reaches) {
			dry += d.AreaMM2 / 1e6
			if d.AreaMM2 < 1e5 { // less may be too thin for a point of the grid
				continue
			}
			require.True(t, lawn.Has(d.At))
			for _, r := range reaches {
				require.False(t, r.Sees(d.At), "%v is seen from %v", d.At, r.Head)
			}
		}
		assert.InDelta(t, lawn.AreaM2(), dry+field.CoveredWithinM2(reaches), 1e-6)
	}
}

func TestNothingDry(t *testing.T) {
	field := sight.NewField(geom.Region{{{geom.Pt(0, 0), geom.Pt(5000, 0), geom.Pt(5000, 5000), geom.Pt(0, 5000)}}})
	assert.Empty(t, field.Dry([]sight.Reach{field.From(geom.Pt(2500, 2500), 4000, 0)}))
	all := field.Dry(nil)
	require.Len(t, all, 1)
	assert.Equal(t, sight.Dry{At: geom.Pt(2500, 2500), AreaMM2: 25e6}, all[0])
}
