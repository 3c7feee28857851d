package plat

import (
	"bytes"
	"fmt"
)

// pictureLayers lists what the picture shows, from the bottom up.
func pictureLayers() []string {
	return []string{"turf", "bed", "hardscape", "water", "building", "no_dig", "wall", "sleeve", "tree", "source", "controller"}
}

const (
	pictureMargin = 14.0 // metres
	barLength     = 20.0
)

// picture draws the plat to look at: one unit is a metre, north is up. The
// colours are tints of the palette of Okabe and Ito (2008).
func (s *Survey) picture() []byte {
	lo, hi := s.bounds()
	left, top := lo.X-pictureMargin, -hi.Y-pictureMargin
	width, height := hi.X-lo.X+2*pictureMargin, hi.Y-lo.Y+2*pictureMargin
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="1200" viewBox="%.1f %.1f %.1f %.1f" font-family="sans-serif">`+"\n",
		left, top, width, height)
	fmt.Fprintf(&b, "<title>%s: an invented subdivision of %d lots</title>\n", Name, len(s.Lots))
	fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="#fff"/>`+"\n", left, top, width, height)
	for _, l := range s.Lots {
		shape(&b, Polygon, l.Outline, `fill="#e3f1e6"`)
	}
	for _, layer := range pictureLayers() {
		for _, f := range s.ofLayer(layer) {
			shape(&b, f.Kind, f.At, look(layer))
		}
	}
	for _, l := range s.Lots {
		shape(&b, Polygon, l.Outline, `fill="none" stroke="#000" stroke-width=".35"`)
	}
	for _, l := range s.Lots {
		c := middle(l.Outline)
		text(&b, c, 3.4, l.ID[len(l.ID)-2:])
		text(&b, c.sub(XY{0, 2.6}), 1.9, fmt.Sprintf("%.0f m²", area(l.Outline)))
	}
	corner := XY{lo.X + 24, hi.Y - 2}
	text(&b, corner, 6, Name)
	text(&b, corner.sub(XY{0, 4.5}), 2.2, fmt.Sprintf("invented, %d lots; north is up; the bar is %.0f m", len(s.Lots), barLength))
	shape(&b, Line, []XY{corner.sub(XY{barLength / 2, 7}), corner.sub(XY{-barLength / 2, 7})}, `stroke="#000" stroke-width=".8"`)
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// look is how a layer is drawn.
func look(layer string) string {
	switch layer {
	case "turf":
		return `fill="#a9d6b4"`
	case "bed":
		return `fill="#f0d9a6" stroke="#333" stroke-width=".1"`
	case "hardscape":
		return `fill="#d5d5d5"`
	case "water":
		return `fill="#9fd3f1" stroke="#333" stroke-width=".1"`
	case "building":
		return `fill="#999" stroke="#000" stroke-width=".2"`
	case "no_dig":
		return `fill="none" stroke="#000" stroke-width=".2" stroke-dasharray="1.2 .6"`
	case "tree":
		return `fill="#009e73" fill-opacity=".5" stroke="#00553e" stroke-width=".15"`
	}
	return `fill="none" stroke="#000" stroke-width=".45"`
}

// pointRadius is the size of a dot for a point, in metres.
const pointRadius = 0.8

func shape(b *bytes.Buffer, kind Kind, at []XY, look string) {
	if kind == Point {
		fmt.Fprintf(b, `<circle cx="%.2f" cy="%.2f" r="%.1f" %s/>`+"\n", at[0].X, -at[0].Y, pointRadius, look)
		return
	}
	fmt.Fprint(b, `<path d="`)
	for i, p := range at {
		fmt.Fprintf(b, "%c%.2f %.2f", "ML"[min(i, 1)], p.X, -p.Y)
	}
	if kind == Polygon {
		b.WriteByte('Z')
	}
	fmt.Fprintf(b, `" %s/>`+"\n", look)
}

func text(b *bytes.Buffer, at XY, size float64, words string) {
	fmt.Fprintf(b, `<text x="%.2f" y="%.2f" font-size="%.1f" text-anchor="middle" stroke="#fff" stroke-width=".6" paint-order="stroke">%s</text>`+"\n",
		at.X, -at.Y, size, words)
}

func (s *Survey) bounds() (lo, hi XY) {
	lo, hi = s.Lots[0].Outline[0], s.Lots[0].Outline[0]
	for _, l := range s.Lots {
		for _, p := range l.Outline {
			lo = XY{min(lo.X, p.X), min(lo.Y, p.Y)}
			hi = XY{max(hi.X, p.X), max(hi.Y, p.Y)}
		}
	}
	return lo, hi
}

// middle returns the centroid of a ring.
func middle(ring []XY) XY {
	var sum XY
	for i, p := range ring {
		a, b := p.sub(ring[0]), ring[(i+1)%len(ring)].sub(ring[0])
		sum = sum.add(a.add(b).times(a.cross(b)))
	}
	return ring[0].add(sum.times(1 / (6 * area(ring))))
}
