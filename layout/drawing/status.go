package drawing

import (
	"lotwright/layout"
	"lotwright/layout/paper"
)

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
func statusFrame(s layout.Status) paper.Look {
	switch s {
	case layout.StatusDesigned:
		return paper.Look{Stroke: darkGrey, Width: 0.6}
	case layout.StatusInfeasible:
		return paper.Look{Stroke: vermillion, Width: 2}
	}
	return paper.Look{Stroke: statusColour(s), Width: 1.6, Dash: "5 2.5"}
}

// drawStatus draws a status's symbol: a disc, a triangle, a crossed square, a
// diamond, or an empty ring where there is no design.
func drawStatus(p *page, c paper.Vec, r float64, s layout.Status) {
	fill := paper.Look{Fill: statusColour(s), Stroke: black, Width: 0.6}
	switch s {
	case layout.StatusDesigned:
		p.Circle(c, r, fill)
	case layout.StatusInfeasible:
		p.Rings([][]paper.Vec{{c.Add(paper.At(0, -r)), c.Add(paper.At(r, r*0.8)), c.Add(paper.At(-r, r*0.8))}}, fill)
	case layout.StatusInvalid:
		crossedSquare(p, c, r*0.9)
	case layout.StatusFailed:
		p.Rings([][]paper.Vec{{c.Add(paper.At(0, -r)), c.Add(paper.At(r, 0)), c.Add(paper.At(0, r)), c.Add(paper.At(-r, 0))}}, fill)
	default:
		p.Circle(c, r, paper.Look{Fill: white, Stroke: black, Width: 0.9})
	}
}

func crossedSquare(p *page, c paper.Vec, r float64) {
	l := paper.Look{Fill: white, Stroke: black, Width: 1.1}
	p.Rect(paper.Around(c, 2*r, 2*r), l)
	p.Line(c.Add(paper.At(-r, -r)), c.Add(paper.At(r, r)), l)
	p.Line(c.Add(paper.At(-r, r)), c.Add(paper.At(r, -r)), l)
}
