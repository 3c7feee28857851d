package hydraulic

import (
	"context"
	"errors"
	"fmt"

	"lotwright/layout"
)

// Agreement is a throw that placement and hydraulics agree on, or the failure to
// find one.
type Agreement struct {
	Agreed  bool
	Reason  string                  // in words; empty when agreed
	Row     layout.PerformanceRow   // what the last layout assumed of every head
	Settled Settled                 // how the heads of that layout run
	Tried   []layout.PerformanceRow // what each layout assumed, the first first
}

// Bounds of [Agree].
const (
	agreeRounds = 8                                 // layouts tried at most
	agreeStep   = layout.Pressure(layout.KPaPerPSI) // least fall from one to the next, but for the last
	throwSlack  = layout.Length(0.001)              // a throw this much short counts as reached: the grid's millimetre
)

// Agree finds a throw that every head reaches in the network that follows from
// placing heads by that throw. It begins with start, what one head could do if
// pipe lost nothing, lays the lot out with that for every head, and finds what
// the heads really do; lay does both. While some head falls short it goes on
// with what the worst does, at least one psi less than before; the eighth try
// takes the foot of the rated band.
//
// That ends: the pressure assumed only falls. Where it ends with agreement every
// head throws at least as far as was assumed, by the exact solution of its own
// network. It is not promised that no larger throw agrees: a lot laid out for
// less throw has more heads and another network, and nothing orders the two. If
// even the foot of the band does not agree, the reason says so and the shortfalls
// of the last layout say what is missing.
func Agree(ctx context.Context, m layout.HeadModel, start layout.PerformanceRow,
	lay func(context.Context, layout.PerformanceRow) (Settled, error)) (Agreement, error) {
	if err := m.Validate(); err != nil {
		return Agreement{}, err
	}
	foot := m.Rows[0]
	if start.Pressure < foot.Pressure {
		return Agreement{}, errors.New("the pressure to start with is below the rated band")
	}
	var a Agreement
	for row := start; ; row = next(m, a) {
		if len(a.Tried) == agreeRounds-1 {
			row = foot
		}
		settled, err := lay(ctx, row)
		if err != nil {
			return a, err
		}
		a.Row, a.Settled, a.Tried = row, settled, append(a.Tried, row)
		if a.Agreed = settled.throws(row.Throw); a.Agreed {
			return a, nil
		}
		if row.Pressure <= foot.Pressure {
			a.Reason = fmt.Sprintf("after %d layouts, the last for the foot of the rated band, a head still falls short of its throw of %v", len(a.Tried), row.Throw)
			return a, nil
		}
	}
}

// next returns what to assume after a layout that fell short.
func next(m layout.HeadModel, a Agreement) layout.PerformanceRow {
	p := min(a.Settled.Heads[a.Settled.Worst].Pressure, a.Row.Pressure-agreeStep)
	if row, _, ok := m.At(p); ok {
		return row
	}
	return m.Rows[0]
}

// throws reports whether every head throws that far.
func (s Settled) throws(l layout.Length) bool {
	for _, h := range s.Heads {
		if !h.InBand || h.Row.Throw < l-throwSlack {
			return false
		}
	}
	return true
}
