package design

import (
	"context"
	"fmt"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/hydraulic"
)

// Recheck works out anew what a design comes to whose heads somebody moved, took
// out or added: what they wet, what stays dry, and the pressures, by the steps of
// [Audit]. There is no design to set it beside, so nothing is said of what was
// moved. Nothing is placed or proven, so it takes a fraction of what [Run] takes.
//
// A head throws as the edited design says, or as the pressure makes it throw
// where that says nothing, and never farther than that pressure allows. Places in
// a file are rounded to about a millimetre: what that may account for does not
// miss the target. Errors are faults in the edited design, such as two heads of
// one label, in the settings, or ctx done.
func Recheck(ctx context.Context, lot *layout.Lot, edited layout.Edited, s Settings) (*layout.Design, error) {
	if err := s.Validate(); err != nil {
		return nil, fmt.Errorf("settings: %w", err)
	}
	if edited.Design == nil || len(edited.Heads) == 0 {
		return nil, fmt.Errorf("lot %q: there is no head to look at", lot.ID)
	}
	told := *edited.Design
	if told.Heads = slices.Clone(told.Heads); len(told.Heads) == 0 {
		told.Heads = []layout.Head{{Kind: told.HeadKind, At: edited.Heads[0].At, ArcSweep: fullCircleDeg}} // for added heads to be like
	}
	a := newAudit(lot, &told, layout.AsBuilt{Heads: edited.Heads}, s)
	a.edited = true
	if err := a.work(ctx); err != nil {
		return nil, err
	}
	a.notePOC()
	a.settleFigures()
	return a.d, nil
}

// fillInHead gives a head of an edited design what that does not tell of it, and
// cuts down to what the pressure allows what it claims.
func (a *audit) fillInHead(h *layout.Head) {
	most, flow := a.d.Throw, a.d.HeadFlow
	if a.s.Family != nil {
		z := a.nozzle(*h)
		if z < 0 {
			return // which [audit.possible] tells
		}
		most, flow = a.arcs.nozzles[z].Throw, layout.ArcFlow(a.arcs.nozzles[z].Flow, h.ArcSweep)
	} else {
		h.Model = a.s.Head.Name
	}
	h.Pressure, h.Flow = a.d.Pressure, flow
	if h.Throw > most+throwSlack {
		a.remark("audit.throw_short", layout.SeverityWarning, h.At, fmt.Sprintf("%s is drawn with a throw of %v and throws %v at the pressure there is", h.Label, h.Throw, most))
		h.Throw = most
	}
	if h.Throw <= 0 {
		h.Throw = most
	}
}

// roundingMM is what rounding to the last decimal of a file, and to the grid,
// may move a head by.
const roundingMM = 2

// mayStand is [candidate.Ground.Allows] but for the rounding of a file.
func (a *audit) mayStand(at geom.Point) bool {
	for dx := int64(-roundingMM); dx <= roundingMM; dx += roundingMM {
		for dy := int64(-roundingMM); dy <= roundingMM; dy += roundingMM {
			if a.standing.Allows(at.Add(geom.Pt(dx, dy))) {
				return true
			}
		}
	}
	return slices.ContainsFunc(a.standing.MiddleLine, func(p geom.Point) bool { return p.Within(at, roundingMM) })
}

// rounding is the share of the lawn that heads may lose to the rounding of a
// file: each, moved by a millimetre, the width of its circle by a millimetre.
func (a *audit) rounding() float64 {
	if !a.edited {
		return 0
	}
	lost := 0.0
	for _, h := range a.heads {
		lost += 2 * h.Throw.Metres() / geom.MillimetresPerMetre
	}
	return lost / a.d.IrrigatedArea
}

// notePOC tells of an edited design that its point of connection was assumed.
func (a *audit) notePOC() {
	if a.lot.Source != nil || len(a.d.Network.Pipes) == 0 {
		return
	}
	a.d.Network.POCAssumed = true
	a.remark("poc.assumed", layout.SeverityWarning, a.d.Network.POC, "no source was given: the point of connection is assumed here")
}

// priced is what the pipe as it lies costs by the price list, in its hundredths;
// 0 where it has no price for some of it.
func (a *audit) priced() (cents int64) {
	for _, p := range a.d.Network.Pipes {
		i := slices.IndexFunc(a.s.Pipe, func(s hydraulic.PricedSize) bool { return s.Material == p.Material && s.Nominal == p.Size })
		if i < 0 {
			return 0
		}
		cents += a.s.Pipe[i].Cents(p.Length)
	}
	return cents
}

// settleFigures tells of the lot what its variable-throw heads have: the least of
// each, as a design does.
func (a *audit) settleFigures() {
	if a.d.HeadKind == layout.FixedArc {
		return
	}
	for i, h := range a.d.Heads {
		if i == 0 || h.Pressure < a.d.Pressure {
			a.d.Pressure = h.Pressure
		}
		if i == 0 || h.Throw < a.d.Throw {
			a.d.Throw = h.Throw
		}
		if i == 0 || h.Flow < a.d.HeadFlow {
			a.d.HeadFlow = h.Flow
		}
	}
}
