package trench

import (
	"math"
	"slices"

	"lotwright/layout/geom"
)

// sleeveSlack is how far, in mm, the end of a sleeve may lie from the edge of
// the paving, inside it, and still be reached from the soil beside: sleeves are
// drawn from memory. Common practice, no source.
const sleeveSlack = 150

// laySleeves adds a way through each sleeve, priced as soil and with no charge
// for crossing.
func (c *chart) laySleeves(sleeves []geom.Line) {
	sleeves = slices.Clone(sleeves)
	for i, s := range sleeves {
		sleeves[i] = forward(s)
	}
	slices.SortFunc(sleeves, func(a, b geom.Line) int { return slices.CompareFunc(a, b, geom.Point.Compare) })
	for _, s := range sleeves {
		if len(s) < 2 || s[0] == s[len(s)-1] {
			continue
		}
		c.laySleeve(s)
		c.digOut(s[0])
		c.digOut(s[len(s)-1])
	}
}

// forward returns s drawn from its lesser end.
func forward(s geom.Line) geom.Line {
	if len(s) > 1 && s[0].Compare(s[len(s)-1]) > 0 {
		s = slices.Clone(s)
		slices.Reverse(s)
	}
	return s
}

// laySleeve adds the way along a line that needs no digging.
func (c *chart) laySleeve(s geom.Line) {
	a, b := c.known[s[0]], c.known[s[len(s)-1]]
	length := int64(math.Round(s.LengthMM() * 1000))
	c.lay(way{a: min(a, b), b: max(a, b), stretch: stretch{length: length, cost: length}, line: s, fixed: true})
}

// digOut joins a sleeve's end that lies just inside paving to the soil beside,
// as if the sleeve went on to there.
func (c *chart) digOut(end geom.Point) {
	paving := c.ground.paving
	if paving.region.Locate(end) != geom.Interior {
		return
	}
	e, mm := paving.region.NearestEdge(end)
	if mm > sleeveSlack {
		return
	}
	foot := railAt(e, end).at()
	c.add(place{at: foot})
	c.laySleeve(geom.Line{end, foot})
}
