package drawing

import "lotwright/layout"

// statuses lists the statuses in the order legends show them.
func statuses() []layout.Status {
	return []layout.Status{layout.StatusDesigned, layout.StatusInfeasible, layout.StatusInvalid, layout.StatusFailed, ""}
}

// statusColour returns a status's colour; its symbol says the same without.
func statusColour(s layout.Status) string {
	switch s {
	case layout.StatusDesigned:
		return bluishGreen
	case layout.StatusInfeasible:
		return vermillion
	case layout.StatusInvalid:
		return black
	case layout.StatusFailed:
		return reddishPurple
	}
	return darkGrey
}

// statusFrame is the frame of a status's cell in a contact sheet.
func statusFrame(s layout.Status) look {
	switch s {
	case layout.StatusDesigned:
		return look{stroke: darkGrey, width: 0.6}
	case layout.StatusInfeasible:
		return look{stroke: vermillion, width: 2}
	}
	return look{stroke: statusColour(s), width: 1.6, dash: "5 2.5"}
}

// drawStatus draws a status's symbol: a disc, a triangle, a crossed square, a
// diamond, or an empty ring where there is no design.
func drawStatus(p *page, c vec, r float64, s layout.Status) {
	fill := look{fill: statusColour(s), stroke: black, width: 0.6}
	switch s {
	case layout.StatusDesigned:
		p.circle(c, r, fill)
	case layout.StatusInfeasible:
		p.rings([][]vec{{c.add(vec{0, -r}), c.add(vec{r, r * 0.8}), c.add(vec{-r, r * 0.8})}}, fill)
	case layout.StatusInvalid:
		crossedSquare(p, c, r*0.9)
	case layout.StatusFailed:
		p.rings([][]vec{{c.add(vec{0, -r}), c.add(vec{r, 0}), c.add(vec{0, r}), c.add(vec{-r, 0})}}, fill)
	default:
		p.circle(c, r, look{fill: white, stroke: black, width: 0.9})
	}
}

func crossedSquare(p *page, c vec, r float64) {
	l := look{fill: white, stroke: black, width: 1.1}
	p.rect(around(c, 2*r, 2*r), l)
	p.line(c.add(vec{-r, -r}), c.add(vec{r, r}), l)
	p.line(c.add(vec{-r, r}), c.add(vec{r, -r}), l)
}
