package uniformity

import (
	"fmt"
	"math"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// View tells what ground water from a head can get to.
type View interface {
	// Sees reports whether p, any point within the head's throw, is reached:
	// for a fixed-arc head, whether no building or wall stands in it or in
	// the way to it; for a variable-throw head, whether its throw goes there.
	Sees(p geom.Point) bool
}

// Sprinkler is a head with what decides where its water lands. Of the head its
// place, kind, throw, arc and flow count; the arc runs clockwise from its start.
type Sprinkler struct {
	Head       layout.Head
	LeastThrow layout.Length // nearer ground stays dry and the rest gets its water
	Profile    Profile       // of a fixed-arc head; zero: a cone
	View       View          // nil: nothing in the way
}

// Validate says what makes a sprinkler impossible to simulate, if anything.
func (s Sprinkler) Validate() error {
	h := s.Head
	fault := func(format string, args ...any) error {
		return fmt.Errorf("head %q at (%d, %d) mm: %w", h.Label, h.At.X, h.At.Y, fmt.Errorf(format, args...))
	}
	switch {
	case h.Kind != layout.FixedArc && h.Kind != layout.VariableThrow:
		return fault("kind %q is unknown", h.Kind)
	case !(h.Throw.Millimetres() > 0) || h.Throw.Millimetres() > geom.MaxCoord:
		return fault("throw of %v m is not positive or too far", h.Throw.Metres())
	case !(s.LeastThrow >= 0 && s.LeastThrow < h.Throw):
		return fault("least throw of %v m is not between 0 and the throw", s.LeastThrow.Metres())
	case !(h.Flow >= 0) || math.IsInf(h.Flow.LPM(), 1):
		return fault("flow of %v L/min is negative or not finite", h.Flow.LPM())
	case h.Kind == layout.VariableThrow:
		return nil
	case !(h.ArcSweep > 0 && h.ArcSweep <= wholeTurn):
		return fault("sweep of %v° is not in (0, 360]", h.ArcSweep)
	case math.IsNaN(h.ArcStart) || math.IsInf(h.ArcStart, 0):
		return fault("start bearing %v° is not finite", h.ArcStart)
	}
	if err := s.Profile.Validate(); err != nil {
		return fault("%w", err)
	}
	if s.radial().volume(s.innerShare()) <= 0 {
		return fault("profile %q has no water beyond the least throw", s.Profile.Name)
	}
	return nil
}

// radial is the profile the sprinkler waters by.
func (s Sprinkler) radial() radial {
	if s.Head.Kind == layout.VariableThrow {
		return Even().radial()
	}
	return s.Profile.radial()
}

// arc is the arc the sprinkler can turn to.
func (s Sprinkler) arc() arc {
	if s.Head.Kind == layout.VariableThrow {
		return newArc(0, wholeTurn)
	}
	return newArc(s.Head.ArcStart, s.Head.ArcSweep)
}

// innerShare is the least throw as a share of the throw.
func (s Sprinkler) innerShare() float64 { return s.LeastThrow.Metres() / s.Head.Throw.Metres() }

// perRelative returns the rate, in mm/h, that a relative rate of 1 stands for.
// For a fixed-arc head it is the flow over the integral of the profile on the
// whole sector; for a variable-throw head, the flow over the area it reaches.
func (s Sprinkler) perRelative(reachedM2 float64) float64 {
	if s.Head.Kind == layout.VariableThrow {
		if reachedM2 == 0 {
			return 0
		}
		return s.Head.Flow.LPM() * minutesPerHour / reachedM2
	}
	throw := s.Head.Throw.Metres()
	volume := s.Head.ArcSweep * radiansPerDegree * throw * throw * s.radial().volume(s.innerShare())
	return s.Head.Flow.LPM() * minutesPerHour / volume
}

// Degrees and radians.
const (
	halfTurn, wholeTurn = 180, 360
	radiansPerDegree    = math.Pi / halfTurn
)

// arc is a range of directions. Both its sides belong to it.
type arc struct {
	start, end geom.Vec // unit vectors; the arc runs clockwise
	sweep      float64  // degrees
}

func newArc(startDeg, sweepDeg float64) arc {
	return arc{start: bearing(startDeg), end: bearing(startDeg + sweepDeg), sweep: sweepDeg}
}

// bearing returns the unit vector of a bearing clockwise from north.
func bearing(deg float64) geom.Vec {
	sin, cos := math.Sincos(math.Mod(deg, wholeTurn) * radiansPerDegree)
	return geom.Vec{X: sin, Y: cos}
}

// onSideMM is how far off a side of the arc a point still counts as on it, so
// that rounding of the side's direction does not dry a row of cells.
const onSideMM = 1e-6

// has reports whether the arc holds the direction of d, in millimetres; the
// zero vector is held.
func (a arc) has(d geom.Vec) bool {
	if a.sweep >= wholeTurn {
		return true
	}
	afterStart, beforeEnd := a.start.Cross(d) <= onSideMM, a.end.Cross(d) >= -onSideMM
	if a.sweep <= halfTurn {
		return afterStart && beforeEnd
	}
	return afterStart || beforeEnd
}
