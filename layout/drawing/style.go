package drawing

import "lotwright/layout/paper"

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

// The kinds of ground.
var (
	lawn = paper.AreaStyle{Name: "Lawn to water", Look: paper.Look{Fill: lawnTint}}
	bed  = paper.AreaStyle{Name: "Planting bed", Look: paper.Look{Fill: bedTint, Stroke: darkGrey, Width: 0.6},
		Hatches: []paper.Hatch{{Angle: 30, Spacing: 5, Line: paper.Look{Stroke: orange, Width: 0.7, Dash: "3 4"}}}}
	paving = paper.AreaStyle{Name: "Paving", Look: paper.Look{Fill: paleGrey, Stroke: darkGrey, Width: 0.6},
		Hatches: []paper.Hatch{{Angle: 20, Spacing: 6, Line: paper.Look{Stroke: darkGrey, Width: 0.9, Dash: "0.9 7"}}}}
	water = paper.AreaStyle{Name: "Pool or pond", Look: paper.Look{Fill: waterTint, Stroke: blue, Width: 0.9},
		Hatches: []paper.Hatch{{Angle: 0, Spacing: 4, Line: paper.Look{Stroke: blue, Width: 0.6, Dash: "9 3"}}}}
	building = paper.AreaStyle{Name: "Building", Look: paper.Look{Fill: midGrey, Stroke: black, Width: 1.2},
		Hatches: []paper.Hatch{{Angle: 45, Spacing: 7, Line: paper.Look{Stroke: darkGrey, Width: 0.6}}}}
	noDig   = paper.AreaStyle{Name: "Not to be dug", Look: paper.Look{Stroke: black, Width: 0.9, Dash: "8 3 1.5 3"}, Hatches: []paper.Hatch{{Angle: 135, Spacing: 12, Line: paper.Look{Stroke: darkGrey, Width: 0.5, Dash: "4 4"}}}}
	roots   = paper.AreaStyle{Name: "Tree roots", Look: paper.Look{Stroke: bluishGreen, Width: 1.1, Dash: "2 2"}}
	wetted  = paper.AreaStyle{Name: "Reached by a head", Look: paper.Look{Fill: skyBlue, Opacity: 0.20, Stroke: blue, Width: 0.8}}
	dryArea = paper.AreaStyle{Name: "Dry: not reached", Look: paper.Look{Fill: white, Opacity: 0.60, Stroke: vermillion, Width: 1.3},
		Hatches: []paper.Hatch{{Angle: 45, Spacing: 3.5, Line: paper.Look{Stroke: vermillion, Width: 0.9}}, {Angle: 135, Spacing: 3.5, Line: paper.Look{Stroke: vermillion, Width: 0.9}}}}
	narrowStrip = paper.AreaStyle{Name: "Strip too narrow", Look: paper.Look{Fill: white, Opacity: 0.60, Stroke: reddishPurple, Width: 0.9, Dash: "3 1.5"},
		Hatches: []paper.Hatch{{Angle: 90, Spacing: 3, Line: paper.Look{Stroke: reddishPurple, Width: 1}}}}
)

// Lines.
var (
	lotLine      = paper.Look{Stroke: black, Width: 1.8, Dash: "20 3 4 3 4 3"} // a surveyor's boundary: one long, two short
	wall         = paper.Look{Fill: black, Stroke: black, Width: 0.8}
	wallTick     = paper.Look{Stroke: black, Width: 0.9}
	lotLineUnder = paper.Look{Stroke: white, Width: 2.6}
	sleeveOuter  = paper.Look{Stroke: darkGrey, Width: 5}
	sleeveInner  = paper.Look{Stroke: white, Width: 3.4}
	trenchUnder  = paper.Look{Stroke: white, Width: 5.2, Round: true}
	leader       = paper.Look{Stroke: black, Width: 0.5}
	thinFrame    = paper.Look{Stroke: black, Width: 0.6}
	heavyFrame   = paper.Look{Stroke: black, Width: 1.4}
)

// trenchStyle is how trench in one surface is drawn and named.
type trenchStyle struct {
	name string
	look paper.Look
}

var (
	trenchSoil   = trenchStyle{"Trench in soil", paper.Look{Stroke: black, Width: 2.8, Round: true}}
	trenchPaving = trenchStyle{"Trench under paving", paper.Look{Stroke: black, Width: 2.8, Dash: "7 4"}}
	trenchSleeve = trenchStyle{"Pipe in a sleeve", paper.Look{Stroke: black, Width: 3, Dash: "0.1 5.2", Round: true}}
)
