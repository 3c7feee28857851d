package paper

// Look is how a shape is painted. The zero Look paints nothing.
type Look struct {
	Fill    string  // "#RRGGBB"; empty: none
	Opacity float64 // of the fill; 0 means solid
	Stroke  string  // "#RRGGBB"; empty: none
	Width   float64
	Dash    string // lengths of strokes and gaps, blanks between
	Round   bool   // line ends
}

// Hatch is a set of parallel lines across an area.
type Hatch struct {
	Angle   float64 // degrees, clockwise from level, as SVG turns
	Spacing float64
	Line    Look
}

// AreaStyle is how one kind of ground is drawn and named in the legend.
type AreaStyle struct {
	Name    string
	Look    Look
	Hatches []Hatch
}
