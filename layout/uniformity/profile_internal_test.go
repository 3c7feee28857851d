package uniformity

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestVolumeOfClosedForms(t *testing.T) {
	assert.InDelta(t, 1.0/6, Cone().radial().volume(0), 1e-15, "a cone holds a third of its cylinder, over 2π")
	assert.InDelta(t, 1.0/2, Even().radial().volume(0), 1e-15)
	assert.InDelta(t, (1-0.25)/2, Even().radial().volume(0.5), 1e-15)
	assert.InDelta(t, 1.0/6-(1.0/8-1.0/24), Cone().radial().volume(0.5), 1e-15)
	assert.Zero(t, Even().radial().volume(1))
}

// TestVolumeAgainstSums adds up thin rings of the profile as it is looked up.
func TestVolumeAgainstSums(t *testing.T) {
	const rings = 1_000_000
	for _, p := range GenericProfiles() {
		r := p.radial()
		for _, from := range []float64{0, 0.3, 0.62} {
			sum := 0.0
			for i := range rings {
				s := from + (1-from)*(float64(i)+0.5)/rings
				sum += r.at(s) * s * (1 - from) / rings
			}
			assert.InEpsilon(t, sum, r.volume(from), 1e-9, "%s from %v", p.Name, from)
		}
	}
}

func TestProfileLooksUpItsCorners(t *testing.T) {
	for _, p := range GenericProfiles() {
		r := p.radial()
		for _, pt := range p.Points {
			assert.InDelta(t, pt.Rate, r.at(pt.Share), 1e-12, "%s at %v", p.Name, pt.Share)
			assert.GreaterOrEqual(t, r.at(pt.Share), 0.0)
		}
	}
	assert.Equal(t, Cone().radial(), Profile{}.radial())
	assert.Zero(t, Cone().radial().at(1+1e-15), "rounding must not make a rate negative")
}
