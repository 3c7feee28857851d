package hydraulic

import (
	"fmt"

	"lotwright/layout"
)

// Fitting is a kind of fitting in a pipe.
type Fitting string

// The fittings that a line of pipe passes.
const (
	Ell90     Fitting = "90° ell"
	Ell45     Fitting = "45° ell"
	TeeRun    Fitting = "tee, straight through"
	TeeBranch Fitting = "tee, through the branch"
	GateValve Fitting = "gate valve"
)

// FittingCount is a number of like fittings.
type FittingCount struct {
	Fitting Fitting
	Count   int
}

// FittingRow gives the length of pipe of its own size that loses as much as a
// fitting.
type FittingRow struct {
	Fitting Fitting
	Nominal string
	Length  layout.Length
}

// FittingTable is a table of equivalent lengths. Published tables disagree by up
// to six times, so it is an input; an empty one means [DefaultFittings].
type FittingTable []FittingRow

// DefaultFittings returns published equivalent lengths: ells, International
// Residential Code, table A.2.2, screwed, 30 (90°) and 14 (45°) diameters of
// Schedule 40; tees, a consulting engineer's published table for PVC; gate
// valves, Illinois plumbing code (77 IAC 890, appendix A, table Q), at the least
// size given also for the smaller.
func DefaultFittings() FittingTable {
	feet := []struct {
		fitting Fitting
		lengths [len(nominal)]float64
	}{
		{Ell90, [...]float64{1.55, 2.06, 2.62, 3.45, 4.02, 5.17}},
		{Ell45, [...]float64{0.73, 0.96, 1.22, 1.61, 1.88, 2.41}},
		{TeeRun, [...]float64{1, 1.4, 1.7, 2.3, 2.7, 4.3}},
		{TeeBranch, [...]float64{4, 5, 6, 7, 8, 12}},
		{GateValve, [...]float64{1, 1, 1, 1, 2, 2}},
	}
	var t FittingTable
	for _, f := range feet {
		for i, l := range f.lengths {
			t = append(t, FittingRow{Fitting: f.fitting, Nominal: nominal[i], Length: layout.Feet(l)})
		}
	}
	return t
}

// Length returns the equivalent length of fittings on a pipe of a nominal size,
// or an error naming the row that the table lacks.
func (t FittingTable) Length(nominalSize string, fittings []FittingCount) (layout.Length, error) {
	var sum layout.Length
	for _, f := range fittings {
		row, ok := t.row(f.Fitting, nominalSize)
		if !ok {
			return 0, fmt.Errorf("the table of fittings has no row for a %s of %s", f.Fitting, nominalSize)
		}
		sum += row.Length * layout.Length(f.Count)
	}
	return sum, nil
}

func (t FittingTable) row(f Fitting, nominalSize string) (FittingRow, bool) {
	for _, r := range t {
		if r.Fitting == f && r.Nominal == nominalSize {
			return r, true
		}
	}
	return FittingRow{}, false
}
