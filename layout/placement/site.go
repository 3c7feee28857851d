// Package placement chooses where heads stand: the fewest that reach the
// coverage target, and then the positions that reach most.
package placement

import (
	"lotwright/layout/geom"
)

// Reach is what a head at one place wets.
type Reach interface {
	// Sees reports whether the head wets p.
	Sees(p geom.Point) bool
	// SeesEach calls f, in order, for the index of every given point the head wets.
	SeesEach(points []geom.Point, f func(i int))
}

// Site is the ground as placement sees it. The functions are pure: the same
// arguments give the same answer.
type Site struct {
	Spots       []geom.Point // places worth trying, sorted
	WitnessAt   []geom.Point // points standing for the lawn, in order of X
	WitnessMM2  []int64      // area each stands for
	ThrowMM     int64
	LawnAreaM2  float64
	Pinned      []geom.Point           // heads that stand already
	Allows      func(geom.Point) bool  // whether a head may stand there
	ReachFrom   func(geom.Point) Reach // what a head there wets
	AreaReached func([]Reach) float64  // area of the union, m²
	// AddedTo returns a quicker way to tell what area, in m², one more reach
	// adds to the given ones. Nil: AreaReached tells.
	AddedTo func([]Reach) func(Reach) float64

	// DryAt lists patches that make up what the reaches leave dry of the lawn.
	// Nil: the witnesses are all there is.
	DryAt func([]Reach) []Dry
	// Start holds heads to try before any choice is made, such as a design for
	// more throw or less coverage; pinned ones left out.
	Start [][]geom.Point
}

// Dry is a patch of lawn that no head reaches.
type Dry struct {
	At      geom.Point // in its middle, rounded to the grid
	AreaMM2 int64
}

// Settings limit the effort; zero values mean the defaults.
type Settings struct {
	CoverageTarget float64 // τ
	Moves          int     // of the set-cover search
	Pivots         int     // of its bound; negative: no bound
	Nodes          int     // of its search tree; negative: none
	PolishSteps    int     // exact evaluations per head while polishing; 0 means [DefaultPolishSteps]
	Rounds         int     // of looking where the lawn stays dry; 0 means [DefaultRounds]
	Seed           uint64
}

// DefaultPolishSteps is the number of exact evaluations a head may cost.
const DefaultPolishSteps = 120

// DefaultRounds is enough for all but the largest lots: the rounds end by
// themselves when nothing is dry.
const DefaultRounds = 40

// Status says how a placement ended.
type Status int

// The statuses.
const (
	Reached     Status = iota // the target is met
	Unreachable               // even a head on every spot leaves too much dry
)

// Result is a placement.
type Result struct {
	Status               Status
	Heads                []geom.Point // sorted by place; pinned ones included
	Coverage             float64      // exact
	Bound                int          // fewest of the spots that reach the target share of the witnesses; pinned ones included
	Proven               bool         // Bound is certified; false when effort ran out before any bound
	Greedy               int          // heads in the plain greedy choice, pinned ones included
	Moves, Pivots, Nodes int

	// Dry are places that some choice with too few heads left dry.
	Dry []geom.Point
}
