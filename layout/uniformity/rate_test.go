package uniformity_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/uniformity"
)

const squareFoot = layout.MetresPerFoot * layout.MetresPerFoot // m²

func TestPrecipitationRate(t *testing.T) {
	cases := []struct {
		source          string
		gpm, squareFeet float64
		want, tolerance float64 // in/h, relative
	}{
		// kpud.org/sprinklerRates.php derives 96.25·Q/A; 60 min · 12 in over
		// 7.4805 gal to the cubic foot.
		{"kpud.org/sprinklerRates.php", 10, 1000, 0.9625, 5e-5},
		{"sample problem of a deck on precipitation rates: 6 halves of 1.0, 4 quarters of 0.5, 60 × 15 ft",
			6*1.0 + 4*0.5, 60 * 15, 0.856, 0.005},
		{"96.3·q/A, New Mexico State University, Soils 456, chapter 5", 18, 2000, 0.867, 0.002},
		// Same deck: 30 ft apart in rows 25 ft apart. The deck multiplies the
		// area by 0.866 once more and prints 0.889, which is wrong.
		{"area of a head S·L, taken once", 6, 30 * 25, 0.770, 0.002},
		{"spreval, solid-set article: 0.575 in in 2.25 h by 16.98 gpm on 80 × 80 ft", 16.98, 6400, 0.575 / 2.25, 0.002},
	}
	for _, c := range cases {
		r, err := uniformity.PrecipitationRate(layout.GPM(c.gpm), c.squareFeet*squareFoot)
		require.NoError(t, err)
		assert.InEpsilon(t, c.want, r.InchesPerHour(), c.tolerance, c.source)
	}
}

func TestRateUnits(t *testing.T) {
	assert.InDelta(t, 25.4, uniformity.InchesPerHour(1).MMPerHour(), 1e-12)
	assert.InDelta(t, 1, uniformity.Rate(25.4).InchesPerHour(), 1e-12)
	assert.Equal(t, "0.50 in/h (12.7 mm/h)", uniformity.InchesPerHour(0.5).String())
	r, err := uniformity.PrecipitationRate(10, 60) // 600 L/h on 60 m²
	require.NoError(t, err)
	assert.InDelta(t, 10, r.MMPerHour(), 1e-12)
}

func TestNoRateWithoutArea(t *testing.T) {
	for _, area := range []float64{0, -1} {
		_, err := uniformity.PrecipitationRate(1, area)
		assert.ErrorContains(t, err, "m²")
	}
}
