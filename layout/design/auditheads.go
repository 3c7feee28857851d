package design

import (
	"context"
	"fmt"
	"math"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/sector"
	"lotwright/layout/sight"
)

// describeBuilt works out what the heads wet where they stand.
func (a *audit) describeBuilt(context.Context) error {
	a.lookAtPlaces()
	if a.s.Family != nil {
		return a.describeSectors()
	}
	var reaches []sight.Reach
	var wet []geom.Region
	for i := range a.heads {
		h := &a.heads[i]
		if h.Throw <= 0 {
			continue
		}
		reach := a.field.From(h.At, h.Throw.Millimetres(), a.s.Head.LeastThrow.Millimetres())
		wets := a.wets(&reach)
		h.Wetted, h.WettedArea = reach.Outline(layout.WettedSagittaMM), reach.AreaM2()
		if a.s.CrossPaving > 0 {
			h.Overspray = withoutScraps(geom.Difference(wets, a.d.Irrigated))
			h.OversprayArea = h.Overspray.AreaM2()
		}
		reaches, wet = append(reaches, reach), append(wet, wets)
	}
	reached := geom.Union(wet...)
	a.d.Heads = a.heads
	a.d.Coverage = min(a.field.CoveredWithinM2(reaches)/a.d.IrrigatedArea, 1)
	a.d.MarginCoverage = a.d.Coverage
	a.d.DryArea = (1 - a.d.Coverage) * a.d.IrrigatedArea
	a.d.Dry = withoutScraps(geom.Difference(a.d.Irrigated, reached))
	if a.s.CrossPaving > 0 {
		a.d.OversprayArea = withoutScraps(geom.Difference(reached, a.d.Irrigated)).AreaM2()
	}
	a.d.ThrowSlack = a.builtSlack()
	return nil
}

// builtSlack is how much of the throw all heads could lose before they missed
// the target; zero when they miss it already.
func (a *audit) builtSlack() layout.Length {
	full := int64(0)
	for _, h := range a.heads {
		full = max(full, h.Throw.Millimetres())
	}
	spare := func(longestMM int64) float64 {
		var reaches []sight.Reach
		for _, h := range a.heads {
			if throw := h.Throw.Millimetres() - (full - longestMM); throw > a.s.Head.LeastThrow.Millimetres() {
				reaches = append(reaches, a.field.From(h.At, throw, a.s.Head.LeastThrow.Millimetres()))
			}
		}
		return a.field.CoveredWithinM2(reaches)/a.d.IrrigatedArea - a.s.CoverageTarget
	}
	most := spare(full)
	if most < 0 || full == 0 {
		return 0
	}
	least := leastWhere(bracket{high: full, atLow: -a.s.CoverageTarget, atHigh: most}, spare)
	return layout.Length(full-least) / geom.MillimetresPerMetre
}

// lookAtPlaces points out heads that stand where none should.
func (a *audit) lookAtPlaces() {
	for i, h := range a.heads {
		asDesigned := !a.edited && h.At == a.designed.Heads[a.likeness[i]].At
		switch {
		case a.d.Irrigated.Locate(h.At) != geom.Interior:
			a.remark("audit.outside", layout.SeverityError, h.At, fmt.Sprintf("%s does not stand on the lawn", h.Label))
		case !asDesigned && !a.mayStand(h.At):
			a.remark("audit.clearance", layout.SeverityWarning, h.At, fmt.Sprintf(
				"%s stands nearer to paving, the lot line, a building or a wall than %v or %v", h.Label, a.s.EdgeClearance, a.s.BuildingClearance))
		}
	}
}

// describeSectors is describeBuilt for fixed-arc heads. Bearings count in whole
// degrees.
func (a *audit) describeSectors() error {
	stood := a.heads
	var sectors []sector.Sector
	var of []int
	for i, h := range stood {
		if h.Throw <= 0 {
			continue
		}
		z := a.nozzle(h)
		sectors = append(sectors, sector.Sector{At: h.At, Nozzle: z, Radius: h.Throw, Pinned: h.Pinned,
			StartDeg: wholeDegrees(h.ArcStart), SweepDeg: max(1, int(math.Round(h.ArcSweep))),
			Flow: layout.ArcFlow(a.arcs.nozzles[z].Flow, h.ArcSweep)})
		of = append(of, i)
	}
	a.d.Heads = nil
	if err := a.describeArcs(sectors); err != nil {
		return err
	}
	for k, i := range of {
		wets := a.d.Heads[k]
		h := &stood[i]
		h.Wetted, h.WettedArea, h.Overspray, h.OversprayArea = wets.Wetted, wets.WettedArea, wets.Overspray, wets.OversprayArea
	}
	a.d.Heads = stood
	return nil
}

// wholeDegrees is a bearing from 0 to 359.
func wholeDegrees(bearing float64) int {
	return (int(math.Round(math.Mod(bearing, fullCircleDeg))) + fullCircleDeg) % fullCircleDeg
}

// judge gives the reason why a target is missed, if one is.
func (a *audit) judge() {
	d := a.d
	if a.done || d.Status != layout.StatusDesigned {
		return
	}
	reason := ""
	switch {
	case d.Coverage < d.CoverageTarget && d.Coverage >= d.CoverageTarget-a.rounding():
		a.note("audit.rounding", layout.SeverityInfo, fmt.Sprintf("%.6g %% is reached and %.6g %% is asked for: no less than rounded places may account for",
			100*d.Coverage, 100*d.CoverageTarget))
		return
	case d.Coverage < d.CoverageTarget:
		reason = fmt.Sprintf("as built %.1f m² of the lawn stay dry: %.4g %% is reached and %.4g %% is asked for; the dry areas show where",
			d.DryArea, 100*d.Coverage, 100*d.CoverageTarget)
	case d.Uniformity != nil && d.Uniformity.DULowQuarter < d.Uniformity.Target:
		reason = fmt.Sprintf("as built the water lies less evenly than asked for: DU %.3f of %.2f", d.Uniformity.DULowQuarter, d.Uniformity.Target)
	default:
		return
	}
	d.Status, d.Reason = layout.StatusInfeasible, reason
	a.note("audit.target_missed", layout.SeverityError, reason)
}
