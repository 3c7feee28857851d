package hydraulic

import (
	"math"

	"lotwright/layout"
)

// Wire is a copper conductor.
type Wire struct {
	AWG      int     // American wire gauge: the higher the thinner
	PerMetre float64 // resistance at 20 °C, Ω/m
}

// feetPerThousand turns Ω per 1000 ft into Ω/m.
const feetPerThousand = 1000 * layout.MetresPerFoot

// CopperWires returns the gauges used for 24 V valves, thin to thick, with the
// published resistance of bare copper at 20 °C: 6.385, 4.016, 2.525 and 1.588 Ω
// per 1000 ft for 18, 16, 14 and 12 AWG.
func CopperWires() []Wire {
	return []Wire{{18, 6.385 / feetPerThousand}, {16, 4.016 / feetPerThousand}, {14, 2.525 / feetPerThousand}, {12, 1.588 / feetPerThousand}}
}

// Diameter of the conductor: 0.005 in · 92^((36−AWG)/39), the definition of the
// gauge.
func (w Wire) Diameter() layout.Length {
	return layout.Length(0.005 * math.Pow(92, float64(36-w.AWG)/39) * layout.MetresPerInch)
}

// Defaults of a 24 V valve. Common practice, no source.
const (
	DefaultValveAmperes = 0.35
	DefaultVoltageDrop  = 4.0
)

// Circuit is what feeds a valve: there and back.
type Circuit struct {
	OneWay  layout.Length
	Amperes float64 // 0 means [DefaultValveAmperes]
}

func (c Circuit) amperes() float64 {
	if c.Amperes == 0 {
		return DefaultValveAmperes
	}
	return c.Amperes
}

// Drop returns the volts lost on the wire, there and back.
func (w Wire) Drop(c Circuit) float64 { return 2 * c.OneWay.Metres() * c.amperes() * w.PerMetre }

// Reach returns the greatest one-way length with at most so many volts lost.
func (w Wire) Reach(volts, amperes float64) layout.Length {
	return layout.Length(volts / (2 * amperes * w.PerMetre))
}

// ThinnestWire returns the first of the wires, thin to thick, that loses at most
// so many volts.
func ThinnestWire(wires []Wire, c Circuit, volts float64) (Wire, bool) {
	for _, w := range wires {
		if w.Drop(c) <= volts {
			return w, true
		}
	}
	return Wire{}, false
}
