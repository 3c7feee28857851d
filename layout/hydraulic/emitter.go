package hydraulic

import (
	"errors"
	"fmt"
	"math"

	"lotwright/layout"
)

// Emitter is what draws water in proportion to its pressure: a [PowerEmitter] or
// a [TableEmitter].
type Emitter interface {
	check() error
	// drive is the head that drives a flow through the emitter.
	drive() law
	// flowAt returns what it takes at a head in m, in m³/s.
	flowAt(head float64) float64
	// typical is a flow in m³/s to begin with.
	typical() float64
	// most is the flow it never exceeds.
	most() float64
}

// DefaultEmitterExponent is that of a nozzle: flow grows with the square root
// of pressure.
const DefaultEmitterExponent = 0.5

// PowerEmitter takes Flow at Pressure, and at other pressures in proportion to
// their power Exponent.
type PowerEmitter struct {
	Flow     layout.Flow
	Pressure layout.Pressure
	Exponent float64 // 0 means [DefaultEmitterExponent]
}

// Exponents that a nozzle may have: below, flow hardly follows pressure and the
// inverse law is too steep to solve; above 1 nothing is made.
const (
	leastExponent = 0.1
	mostExponent  = 1
)

func (e PowerEmitter) exponent() float64 {
	if e.Exponent == 0 {
		return DefaultEmitterExponent
	}
	return e.Exponent
}

func (e PowerEmitter) check() error {
	x := e.exponent()
	return errors.Join(
		insist(finite(e.Flow) && e.Flow > 0 && finite(e.Pressure) && e.Pressure > 0, "an emitter of %v at %v", e.Flow, e.Pressure),
		insist(x >= leastExponent && x <= mostExponent, "an emitter exponent of %v", x))
}

func (e PowerEmitter) drive() law {
	x := 1 / e.exponent()
	return power{headOf(e.Pressure) / math.Pow(cubicMetres(e.Flow), x), x}
}

func (e PowerEmitter) flowAt(head float64) float64 {
	return cubicMetres(e.Flow) * math.Pow(max(head, 0)/headOf(e.Pressure), e.exponent())
}

func (e PowerEmitter) typical() float64 { return cubicMetres(e.Flow) }
func (PowerEmitter) most() float64      { return math.Inf(1) }

// TableEmitter is a head of the catalogue, its flow interpolated in its rows.
// Above the rated band it is regulated and takes the flow of the top row. Below
// the band flow is taken as growing with the square root of pressure, only so
// that it can be told how much pressure is missing.
type TableEmitter struct{ Model layout.HeadModel }

func (e TableEmitter) check() error {
	if err := e.Model.Validate(); err != nil {
		return err
	}
	for i, r := range e.Model.Rows[1:] {
		if r.Flow <= e.Model.Rows[i].Flow {
			return fmt.Errorf("head model %q row %d: flow must rise from row to row", e.Model.Name, i+1)
		}
	}
	return nil
}

func (e TableEmitter) drive() law {
	var t tableLaw
	for _, r := range e.Model.Rows {
		t.rows = append(t.rows, [2]float64{cubicMetres(r.Flow), headOf(r.Pressure)})
	}
	return t
}

func (e TableEmitter) flowAt(head float64) float64 {
	if row, _, ok := e.Model.At(pressureOf(head)); ok {
		return cubicMetres(row.Flow)
	}
	low := e.Model.Rows[0]
	return PowerEmitter{Flow: low.Flow, Pressure: low.Pressure}.flowAt(head)
}

// tableLaw runs in straight lines through its rows, and with the square of the
// flow below the first and above the last.
type tableLaw struct{ rows chords }

func (t tableLaw) loss(q float64) (head, slope float64) {
	end := t.rows[0]
	if last := t.rows[len(t.rows)-1]; q > last[0] {
		end = last
	} else if q > end[0] {
		return t.rows.loss(q)
	}
	return power{end[1] / (end[0] * end[0]), 2}.loss(q)
}

func (e TableEmitter) typical() float64 { return cubicMetres(e.Model.Rows[0].Flow) }
func (e TableEmitter) most() float64    { return cubicMetres(e.Model.Rows[len(e.Model.Rows)-1].Flow) }
