package takeoff

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
)

// Settings say how things are built. The zero value is the default everywhere;
// shares and lengths that may be none take a negative number for that.
type Settings struct {
	Sticks       []layout.Length // lengths pipe is sold in; nil: 20 ft. 10 and 20 ft are usual (trade practice)
	Kerf         layout.Length   // lost to a saw cut; 0: 3 mm
	PipeSpare    float64         // share of pipe bought beyond the pieces; 0: 5 %
	CuttingNodes int             // effort of the cut list, see cutting.Settings

	FlexRisers    bool   // flexible risers instead of swing joints
	HeadThread    string // of heads and swing joints; "": 1/2 in
	PlasticSupply bool   // the supply pipe at the point of connection has plastic threads

	CableSpare    float64       // share of cable and wire bought beyond the way; 0: 5 %
	JointSlack    layout.Length // of cable and wire at every joint; 0: 3 ft
	ControllerRun layout.Length // from the controller to the point of connection; 0: 10 m, assumed
	SpareWires    int           // beside one a valve and the common one; 0: 1, negative: none
	ValvesPerBox  int           // 0: 4

	TrenchWidth     layout.Length // 0: 4 in
	SodWidth        layout.Length // strip lifted along the trench; 0: 12 in
	Swell           float64       // dug-up volume over volume in the ground; 0: 1.25
	PavingCutWidth  layout.Length // 0: 12 in
	PavingThickness layout.Length // 0: 4 in
	SleeveBeyond    layout.Length // sleeve beyond each edge of the paving; 0: 12 in

	// Minutes of labour on a metre of trench in each surface, from marking out to
	// tamping; those not given: soil 15, paving 60, sleeve 10.
	MinutesPerMetre map[layout.Surface]float64

	// Wire returns the gauge of single wire to a valve so far away by the wire's
	// way, such as "18 AWG"; nil: no gauge is told.
	Wire func(oneWay layout.Length) (gauge string, ok bool)

	// Bore returns the inside diameter of a pipe, for the water in the pipes; nil:
	// that line is left out.
	Bore func(material, size string) (layout.Length, bool)
}

// Defaults. Trench width and depth as in the usual walk-behind trencher; spare
// pipe 5 to 10 %, spare wire 5 % and 3 ft a joint (trade practice, no source);
// sleeves 12 in beyond the paving as in a county's specification for wire
// (Indian River County, document 9639); the others are judgements.
const (
	defaultStick                         = 20 * layout.MetresPerFoot
	defaultKerf            layout.Length = 0.003
	defaultPipeSpare                     = 0.05
	defaultThread                        = "1/2 in"
	defaultCableSpare                    = 0.05
	defaultJointSlack                    = 3 * layout.MetresPerFoot
	defaultControllerRun   layout.Length = 10
	defaultSpareWires                    = 1
	defaultValvesPerBox                  = 4
	defaultTrenchWidth                   = 4 * layout.MetresPerInch
	defaultSodWidth                      = 12 * layout.MetresPerInch
	defaultSwell                         = 1.25
	defaultPavingCutWidth                = 12 * layout.MetresPerInch
	defaultPavingThickness               = 4 * layout.MetresPerInch
	defaultSleeveBeyond                  = 12 * layout.MetresPerInch
)

var defaultMinutes = map[layout.Surface]float64{layout.SurfaceSoil: 15, layout.SurfacePaving: 60, layout.SurfaceSleeve: 10}

func (s Settings) withDefaults() (Settings, error) {
	if err := s.validate(); err != nil {
		return s, fmt.Errorf("take-off settings: %w", err)
	}
	if len(s.Sticks) == 0 {
		s.Sticks = []layout.Length{defaultStick}
	}
	if s.HeadThread == "" {
		s.HeadThread = defaultThread
	}
	orDefault(&s.Kerf, defaultKerf)
	orDefault(&s.PipeSpare, defaultPipeSpare)
	orDefault(&s.CableSpare, defaultCableSpare)
	orDefault(&s.JointSlack, defaultJointSlack)
	orDefault(&s.ControllerRun, defaultControllerRun)
	orDefault(&s.SpareWires, defaultSpareWires)
	orDefault(&s.ValvesPerBox, defaultValvesPerBox)
	orDefault(&s.TrenchWidth, defaultTrenchWidth)
	orDefault(&s.SodWidth, defaultSodWidth)
	orDefault(&s.Swell, defaultSwell)
	orDefault(&s.PavingCutWidth, defaultPavingCutWidth)
	orDefault(&s.PavingThickness, defaultPavingThickness)
	orDefault(&s.SleeveBeyond, defaultSleeveBeyond)
	minutes := make(map[layout.Surface]float64)
	for surface, v := range defaultMinutes {
		minutes[surface] = v
		if own, ok := s.MinutesPerMetre[surface]; ok {
			minutes[surface] = own
		}
	}
	s.MinutesPerMetre = minutes
	return s, nil
}

// orDefault replaces nought by the default and a negative number by nought.
func orDefault[T ~float64 | ~int](v *T, usual T) {
	switch {
	case *v == 0:
		*v = usual
	case *v < 0:
		*v = 0
	}
}

// The most that is taken for real.
const (
	mostLength = 1000.0 // m
	mostShare  = 10.0
)

func (s Settings) validate() error {
	var all []error
	check := func(name string, v, most float64) {
		if math.IsNaN(v) || v > most {
			all = append(all, fmt.Errorf("%s is %g, want at most %g", name, v, most))
		}
	}
	for i, l := range s.Sticks {
		if !(l >= 0.1 && l <= mostLength) {
			all = append(all, fmt.Errorf("stick %d is %g m, want 0.1 to %g", i+1, float64(l), mostLength))
		}
	}
	lengths := []struct {
		name string
		v    layout.Length
	}{{"kerf", s.Kerf}, {"joint slack", s.JointSlack}, {"controller run", s.ControllerRun}, {"trench width", s.TrenchWidth},
		{"sod width", s.SodWidth}, {"paving cut width", s.PavingCutWidth}, {"paving thickness", s.PavingThickness}, {"sleeve beyond", s.SleeveBeyond}}
	for _, l := range lengths {
		check(l.name, l.v.Metres(), mostLength)
	}
	check("spare pipe", s.PipeSpare, mostShare)
	check("spare cable", s.CableSpare, mostShare)
	check("swell", s.Swell, mostShare)
	for _, surface := range surfaces {
		check("minutes per metre of "+string(surface), s.MinutesPerMetre[surface], 1e6)
		if s.MinutesPerMetre[surface] < 0 {
			all = append(all, fmt.Errorf("minutes per metre of %s are negative", surface))
		}
	}
	if s.HeadThread != "" {
		if _, ok := nominal(s.HeadThread); !ok {
			all = append(all, fmt.Errorf("head thread %q is not a size such as 1/2 in", s.HeadThread))
		}
	}
	return errors.Join(all...)
}

var surfaces = []layout.Surface{layout.SurfaceSoil, layout.SurfacePaving, layout.SurfaceSleeve}

// sticksMM returns the stick lengths in mm, the longest first, each once.
func (s Settings) sticksMM() []int64 {
	var out []int64
	for _, l := range s.Sticks {
		out = append(out, l.Millimetres())
	}
	slices.Sort(out)
	slices.Reverse(out)
	return slices.Compact(out)
}
