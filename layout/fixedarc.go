package layout

import (
	"errors"
	"fmt"
	"math"
)

// Fixed-arc heads water one sector of one radius (contract 4.5). A family is a
// set of nozzles of one precipitation rate, so that heads of any radius and arc
// may run on one valve.

// FixedArcFamily is a family of fixed-arc heads with what is known of all its
// nozzles.
type FixedArcFamily struct {
	Name    string
	Nozzles []HeadModel  // by throw, the shortest first; flows are those on a full circle
	Profile []RadialRate // how the rate falls off along a bearing; nil: a cone

	LeastSweepDeg    int     // in steps of 5°
	GreatestSweepDeg int     // 360: all round
	LeastRadiusShare float64 // of the throw, when turned down all the way

	UniformityTarget float64 // DU_lq a layout of them should reach
	OversprayLimit   float64 // share of a sector's wetted area that may lie off the lawn

	// LeastStrip is the width under which a strip between paving gets none of
	// these heads; 0: no such rule.
	LeastStrip Length
}

// RadialRate is a corner of a radial profile, straight lines between: the
// relative application rate at a share of the throw, 0 at the head and 1 at full
// throw. The head's flow sets the scale.
type RadialRate struct {
	Share float64
	Rate  float64
}

// ArcFlow returns the flow on a sweep of a head with the given flow on a full
// circle: in proportion, so that every arc waters at one rate. That is what
// matched precipitation means (30 TAC §344.1(32)). Turning the radius down
// leaves the flow as it is.
func ArcFlow(full Flow, sweepDeg float64) Flow { return full * Flow(sweepDeg/360) }

// LeastSprayStrip is the width under which strips with paving on two sides get
// no spray: 48 in (30 TAC §344.62(b)). Some places ask for 60 in.
const LeastSprayStrip Length = 48 * MetresPerInch

// What the generic families have in common, of the design of record.
const (
	leastSweepDeg    = 45
	fullCircleDeg    = 360
	sweepStepDeg     = 5
	leastRadiusShare = 0.75
	oversprayLimit   = 0.05
)

// The generic families are invented. Radii, precipitation rates and pressures
// are in the usual ranges: common practice, no source. Flow goes with the square
// root of pressure and throw with the fourth root, within the exponents of 0.2
// to 0.5 that are taught, so that the precipitation rate is the same all over
// the rated band.

// GenericSpray is the built-in spray family: 8 to 15 ft, 1.5 in/h.
func GenericSpray() FixedArcFamily {
	f := genericFamily("generic spray", 1.5, 30, []float64{20, 25, 30, 40}, 8, 10, 12, 15)
	f.UniformityTarget, f.LeastStrip = 0.55, LeastSprayStrip
	return f
}

// GenericMultiStream is the built-in multi-stream family: 15 to 25 ft, 0.5 in/h.
func GenericMultiStream() FixedArcFamily {
	return genericFamily("generic multi-stream", 0.5, 40, []float64{30, 40, 50}, 15, 20, 25)
}

// GenericRotor is the built-in rotor family: 25 to 40 ft, 0.5 in/h.
func GenericRotor() FixedArcFamily {
	return genericFamily("generic rotor", 0.5, 45, []float64{35, 45, 55, 65}, 25, 30, 35, 40)
}

// GenericFixedArc lists the built-in families.
func GenericFixedArc() []FixedArcFamily {
	return []FixedArcFamily{GenericSpray(), GenericMultiStream(), GenericRotor()}
}

// inchesPerHour is the precipitation rate, in in/h, of 1 gpm on 1 ft².
const inchesPerHour = 96.25

// genericFamily makes a family of nozzles with the given throws, in feet at
// nominal pressure. A full circle waters, like its neighbours on a square
// lattice spaced at the throw, an area of the throw squared.
func genericFamily(name string, rateInPerHour, nominalPSI float64, bandPSI []float64, throwsFt ...float64) FixedArcFamily {
	f := FixedArcFamily{Name: name, LeastSweepDeg: leastSweepDeg, GreatestSweepDeg: fullCircleDeg,
		LeastRadiusShare: leastRadiusShare, UniformityTarget: 0.65, OversprayLimit: oversprayLimit}
	for _, throw := range throwsFt {
		m := HeadModel{Name: fmt.Sprintf("%s %g ft", name, throw), Kind: FixedArc}
		for _, p := range bandPSI {
			root := math.Sqrt(p / nominalPSI)
			m.Rows = append(m.Rows, PerformanceRow{Pressure: PSI(p), Throw: Feet(throw * math.Sqrt(root)),
				Flow: GPM(rateInPerHour * throw * throw / inchesPerHour * root)})
		}
		f.Nozzles = append(f.Nozzles, m)
	}
	return f
}

// At returns a row for each nozzle at a pressure, as [HeadModel.At] does. A
// nozzle below its rated band has none and ok is false for it; regulated is set
// when the pressure is above the band of any.
func (f FixedArcFamily) At(p Pressure) (rows []PerformanceRow, ok []bool, regulated bool) {
	for _, m := range f.Nozzles {
		row, above, within := m.At(p)
		rows, ok = append(rows, row), append(ok, within)
		regulated = regulated || above
	}
	return rows, ok, regulated
}

// Validate says what is wrong with a family, if anything.
func (f FixedArcFamily) Validate() error {
	fault := func(format string, args ...any) error {
		return fmt.Errorf("head family %q: %w", f.Name, fmt.Errorf(format, args...))
	}
	var all []error
	if len(f.Nozzles) == 0 {
		all = append(all, fault("no nozzles"))
	}
	for _, m := range f.Nozzles {
		if err := m.Validate(); err != nil {
			all = append(all, fault("%w", err))
		} else if m.Kind != FixedArc {
			all = append(all, fault("nozzle %q is not a fixed-arc head", m.Name))
		}
	}
	if f.LeastSweepDeg <= 0 || f.LeastSweepDeg%sweepStepDeg != 0 || f.GreatestSweepDeg%sweepStepDeg != 0 ||
		f.GreatestSweepDeg > fullCircleDeg || f.GreatestSweepDeg < f.LeastSweepDeg {
		all = append(all, fault("sweeps from %d° to %d° are not steps of %d° up to a full circle", f.LeastSweepDeg, f.GreatestSweepDeg, sweepStepDeg))
	}
	if !(f.LeastRadiusShare > 0 && f.LeastRadiusShare <= 1) {
		all = append(all, fault("least radius share %v is not in (0, 1]", f.LeastRadiusShare))
	}
	if !(f.UniformityTarget >= 0 && f.UniformityTarget < 1) {
		all = append(all, fault("uniformity target %v is not in [0, 1)", f.UniformityTarget))
	}
	if !(f.OversprayLimit >= 0 && f.OversprayLimit < 1) {
		all = append(all, fault("overspray limit %v is not in [0, 1)", f.OversprayLimit))
	}
	if !(f.LeastStrip >= 0) {
		all = append(all, fault("least strip width %v is negative", f.LeastStrip))
	}
	return errors.Join(append(all, f.checkProfile())...)
}

func (f FixedArcFamily) checkProfile() error {
	n := len(f.Profile)
	if n == 0 {
		return nil
	}
	if n == 1 || f.Profile[0].Share != 0 || f.Profile[n-1].Share != 1 {
		return fmt.Errorf("head family %q: the profile must run from share 0 to share 1 of the throw", f.Name)
	}
	wet := false
	for i, pt := range f.Profile {
		if i > 0 && !(pt.Share > f.Profile[i-1].Share) || !(pt.Rate >= 0) || math.IsInf(pt.Rate, 1) {
			return fmt.Errorf("head family %q profile point %d: shares must rise and rates be finite and not negative", f.Name, i+1)
		}
		wet = wet || pt.Rate > 0
	}
	if !wet {
		return fmt.Errorf("head family %q: the profile has no water in it", f.Name)
	}
	return nil
}
