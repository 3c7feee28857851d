package design

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"lotwright/layout"
)

// choice compares heads on one lot.
type choice struct {
	ctx context.Context
	lot *layout.Lot
	s   Settings

	best    *layout.Design
	chosen  string
	figures []string // of all, in words
}

// runChoice designs a lot with the variable-throw head, with each of the
// families to choose from and, where the lawn has strips too narrow for one,
// with families mixed by area. It returns the design that meets its targets with
// the fewest heads, then the fewest valves; where none does, the one that waters
// most. A note gives the figures of all. The variable-throw head has no
// uniformity target: it is taken to water what it reaches evenly.
//
// Where the input names heads for parts of the lawn, the families are compared
// on the rest, and neither mixed further nor compared with the variable-throw
// head.
func runChoice(ctx context.Context, lot *layout.Lot, s Settings) (*layout.Design, error) {
	families, asked := farthestFirst(s.Choice), len(lot.HeadWishes) > 0
	s.Family, s.Choice = nil, nil
	c := choice{ctx: ctx, lot: lot, s: s}
	if !s.FixedArcOnly && !asked {
		if err := c.try(s.filled().Head.Name, nil); err != nil {
			return nil, err
		}
	}
	for _, f := range families {
		if err := c.try(f.Name, []layout.FixedArcFamily{f}); err != nil {
			return nil, err
		}
	}
	for _, mix := range blends(families) {
		if asked || c.beyondMixing() {
			break
		}
		if err := c.try(namesOf(mix), mix); err != nil {
			return nil, err
		}
	}
	c.explain()
	return c.best, nil
}

// beyondMixing reports whether the best so far has so few heads that families
// which water a part each cannot do with fewer.
func (c *choice) beyondMixing() bool { return reached(c.best) && len(c.best.Heads) <= 2 }

// farthestFirst orders families by how far they throw: those that do with fewest
// heads tend to come first.
func farthestFirst(families []layout.FixedArcFamily) []layout.FixedArcFamily {
	longest := func(f layout.FixedArcFamily) (least layout.Length) {
		for _, m := range f.Nozzles {
			least = max(least, m.Rows[len(m.Rows)-1].Throw)
		}
		return least
	}
	families = slices.Clone(families)
	slices.SortStableFunc(families, func(a, b layout.FixedArcFamily) int { return cmp.Compare(longest(b), longest(a)) })
	return families
}

// blends lists the families that may be mixed: all pairs, and all together.
func blends(families []layout.FixedArcFamily) (out [][]layout.FixedArcFamily) {
	for i := range families {
		for j := range i {
			out = append(out, []layout.FixedArcFamily{families[j], families[i]})
		}
	}
	if len(families) > 2 {
		out = append(out, families)
	}
	return out
}

// try designs the lot with heads of some families and keeps the design if it is
// better than those before. What is sure to take more heads is given up early.
func (c *choice) try(name string, families []layout.FixedArcFamily) error {
	most := 0
	if len(families) > 0 && c.best != nil && reached(c.best) {
		most = len(c.best.Heads)
	}
	d, ok, err := runOnce(c.ctx, c.lot, c.s, blend{families, most})
	if err != nil || !ok {
		return err
	}
	c.figures = append(c.figures, tell(name, d))
	if c.best == nil || better(d, c.best) {
		c.best, c.chosen = d, name
	}
	return nil
}

// explain says why the best design was chosen.
func (c *choice) explain() {
	why := "fewest heads of those that meet their targets"
	if !reached(c.best) {
		why = "none meets its targets and this one waters most"
	}
	text := fmt.Sprintf("%s chosen, %s (%s)", c.chosen, why, strings.Join(c.figures, "; "))
	if !c.s.FixedArcOnly && len(c.lot.HeadWishes) == 0 {
		text += "; the variable-throw head has no uniformity target"
	}
	c.best.HeadChoice = text
	c.best.Notes = append(c.best.Notes, layout.Note{Rule: "head.compared", Severity: layout.SeverityInfo, Text: text})
}

// reached reports whether a design met its targets.
func reached(d *layout.Design) bool { return d.Status == layout.StatusDesigned }

// better reports whether d is to be preferred to e, which came first.
func better(d, e *layout.Design) bool {
	switch {
	case reached(d) != reached(e):
		return reached(d)
	case reached(d):
		return cmp.Or(cmp.Compare(len(d.Heads), len(e.Heads)), cmp.Compare(valves(d), valves(e))) < 0
	}
	return d.Coverage > e.Coverage
}

// valves is the number of valves a design has or, where no flow is known, the
// least it can have.
func valves(d *layout.Design) int {
	switch {
	case d.HeadKind != layout.FixedArc:
		return len(d.Heads)
	case d.Water != nil && d.Water.Known:
		return len(d.Water.Zones)
	}
	return max(1, len(d.Areas))
}

// tell gives the figures of a design in a few words.
func tell(name string, d *layout.Design) string {
	if len(d.Heads) == 0 {
		return fmt.Sprintf("%s: %s", name, cmp.Or(d.Reason, "no heads, nothing to water"))
	}
	// Cut off, as on the plan: a figure must not look better than it is.
	text := fmt.Sprintf("%s: %d heads, coverage %.1f %%", name, len(d.Heads), math.Floor(1000*d.Coverage)/10)
	if d.Uniformity != nil {
		text += fmt.Sprintf(", DU %.2f of %.2f", math.Floor(100*d.Uniformity.DULowQuarter)/100, math.Floor(100*d.Uniformity.Target)/100)
	}
	if !reached(d) {
		text += ", target missed"
	}
	return text
}

// namesOf lists families by name.
func namesOf(families []layout.FixedArcFamily) string {
	var names []string
	for _, f := range families {
		names = append(names, f.Name)
	}
	return strings.Join(names, " with ")
}
