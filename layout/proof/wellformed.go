package proof

import (
	"fmt"

	"lotwright/layout"
)

// refusal is a reason for which a certificate is not accepted.
type refusal string

func (r refusal) Error() string { return string(r) }

func refuse(format string, args ...any) error { return refusal(fmt.Sprintf(format, args...)) }

// Limits that keep the arithmetic exact and the memory in bounds.
const (
	maxSum   = 1 << 40 // of all weights
	maxAtoms = 1 << 22
)

// checkForm makes sure that the certificate is for the claim and that its
// numbers make sense by themselves.
func checkForm(claim Claim, c *layout.Certificate) error {
	if c == nil {
		return refuse("there is no certificate")
	}
	switch {
	case c.Heads != claim.Heads:
		return refuse("it is about %d heads, the claim about %d", c.Heads, claim.Heads)
	case c.TargetPPM != claim.TargetPPM:
		return refuse("its target is %d ppm, the claim's %d", c.TargetPPM, claim.TargetPPM)
	case c.ThrowMM != claim.ThrowMM:
		return refuse("its throw is %d mm, the claim's %d", c.ThrowMM, claim.ThrowMM)
	case c.Heads < 1:
		return refuse("%d heads are nothing to prove", c.Heads)
	case c.TargetPPM < 1 || c.TargetPPM > million:
		return refuse("a target of %d ppm is not a share of the lawn", c.TargetPPM)
	case c.ThrowMM < 1 || c.ThrowMM > maxCoord:
		return refuse("a throw of %d mm makes no sense", c.ThrowMM)
	case c.Most < 0:
		return refuse("the most that a head can wet is given as %d", c.Most)
	case c.AtomMM < 1 || c.CellMM < 1 || c.CellMM > maxCoord || c.CellMM%c.AtomMM != 0:
		return refuse("cells of %d mm cannot be cut into atoms of %d mm", c.CellMM, c.AtomMM)
	}
	return checkCells(c)
}

// checkCells makes sure that the cells are squares of one grid, each given
// once, with weights that can be added up.
func checkCells(c *layout.Certificate) error {
	if len(c.Cells) == 0 {
		return refuse("it has no weights")
	}
	perSide := c.CellMM / c.AtomMM
	if int64(len(c.Cells)) > maxAtoms/(perSide*perSide) {
		return refuse("it has more than %d atoms", maxAtoms)
	}
	seen := make(map[point]bool, len(c.Cells))
	sum := int64(0)
	for _, cell := range c.Cells {
		at, err := pointOf(cell.Min)
		if err != nil {
			return refuse("cell %v", err)
		}
		switch first := c.Cells[0].Min; {
		case (at.x-first.X)%c.CellMM != 0 || (at.y-first.Y)%c.CellMM != 0:
			return refuse("the cell at %v is not on the grid of the first", at)
		case seen[at]:
			return refuse("the cell at %v is given twice", at)
		case cell.Weight < 1:
			return refuse("the cell at %v weighs %d", at, cell.Weight)
		case cell.Weight > maxSum-sum:
			return refuse("the weights add up to more than %d", int64(maxSum))
		}
		seen[at] = true
		sum += cell.Weight
	}
	return nil
}
