package sector

import (
	"math"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Nozzle is what a head can be fitted with, at the pressure it will run at.
type Nozzle struct {
	Name       string
	Throw      layout.Length // radius when fully open
	TurnedDown layout.Length // radius when turned down all the way; 0: it cannot be
	Flow       layout.Flow   // on a full circle, whatever the radius; less in proportion on a smaller arc

	// Family numbers the nozzles of one precipitation rate. Heads of different
	// families run on different valves, one longer than the other.
	Family  int
	Runs    float64      // how long its family runs, against any one of them; 0 means 1
	Profile []RadialRate // nil: a cone
	Ground  geom.Region  // heads with it stand only here; nil: on any spot
}

// Sector is a placed head and what it is set to.
type Sector struct {
	At       geom.Point
	Nozzle   int // which of the site's
	Radius   layout.Length
	StartDeg int // bearing of the left stop, clockwise from north, 0 to 359
	SweepDeg int // clockwise from there; 360 is all round
	Flow     layout.Flow
	Pinned   bool
}

// Outline returns the sector in the open, counter-clockwise, its arc replaced
// by chords with a sagitta of at most the given millimetres.
func (s Sector) Outline(sagittaMM float64) geom.Ring {
	r := s.Radius.Metres() * geom.MillimetresPerMetre
	step := 2 * math.Acos(1-math.Min(sagittaMM/r, 1)) / radiansPerDegree
	n := max(3, int(math.Ceil(float64(s.SweepDeg)/step)))
	var out geom.Ring
	first := n
	if s.SweepDeg < turn {
		out = append(out, s.At)
	} else {
		first = n - 1 // the last point is the first one
	}
	for i := first; i >= 0; i-- {
		bearing := float64(s.StartDeg) + float64(s.SweepDeg)*float64(i)/float64(n)
		sin, cos := math.Sincos(bearing * radiansPerDegree)
		out = append(out, s.At.Vec().Add(geom.Vec{X: sin, Y: cos}.Scale(r)).Round())
	}
	return out
}

// RadialRate is a corner of a radial profile: a relative rate at a share of the
// throw, 0 at the head and 1 at full throw; straight lines between.
type RadialRate = layout.RadialRate

// Site is the ground and the water as this stage sees them.
type Site struct {
	Lawn     geom.Region
	Blockers geom.Region  // buildings and walls
	Spots    []geom.Point // where heads may stand, inside the lawn; [SpotSpacing] says how far apart
	Pinned   []geom.Point // heads that stand already; what they are set to is ours to choose
	Fixed    []Sector     // heads that stand already, set for good; their radii are of their nozzles

	Nozzles       []Nozzle
	LeastSweep    int // degrees; 0 means [DefaultLeastSweep]
	GreatestSweep int // degrees; 0 means a full circle

	// Areas are parts of the lawn that have uniformity targets of their own; they
	// do not overlap.
	Areas []Area

	// Measure returns exact figures for a set of heads; a placement is accepted
	// by them. Nil: the figures of the search's own grid stand.
	Measure func(heads []Sector) (Figures, error)
}

// Area is a part of the lawn with a uniformity target of its own: that heads of
// one family water, which run as long as it needs.
type Area struct {
	Ground           geom.Region
	UniformityTarget float64
}

// Figures tell how well a set of heads waters the lawn, as shares.
type Figures struct {
	Coverage     float64 // area reached over area of the lawn
	DULowQuarter float64
	AreaDU       []float64 // of the water on each of the site's areas
}

// Settings steer a placement. Zero values mean the defaults.
type Settings struct {
	CoverageTarget   float64 // τ
	UniformityTarget float64 // DU_lq
	OversprayLimit   float64 // share of a sector's wetted area
	Moves            int     // of the search, in all
	// MostHeads is the number above which a placement is of no use: it is given up
	// where the bound, or lawn out of reach, shows that it takes more. 0: none.
	MostHeads int
	Seed      uint64
}

// Defaults.
const (
	DefaultCoverageTarget   = 0.97
	DefaultUniformityTarget = 0.65
	DefaultOversprayLimit   = 0.05
	DefaultLeastSweep       = 45
	// DefaultMoves is calibrated on residential lots: twice as many save one
	// head in about fifty.
	DefaultMoves = 400_000
)

func (s Settings) filled() Settings {
	s.CoverageTarget = or(s.CoverageTarget, DefaultCoverageTarget)
	s.UniformityTarget = or(s.UniformityTarget, DefaultUniformityTarget)
	s.OversprayLimit = or(s.OversprayLimit, DefaultOversprayLimit)
	s.Moves = or(s.Moves, DefaultMoves)
	return s
}

func or[T int | float64](v, fallback T) T {
	if v == 0 {
		return fallback
	}
	return v
}

// Status says how a placement ended.
type Status int

// The statuses.
const (
	Reached     Status = iota // both targets are met
	Unreachable               // they are not; the result is the best found
)

// Result is a placement.
type Result struct {
	Status  Status
	Reason  string   // in words, when unreachable
	Heads   []Sector // sorted by place, then by setting; pinned ones included
	Figures Figures  // by Site.Measure where there is one

	// Unreached is the area in m² that no permitted sector from any spot wets:
	// lawn too narrow for the least radius, or too far from any spot.
	Unreached float64
	// Unfit lists the pinned heads off the lawn, and those that no permitted
	// sector can be set on; they are left out.
	Unfit []geom.Point
	// Bound is a number of heads without which no choice of permitted sectors
	// on these spots reaches the coverage target, counted on witnesses
	// WitnessMM apart, the fixed heads being kept. It says nothing of uniformity, which mostly takes more
	// heads. 0: none was worked out.
	Bound     int
	WitnessMM int64

	Greedy int // heads in the plain greedy choice
	Moves  int
}
