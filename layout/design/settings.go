// Package design runs the stages of a lot's design in order. It is the only
// package that knows them all.
package design

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/hydraulic"
)

// Settings steer a run. The zero value makes a sensible design with the generic
// variable-throw head, but the supply must be known from here or from the lot.
type Settings struct {
	Supply layout.Supply    // general measurements; a lot's own displace them
	Head   layout.HeadModel // zero: the generic variable-throw head

	Family            *layout.FixedArcFamily  // design with fixed-arc heads of these nozzles instead
	Choice            []layout.FixedArcFamily // try the head, each of these and their mixes, and keep the best
	FixedArcOnly      bool                    // of the choice, leave the variable-throw head out
	Families          []layout.FixedArcFamily // that a lot may ask for by name; nil: the generic ones
	SprayNarrowStrips bool                    // water strips between paving that a rule would leave dry

	CoverageTarget float64 // τ, share of the irrigated area to reach; 0 means [DefaultCoverageTarget]

	LeastStripWidth   layout.Length   // narrower lawn is left out; 0 means [DefaultLeastStripWidth], negative none
	EdgeClearance     layout.Length   // heads from paving and the lot line; 0 means [DefaultEdgeClearance], negative none
	BuildingClearance layout.Length   // heads from buildings and walls; 0 means [DefaultBuildingClearance], negative none
	IrrigateBeds      bool            // count planting beds as irrigated
	CrossPaving       layout.Length   // how much paving a throw may cross in all
	Margin            float64         // share of the throw that may be lost with the target still met
	PressureMargin    layout.Pressure // what the pressure may fall by with the target still met

	PavingFactor    float64       // cost of a metre of trench under paving in metres of soil; 0 means [DefaultPavingFactor]
	PavingCrossing  layout.Length // fixed cost of one crossing in metres of soil; 0 means [DefaultPavingCrossing], negative none
	RootZoneFactor  float64       // cost of a metre through tree roots; 0 means [DefaultRootZoneFactor]
	TrenchClearance layout.Length // trench from buildings; 0 means [DefaultTrenchClearance], negative none
	TrenchDepth     layout.Length // 0 means [DefaultTrenchDepth]
	PavingDepth     layout.Length // under paving, if that is deeper; 0: the same

	ServiceLine     ServiceLine            // zero: the supply was measured behind it
	Meter           string                 // its size, e.g. "3/4 in"; empty: the supply was measured behind it
	Backflow        *hydraulic.LossCurve   // of the backflow assembly; nil: not known
	SupplyAllowance *layout.Pressure       // held back besides; nil means [DefaultSupplyAllowance] without a Backflow and none with one
	DesignFlowShare float64                // share of the measured flow to use; 0 means [DefaultDesignFlowShare]
	Pipe            []hydraulic.PricedSize // sizes to choose from, narrow to wide; nil means [DefaultPipe]
	PipeLossShare   float64                // share of the pressure at the tap that pipe may lose to be cheaper, if coverage allows; 0 means [DefaultPipeLossShare]
	VelocityLimit   hydraulic.Velocity     // 0 means [hydraulic.DefaultVelocityLimit]

	// Start holds heads to try before any choice is made, such as those of a
	// design for less pressure or more coverage; pinned ones left out.
	Start [][]geom.Point

	Effort Effort
}

// Effort limits the work on one lot, counted in work and never in seconds.
// Zero values mean the defaults of the stages.
type Effort struct {
	Moves       int // of the set-cover search
	CoverPivots int // of its bound; negative means no bound
	CoverNodes  int // of its search tree; negative means none
	Rounds      int // of looking where the lawn stays dry
	SectorMoves int // of the search for fixed-arc heads
	PolishSteps int // exact evaluations per head
	Boxes       int // of the continuous proof; negative means no such proof
	Pivots      int // of the continuous proof
	Doubts      int // of proving once more, with weight where too few heads leave the lawn dry
}

// ThoroughEffort is for proving as much as can be proven: seconds for most lots
// and up to about a minute for a lot of 2000 m².
func ThoroughEffort() Effort {
	return Effort{Moves: 16_000, PolishSteps: 400, Boxes: 400_000, Pivots: 30_000, Doubts: 6}
}

// QuickEffort is for comparing many scenarios: on 69 surveyed lots 2 % more
// heads than the default effort, in a fifth of the time; no continuous proof.
func QuickEffort() Effort {
	return Effort{Moves: 500, CoverPivots: 600, CoverNodes: -1, Rounds: 4, Boxes: -1}
}

// Defaults of the design of record.
const (
	DefaultCoverageTarget                  = 0.97
	DefaultLeastStripWidth   layout.Length = 0.6
	DefaultEdgeClearance     layout.Length = 0.10 // 4 in
	DefaultBuildingClearance layout.Length = 0.30 // 12 in
	DefaultPavingFactor                    = 8.0
	DefaultPavingCrossing    layout.Length = 4 // setting up a saw or a bore
	DefaultRootZoneFactor                  = 3.0
	DefaultTrenchClearance   layout.Length = 0.30
	DefaultTrenchDepth       layout.Length = 10 * layout.MetresPerInch
	DefaultDesignFlowShare                 = 0.75
)

// ServiceLine is the pipe between the place where the supply was measured and
// the tap.
type ServiceLine struct {
	Material string // one of [hydraulic.SizesOf]
	Size     string // nominal
	Length   layout.Length
}

// DefaultPipeLossShare is a quarter of what keeps the flows of a lateral's heads
// within 10 % of their mean (a fifth of the pressure: extension guidance after
// Jarrett 2000 and Pair 1983): throw is worth more than pipe. A judgement.
const DefaultPipeLossShare = 0.05

// DefaultLeastPipe is the narrowest pipe laid unless asked otherwise. Common
// practice, no source.
const DefaultLeastPipe = "3/4 in"

// MostMargin is the largest share of the throw that may be held back.
const MostMargin = 0.5

// DefaultSupplyAllowance stands for a backflow assembly where none is named:
// a reduced pressure assembly takes as much as water begins to flow, the other
// kinds less. A judgement, no source.
const DefaultSupplyAllowance = 10 * layout.Pressure(layout.KPaPerPSI)

// filled returns s with every zero value replaced by its default, and every
// negative length that means "none" by zero.
func (s Settings) filled() Settings {
	if len(s.Head.Rows) == 0 {
		s.Head = layout.GenericVariableThrow()
	}
	s.CoverageTarget = or(s.CoverageTarget, DefaultCoverageTarget)
	s.LeastStripWidth = length(s.LeastStripWidth, DefaultLeastStripWidth)
	s.EdgeClearance = length(s.EdgeClearance, DefaultEdgeClearance)
	s.BuildingClearance = length(s.BuildingClearance, DefaultBuildingClearance)
	s.PavingFactor = or(s.PavingFactor, DefaultPavingFactor)
	s.PavingCrossing = length(s.PavingCrossing, DefaultPavingCrossing)
	s.RootZoneFactor = or(s.RootZoneFactor, DefaultRootZoneFactor)
	s.TrenchClearance = length(s.TrenchClearance, DefaultTrenchClearance)
	s.TrenchDepth = length(s.TrenchDepth, DefaultTrenchDepth)
	s.DesignFlowShare = or(s.DesignFlowShare, DefaultDesignFlowShare)
	if s.SupplyAllowance == nil {
		allowance := DefaultSupplyAllowance
		if s.Backflow != nil {
			allowance = 0
		}
		s.SupplyAllowance = &allowance
	}
	s.PipeLossShare = or(s.PipeLossShare, DefaultPipeLossShare)
	if len(s.Pipe) == 0 {
		s.Pipe = DefaultPipe()
	}
	return s
}

// DefaultPipe is the default price list without what is too narrow.
func DefaultPipe() []hydraulic.PricedSize {
	all := hydraulic.DefaultPrices()
	return all[slices.IndexFunc(all, func(p hydraulic.PricedSize) bool { return p.Nominal == DefaultLeastPipe }):]
}

func or(v, fallback float64) float64 {
	if v == 0 {
		return fallback
	}
	return v
}

func length(v, fallback layout.Length) layout.Length {
	if v == 0 {
		return fallback
	}
	return max(v, 0)
}

// Limits of what settings may ask for, far beyond any use, so that distances in
// millimetres and prices stay in range.
const (
	maxLength   layout.Length   = 1000
	maxFactor                   = 1000
	maxPressure layout.Pressure = 100 * layout.KPaPerBar
	maxVelocity                 = hydraulic.Velocity(100)
)

// Validate says which settings make no sense, if any.
func (s Settings) Validate() error {
	s = s.filled()
	return errors.Join(
		s.Head.Validate(),
		s.checkFamily(),
		checkSupply(s.Supply),
		check(s.CoverageTarget > 0 && s.CoverageTarget <= 1, "coverage target %v is not in (0, 1]", s.CoverageTarget),
		check(s.PavingFactor >= 1 && s.PavingFactor <= maxFactor, "paving factor %v is not in [1, %v]", s.PavingFactor, maxFactor),
		check(s.RootZoneFactor >= 1 && s.RootZoneFactor <= maxFactor, "root zone factor %v is not in [1, %v]", s.RootZoneFactor, maxFactor),
		check(s.DesignFlowShare > 0 && s.DesignFlowShare <= 1, "design flow share %v is not in (0, 1]", s.DesignFlowShare),
		checkPressure("supply allowance", s.SupplyAllowance),
		checkPressure("fall of the pressure", &s.PressureMargin),
		check(s.PipeLossShare > 0 && s.PipeLossShare < 1, "share of the pressure lost in pipe %v is not in (0, 1)", s.PipeLossShare),
		check(s.VelocityLimit >= 0 && s.VelocityLimit <= maxVelocity, "velocity limit %v is not between none and %v", s.VelocityLimit, maxVelocity),
		checkLength("service line", s.ServiceLine.Length),
		s.checkFeed(),
		checkLength("least strip width", s.LeastStripWidth),
		checkLength("clearance from paving and the lot line", s.EdgeClearance),
		checkLength("clearance from buildings", s.BuildingClearance),
		checkLength("paving to throw across", s.CrossPaving),
		checkLength("price of a paving crossing", s.PavingCrossing),
		checkLength("trench clearance", s.TrenchClearance),
		checkLength("trench depth", s.TrenchDepth),
		checkLength("trench depth under paving", s.PavingDepth),
	)
}

// checkFeed says what lies before the tap that nothing is known of, if anything.
func (s Settings) checkFeed() error {
	_, meter := hydraulic.Meter(s.Meter)
	_, line := hydraulic.SizeOf(s.ServiceLine.Material, s.ServiceLine.Size)
	var curve error
	if s.Backflow != nil {
		curve = s.Backflow.Validate()
	}
	return errors.Join(curve,
		check(meter || s.Meter == "", "nothing is known of a meter of %s", s.Meter),
		check(line || s.ServiceLine.Length == 0, "nothing is known of a service line of %s, %s", s.ServiceLine.Material, s.ServiceLine.Size))
}

// checkFamily says what is wrong with the fixed-arc heads asked for, if any.
func (s Settings) checkFamily() error {
	families := slices.Concat(s.Choice, s.Families)
	if s.Family != nil {
		families = append(families[:len(families):len(families)], *s.Family)
	}
	if len(s.Choice) == 0 && s.Family == nil {
		return nil
	}
	var all []error
	for _, f := range families {
		all = append(all, f.Validate())
	}
	return errors.Join(errors.Join(all...),
		check(s.PressureMargin == 0, "the pressure may fall by something with variable-throw heads only"),
		check(s.Margin == 0, "a share of the throw is held back for variable-throw heads only"),
		check(s.CrossPaving == 0, "fixed-arc heads throw across paving anyway, within their overspray limit"))
}

func checkLength(name string, v layout.Length) error {
	return check(v >= 0 && v <= maxLength, "%s: %v is not between none and %v", name, v, maxLength)
}

// checkPressure lets a pressure that was not measured pass.
func checkPressure(name string, v *layout.Pressure) error {
	return check(v == nil || *v >= 0 && *v <= maxPressure, "%s: %v is not between none and %v", name, v, maxPressure)
}

func checkSupply(s layout.Supply) error {
	err := errors.Join(checkPressure("static pressure", s.StaticPressure), checkPressure("head pressure", s.HeadPressure))
	if s.FlowTest != nil {
		err = errors.Join(err, checkPressure("pressure held while water ran", &s.FlowTest.Pressure),
			check(s.FlowTest.Flow >= 0 && !math.IsInf(float64(s.FlowTest.Flow), 0), "flow test: %v is no flow", s.FlowTest.Flow))
	}
	if s.Bucket != nil {
		err = errors.Join(err, check(s.Bucket.Volume >= 0 && !math.IsInf(float64(s.Bucket.Volume), 0), "bucket: %v L is no volume", float64(s.Bucket.Volume)))
	}
	return err
}

func check(ok bool, format string, args ...any) error {
	if ok {
		return nil
	}
	return fmt.Errorf(format, args...)
}
