package hydraulic

import (
	"slices"

	"lotwright/layout"
)

// meterRows are the largest flow of each size of disc water meter in gpm and
// the loss there in psi: the published AWWA standard pressure losses, which a
// square law fits within 5 % from half of that flow up.
var meterRows = []struct {
	size     string
	gpm, psi float64
}{{"5/8 in", 20, 15}, {"3/4 in", 30, 15}, {"1 in", 50, 15}, {"1-1/2 in", 100, 20}}

// Meter returns the loss of a disc water meter of a nominal size, 5/8 in to
// 1-1/2 in.
func Meter(size string) (SquareLoss, bool) {
	for _, r := range meterRows {
		if r.size == size {
			return SquareLoss{Loss: layout.PSI(r.psi), At: layout.GPM(r.gpm), Most: layout.GPM(r.gpm)}, true
		}
	}
	return SquareLoss{}, false
}

// BackflowKind is a kind of backflow assembly. Which kind is lawful is for the
// local code and a licensed tester to say.
type BackflowKind string

// The kinds.
const (
	PressureVacuumBreaker BackflowKind = "pressure vacuum breaker"
	DoubleCheck           BackflowKind = "double check assembly"
	ReducedPressure       BackflowKind = "reduced pressure assembly"
)

// genericBackflowGPM is where the generic curves end.
const genericBackflowGPM = 25

// GenericBackflow returns a loss curve for where the device's own is not known:
// from the low end of what designers allow for a kind, as flow begins, to the
// high end at 25 gpm. It is a judgement (common practice, no source) and marked
// as one.
func GenericBackflow(kind BackflowKind) (LossCurve, bool) {
	kinds := []BackflowKind{PressureVacuumBreaker, DoubleCheck, ReducedPressure}
	psi := [][2]float64{{3, 5}, {4, 6}, {10, 14}}
	i := slices.Index(kinds, kind)
	if i < 0 {
		return LossCurve{}, false
	}
	return LossCurve{Offset: layout.PSI(psi[i][0]), Judged: true,
		Points: []LossPoint{{layout.GPM(genericBackflowGPM), layout.PSI(psi[i][1])}}}, true
}

// GenericValve is the loss of a 1 in electric valve: 2 psi at 10 gpm by the
// square law, a judgement (common practice, no source).
func GenericValve() SquareLoss { return SquareLoss{Loss: layout.PSI(2), At: layout.GPM(10)} }
