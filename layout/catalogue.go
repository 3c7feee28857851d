package layout

import (
	"fmt"
	"math"
)

// HeadKind is how a head throws.
type HeadKind string

// The kinds of contract 4.5.
const (
	VariableThrow HeadKind = "variable_throw" // throw follows the lawn's edge, bearing by bearing
	FixedArc      HeadKind = "fixed_arc"      // one arc, one radius
)

// HeadModel is one row set of a catalogue: what a head does at each pressure
// of its rated band.
type HeadModel struct {
	Name       string
	Kind       HeadKind
	LeastThrow Length // nearest distance it can wet; 0 for the generic variable-throw head
	Rows       []PerformanceRow
}

// PerformanceRow is one line of a performance table.
type PerformanceRow struct {
	Pressure Pressure // at the head, while it runs
	Throw    Length
	Flow     Flow
}

// GenericVariableThrow is the built-in, invented variable-throw head. Throws of
// 25 to 35 ft are common practice, no source; flow is proportional to the
// square root of pressure (checked against the published nozzle rows P1 and P2).
func GenericVariableThrow() HeadModel {
	return HeadModel{
		Name: "generic variable-throw",
		Kind: VariableThrow,
		Rows: []PerformanceRow{
			{PSI(40), Feet(25), GPM(4.0)},
			{PSI(55), Feet(30), GPM(4.7)},
			{PSI(70), Feet(35), GPM(5.3)},
		},
	}
}

// MaxThrow is the farthest throw a model may state, far beyond any lawn head,
// so that distances in millimetres stay in range.
const MaxThrow Length = 200

// Validate says what is wrong with a model's table, if anything: rows must be
// in order of pressure, strictly, positive and finite, and every throw must be
// beyond the least throw.
func (m HeadModel) Validate() error {
	if len(m.Rows) == 0 {
		return fmt.Errorf("head model %q has no performance rows", m.Name)
	}
	for i, r := range m.Rows {
		if !positive(float64(r.Pressure)) || !positive(float64(r.Throw)) || !positive(float64(r.Flow)) {
			return fmt.Errorf("head model %q row %d: pressure, throw and flow must be positive", m.Name, i)
		}
		if i > 0 && r.Pressure <= m.Rows[i-1].Pressure {
			return fmt.Errorf("head model %q row %d: pressures must rise from row to row", m.Name, i)
		}
		if r.Throw > MaxThrow {
			return fmt.Errorf("head model %q row %d: a throw of %v is beyond %v", m.Name, i, r.Throw, MaxThrow)
		}
		if !(m.LeastThrow >= 0 && m.LeastThrow < r.Throw) {
			return fmt.Errorf("head model %q row %d: the least throw, %v, must lie between none and the throw, %v", m.Name, i, m.LeastThrow, r.Throw)
		}
	}
	return nil
}

// positive reports whether v is above zero and finite.
func positive(v float64) bool { return v > 0 && !math.IsInf(v, 1) }

// Band returns the lowest and highest rated pressure.
func (m HeadModel) Band() (low, high Pressure) {
	return m.Rows[0].Pressure, m.Rows[len(m.Rows)-1].Pressure
}

// At interpolates the table linearly. Above the band it returns the top row
// with regulated set; below the band ok is false: nothing is extrapolated.
func (m HeadModel) At(p Pressure) (row PerformanceRow, regulated, ok bool) {
	low, high := m.Band()
	switch {
	case p < low:
		return PerformanceRow{}, false, false
	case p >= high:
		return m.Rows[len(m.Rows)-1], p > high, true
	}
	i := 1
	for m.Rows[i].Pressure < p {
		i++
	}
	a, b := m.Rows[i-1], m.Rows[i]
	t := float64((p - a.Pressure) / (b.Pressure - a.Pressure))
	return PerformanceRow{
		Pressure: p,
		Throw:    a.Throw + Length(t)*(b.Throw-a.Throw),
		Flow:     a.Flow + Flow(t)*(b.Flow-a.Flow),
	}, false, true
}

// PressureFor returns the least pressure of the rated band at which the table
// gives a throw; ok is false if no row throws that far.
func (m HeadModel) PressureFor(throw Length) (p Pressure, ok bool) {
	if m.Rows[0].Throw >= throw {
		return m.Rows[0].Pressure, true
	}
	for i, b := range m.Rows[1:] {
		if a := m.Rows[i]; b.Throw >= throw {
			return a.Pressure + (b.Pressure-a.Pressure)*Pressure((throw-a.Throw)/(b.Throw-a.Throw)), true
		}
	}
	return 0, false
}
