package sheet

import (
	"fmt"
	"math"

	"lotwright/layout"
	"lotwright/layout/drawing"
	"lotwright/layout/paper"
)

// outline is a lot's outline in degrees of longitude (X) and latitude (Y).
type outline [][]paper.Vec

// mostCorners bounds what a book keeps of an outline's ring.
const mostCorners = 48

// newOutline returns the outline of a lot, coarsened; nil where it has no place.
func newOutline(lot *layout.Lot) outline {
	if lot == nil || lot.Plane == nil {
		return nil
	}
	var out outline
	for ring := range lot.Parcel.Rings() {
		step := (len(ring) + mostCorners - 1) / mostCorners
		var chain []paper.Vec
		for i := 0; i < len(ring); i += max(step, 1) {
			lon, lat := lot.Plane.LonLat(float64(ring[i].X), float64(ring[i].Y))
			if v := paper.At(lon, lat); v.Finite() {
				chain = append(chain, v)
			}
		}
		if len(chain) > 2 {
			out = append(out, chain)
		}
	}
	return out
}

// metresPerDegree is a degree of latitude on a sphere of 6371.0088 km, the mean
// radius of the Earth (IUGG). Good enough to see which lot lies where.
const metresPerDegree = 6371008.8 * math.Pi / 180

// placement puts longitudes and latitudes on the page: the plane of the parallel
// through the middle, north up.
type placement struct {
	lon, lat float64 // of the middle
	east     float64 // metres a degree of longitude
	scale    float64 // page units a metre
	centre   paper.Vec
}

func (m placement) metres(v paper.Vec) paper.Vec {
	return paper.At(math.Remainder(v.X-m.lon, 360)*m.east, (v.Y-m.lat)*metresPerDegree)
}

func (m placement) at(v paper.Vec) paper.Vec {
	at := m.metres(v)
	return m.centre.Add(paper.At(at.X*m.scale, -at.Y*m.scale))
}

// place fits the outlines into a frame; ok is false where there are none.
func place(lots []indexed, frame paper.Box) (m placement, ok bool) {
	corners := cornersOf(lots)
	if len(corners) == 0 {
		return m, false
	}
	m = placementAbout(corners[0])
	low, high := m.metres(corners[0]), m.metres(corners[0])
	for _, c := range corners {
		v := m.metres(c)
		low, high = paper.At(min(low.X, v.X), min(low.Y, v.Y)), paper.At(max(high.X, v.X), max(high.Y, v.Y))
	}
	middle := low.Add(high).Times(0.5)
	m.lon += middle.X / m.east
	m.lat += middle.Y / metresPerDegree
	const least = 1.0 // metres, however small the batch
	m.scale = min(frame.Width()/max(high.X-low.X, least), frame.Height()/max(high.Y-low.Y, least))
	m.centre = frame.Centre()
	return m, true
}

// placementAbout returns a placement whose middle is a longitude and latitude.
func placementAbout(v paper.Vec) placement {
	return placement{lon: v.X, lat: v.Y, east: metresPerDegree * math.Cos(v.Y*math.Pi/180)}
}

func cornersOf(lots []indexed) (out []paper.Vec) {
	for _, l := range lots {
		for _, chain := range l.outline {
			out = append(out, chain...)
		}
	}
	return out
}

const (
	mapFoot   = 66.0
	mapMargin = 26.0
)

// hatches tell the statuses apart.
func mapStyle(s layout.Status) paper.AreaStyle {
	line := paper.Look{Stroke: darkGrey, Width: 0.7}
	edge := paper.Look{Fill: white, Stroke: black, Width: 0.9}
	switch s {
	case layout.StatusDesigned:
		return paper.AreaStyle{Name: drawing.StatusWords(s), Look: edge}
	case layout.StatusInfeasible:
		return paper.AreaStyle{Name: drawing.StatusWords(s), Look: edge, Hatches: []paper.Hatch{{Angle: 45, Spacing: 5, Line: line}}}
	}
	return paper.AreaStyle{Name: drawing.StatusWords(s), Look: edge, Hatches: []paper.Hatch{{Angle: 45, Spacing: 4, Line: line}, {Angle: 135, Spacing: 4, Line: line}}}
}

// link is a piece of a page that leads to another page.
type link struct {
	box  paper.Box
	page int
}

// indexMap draws all lots where they lie, with their ids. Lots far from each other
// are shown in panels.
func (b *Book) indexMap() (*paper.Page, []link) {
	p, c := b.settings.blankPage(), b.settings.content()
	frame := paper.Box{Left: c.Left, Top: c.Top + 6, Right: c.Right, Bottom: c.Bottom - mapFoot}
	unnamed := 0
	var links []link
	for _, part := range panels(b.lots, frame) {
		left, to := part.draw(p, b.settings)
		unnamed, links = unnamed+left, append(links, to...)
	}
	p.Rect(frame, thin)
	drawing.NorthArrow(p, paper.At(c.Left+22, frame.Bottom+34))
	b.mapLegend(p, paper.Box{Left: c.Left + 60, Top: frame.Bottom, Right: c.Right, Bottom: c.Bottom}, unnamed)
	frameTitled(p, b.settings, "index map")
	return p, links
}

// draw draws a panel with its scale bar, and returns how many ids found no room
// and where each lot leads to.
func (part panel) draw(p *paper.Page, s Settings) (unnamed int, links []link) {
	foot := part.frame
	foot.Top = foot.Bottom - 24
	inside := part.frame.Inset(mapMargin)
	m, ok := place(part.lots, inside)
	if !ok {
		return 0, nil
	}
	for _, l := range part.lots {
		links = append(links, link{mapLot(p, l, m), l.page})
	}
	unnamed = mapNames(p, part.lots, m, paper.Box{Left: part.frame.Left, Top: part.frame.Top, Right: part.frame.Right, Bottom: foot.Top})
	ratio := paper.UnitsPerInch * 1000 / mmPerInch / m.scale
	drawing.ScaleBar(p, paper.At(foot.Left+24, foot.Top+10), ratio, barRoom, s.Units == Metric)
	p.Rect(part.frame, thin)
	return unnamed, links
}

// mapLot draws an outline, and a dot where it is too small to see; it returns the
// box round it.
func mapLot(p *paper.Page, l indexed, m placement) paper.Box {
	const least = 3.0
	var chains [][]paper.Vec
	for _, chain := range l.outline {
		placed := make([]paper.Vec, len(chain))
		for i, v := range chain {
			placed[i] = m.at(v)
		}
		chains = append(chains, placed)
	}
	around := boundsOf(chains[0])
	p.Area(chains, mapStyle(l.status), around)
	if max(around.Width(), around.Height()) < least {
		p.Circle(around.Centre(), least/2, paper.Look{Fill: black})
	}
	return around
}

func boundsOf(chain []paper.Vec) paper.Box {
	out := paper.Span(chain[0], chain[0])
	for _, v := range chain {
		out = paper.Box{Left: min(out.Left, v.X), Top: min(out.Top, v.Y), Right: max(out.Right, v.X), Bottom: max(out.Bottom, v.Y)}
	}
	return out
}

// idSizes are tried one after another; the last is 4 pt.
var idSizes = []float64{10, 8.6, 7.2, 5.6}

// mapNames writes the ids, and returns how many found no room.
func mapNames(p *paper.Page, lots []indexed, m placement, frame paper.Box) (left int) {
	pl := &paper.Placer{Within: frame.Inset(2)}
	for _, l := range lots {
		chain := make([]paper.Vec, len(l.outline[0]))
		for i, v := range l.outline[0] {
			chain[i] = m.at(v)
		}
		if !mapName(p, pl, l, boundsOf(chain)) {
			left++
		}
	}
	return left
}

// mapName writes one id on its lot, or close by, as large as there is room for.
func mapName(p *paper.Page, pl *paper.Placer, l indexed, lot paper.Box) bool {
	const mostID, near = 90.0, 10.0
	for _, size := range idSizes {
		words := paper.Shortened(l.id, mostID, size, true)
		width, height := paper.Width(words, size, true)+2, size+2
		q := paper.Around(lot.Centre(), width, height).Corners()
		fits := width <= lot.Width()+4 && height <= lot.Height()+4
		if last := size == idSizes[len(idSizes)-1]; (!fits || !pl.Free(q)) && last {
			s, ok := pl.Find(paper.Wish{At: lot.Centre(), Width: width, Height: height, Gap: 2, Reach: near})
			if !ok {
				return false
			}
			q, fits = paper.Around(s.Centre, width, height).Corners(), true
		}
		if fits && pl.Free(q) {
			c := q.Bounds().Centre()
			p.Text(paper.Label{At: c.Add(paper.At(0, (paper.Ascent-paper.Descent)/2*size)), Words: words, Size: size, Bold: true, Anchor: paper.AtMiddle, Backed: l.status != layout.StatusDesigned})
			pl.Take(q)
			return true
		}
	}
	return false
}

// mapLegend explains the hatches and says what the map does not show.
func (b *Book) mapLegend(p *paper.Page, box paper.Box, unnamed int) {
	x, y := box.Left, box.Top+16
	homeless := 0
	seen := map[string]bool{}
	for _, l := range b.lots {
		if len(l.outline) == 0 {
			homeless++
			continue
		}
		s := mapStyle(l.status)
		if seen[s.Name] {
			continue
		}
		seen[s.Name] = true
		sample := paper.Box{Left: x, Top: y - 8, Right: x + 22, Bottom: y + 2}
		p.Area([][]paper.Vec{sample.Corners().List()}, s, sample)
		p.Text(paper.Label{At: paper.At(x+27, y), Words: s.Name, Size: factSize})
		x += 112
	}
	words := "Pages of lots: see the index of lots at the end."
	if unnamed > 0 {
		words += fmt.Sprintf(" %s left out of the map for want of room.", drawing.Counted(unnamed, "id"))
	}
	if homeless > 0 {
		words += fmt.Sprintf(" %s without a usable outline not shown.", drawing.Counted(homeless, "lot"))
	}
	for i, line := range wrapped(words, box.Width(), factSize, false, 3) {
		p.Text(paper.Label{At: paper.At(box.Left, y+18+13*float64(i)), Words: line, Size: factSize})
	}
}
