package sector

import (
	"fmt"
	"math"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// How strips are told: the edge of a narrow piece of lawn is probed every
// probeMM, looking offMM beyond it and beyond the far side.
const (
	probeMM = 200
	offMM   = 20
	// pavedShare is the share of a piece's outline that must have paving both
	// outside it and straight across, for the piece to count as a strip between
	// paving: its two ends seldom have.
	pavedShare = 0.5
)

// PavedStrips returns the parts of the lawn narrower than width that have paving
// on two sides, where a published rule allows no spray (30 TAC §344.62(b); see
// [layout.LeastSprayStrip]). The caller takes them out of the lawn.
func PavedStrips(lawn, paving geom.Region, width layout.Length) (geom.Region, error) {
	if len(paving) == 0 || width <= 0 {
		return nil, nil
	}
	wide, err := geom.Opened(lawn, width.Millimetres()/2)
	if err != nil {
		return nil, fmt.Errorf("finding strips narrower than %v: %w", width, err)
	}
	var out geom.Region
	for _, piece := range geom.Difference(lawn, wide) {
		if betweenPaving(piece, paving) {
			out = append(out, piece)
		}
	}
	return out, nil
}

// betweenPaving reports whether a narrow piece of lawn has paving on two sides.
func betweenPaving(piece geom.Polygon, paving geom.Region) bool {
	whole := geom.Region{piece}
	probes, paved := 0, 0
	for e := range whole.Edges() {
		length := e.LengthMM()
		n := int(math.Ceil(length / probeMM))
		along := e.B.Sub(e.A).Vec()
		inward := geom.Vec{X: -along.Y, Y: along.X}.Scale(1 / length)
		for i := range n {
			at := e.A.Vec().Add(along.Scale((float64(i) + 0.5) / float64(n)))
			probes++
			across := at.Add(inward.Scale(acrossMM(whole, at, inward) + offMM))
			if paving.Has(at.Add(inward.Scale(-offMM)).Round()) && paving.Has(across.Round()) {
				paved++
			}
		}
	}
	return float64(paved) > pavedShare*float64(probes)
}

// acrossMM returns the distance from a point on the outline to the far side, in
// the direction d of length 1.
func acrossMM(g geom.Region, at, d geom.Vec) float64 {
	least := math.Inf(1)
	for e := range g.Edges() {
		a, b := e.A.Vec().Sub(at), e.B.Vec().Sub(at)
		side := d.Cross(a)
		if (side > 0) == (d.Cross(b) > 0) {
			continue
		}
		edge := b.Sub(a)
		if t := a.Cross(edge) / d.Cross(edge); t > 1 {
			least = min(least, t)
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}
