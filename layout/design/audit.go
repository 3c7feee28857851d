package design

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// DefaultShiftTolerance is how far a head may stand off its stake before it is
// pointed out: 6 in. A judgement.
const DefaultShiftTolerance layout.Length = 6 * layout.MetresPerInch

// Audit works a design out anew with what was really built. Nothing is chosen
// again: heads stand where they stand, pipe has the sizes that were laid.
//
//  1. The lot gives the lawn and the supply its pressure, as in [Run].
//  2. Heads are matched with the designed ones by label. One that is not designed
//     takes what is not told of it from the nearest that is.
//  3. Pipe is that of the design, its ends moved with the heads, its sizes and
//     ways those measured. An added head is taken to hang on the nearest joint.
//  4. The network is solved exactly with these sizes.
//  5. A head throws as far as was measured, or else as it was designed to, or
//     less if its pressure does not allow that.
//  6. Coverage, dry areas and uniformity are those of the heads as they stand,
//     and are set beside the designed ones.
//
// The design comes back described like any other, its status infeasible with
// the reason where it misses a target. It bears no proof: how few heads are
// possible does not depend on where they were put. Errors are faults in what was
// measured, such as two heads of one label, in the settings, or ctx done.
func Audit(ctx context.Context, lot *layout.Lot, designed *layout.Design, built layout.AsBuilt, s Settings) (*layout.Design, *Comparison, error) {
	if err := s.Validate(); err != nil {
		return nil, nil, fmt.Errorf("settings: %w", err)
	}
	if designed == nil || len(designed.Heads) == 0 {
		return nil, nil, fmt.Errorf("lot %q: there is no design to hold what was built against", lot.ID)
	}
	a := newAudit(lot, designed, built, s)
	if err := a.work(ctx); err != nil {
		return nil, nil, err
	}
	return a.d, a.compare(), nil
}

func newAudit(lot *layout.Lot, designed *layout.Design, built layout.AsBuilt, s Settings) *audit {
	a := &audit{run: &run{lot: lot, s: settingsOf(designed, s).filled()}, designed: designed, built: built}
	a.d = &layout.Design{LotID: lot.ID, Plane: lot.Plane, Status: layout.StatusDesigned, HeadKind: designed.HeadKind,
		CoverageTarget: a.s.CoverageTarget, ParcelArea: lot.Parcel.AreaM2(), Proof: layout.Proof{Kind: layout.ProofNone},
		Notes: slices.Clone(lot.Notes)}
	a.takeParts(designed)
	return a
}

// work runs the stages.
func (a *audit) work(ctx context.Context) error {
	for _, stage := range []func(context.Context) error{a.ground, a.assumed, a.match, a.lie, a.reckon, a.recable, a.describeBuilt} {
		if err := stage(ctx); err != nil {
			return fmt.Errorf("lot %q: %w", a.lot.ID, err)
		}
		if a.done {
			break
		}
	}
	a.judge()
	return nil
}

// Unusable is the error of heads, as built or edited, that nothing can be worked
// out for: a fault of who measured or drew them, not of the program.
type Unusable struct{ error }

func unusable(format string, args ...any) error { return Unusable{fmt.Errorf(format, args...)} }

// settingsOf returns the settings with the kind of head that a design chose.
func settingsOf(d *layout.Design, s Settings) Settings {
	families := s.Choice
	if s.Family != nil {
		families = append(families[:len(families):len(families)], *s.Family)
	}
	s.Choice, s.Family = nil, nil
	if d.HeadKind != layout.FixedArc {
		return s
	}
	if len(d.Areas) > 0 { // some may only be asked for by the input
		families = append(families[:len(families):len(families)], s.known()...)
	}
	for i, f := range families {
		if slices.ContainsFunc(f.Nozzles, func(m layout.HeadModel) bool { return m.Name == d.Heads[0].Model }) {
			s.Family, s.Families = &families[i], families
		}
	}
	return s
}

// takeParts takes up the families of a design, and where they water.
func (r *run) takeParts(d *layout.Design) {
	if r.s.Family == nil {
		return
	}
	for _, area := range d.Areas {
		i := slices.IndexFunc(r.s.Families, func(f layout.FixedArcFamily) bool { return f.Name == area.Family })
		if i >= 0 {
			r.arcs.parts = append(r.arcs.parts, part{family: r.s.Families[i], ground: area.Region, runs: area.Runs, why: area.Why})
		}
	}
	if len(d.Areas) == 0 {
		r.arcs.parts = []part{{family: *r.s.Family, runs: 1}}
	}
}

// audit is one audit under way.
type audit struct {
	*run
	designed *layout.Design
	built    layout.AsBuilt
	edited   bool // designed is what was read off an edited map

	heads    []layout.Head        // as they stand, without what they wet
	measured []bool               // of each, whether its throw was
	before   map[string]int       // designed heads by label
	likeness []int                // of each head, the designed head it is, or is like
	places   map[joint]geom.Point // of the joints of the pipe
}

// joint is a named end of pipe, of a zone's own pipe or of what all share.
type joint struct {
	zone int
	name string
}

// assumed takes up the supply, and what the design assumed of the heads.
func (a *audit) assumed(ctx context.Context) error {
	supply := a.supply
	if a.designed.HeadKind == layout.FixedArc {
		if a.s.Family == nil {
			return unusable("the settings name no family of heads with the nozzles of the design")
		}
		supply = a.supplyArcs
	}
	if err := supply(ctx); err != nil || a.done {
		return err
	}
	if !a.edited {
		a.d.Throw, a.d.Pressure, a.d.HeadFlow = a.designed.Throw, a.designed.Pressure, a.designed.HeadFlow
	}
	if a.s.Family != nil {
		a.arcs.nozzles, a.arcs.pressures = nil, nil
		notes := len(a.d.Notes)
		a.fitNozzles()
		a.d.Notes = a.d.Notes[:min(notes, len(a.d.Notes))]
		a.openGround()
	}
	return nil
}

// match finds out which designed head each built one is.
func (a *audit) match(context.Context) error {
	a.before = map[string]int{}
	for i, h := range a.designed.Heads {
		a.before[h.Label] = i
	}
	stand := slices.Clone(a.built.Heads)
	a.nameAdded(stand)
	slices.SortFunc(stand, func(x, y layout.BuiltHead) int {
		return cmp.Or(cmp.Compare(a.rank(x.Label), a.rank(y.Label)), layout.CompareLabels(x.Label, y.Label), x.At.Compare(y.At))
	})
	at, zones := map[geom.Point]string{}, 0
	for _, h := range a.designed.Heads {
		zones = max(zones, h.Zone)
	}
	for i, b := range stand {
		if i > 0 && b.Label == stand[i-1].Label {
			return unusable("head %q stands twice", b.Label)
		}
		if other, taken := at[b.At]; taken {
			return unusable("heads %q and %q stand at one place", other, b.Label)
		}
		at[b.At] = b.Label
		if err := a.stand(b, &zones); err != nil {
			return unusable("head %q: %w", b.Label, err)
		}
	}
	return nil
}

// nameAdded labels the heads without a label N1, N2… by place.
func (a *audit) nameAdded(stand []layout.BuiltHead) {
	slices.SortFunc(stand, func(x, y layout.BuiltHead) int { return x.At.Compare(y.At) })
	taken := map[string]bool{}
	for _, b := range stand {
		taken[b.Label] = true
	}
	n := 0
	for i := range stand {
		for stand[i].Label == "" {
			n++
			if name := fmt.Sprintf("N%d", n); !taken[name] {
				stand[i].Label = name
			}
		}
	}
}

// rank puts the designed heads first, in their order.
func (a *audit) rank(label string) int {
	if i, ok := a.before[label]; ok {
		return i
	}
	return len(a.before)
}

// stand takes up a built head.
func (a *audit) stand(b layout.BuiltHead, zones *int) error {
	i, known := a.before[b.Label]
	if !known {
		i = a.nearest(b.At)
	}
	h := a.designed.Heads[i]
	h.Label, h.At, h.Wetted, h.WettedArea, h.Overspray, h.OversprayArea = b.Label, b.At, nil, 0, nil, 0
	h.Pinned = b.Pinned || slices.Contains(a.lot.PinnedAt(), b.At)
	if !known {
		if h.Pipe = ""; a.s.Family == nil {
			*zones++
			h.Zone = *zones
		}
	}
	if b.Throw != nil {
		h.Throw = *b.Throw
	}
	if b.ArcStart != nil {
		h.ArcStart = *b.ArcStart
	}
	if b.ArcSweep != nil {
		h.ArcSweep = *b.ArcSweep
	}
	h.Model = cmp.Or(b.Model, h.Model)
	if a.edited {
		a.fillInHead(&h)
	}
	if err := a.possible(h); err != nil {
		return err
	}
	a.heads, a.measured, a.likeness = append(a.heads, h), append(a.measured, b.Throw != nil && !a.edited), append(a.likeness, i)
	return nil
}

// nearest is the designed head nearest to a place, the first of equals.
func (a *audit) nearest(at geom.Point) int {
	best := 0
	for i, h := range a.designed.Heads {
		if h.At.Sub(at).Norm2() < a.designed.Heads[best].At.Sub(at).Norm2() {
			best = i
		}
	}
	return best
}

// possible says what makes no sense of a head, if anything.
func (a *audit) possible(h layout.Head) error {
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	return errors.Join(
		check(h.Throw > a.s.Head.LeastThrow && h.Throw <= layout.MaxThrow, "a throw of %v makes no sense", h.Throw),
		check(finite(h.ArcStart), "an arc that starts at %v° makes no sense", h.ArcStart),
		check(h.ArcSweep > 0 && h.ArcSweep <= fullCircleDeg, "an arc of %v° makes no sense", h.ArcSweep),
		check(max(h.At.X, -h.At.X, h.At.Y, -h.At.Y) <= geom.MaxCoord/2, "it stands kilometres away from the lot"),
		check(a.s.Family == nil || a.nozzle(h) >= 0, "nothing is known of a nozzle %q at %v", h.Model, a.d.Pressure))
}

const fullCircleDeg = 360

// nozzle is the place of a head's nozzle among those that fit; −1 if it is not.
func (a *audit) nozzle(h layout.Head) int {
	for i, z := range a.arcs.nozzles {
		if z.Name == h.Model {
			return i
		}
	}
	return -1
}
