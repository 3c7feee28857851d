package design

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/placement"
	"lotwright/layout/sector"
	"lotwright/layout/sight"
)

// Pins are the heads that were built, set as they are, for a design to be
// completed around them: see [layout.Lot.Pinned].
func Pins(designed *layout.Design, built layout.AsBuilt) (out []layout.Pin) {
	for _, b := range built.Heads {
		pin := layout.Pin{At: b.At, Model: b.Model}
		i := slices.IndexFunc(designed.Heads, func(h layout.Head) bool { return h.Label == b.Label })
		if i >= 0 && designed.HeadKind == layout.FixedArc {
			h := designed.Heads[i]
			pin.Model, pin.Throw, pin.ArcStart, pin.ArcSweep = cmp.Or(b.Model, h.Model), h.Throw, h.ArcStart, h.ArcSweep
		}
		if b.Throw != nil {
			pin.Throw = *b.Throw
		}
		if b.ArcStart != nil {
			pin.ArcStart = *b.ArcStart
		}
		if b.ArcSweep != nil {
			pin.ArcSweep = *b.ArcSweep
		}
		out = append(out, pin)
	}
	slices.SortStableFunc(out, func(p, q layout.Pin) int { return p.At.Compare(q.At) })
	return slices.CompactFunc(out, func(p, q layout.Pin) bool { return p.At == q.At })
}

// remarkPins points out pinned heads that stand where none would be put. They
// stay: somebody wants them there.
func (r *run) remarkPins() {
	for _, p := range r.lot.Pinned {
		switch {
		case r.d.Irrigated.Locate(p.At) != geom.Interior:
			r.noteAt("head.fixed_off_lawn", layout.SeverityWarning, p.At, "the fixed head here does not stand on the lawn")
		case !r.standing.Allows(p.At):
			r.noteAt("head.fixed_close", layout.SeverityWarning, p.At, fmt.Sprintf(
				"the fixed head here stands nearer to paving, the lot line, a building or a wall than %v or %v, or in ground that must not be opened",
				r.s.EdgeClearance, r.s.BuildingClearance))
		}
	}
}

func (r *run) noteAt(rule string, severity layout.Severity, at geom.Point, text string) {
	r.d.Notes = append(r.d.Notes, layout.Note{Rule: rule, Severity: severity, Text: text, At: &at})
}

// pinsLegal reports whether every fixed head stands where one may be put.
func (r *run) pinsLegal() bool {
	return !slices.ContainsFunc(r.lot.Pinned, func(p layout.Pin) bool { return !r.standing.Allows(p.At) })
}

// turnedDownBy is by how much less than its pressure would make it throw a head
// must be drawn to count as turned down; less is rounding, or another solution
// of the same pipe.
const turnedDownBy layout.Length = 0.1

// throwShareAt is the share of the throw that a variable-throw head has at a place:
// less than 1 for a pinned one that is turned down.
func (r *run) throwShareAt(at geom.Point) float64 {
	i := slices.IndexFunc(r.lot.Pinned, func(p layout.Pin) bool { return p.At == at })
	if i < 0 || r.d.Throw <= 0 {
		return 1
	}
	p := r.lot.Pinned[i]
	if p.Throw <= 0 || p.Throw > r.d.Throw-turnedDownBy || p.Model != "" && p.Model != r.s.Head.Name {
		return 1
	}
	return float64(max(p.Throw, r.s.Head.LeastThrow+throwSlack) / r.d.Throw)
}

// from is what a variable-throw head at a place wets, if others throw as far as
// told.
func (r *run) from(at geom.Point, throwMM int64) sight.Reach {
	if share := r.throwShareAt(at); share < 1 {
		throwMM = int64(math.Round(float64(throwMM) * share))
	}
	return r.field.From(at, throwMM, r.s.Head.LeastThrow.Millimetres())
}

// startAround adds heads to try to a site with pinned ones: those of the same site
// without them, all of them and without the nearest to each pinned one. So pinned
// heads that stand well cost nothing, and no pinned head costs more than itself.
func (r *run) startAround(ctx context.Context, site *placement.Site) error {
	if len(site.Pinned) == 0 {
		return nil
	}
	free := *site
	free.Pinned = nil
	p, err := r.placed(ctx, free)
	if err != nil || p.Status != placement.Reached {
		return err
	}
	site.Start = append(slices.Clip(site.Start), withoutNearest(p.Heads, site.Pinned), p.Heads)
	return nil
}

// withoutNearest leaves out the nearest place to each of some others.
func withoutNearest(places, others []geom.Point) []geom.Point {
	places = slices.Clone(places)
	for _, o := range others {
		if len(places) == 0 {
			break
		}
		nearest := slices.MinFunc(places, func(p, q geom.Point) int { return cmp.Compare(p.Sub(o).Norm2(), q.Sub(o).Norm2()) })
		i := slices.Index(places, nearest)
		places = slices.Delete(places, i, i+1)
	}
	return places
}

// lookAtPins says of a finished design of variable-throw heads what there is to
// say of its fixed ones.
func (r *run) lookAtPins(context.Context) error {
	r.remarkThrows()
	r.remarkRedundant()
	return nil
}

// remarkThrows points out pinned variable-throw heads that are drawn with more
// throw than their pressure gives.
func (r *run) remarkThrows() {
	for _, p := range r.lot.Pinned {
		if p.Throw > r.d.Throw+turnedDownBy && (p.Model == "" || p.Model == r.s.Head.Name) {
			r.noteAt("head.fixed_throw", layout.SeverityWarning, p.At, fmt.Sprintf(
				"the fixed head here is drawn with a throw of %v, which it does not have at %v: %v is counted on", p.Throw, r.d.Pressure, r.d.Throw))
		}
	}
}

// remarkProof says of the bound on heads what it is on where some are fixed.
func (r *run) remarkProof() {
	if len(r.lot.Pinned) == 0 || len(r.d.Heads) == 0 {
		return
	}
	switch r.d.Proof.Kind {
	case layout.ProofContinuous:
		r.note("proof.fixed", layout.SeverityInfo, "the bound on heads holds whether or not the fixed heads are kept")
	case layout.ProofDiscrete:
		r.note("proof.fixed", layout.SeverityInfo, "the bound on heads is on designs that keep the fixed heads, and on choices among the spots tried; no continuous proof is made for these")
	}
}

// remarkRedundant points out the fixed variable-throw heads that the target is
// reached without, the others standing as they do.
func (r *run) remarkRedundant() {
	if r.d.Status != layout.StatusDesigned {
		return
	}
	all := headPlaces(r.d.Heads)
	for i, h := range r.d.Heads {
		if h.Pinned && r.share(slices.Delete(slices.Clone(all), i, i+1), r.heldThrowMM()) >= r.s.CoverageTarget {
			r.remarkNeedless(h)
		}
	}
}

func (r *run) remarkNeedless(h layout.Head) {
	r.noteAt("head.fixed_redundant", layout.SeverityInfo, h.At, fmt.Sprintf("%s is fixed and stays, but the targets are reached without it", h.Label))
}

// remarkRedundantArcs is remarkRedundant for fixed-arc heads; of a mix nothing is
// said, as each of its areas has a target of its own.
func (r *run) remarkRedundantArcs(sectors []sector.Sector) error {
	if r.d.Status != layout.StatusDesigned || r.mixed() {
		return nil
	}
	for i, h := range sectors {
		others := slices.Delete(slices.Clone(sectors), i, i+1)
		if !h.Pinned || len(others) == 0 || r.arcCoverage(others) < r.s.CoverageTarget {
			continue
		}
		u, err := r.simulate(others)
		if err != nil {
			return fmt.Errorf("uniformity: %w", err)
		}
		if u.Statistics.DULowQuarter >= r.uniformityTarget() {
			r.remarkNeedless(r.d.Heads[i])
		}
	}
	return nil
}

// remarkOverspray points out fixed heads that are set to throw more off the lawn
// than any other may.
func (r *run) remarkOverspray() {
	limit, _, _ := r.arcLimits()
	for _, h := range r.d.Heads {
		if h.Pinned && h.OversprayArea > limit*h.WettedArea {
			r.noteAt("head.fixed_overspray", layout.SeverityWarning, h.At, fmt.Sprintf("%s is fixed and throws %.0f %% of what it wets off the lawn; up to %.0f %% passes",
				h.Label, 100*h.OversprayArea/h.WettedArea, 100*limit))
		}
	}
}

// pinnedArcs parts the pinned heads into those whose arc and radius are told, and
// places where these are ours to choose. A head of other nozzles than are designed
// with is a place.
func (r *run) pinnedArcs() (set []sector.Sector, places []geom.Point) {
	for _, p := range r.lot.Pinned {
		z := slices.IndexFunc(r.arcs.nozzles, func(z sector.Nozzle) bool { return z.Name == p.Model })
		if z < 0 || p.ArcSweep == 0 {
			places = append(places, p.At)
			continue
		}
		set = append(set, r.pinnedArc(p, z))
	}
	return set, places
}

// pinnedArc is a head as it is set, its radius within what its nozzle can do.
func (r *run) pinnedArc(p layout.Pin, z int) sector.Sector {
	nozzle, radius := r.arcs.nozzles[z], p.Throw
	least := nozzle.TurnedDown
	if least == 0 {
		least = nozzle.Throw
	}
	if radius == 0 {
		radius = nozzle.Throw
	}
	if kept := min(max(radius, least), nozzle.Throw); kept != radius {
		if differ := max(kept-radius, radius-kept); differ > 2*throwSlack {
			r.noteAt("head.fixed_throw", layout.SeverityWarning, p.At, fmt.Sprintf(
				"the fixed head here is drawn with a radius of %v; at %v its nozzle %s has %v to %v, and %v is counted on", radius, r.d.Pressure, nozzle.Name, least, nozzle.Throw, kept))
		}
		radius = kept
	}
	sweep := max(1, int(math.Round(p.ArcSweep)))
	start := wholeDegrees(p.ArcStart)
	if sweep == fullCircleDeg {
		start = 0
	}
	return sector.Sector{At: p.At, Nozzle: z, Radius: radius, StartDeg: start, SweepDeg: sweep, Flow: layout.ArcFlow(nozzle.Flow, float64(sweep))}
}
