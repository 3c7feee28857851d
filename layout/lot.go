package layout

import "lotwright/layout/geom"

// Layer names what an input feature shows. The names are part of the file
// format (properties.layer).
type Layer string

// The input layers.
const (
	LayerParcel     Layer = "parcel"      // the lot's outline; exactly one polygon
	LayerTurf       Layer = "turf"        // lawn; where given, only this is irrigated
	LayerBed        Layer = "bed"         // planting bed, not irrigated unless asked
	LayerBuilding   Layer = "building"    // blocks water, no trench
	LayerHardscape  Layer = "hardscape"   // paving: ends throw, costly to trench
	LayerWater      Layer = "water"       // pool or pond
	LayerWall       Layer = "wall"        // line (taken 0.1 m thick) or polygon; blocks water
	LayerTree       Layer = "tree"        // point or polygon: root zone
	LayerNoDig      Layer = "no_dig"      // ground that must not be opened
	LayerSleeve     Layer = "sleeve"      // line: pipe already lying under paving
	LayerSource     Layer = "source"      // point of connection
	LayerController Layer = "controller"  // where the controller hangs
	LayerSpotHeight Layer = "spot_height" // point with a height
	LayerHead       Layer = "head"        // a pinned head (properties.fixed = true)
)

// InputLayers lists every layer an input feature may name, in the order they
// are documented.
func InputLayers() []Layer {
	return []Layer{LayerParcel, LayerTurf, LayerBed, LayerBuilding, LayerHardscape, LayerWater,
		LayerWall, LayerTree, LayerNoDig, LayerSleeve, LayerSource, LayerController, LayerSpotHeight, LayerHead}
}

// WallThicknessMM is the thickness given to a wall drawn as a line (contract 4.2).
const WallThicknessMM = 100

// Plane is a lot's own map plane. Its origin lies at the lot's centroid, X runs
// east and Y north along the meridian there, at scale 1.
type Plane interface {
	// LonLat returns the WGS 84 longitude and latitude, in degrees, of a
	// place given in millimetres.
	LonLat(xMM, yMM float64) (lonDeg, latDeg float64)
}

// Lot is one parcel as surveyed, in its own plane, with what lies on it and
// the water that serves it. Regions of one layer are already unions; different
// layers may overlap.
type Lot struct {
	ID    string
	Plane Plane

	Parcel    geom.Region // one polygon
	Turf      geom.Region // nil: all of the parcel is lawn
	HasTurf   bool        // a turf layer was given, even if nothing of it is left
	Bed       geom.Region
	Building  geom.Region
	Hardscape geom.Region
	Water     geom.Region
	Wall      geom.Region // line walls already thickened
	RootZone  geom.Region
	NoDig     geom.Region
	Sleeves   []geom.Line

	Source     *geom.Point // nil: assumed, see contract 4.8
	Controller *geom.Point
	Heights    []SpotHeight
	Pinned     []Pin // heads to keep, sorted by place, one a place

	// HeadWishes are the parts of the lawn for which the input names heads,
	// sorted by heads; they do not overlap.
	HeadWishes []HeadWish

	// Supply holds what the lot's own properties say of its water; anything
	// unset there is taken from the settings of the run.
	Supply Supply

	// Notes are the importer's remarks that travel with the design.
	Notes []Note
}

// HeadWish is ground that heads of a family are asked for on.
type HeadWish struct {
	Heads  string // the family's name, or its words: "rotor"
	Ground geom.Region
}

// Pin is a head that stands already, or is to stand, and is kept. What is zero is
// for the design to choose.
type Pin struct {
	At       geom.Point
	Throw    Length  // of a variable-throw head, if it is turned down; of a fixed-arc head its radius
	Model    string  // of a fixed-arc head, its nozzle
	ArcStart float64 // degrees clockwise from north
	ArcSweep float64 // degrees; 0: the arc is not told
}

// PinsAt are heads of which only the places are fixed.
func PinsAt(at ...geom.Point) (pins []Pin) {
	for _, p := range at {
		pins = append(pins, Pin{At: p})
	}
	return pins
}

// PinnedAt lists where the heads to keep stand.
func (l *Lot) PinnedAt() (at []geom.Point) {
	for _, p := range l.Pinned {
		at = append(at, p.At)
	}
	return at
}

// SpotHeight is a surveyed ground height.
type SpotHeight struct {
	At     geom.Point
	Height Length // above any one datum
}

// Severity grades a note.
type Severity string

// The severities.
const (
	SeverityInfo    Severity = "info"
	SeverityWarning Severity = "warning"
	SeverityError   Severity = "error"
)

// Note is a remark about a lot: which rule it comes from, what it says, and
// the place it is about.
type Note struct {
	Rule     string // dotted code, e.g. "poc.assumed"
	Severity Severity
	Text     string
	At       *geom.Point // nil: about the whole lot
}
