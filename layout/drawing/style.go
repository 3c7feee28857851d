package drawing

import (
	"fmt"
	"strings"
)

// Hues of Okabe and Ito (see the package comment).
const (
	black         = "#000000"
	orange        = "#E69F00"
	skyBlue       = "#56B4E9"
	bluishGreen   = "#009E73"
	blue          = "#0072B2"
	vermillion    = "#D55E00"
	reddishPurple = "#CC79A7"
)

// Tints towards white of the hues above, and greys.
const (
	white     = "#FFFFFF"
	lawnTint  = "#E0F3EE" // bluish green 12 %
	bedTint   = "#FBECCC" // orange 20 %
	waterTint = "#CDE8F9" // sky blue 30 %
	paleGrey  = "#E8E8E8"
	midGrey   = "#C4C4C4"
	darkGrey  = "#555555"
)

// look is how a shape is painted. The zero look paints nothing.
type look struct {
	fill    string
	opacity float64 // of the fill; 0 means solid
	stroke  string
	width   float64
	dash    string
	round   bool // line ends
}

// attributes writes l as SVG presentation attributes, in a fixed order.
func (l look) attributes() string {
	var b strings.Builder
	fill := l.fill
	if fill == "" {
		fill = "none"
	}
	fmt.Fprintf(&b, `fill="%s"`, fill)
	if l.opacity > 0 {
		fmt.Fprintf(&b, ` fill-opacity="%.2f"`, l.opacity)
	}
	if l.stroke != "" {
		fmt.Fprintf(&b, ` stroke="%s" stroke-width="%.2f"`, l.stroke, l.width)
	}
	if l.dash != "" {
		fmt.Fprintf(&b, ` stroke-dasharray="%s"`, l.dash)
	}
	if l.round {
		b.WriteString(` stroke-linecap="round" stroke-linejoin="round"`)
	}
	return b.String()
}

// hatch is a set of parallel lines across an area.
type hatch struct {
	angle   float64 // degrees, clockwise from level, as SVG turns
	spacing float64
	line    look
}

// areaStyle is how one kind of ground is drawn and named in the legend.
type areaStyle struct {
	name    string
	look    look
	hatches []hatch
}

// The kinds of ground.
var (
	lawn = areaStyle{name: "Lawn to water", look: look{fill: lawnTint}}
	bed  = areaStyle{name: "Planting bed", look: look{fill: bedTint, stroke: darkGrey, width: 0.6},
		hatches: []hatch{{30, 5, look{stroke: orange, width: 0.7, dash: "3 4"}}}}
	paving = areaStyle{name: "Paving", look: look{fill: paleGrey, stroke: darkGrey, width: 0.6},
		hatches: []hatch{{20, 6, look{stroke: darkGrey, width: 0.9, dash: "0.9 7"}}}}
	water = areaStyle{name: "Pool or pond", look: look{fill: waterTint, stroke: blue, width: 0.9},
		hatches: []hatch{{0, 4, look{stroke: blue, width: 0.6, dash: "9 3"}}}}
	building = areaStyle{name: "Building", look: look{fill: midGrey, stroke: black, width: 1.2},
		hatches: []hatch{{45, 7, look{stroke: darkGrey, width: 0.6}}}}
	noDig   = areaStyle{name: "Not to be dug", look: look{stroke: black, width: 0.9, dash: "8 3 1.5 3"}, hatches: []hatch{{135, 12, look{stroke: darkGrey, width: 0.5, dash: "4 4"}}}}
	roots   = areaStyle{name: "Tree roots", look: look{stroke: bluishGreen, width: 1.1, dash: "2 2"}}
	wetted  = areaStyle{name: "Reached by a head", look: look{fill: skyBlue, opacity: 0.20, stroke: blue, width: 0.8}}
	dryArea = areaStyle{name: "Dry: not reached", look: look{fill: white, opacity: 0.60, stroke: vermillion, width: 1.3},
		hatches: []hatch{{45, 3.5, look{stroke: vermillion, width: 0.9}}, {135, 3.5, look{stroke: vermillion, width: 0.9}}}}
	narrowStrip = areaStyle{name: "Strip too narrow", look: look{fill: white, opacity: 0.60, stroke: reddishPurple, width: 0.9, dash: "3 1.5"},
		hatches: []hatch{{90, 3, look{stroke: reddishPurple, width: 1}}}}
)

// Lines.
var (
	lotLine      = look{stroke: black, width: 1.8, dash: "20 3 4 3 4 3"} // a surveyor's boundary: one long, two short
	wall         = look{fill: black, stroke: black, width: 0.8}
	wallTick     = look{stroke: black, width: 0.9}
	lotLineUnder = look{stroke: white, width: 2.6}
	sleeveOuter  = look{stroke: darkGrey, width: 5}
	sleeveInner  = look{stroke: white, width: 3.4}
	trenchUnder  = look{stroke: white, width: 5.2, round: true}
	leader       = look{stroke: black, width: 0.5}
	thinFrame    = look{stroke: black, width: 0.6}
	heavyFrame   = look{stroke: black, width: 1.4}
)

// trenchStyle is how trench in one surface is drawn and named.
type trenchStyle struct {
	name string
	look look
}

var (
	trenchSoil   = trenchStyle{"Trench in soil", look{stroke: black, width: 2.8, round: true}}
	trenchPaving = trenchStyle{"Trench under paving", look{stroke: black, width: 2.8, dash: "7 4"}}
	trenchSleeve = trenchStyle{"Pipe in a sleeve", look{stroke: black, width: 3, dash: "0.1 5.2", round: true}}
)
