package sector

import (
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// unreached returns the number of cells that no permitted sector wets.
func (p *problem) unreached() int {
	n := 0
	for _, reached := range p.reachable {
		if !reached {
			n++
		}
	}
	return n
}

// leastRadius returns the least radius of all nozzles.
func (p *problem) leastRadius() layout.Length {
	least := slices.MinFunc(p.radii, func(a, b radius) int { return int(a.mm - b.mm) })
	return layout.Length(least.mm) / geom.MillimetresPerMetre
}

// leaveAside drops the cells that no permitted sector wets from the grid.
func (p *problem) leaveAside() {
	to := make([]int32, len(p.grid.at))
	var at []geom.Point
	for i, reached := range p.reachable {
		if to[i] = offLawn; reached {
			to[i] = int32(len(at))
			at = append(at, p.grid.at[i])
		}
	}
	p.grid.at, p.grid.index = at, nil // the survey is done
	p.setAreas()
	for _, o := range p.outlooks {
		o.renumber(to)
	}
}

// renumber gives the cells of o new numbers and drops those that have none.
func (o *outlook) renumber(to []int32) {
	kept, first := o.cells[:0], o.of[0]
	for b := range turn {
		last := o.of[b+1]
		for _, c := range o.cells[first:last] {
			if to[c.index] != offLawn {
				kept = append(kept, nearCell{to[c.index], c.steps})
			}
		}
		first, o.of[b+1] = last, int32(len(kept))
	}
	o.cells = kept
}
