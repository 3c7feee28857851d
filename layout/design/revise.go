package design

import (
	"errors"
	"fmt"

	"lotwright/layout"
)

// Reading is what was measured at a head while it ran.
type Reading struct {
	Throw    *layout.Length   // wetted radius
	Pressure *layout.Pressure // at the head
}

// Revision is a head model brought into line with a reading.
type Revision struct {
	Model layout.HeadModel      // throws changed in proportion; flows as they were
	Table layout.PerformanceRow // what the model said at the pressure assumed
	Row   layout.PerformanceRow // what the head does by the reading

	ThrowShare float64 // throw by the reading over throw by the table at the same pressure
	AreaShare  float64 // of what a head reaches in the open, against what was assumed
	Text       string  // what it changes, in words
}

// ReviseThrow brings a head model into line with what was measured at a head
// that was assumed to have a pressure. A pressure alone moves along the table,
// which is not extrapolated; a throw changes the whole column of throws in
// proportion, since what shortens it at one pressure (wear, wind, a nozzle that
// was changed) does so at others: a judgement. To see what it does to a lot,
// design it with the revised model, or audit it with the measured throws.
func ReviseThrow(model layout.HeadModel, assumed layout.Pressure, measured Reading) (Revision, error) {
	if err := model.Validate(); err != nil {
		return Revision{}, err
	}
	if measured.Throw == nil && measured.Pressure == nil {
		return Revision{}, errors.New("neither a throw nor a pressure was measured")
	}
	table, _, ok := model.At(assumed)
	at := assumed
	if measured.Pressure != nil {
		at = *measured.Pressure
	}
	row, _, inBand := model.At(at)
	low, high := model.Band()
	switch {
	case !ok:
		return Revision{}, fmt.Errorf("%v is below the rated band of %s, %v to %v", assumed, model.Name, low, high)
	case !inBand:
		return Revision{}, fmt.Errorf("%v was measured, below the rated band of %s, %v to %v: how far it throws there is not known", at, model.Name, low, high)
	}
	out := Revision{Model: model, Table: table, Row: row, ThrowShare: 1}
	if measured.Throw != nil {
		if !(*measured.Throw > model.LeastThrow && *measured.Throw <= layout.MaxThrow) {
			return Revision{}, fmt.Errorf("a throw of %v makes no sense", *measured.Throw)
		}
		out.ThrowShare = float64(*measured.Throw / row.Throw)
		out.Row.Throw = *measured.Throw
		out.Model.Rows = nil
		for _, r := range model.Rows {
			r.Throw *= layout.Length(out.ThrowShare)
			out.Model.Rows = append(out.Model.Rows, r)
		}
		if err := out.Model.Validate(); err != nil {
			return Revision{}, err
		}
	}
	reach := float64(out.Row.Throw / table.Throw)
	out.AreaShare = reach * reach
	out.Text = fmt.Sprintf("throw %v instead of %v, flow %v instead of %v, %v instead of %v; a head reaches %.0f %% of the ground it was taken to reach in the open",
		out.Row.Throw, table.Throw, out.Row.Flow, table.Flow, out.Row.Pressure, table.Pressure, 100*out.AreaShare)
	return out, nil
}
