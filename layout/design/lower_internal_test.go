package design

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

// TestLowerFallsFastEnough: even if every layout falls short by a hair only, the
// pressure assumed falls by a psi at least, the eighth layout is for the foot of
// the band, what may be lost kept above it, and there is no ninth.
func TestLowerFallsFastEnough(t *testing.T) {
	m := layout.GenericVariableThrow()
	for margin, want := range map[float64][]float64{0: {69, 68, 67, 66, 65, 64, 40}, 5: {69, 68, 67, 66, 65, 64, 45}} {
		r := run{s: Settings{Head: m, PressureMargin: layout.PSI(margin)}}
		row := m.Rows[2]
		var tried []float64
		for tries := 1; ; tries++ {
			next := r.lower(row, hydraulic.Settled{Heads: []hydraulic.HeadState{{Pressure: row.Pressure - layout.PSI(0.02)}}}, tries)
			if next == nil {
				break
			}
			require.Less(t, len(tried), 20)
			row = *next
			tried = append(tried, row.Pressure.PSI())
		}
		assert.InDeltaSlice(t, want, tried, 1e-9)
	}
	r := run{s: Settings{Head: m}}
	deep := r.lower(m.Rows[2], hydraulic.Settled{Heads: []hydraulic.HeadState{{Pressure: layout.PSI(12)}}}, 1)
	require.NotNil(t, deep)
	assert.Equal(t, m.Rows[0], *deep, "below the band the foot is tried")
}
