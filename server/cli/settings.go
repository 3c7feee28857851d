package cli

import (
	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/server/rpc"
)

// supplyFlags say what is known of the water, for every lot whose own
// properties do not.
type supplyFlags struct {
	StaticPressure *layout.Pressure   `placeholder:"60psi" help:"Pressure with all taps shut. Needs --flow-test or --bucket beside it." group:"Water:"`
	FlowTest       *layout.FlowTest   `placeholder:"6gpm@45psi" help:"A flow, and the pressure that was held while it ran." xor:"flow" group:"Water:"`
	Bucket         *layout.BucketTest `placeholder:"5gal/45s" help:"A container and the time it took to fill, tap fully open." xor:"flow" group:"Water:"`
}

// supply checks that what was given belongs together.
func (f supplyFlags) supply() (layout.Supply, error) {
	s := layout.Supply{StaticPressure: f.StaticPressure, FlowTest: f.FlowTest, Bucket: f.Bucket}
	tested := s.FlowTest != nil || s.Bucket != nil
	switch {
	case tested && s.StaticPressure == nil:
		return s, usagef("--flow-test and --bucket need --static-pressure beside them")
	case s.StaticPressure != nil && !tested:
		return s, usagef("--static-pressure needs --flow-test or --bucket beside it")
	case s.FlowTest != nil && s.FlowTest.Pressure >= *s.StaticPressure:
		return s, usagef("--flow-test: the pressure held, %v, must be below --static-pressure, %v", s.FlowTest.Pressure, *s.StaticPressure)
	}
	return s, nil
}

// waterFlags say what is known of the water: the pressure at the heads, or a
// supply.
type waterFlags struct {
	HeadPressure *layout.Pressure `placeholder:"55psi" help:"Pressure at every head, as a gauge at the nozzle reads; no losses are taken off." group:"Water:"`
	supplyFlags
}

// water checks that what was given belongs together.
func (f waterFlags) water() (layout.Supply, error) {
	s, err := f.supply()
	if err != nil || f.HeadPressure == nil {
		return s, err
	}
	if s != (layout.Supply{}) {
		return s, usagef("--head-pressure bypasses the supply: leave out --static-pressure, --flow-test and --bucket")
	}
	return atHeads(*f.HeadPressure), nil
}

// steering is what steers a design, from flags or from a request: nil asks for
// the default, zero for none.
type steering struct {
	Coverage          *float64       `type:"share" placeholder:"0.97" help:"Share of the irrigated area to reach." group:"Design:"`
	IrrigateBeds      bool           `help:"Count planting beds as irrigated." group:"Design:"`
	CrossPaving       *layout.Length `placeholder:"0m" help:"Paving a throw may cross in all; what is wetted there counts as overspray." group:"Design:"`
	Margin            *float64       `type:"share" placeholder:"0.05" help:"Share of the throw that may be lost, to wind or pressure, with the coverage still met." group:"Design:"`
	LeastStrip        *layout.Length `placeholder:"0.6m" help:"Lawn narrower than this is left out; 0m keeps all." group:"Design:"`
	EdgeClearance     *layout.Length `placeholder:"4in" help:"Heads from paving and the lot line." group:"Design:"`
	BuildingClearance *layout.Length `placeholder:"12in" help:"Heads from buildings and walls." group:"Design:"`

	PavingFactor    *float64         `type:"factor" placeholder:"8" help:"A metre of trench under paving costs as much as this many in soil." group:"Trench:"`
	PavingCrossing  *layout.Length   `placeholder:"4m" help:"Fixed charge of one crossing, in trench through soil." group:"Trench:"`
	RootZoneFactor  *float64         `type:"factor" placeholder:"3" help:"The same as --paving-factor, through tree roots." group:"Trench:"`
	TrenchClearance *layout.Length   `placeholder:"0.3m" help:"Trench from buildings." group:"Trench:"`
	TrenchDepth     *layout.Length   `placeholder:"10in" help:"Depth of the laterals." group:"Trench:"`
	SupplyAllowance *layout.Pressure `placeholder:"10psi" help:"Held back for what is not known: 10psi where no --backflow is named, else nothing." group:"Water:"`
	DesignFlowShare *float64         `type:"share" placeholder:"0.75" help:"Share of the measured flow to use." group:"Water:"`
}

// settings are those of the design, still without supply and head.
func (s steering) settings() design.Settings {
	return design.Settings{
		CoverageTarget: orZero(s.Coverage),
		IrrigateBeds:   s.IrrigateBeds,
		Margin:         orZero(s.Margin),

		LeastStripWidth:   orNone(s.LeastStrip),
		CrossPaving:       orZero(s.CrossPaving),
		EdgeClearance:     orNone(s.EdgeClearance),
		BuildingClearance: orNone(s.BuildingClearance),

		PavingFactor:    orZero(s.PavingFactor),
		PavingCrossing:  orNone(s.PavingCrossing),
		RootZoneFactor:  orZero(s.RootZoneFactor),
		TrenchClearance: orNone(s.TrenchClearance),
		TrenchDepth:     orNone(s.TrenchDepth),
		SupplyAllowance: s.SupplyAllowance,
		DesignFlowShare: orZero(s.DesignFlowShare),
	}
}

// orNone is how [design.Settings] takes a length: zero asks for the default, so
// a length given as zero becomes negative, which means none.
func orNone(l *layout.Length) layout.Length {
	if l != nil && *l == 0 {
		return -1
	}
	return orZero(l)
}

func orZero[T ~float64](v *T) T {
	if v == nil {
		return 0
	}
	return *v
}

// designFlags steer the design itself.
type designFlags struct {
	steering
	plumbingFlags
	Head              string          `enum:"variable,spray,multi-stream,rotor,mixed,auto" default:"variable" help:"Kind of head: variable-throw, one of the built-in fixed-arc families, the family or the mix of families by lawn area (mixed), or any of these (auto), that reaches its targets with the fewest heads on each lot." group:"Design:"`
	PressureMargin    layout.Pressure `placeholder:"5psi" help:"What the pressure may fall by with the coverage still met." group:"Design:"`
	SprayNarrowStrips bool            `help:"Let sprays water strips narrower than 48 in between paving." group:"Design:"`
	Effort            string          `enum:",quick,default,thorough" default:"" placeholder:"default" help:"Work a lot, counted in work and not in seconds: quick (no continuous proof), default, or thorough (up to a minute or so on a large lot). Default: default; compare takes quick." group:"Design:"`
	Prove             bool            `help:"The same as --effort thorough: prove that fewer heads cannot do anywhere." group:"Design:"`
	FrostDepth        *layout.Length  `placeholder:"24in" help:"Depth of frost, where pipe is not blown out before winter: trenches go 2 in deeper than that, if that is deeper than --trench-depth." group:"Trench:"`
	PavingDepth       layout.Length   `placeholder:"18in" help:"Depth of trenches under paving, if that is deeper." group:"Trench:"`
	HeadTable         string          `placeholder:"FILE" help:"Your own head: CSV or JSON of pressure, throw and flow, units in the names." group:"Design:"`
}

// settings are those of the design, still without supply; faults are of usage.
func (f designFlags) settings() (design.Settings, error) {
	s := f.steering.settings()
	if s.Effort = effortNamed(f.Effort); f.Prove {
		s.Effort = design.ThoroughEffort()
	}
	s.PavingDepth = f.PavingDepth
	s.TrenchDepth = belowFrostOf(s.TrenchDepth, f.FrostDepth)
	if err := f.plumbingFlags.apply(&s); err != nil {
		return s, err
	}
	s.SprayNarrowStrips, s.PressureMargin = f.SprayNarrowStrips, f.PressureMargin
	if err := flagFault(fixedArc(&s, f.Head, f.HeadTable != "")); err != nil {
		return s, err
	}
	if f.HeadTable != "" {
		var err error
		if s.Head, err = readHeadTable(f.HeadTable); err != nil {
			return s, usageError{err}
		}
	}
	if err := s.Validate(); err != nil {
		return s, usageError{err}
	}
	return s, nil
}

// effortNamed is what a word for the work stands for.
func effortNamed(word string) design.Effort {
	switch word {
	case "thorough":
		return design.ThoroughEffort()
	case "quick":
		return design.QuickEffort()
	}
	return design.Effort{}
}

// belowFrost is how much deeper than frost pipe that holds water lies: a
// judgement; what the local code asks for goes before it.
const belowFrost = 2 * layout.MetresPerInch * layout.Length(1)

// belowFrostOf is the depth of trenches where frost is known to go so deep.
func belowFrostOf(depth layout.Length, frost *layout.Length) layout.Length {
	if frost == nil {
		return depth
	}
	return max(depth, design.DefaultTrenchDepth, *frost+belowFrost)
}

// fixedArc asks for the built-in fixed-arc families by the words of --head; faults
// are a [*rpc.SettingFault].
func fixedArc(s *design.Settings, word string, ownTable bool) error {
	family := map[string]func() layout.FixedArcFamily{
		"spray": layout.GenericSpray, "multi-stream": layout.GenericMultiStream, "rotor": layout.GenericRotor}[word]
	switch {
	case word == "auto":
		s.Choice = layout.GenericFixedArc()
	case word == "mixed":
		s.Choice, s.FixedArcOnly = layout.GenericFixedArc(), true
	case family == nil:
		return nil
	case ownTable:
		return settingFault("head_table", "describes a variable-throw head: leave out the head kind %s", word)
	default:
		chosen := family()
		s.Family = &chosen
	}
	return nil
}

// requestSettings are the settings of a request to the service; faults are a
// [*rpc.SettingFault], or of several settings together.
func requestSettings(r rpc.Settings) (design.Settings, error) {
	s := steering{
		Coverage: r.CoverageTarget, Margin: r.Margin, IrrigateBeds: r.IrrigateBeds, CrossPaving: r.CrossPaving,
		LeastStrip: r.LeastStrip, EdgeClearance: r.EdgeClearance, BuildingClearance: r.BuildingClearance,
		PavingFactor: r.PavingFactor, PavingCrossing: r.PavingCrossing, RootZoneFactor: r.RootZoneFactor,
		TrenchClearance: r.TrenchClearance, TrenchDepth: r.TrenchDepth,
		SupplyAllowance: r.SupplyAllowance, DesignFlowShare: r.DesignFlowShare,
	}.settings()
	s.Supply = r.Supply
	s.Effort = effortNamed(r.Effort)
	s.PavingDepth = orZero(r.PavingDepth)
	s.TrenchDepth = belowFrostOf(s.TrenchDepth, r.FrostDepth)
	for _, d := range r.Before {
		s.Start = append(s.Start, headPlaces(d))
	}
	s.SprayNarrowStrips, s.PressureMargin = r.SprayNarrowStrips, orZero(r.PressureMargin)
	if r.Head != nil {
		s.Head = *r.Head
	}
	p, err := requestPlumbing(r)
	if err != nil {
		return s, err
	}
	if err := p.apply(&s); err != nil {
		return s, err
	}
	if err := fixedArc(&s, r.HeadKind, r.Head != nil); err != nil {
		return s, err
	}
	return s, s.Validate()
}

// checkRequest says what is wrong with the settings of a request.
func checkRequest(r rpc.Settings) error {
	_, err := requestSettings(r)
	return err
}
