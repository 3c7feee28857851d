package uniformity

import (
	"fmt"
	"math"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Residual sets what a can caught beside what was predicted for its place.
type Residual struct {
	Can         Can
	MeasuredMM  float64
	PredictedMM float64
}

// DifferenceMM is positive where more was caught than predicted.
func (r Residual) DifferenceMM() float64 { return r.MeasuredMM - r.PredictedMM }

// Comparison sets a catch-can test beside a prediction.
type Comparison struct {
	// Cans are the cans with a place for which there is a prediction, in the
	// order of the file; Left those without.
	Cans []Residual
	Left []Can

	MeanMeasuredMM, MeanPredictedMM float64
	// Scale is the mean caught over the mean predicted: off 1 where flow or run
	// time are not what was assumed. It is 0 when nothing was predicted.
	Scale float64
	// RMSDifferenceMM is the root of the mean square difference; PatternRMSMM
	// the same after the prediction was brought to the mean caught, which leaves
	// what lies elsewhere than predicted.
	RMSDifferenceMM, PatternRMSMM float64
}

// Compare sets the cans beside a prediction of the depth in mm in each, which
// tells whether it knows the place; it is only asked of cans that have one. It
// fails when depths are not known or no can has a place with a prediction.
func (t CatchTest) Compare(c Catch, predicted func(Can) (mm float64, ok bool)) (*Comparison, error) {
	out := &Comparison{}
	for _, can := range c.Cans {
		measured, ok := t.DepthMM(can.Reading, c.Unit)
		if !ok {
			return nil, fmt.Errorf("catch cans: the mouth of the cans is not known, so nothing can be compared")
		}
		if can.At == nil {
			out.Left = append(out.Left, can)
			continue
		}
		mm, ok := predicted(can)
		if !ok {
			out.Left = append(out.Left, can)
			continue
		}
		out.Cans = append(out.Cans, Residual{Can: can, MeasuredMM: measured, PredictedMM: mm})
	}
	if len(out.Cans) == 0 {
		return nil, fmt.Errorf("catch cans: none has a place on the lawn")
	}
	out.sum()
	return out, nil
}

// sum works out the figures of all cans together.
func (c *Comparison) sum() {
	n := float64(len(c.Cans))
	for _, r := range c.Cans {
		c.MeanMeasuredMM += r.MeasuredMM / n
		c.MeanPredictedMM += r.PredictedMM / n
	}
	if c.MeanPredictedMM > 0 {
		c.Scale = c.MeanMeasuredMM / c.MeanPredictedMM
	}
	c.RMSDifferenceMM, c.PatternRMSMM = c.rms(1), c.rms(c.Scale)
}

// rms is the root mean square of what was caught less the prediction times a scale.
func (c *Comparison) rms(scale float64) float64 {
	sum := 0.0
	for _, r := range c.Cans {
		d := r.MeasuredMM - float64(r.PredictedMM*scale)
		sum += float64(d * d)
	}
	return math.Sqrt(sum / float64(len(c.Cans)))
}

// farOff is how far off the prediction, brought to the mean caught, a can is
// pointed out as a warning: a quarter. A judgement.
const farOff = 0.25

// Notes tells of each can, at its place, what it caught and what was predicted:
// the map of measured against predicted depth. Cans far off the pattern are
// warnings.
func (c *Comparison) Notes() (out []layout.Note) {
	for _, r := range c.Cans {
		severity, expected := layout.SeverityInfo, r.PredictedMM*c.Scale
		if math.Abs(r.MeasuredMM-expected) > farOff*expected {
			severity = layout.SeverityWarning
		}
		out = append(out, layout.Note{Rule: "catch.compared", Severity: severity, At: r.Can.At,
			Text: fmt.Sprintf("%s caught %.1f mm (%.2f in); %.1f mm (%.2f in) were predicted", r.Can.name(),
				r.MeasuredMM, r.MeasuredMM/millimetresPerInch, r.PredictedMM, r.PredictedMM/millimetresPerInch)})
	}
	return out
}

// RateAt returns the rate at a place: that of the nearest cell's centre, if one
// lies within a cell's side of it.
func (r *Result) RateAt(p geom.Point) (Rate, bool) {
	best, found := r.Cell.Millimetres()*r.Cell.Millimetres()+1, -1
	for i, at := range r.At {
		if d := at.Sub(p).Norm2(); d < best {
			best, found = d, i
		}
	}
	if found < 0 {
		return 0, false
	}
	return Rate(r.Rates[found]), true
}
