package layout

import "lotwright/layout/geom"

// Certificate is the evidence for a continuous proof: weights on a grid over
// the lawn. With A the lawn's area, τ the target, W the weights, spread evenly
// over the lawn of their cells, K the most weight that lawn of area (1−τ)·A can
// hold, and M the most that one head can wet from any legal place:
//
//	fewer than (ΣW − K) / M heads cannot reach the target.
//
// M is claimed here and must be checked: see layout/proof.
type Certificate struct {
	Heads     int   // the claim: no placement of fewer heads reaches the target
	TargetPPM int64 // τ in millionths
	ThrowMM   int64
	CellMM    int64 // side of a cell
	AtomMM    int64 // side of the squares that count as wetted when any part of them is
	Cells     []CertificateCell
	Blockers  []geom.Segment // chords no view over the lawn crosses, beside the lawn's own edges
	Most      int64          // M
}

// CertificateCell is a cell of the grid with a weight.
type CertificateCell struct {
	Min    geom.Point // its corner with the least coordinates
	Weight int64
}
