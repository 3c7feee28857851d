package trench

import (
	"math"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// ground is the lot as the digger meets it.
type ground struct {
	parcel geom.Region
	free   *outline // where a trench may go
	hard   *outline // the same without the clearance: where a stub may go
	paving *outline
	roots  *outline
	prices prices
}

// prices are what digging costs, in soil: a metre of trench in plain soil
// costs one metre.
type prices struct {
	paving, roots float64 // a metre
	edge          int64   // µm of soil for passing the edge of paving, in or out: half the price of a crossing
}

func newGround(lot *layout.Lot, s Settings) *ground {
	parcel := geom.Union(lot.Parcel)
	forbidden := beyondLotLine(geom.Union(lot.Building, lot.Wall, lot.NoDig, lot.Water), parcel)
	stoodOff := geom.Union(forbidden, widened(lot.Building, s.Clearance.Millimetres()))
	return &ground{
		parcel: parcel,
		free:   newOutline(geom.Difference(parcel, stoodOff)),
		hard:   newOutline(geom.Difference(parcel, forbidden)),
		paving: newOutline(beyondLotLine(lot.Hardscape, parcel)),
		roots:  newOutline(beyondLotLine(coarsened(lot.RootZone, rootSlack), parcel)),
		prices: prices{
			paving: s.PavingFactor,
			roots:  s.RootZoneFactor,
			edge:   int64(math.Round(s.PavingCrossing.Metres() * 1e6 / 2)),
		},
	}
}

// lotLineSlack is how far, in mm, something may stop short of the lot line and
// still count as reaching it: the two are drawn in separate surveys, and no
// trench fits between. Common practice, no source.
const lotLineSlack = 50

// beyondLotLine returns g with what reaches the lot line carried on past it, so
// that no trench slips through between the end of a drive, a wall or a root
// zone and the line.
func beyondLotLine(g, parcel geom.Region) geom.Region {
	parts := []geom.Region{g}
	for e := range g.Edges() {
		if parcel.EdgeWithin(e.A, lotLineSlack) && parcel.EdgeWithin(e.B, lotLineSlack) &&
			parcel.EdgeWithin(along(e, 0.5), lotLineSlack) {
			parts = append(parts, geom.Region{{skirt(e.A, e.B, 2*lotLineSlack)}})
		}
	}
	return geom.Union(parts...)
}

// stretch is a straight piece of trench and what it costs.
type stretch struct {
	length     int64 // µm
	cost       int64 // µm of soil, with the edges of paving passed on the way
	pavedStart bool  // sets out under paving
	pavedEnd   bool  // arrives under paving
}

// survey returns the stretch along s. It is the same both ways.
func (g *ground) survey(s geom.Segment) stretch {
	if s.A.Compare(s.B) > 0 {
		return g.survey(geom.Segment{A: s.B, B: s.A}).reversed()
	}
	length := s.LengthMM() * 1000
	var p, r [8]span // keeps the usual case off the heap: this is the innermost loop
	paved, rooted := g.paving.covered(s, p[:]), g.roots.covered(s, r[:])
	st := stretch{length: int64(math.Round(length))}
	price := 1 + float64((g.prices.paving-1)*total(paved))
	if len(rooted) > 0 { // the dearer of two that overlap counts
		both := min(g.prices.paving, g.prices.roots) - 1
		price += float64((g.prices.roots-1)*total(rooted)) - float64(both*total(common(paved, rooted)))
	}
	st.cost = int64(math.Round(length * price))
	edges := 2 * len(paved)
	if edges > 0 && paved[0].lo == 0 {
		st.pavedStart = true
		edges--
	}
	if edges > 0 && paved[len(paved)-1].hi == 1 {
		st.pavedEnd = true
		edges--
	}
	st.cost += int64(edges) * g.prices.edge
	return st
}

func (s stretch) reversed() stretch {
	s.pavedStart, s.pavedEnd = s.pavedEnd, s.pavedStart
	return s
}
