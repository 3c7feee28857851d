package sheet

import (
	"cmp"
	"math"
	"slices"

	"lotwright/layout/paper"
)

// neighbourhood is how far apart, in metres, lots may lie and still be shown in
// one panel of the index map: about twice this. A judgement.
const neighbourhood = 400

// mostPanels is how many panels the index map has.
const mostPanels = 6

// panel is a part of the index map with a scale of its own.
type panel struct {
	lots  []indexed
	frame paper.Box
}

// panels deals out the lots that have a place to panels, neighbours together, the
// largest neighbourhood first. Where there are too many, the last panel shows
// the rest.
func panels(lots []indexed, frame paper.Box) []panel {
	groups := neighbours(lots)
	slices.SortStableFunc(groups, func(a, b []indexed) int { return cmp.Compare(len(b), len(a)) })
	for len(groups) > mostPanels {
		last := len(groups) - 1
		groups[last-1] = append(groups[last-1], groups[last]...)
		groups = groups[:last]
	}
	out := make([]panel, len(groups))
	for i, box := range divided(frame, len(groups)) {
		out[i] = panel{groups[i], box}
	}
	return out
}

// cell is a square of the ground as wide as a neighbourhood.
type cell struct{ x, y int64 }

// neighbours groups lots whose cells touch, or touch those of others of the group.
func neighbours(lots []indexed) [][]indexed {
	in := map[cell][]int{} // lots not yet in a group
	cells := make([]cell, len(lots))
	corners := cornersOf(lots)
	if len(corners) == 0 {
		return nil
	}
	m := placementAbout(corners[0])
	for i, l := range lots {
		if len(l.outline) > 0 {
			v := m.metres(l.outline[0][0])
			cells[i] = cell{int64(math.Floor(v.X / neighbourhood)), int64(math.Floor(v.Y / neighbourhood))}
			in[cells[i]] = append(in[cells[i]], i)
		}
	}
	var out [][]indexed
	for i := range lots {
		if found := flood(in, cells[i]); len(found) > 0 && len(lots[i].outline) > 0 {
			slices.Sort(found)
			out = append(out, pick(lots, found))
		}
	}
	return out
}

// flood takes out of the cells all lots that hang together with a cell.
func flood(in map[cell][]int, from cell) []int {
	if len(in[from]) == 0 {
		return nil
	}
	out := in[from]
	delete(in, from)
	for open := []cell{from}; len(open) > 0; {
		c := open[len(open)-1]
		open = open[:len(open)-1]
		for dx := int64(-1); dx <= 1; dx++ {
			for dy := int64(-1); dy <= 1; dy++ {
				next := cell{c.x + dx, c.y + dy}
				if found := in[next]; len(found) > 0 {
					out = append(out, found...)
					delete(in, next)
					open = append(open, next)
				}
			}
		}
	}
	return out
}

// divided cuts a box into n equal ones, in one column or two.
func divided(b paper.Box, n int) []paper.Box {
	columns := 1
	if n > 2 {
		columns = 2
	}
	rows := (n + columns - 1) / columns
	var out []paper.Box
	for i := range n {
		w, h := b.Width()/float64(columns), b.Height()/float64(max(rows, 1))
		left, top := b.Left+w*float64(i%columns), b.Top+h*float64(i/columns)
		out = append(out, paper.Box{Left: left, Top: top, Right: left + w, Bottom: top + h})
	}
	return out
}
