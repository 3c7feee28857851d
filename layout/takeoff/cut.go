package takeoff

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/cutting"
)

// Piece is a length of pipe between two fittings.
type Piece struct {
	Lot      string // in a cut list over several lots
	Pipe     string // label of its run
	Label    string // of the piece: the run's, with a number where elbows divide it
	Material string
	Size     string
	MM       int64 // rounded up
}

func newPiece(p layout.PipeRun, i, of int, mm float64) Piece {
	label := p.Label
	if of > 1 {
		label = fmt.Sprintf("%s.%d", p.Label, i+1)
	}
	return Piece{Pipe: p.Label, Label: label, Material: p.Material, Size: p.Size, MM: int64(math.Ceil(mm - 1e-6))}
}

// couplings returns how many a piece needs, joined from sticks of plain ends: one
// less than the sticks it is made of (trade practice).
func (p Piece) couplings(stickMM int64) int { return int((p.MM+stickMM-1)/stickMM) - 1 }

// divided returns the parts a piece is made of: whole sticks and what is left.
// That wastes nothing: whatever shares a stick with a part of a divided piece
// could change places with as much of that piece.
func (p Piece) divided(stickMM int64) []Piece {
	n := p.couplings(stickMM)
	if n == 0 {
		return []Piece{p}
	}
	out := make([]Piece, n+1)
	for i := range out {
		out[i] = p
		out[i].Label = fmt.Sprintf("%s part %d", p.Label, i+1)
		out[i].MM = min(stickMM, p.MM-int64(i)*stickMM)
	}
	return out
}

// CutPlan is the cut list of one material and size.
type CutPlan struct {
	Material, Size string
	Sticks         []CutStick
	Status         cutting.Status
	StickMM        int64 // length of all sticks
	BoundMM        int64 // no cut list needs less
	SpareMM        int64 // length of spare sticks, which are not listed
	Spares         int
	SpareStickMM   int64 // of each
	PiecesMM       int64
}

// CutStick is a stick and what is cut from it.
type CutStick struct {
	MM     int64
	Pieces []Piece
}

// plan makes the cut lists of all materials and sizes.
func plan(pieces []Piece, s Settings) ([]CutPlan, error) {
	var plans []CutPlan
	for _, group := range grouped(pieces) {
		p, err := planOne(group, s)
		if err != nil {
			return nil, fmt.Errorf("%s %s: %w", group[0].Size, group[0].Material, err)
		}
		plans = append(plans, p)
	}
	return plans, nil
}

// grouped divides pieces by material and size, in order.
func grouped(pieces []Piece) [][]Piece {
	sorted := slices.Clone(pieces)
	slices.SortStableFunc(sorted, func(a, b Piece) int {
		return cmp.Or(cmp.Compare(a.Material, b.Material), compareSizes(a.Size, b.Size))
	})
	var out [][]Piece
	for i, p := range sorted {
		if i == 0 || p.Material != sorted[i-1].Material || p.Size != sorted[i-1].Size {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], p)
	}
	return out
}

func planOne(pieces []Piece, s Settings) (CutPlan, error) {
	lengths := s.sticksMM()
	plan := CutPlan{Material: pieces[0].Material, Size: pieces[0].Size}
	problem := cutting.Problem{Kerf: s.Kerf.Millimetres()}
	for _, l := range lengths {
		problem.Stocks = append(problem.Stocks, cutting.Stock{Length: l})
	}
	var parts []Piece
	for _, p := range pieces {
		plan.PiecesMM += p.MM
		parts = append(parts, p.divided(lengths[0])...)
	}
	for _, p := range parts {
		problem.Pieces = append(problem.Pieces, p.MM)
	}
	r, err := cutting.Solve(problem, cutting.Settings{Nodes: s.CuttingNodes})
	if err != nil {
		return plan, err
	}
	plan.Status, plan.StickMM, plan.BoundMM = r.Status, r.Cost, r.Bound
	for _, stick := range r.Sticks {
		c := CutStick{MM: lengths[stick.Stock]}
		for _, i := range stick.Pieces {
			c.Pieces = append(c.Pieces, parts[i])
		}
		plan.Sticks = append(plan.Sticks, c)
	}
	plan.spare(lengths[0], s.PipeSpare)
	return plan, nil
}

// spare adds sticks until there is as much pipe beyond the pieces as asked for,
// offcuts counted: ⌈L(1+w)/S⌉ sticks in all where that is more than the cut list
// needs (trade practice).
func (c *CutPlan) spare(stickMM int64, share float64) {
	wanted := int64(math.Ceil(float64(c.PiecesMM)*(1+share) - 1e-6))
	c.SpareStickMM = stickMM
	if short := wanted - c.StickMM; short > 0 {
		c.Spares = int((short + stickMM - 1) / stickMM)
		c.SpareMM = int64(c.Spares) * stickMM
	}
}

// listPipe lists the sticks by length, spares with those of their length.
func (j *job) listPipe(plans []CutPlan) {
	for _, c := range plans {
		var labels []string
		for _, s := range c.Sticks {
			labels = labels[:0]
			for _, p := range s.Pieces {
				labels = append(labels, p.Pipe)
			}
			j.t.count(Pipe, c.stickSize(s.MM), 1, labels...)
		}
		if c.Spares > 0 {
			j.t.count(Pipe, c.stickSize(c.SpareStickMM), c.Spares)
			j.t.add(Pipe, c.stickSize(c.SpareStickMM), 0).Note = fmt.Sprintf("%d of them spare", c.Spares)
		}
	}
}

// stickSize names a stick, e.g. "1 in PVC Sch 40 x 20 ft"; lengths that are not
// whole feet in m.
func (c CutPlan) stickSize(mm int64) string {
	return c.Size + " " + c.Material + " x " + stickLength(mm)
}

func stickLength(mm int64) string {
	feet := layout.Length(float64(mm) / 1000).Feet()
	if whole := math.Round(feet); math.Abs(feet-whole) < 0.005 {
		return fmt.Sprintf("%g ft", whole)
	}
	return trimmed(mm, 3) + " m"
}
