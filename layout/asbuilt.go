package layout

import "lotwright/layout/geom"

// AsBuilt is what really stands of a design, as measured on the lot.
type AsBuilt struct {
	Heads []BuiltHead // all that stand: a designed head that is not among them is missing
	Pipes []BuiltPipe // those that lie otherwise than designed; all others as designed
}

// BuiltHead is a head as it stands. What is nil is as designed.
type BuiltHead struct {
	Label    string // of the designed head; any other, or none, is an added head
	At       geom.Point
	Throw    *Length  // as measured
	ArcStart *float64 // degrees clockwise from north
	ArcSweep *float64 // degrees
	Model    string   // empty: as designed
	Pinned   bool     // is to stay, whatever is designed next
}

// BuiltPipe is a pipe as it lies. What is empty is as designed.
type BuiltPipe struct {
	Label    string // of the designed pipe
	Material string
	Size     string
	Path     geom.Line // from the end nearer the water
}

// Edited is a design that was read back from its map, where somebody moved heads,
// took some out or added some. What the map does not tell is zero.
type Edited struct {
	Design *Design // with the heads that pipe leads to, where they stand now
	Heads  []BuiltHead
}
