package schedule

import (
	"errors"
	"fmt"

	"lotwright/layout"
)

// Plant factors, shares of ET0 (the figures of a published water-budget worksheet).
const (
	PlantHigh     = 0.8 // lawn of cool-season grass
	PlantModerate = 0.5
	PlantLow      = 0.2
)

// Defaults of a zone.
const (
	DefaultRootDepth    = layout.Length(6 * layout.MetresPerInch) // least for a healthy lawn: Colorado Water Conservation Board document 104566
	DefaultDULowQuarter = 0.65                                    // the least a rotor design is accepted with: a judgement
	DefaultDepletion    = 0.5                                     // of the available water: common practice
)

// LandscapeCoefficient is the product of species, density and microclimate
// factors, to be used as a plant factor.
func LandscapeCoefficient(species, density, microclimate float64) float64 {
	return species * density * microclimate
}

// Zone is what runs at once. Zero values of the settings take the defaults.
type Zone struct {
	Label  string
	Flow   layout.Flow // of all its heads
	AreaM2 float64     // wetted, counted once; a zone of next to none is never run

	DULowQuarter  float64 // 0 to 1; 0 for [DefaultDULowQuarter]
	RunMultiplier float64 // 1 and more; overrides what DULowQuarter gives
	PlantFactor   float64 // 0 for [PlantHigh]
	RootDepth     layout.Length
	Soil          Soil // the zero value is [DefaultSoil]
	SlopePct      float64
}

// HeadZone is the zone of a variable-throw head, which runs alone.
func HeadZone(h layout.Head) Zone {
	return Zone{Label: h.Label, Flow: h.Flow, AreaM2: h.WettedArea}
}

// GroupZone is the zone of fixed-arc heads that run together; wettedM2 is the
// area of the union of what they wet, since their throws overlap on purpose.
func GroupZone(label string, heads []layout.Head, wettedM2 float64) Zone {
	z := Zone{Label: label, AreaM2: wettedM2}
	for _, h := range heads {
		z.Flow += h.Flow
	}
	return z
}

// RateMMPerH is the zone's precipitation rate: flow over area.
func (z Zone) RateMMPerH() float64 { return z.Flow.LPM() * minutesPerHour / z.AreaM2 }

// idleBelowM2 is the wetted area below which a zone never runs, such as that of
// a head that stood in the way of nothing but had to be kept: a judgement.
const idleBelowM2 = 0.1

func (z Zone) idle() bool { return z.AreaM2 < idleBelowM2 }

// rateIfRun is the rate of a zone that runs; for an idle one, one that is legal.
func (z Zone) rateIfRun() float64 {
	if z.idle() {
		return 1
	}
	return z.RateMMPerH()
}

// MultiplierOfDU is the run-time multiplier for a low-quarter uniformity,
// 1/(0.4 + 0.6·DU): the practice of auditors, from memory. It stands for the
// low half's uniformity and misses it by up to 0.05; a measured multiplier
// goes into Zone.RunMultiplier.
func MultiplierOfDU(duLowQuarter float64) float64 { return 1 / (0.4 + 0.6*duLowQuarter) }

// Multiplier is the zone's run-time multiplier.
func (z Zone) Multiplier() float64 {
	if z.RunMultiplier > 0 {
		return z.RunMultiplier
	}
	return MultiplierOfDU(z.DULowQuarter)
}

// RunMinutes is how long a zone runs to lay down a net depth:
// 60·depth/rate·multiplier.
func RunMinutes(net Depth, rateMMPerH, multiplier float64) float64 {
	return minutesPerHour * net.MM() / rateMMPerH * multiplier
}

// IntervalDays is the longest whole number of days between waterings: readily
// available water over daily use, at least 1.
func IntervalDays(readilyAvailable, dailyUse Depth) int {
	const week = 7 // the program repeats weekly, so a longer interval is of no use
	if dailyUse <= 0 {
		return week
	}
	return int(min(week, max(1, readilyAvailable/dailyUse)))
}

// withDefaults fills in what was left zero.
func (z Zone) withDefaults() Zone {
	z.DULowQuarter = orDefault(z.DULowQuarter, DefaultDULowQuarter)
	z.PlantFactor = orDefault(z.PlantFactor, PlantHigh)
	z.RootDepth = layout.Length(orDefault(z.RootDepth.Metres(), DefaultRootDepth.Metres()))
	if z.Soil == (Soil{}) {
		z.Soil, _ = SoilNamed(DefaultSoil) // always known
	}
	return z
}

// validate names the first figure out of range; limits are judgements, far
// beyond use.
func (z Zone) validate() error {
	if z.Label == "" {
		return errors.New("a zone has no label")
	}
	for _, check := range []struct {
		name      string
		value     float64
		low, high float64
	}{
		{"area (m²)", z.AreaM2, 0, 1e6},
		{"flow (L/min)", z.Flow.LPM(), 0.001, 1e5},
		{"precipitation rate (mm/h)", z.rateIfRun(), 0.1, 1e7},
		{"DU of the low quarter", z.DULowQuarter, 0.05, 1},
		{"run-time multiplier", orDefault(z.RunMultiplier, 1), 1, 10},
		{"plant factor", z.PlantFactor, 0.01, 2},
		{"root depth (m)", z.RootDepth.Metres(), 0.02, 5},
		{"slope (%)", z.SlopePct, 0, 200},
	} {
		if !(check.value >= check.low && check.value <= check.high) {
			return fmt.Errorf("zone %q: %s is %v; it must lie between %v and %v", z.Label, check.name, check.value, check.low, check.high)
		}
	}
	return z.Soil.validate()
}
