package design

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"lotwright/layout"
	"lotwright/layout/certify"
	"lotwright/layout/geom"
	"lotwright/layout/placement"
	"lotwright/layout/proof"
	"lotwright/layout/sight"
)

// prove tries to raise the proof to a continuous one: that fewer heads cannot
// do wherever they stand; or, failing that, that no fewer than the choice among
// the spots needs can. Throws that cross paving reach farther than the argument
// allows for, and fixed heads where none may be put stand outside of it. What is
// proven says nothing of fixed heads: it holds whether or not they are kept.
//
// Where the search for a proof ends with one head less, it stands heads, in
// parts, on places that would do if heads came in parts. Those places are tried
// as spots; should they bring fewer heads, the proof is tried again for these.
// Where all of the lawn is to be reached, what stays dry with them all the same
// is where the next proof may put its weight.
func (r *run) prove(ctx context.Context) error {
	if r.s.Effort.Boxes < 0 || r.s.CrossPaving > 0 || !r.pinsLegal() ||
		r.d.Status != layout.StatusDesigned || len(r.d.Heads) == 0 {
		return nil
	}
	r.doubtful = nil
	for tries := 0; ; {
		heads, doubts := len(r.d.Heads), len(r.doubtful)
		stands, err := r.proveOnce(ctx)
		if err != nil || len(stands) == 0 {
			return err
		}
		if err := r.replace(ctx, stands); err != nil {
			return err
		}
		if len(r.d.Heads) < heads {
			continue
		}
		if tries++; tries > r.s.Effort.Doubts || r.s.CoverageTarget < 1 ||
			len(r.doubtful) == doubts || r.d.Effort.Boxes >= r.s.Effort.Boxes {
			return nil
		}
	}
}

// proveOnce tries to prove the present number of heads. Where fewer are not
// ruled out it returns where the search stands heads in parts.
func (r *run) proveOnce(ctx context.Context) ([]certify.Stand, error) {
	heads := len(r.d.Heads)
	if heads == 1 {
		r.d.Proof = layout.Proof{Kind: layout.ProofContinuous, Bound: 1} // no head reaches nothing
		return nil, nil
	}
	gap := r.d.Proof.Bound < heads // even the choice among the spots may do with fewer
	found, err := certify.Prove(ctx, r.claim(heads), certify.Settings{Boxes: r.s.Effort.Boxes, Pivots: r.s.Effort.Pivots})
	if err != nil {
		return nil, err
	}
	r.d.Effort.Boxes += found.Boxes
	if found.Certificate != nil {
		err = r.recheck(ctx, found.Certificate)
	}
	proven := found.Certificate != nil && r.d.Proof.Bound == heads
	if fewer := gap || found.Relaxation <= float64(heads-1)+relaxationSlack; proven || !fewer {
		return nil, err
	}
	return found.Stands, err
}

// relaxationSlack is what the optimum of a program in floats may be off.
const relaxationSlack = 1e-6

// replace places the heads again with more spots to choose from, and keeps the
// outcome if it does with fewer.
func (r *run) replace(ctx context.Context, stands []certify.Stand) error {
	site := r.siteOf(r.spacing)
	for _, s := range stands {
		if r.standing.Allows(s.At) {
			site.Spots = append(site.Spots, s.At)
		}
	}
	likely := r.likely(stands)
	site.Start = append(slices.Clone(r.s.Start), unpinned(r.d.Heads))
	if len(likely) > 0 {
		site.Start = append(site.Start, likely)
	}
	p, err := r.placed(ctx, site)
	if r.s.Effort.Doubts > 0 {
		r.doubt(p.Dry)
		r.doubt(r.driestOf(likely))
	}
	if err != nil || p.Status != placement.Reached || len(p.Heads) >= len(r.d.Heads) {
		return err
	}
	r.d.Heads, r.d.Proof.Bound = nil, min(r.d.Proof.Bound, len(p.Heads))
	r.settleOn(p)
	return nil
}

// unpinned lists where the heads stand that are not fixed.
func unpinned(heads []layout.Head) (out []geom.Point) {
	for _, h := range heads {
		if !h.Pinned {
			out = append(out, h.At)
		}
	}
	return out
}

// likely returns the stands of half a head or more, as long as they are fewer
// than the heads.
func (r *run) likely(stands []certify.Stand) (out []geom.Point) {
	for _, s := range stands {
		if s.Share >= likelyShare && len(out) < len(r.d.Heads)-1 && r.standing.Allows(s.At) {
			out = append(out, s.At)
		}
	}
	return out
}

// likelyShare is half a head, but for rounding.
const likelyShare = 0.49

// mostDoubts is how many of the patches that heads leave dry are noted.
const mostDoubts = 40

// driestOf returns the middles of the largest patches that heads at the given
// places leave dry.
func (r *run) driestOf(at []geom.Point) (out []geom.Point) {
	dry := r.field.Dry(r.reaches(at, r.heldThrowMM()))
	slices.SortFunc(dry, func(a, b sight.Dry) int { return cmp.Or(cmp.Compare(b.AreaMM2, a.AreaMM2), a.At.Compare(b.At)) })
	for _, d := range dry[:min(len(dry), mostDoubts)] {
		out = append(out, d.At)
	}
	return out
}

// doubt notes places that too few heads left dry.
func (r *run) doubt(at []geom.Point) {
	r.doubtful = append(r.doubtful, at...)
	slices.SortFunc(r.doubtful, geom.Point.Compare)
	r.doubtful = slices.Compact(r.doubtful)
}

func headPlaces(heads []layout.Head) (out []geom.Point) {
	for _, h := range heads {
		out = append(out, h.At)
	}
	return out
}

// A target is a decimal share; the slack undoes what its binary form lacks.
const (
	millionths  = 1e6
	targetSlack = 1e-6
)

// recheck accepts a certificate only if separate code does. What is checked is
// the number that the design will report.
func (r *run) recheck(ctx context.Context, c *layout.Certificate) error {
	report, err := proof.Verify(ctx, proof.Ground{
		Lawn: r.d.Irrigated,
		Obstacles: []proof.Obstacle{
			{Outline: geom.Union(r.lot.Hardscape, r.lot.Water), ClearMM: r.s.EdgeClearance.Millimetres()},
			{Outline: r.lot.Parcel, ClearMM: r.s.EdgeClearance.Millimetres()},
			{Outline: geom.Union(r.lot.Building, r.lot.Wall), ClearMM: r.s.BuildingClearance.Millimetres()},
		},
		Exceptions: r.standing.MiddleLine,
	}, proof.Claim{Heads: c.Heads, TargetPPM: int64(r.s.CoverageTarget*millionths + targetSlack), ThrowMM: r.heldThrowMM()}, c, proof.Settings{})
	if err != nil {
		return fmt.Errorf("checking the proof: %w", err)
	}
	if !report.Accepted {
		r.note("proof.not_confirmed", layout.SeverityInfo, "the continuous proof was not confirmed: "+report.Reason)
		return nil
	}
	r.d.Certificate = c
	r.d.Proof = layout.Proof{Kind: layout.ProofContinuous, Bound: c.Heads}
	return nil
}

// unproven is the least number of heads worth proving: the bound, unless that is
// proven already.
func (r *run) unproven() int {
	if r.d.Proof.Kind == layout.ProofContinuous {
		return r.d.Proof.Bound + 1
	}
	return r.d.Proof.Bound
}

// claim states what is to be proven: no fewer than the given heads.
func (r *run) claim(heads int) certify.Site {
	site := certify.Site{Lawn: r.d.Irrigated, ThrowMM: r.heldThrowMM(), Target: r.s.CoverageTarget, Heads: heads, Least: r.unproven(),
		Ground: certify.Standing{
			EdgeMM:     r.s.EdgeClearance.Millimetres(),
			Edges:      slices.Collect(geom.Union(r.lot.Hardscape, r.lot.Water).Edges()),
			BuildingMM: r.s.BuildingClearance.Millimetres(),
			Buildings:  slices.Collect(geom.Union(r.lot.Building, r.lot.Wall).Edges()),
			Exceptions: r.standing.MiddleLine,
		}}
	site.Ground.Edges = slices.AppendSeq(site.Ground.Edges, r.lot.Parcel.Edges())
	site.Likely, site.Doubtful = headPlaces(r.d.Heads), r.doubtful
	return site
}
