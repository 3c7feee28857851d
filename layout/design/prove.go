package design

import (
	"context"
	"slices"

	"lotwright/layout"
	"lotwright/layout/certify"
	"lotwright/layout/geom"
)

// prove tries to raise the proof to a continuous one: that fewer heads cannot
// do wherever they stand. Throws that cross paving reach farther than the
// argument allows for, and a choice among the spots that does with fewer
// leaves nothing to prove.
func (r *run) prove(ctx context.Context) error {
	heads := len(r.d.Heads)
	if r.s.Effort.Boxes < 0 || r.s.CrossPaving > 0 || len(r.lot.Pinned) > 0 ||
		r.d.Status != layout.StatusDesigned || heads == 0 || r.d.Proof.Bound < heads {
		return nil
	}
	if heads == 1 {
		r.d.Proof = layout.Proof{Kind: layout.ProofContinuous, Bound: 1} // no head reaches nothing
		return nil
	}
	proof, err := certify.Prove(ctx, r.claim(heads), certify.Settings{Boxes: r.s.Effort.Boxes, Pivots: r.s.Effort.Pivots})
	if err != nil {
		return err
	}
	r.d.Effort.Boxes = proof.Boxes
	if proof.Certificate != nil {
		r.d.Certificate = proof.Certificate
		r.d.Proof = layout.Proof{Kind: layout.ProofContinuous, Bound: heads}
	}
	return nil
}

// claim states what is to be proven: no fewer than the given heads.
func (r *run) claim(heads int) certify.Site {
	site := certify.Site{Lawn: r.d.Irrigated, ThrowMM: r.heldThrowMM(), Target: r.s.CoverageTarget, Heads: heads,
		Ground: certify.Standing{
			EdgeMM:     r.s.EdgeClearance.Millimetres(),
			Edges:      slices.Collect(geom.Union(r.lot.Hardscape, r.lot.Water).Edges()),
			BuildingMM: r.s.BuildingClearance.Millimetres(),
			Buildings:  slices.Collect(geom.Union(r.lot.Building, r.lot.Wall).Edges()),
			Exceptions: r.standing.MiddleLine,
		}}
	site.Ground.Edges = slices.AppendSeq(site.Ground.Edges, r.lot.Parcel.Edges())
	for _, h := range r.d.Heads {
		site.Likely = append(site.Likely, h.At)
	}
	return site
}
