package layout

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Exact and conventional conversion factors.
const (
	// MetresPerFoot is the international foot, exact by definition.
	MetresPerFoot = 0.3048
	// MetresPerInch is the international inch, exact by definition.
	MetresPerInch = 0.0254
	// KPaPerPSI is one pound-force per square inch: 0.45359237 kg · 9.80665
	// m/s² over (0.0254 m)², in kPa.
	KPaPerPSI = 6.894757293168361
	// KPaPerBar is exact by definition.
	KPaPerBar = 100
	// LitresPerGallon is the US liquid gallon, 231 in³, exact.
	LitresPerGallon = 3.785411784
	// KPaPerMetreHead is the pressure under 1 m of water at 4 °C
	// (1000 kg/m³ · 9.80665 m/s²). It gives 0.4335 psi per foot; the plumbing
	// codes print 0.433.
	KPaPerMetreHead = 9.80665
)

// Pressure is a gauge pressure in kilopascals.
type Pressure float64

// PSI returns the pressure of v pounds per square inch.
func PSI(v float64) Pressure { return Pressure(v * KPaPerPSI) }

// KPa returns p in kilopascals.
func (p Pressure) KPa() float64 { return float64(p) }

// PSI returns p in pounds per square inch.
func (p Pressure) PSI() float64 { return float64(p) / KPaPerPSI }

// String writes p in both systems, for messages.
func (p Pressure) String() string { return fmt.Sprintf("%.1f psi (%.0f kPa)", p.PSI(), p.KPa()) }

// Flow is a volume flow in litres per minute.
type Flow float64

// GPM returns the flow of v US gallons per minute.
func GPM(v float64) Flow { return Flow(v * LitresPerGallon) }

// LPM returns f in litres per minute.
func (f Flow) LPM() float64 { return float64(f) }

// GPM returns f in US gallons per minute.
func (f Flow) GPM() float64 { return float64(f) / LitresPerGallon }

// String writes f in both systems, for messages.
func (f Flow) String() string { return fmt.Sprintf("%.2f gpm (%.1f L/min)", f.GPM(), f.LPM()) }

// Length is a length in metres.
type Length float64

// Feet returns the length of v feet.
func Feet(v float64) Length { return Length(v * MetresPerFoot) }

// Metres returns l in metres.
func (l Length) Metres() float64 { return float64(l) }

// Feet returns l in feet.
func (l Length) Feet() float64 { return float64(l) / MetresPerFoot }

// Millimetres returns l in whole millimetres, rounded down, as the plane's
// predicates take it. A billionth of a metre is forgiven, so that 30 ft is
// 9144 mm and not 9143.
func (l Length) Millimetres() int64 { return int64(math.Floor(float64(l)*1000 + 1e-6)) }

// String writes l in both systems, for messages.
func (l Length) String() string { return fmt.Sprintf("%.1f ft (%.2f m)", l.Feet(), l.Metres()) }

// Volume is a volume in litres.
type Volume float64

// Gallons returns the volume of v US gallons.
func Gallons(v float64) Volume { return Volume(v * LitresPerGallon) }

// Litres returns v in litres.
func (v Volume) Litres() float64 { return float64(v) }

// Gallons returns v in US gallons.
func (v Volume) Gallons() float64 { return float64(v) / LitresPerGallon }

type unit struct {
	name   string
	factor float64
}

// ParsePressure reads a pressure with its unit: 55psi, 380kPa, 3.8bar.
func ParsePressure(s string) (Pressure, error) {
	v, err := parseQuantity(s, "a pressure such as 55psi, 380kPa or 3.8bar",
		unit{"psi", KPaPerPSI}, unit{"kpa", 1}, unit{"bar", KPaPerBar})
	return Pressure(v), err
}

// ParseFlow reads a flow with its unit: 6gpm, 25lpm, 25L/min.
func ParseFlow(s string) (Flow, error) {
	v, err := parseQuantity(s, "a flow such as 6gpm or 25lpm",
		unit{"gpm", LitresPerGallon}, unit{"lpm", 1}, unit{"l/min", 1})
	return Flow(v), err
}

// ParseLength reads a length with its unit: 30ft, 9m, 24in, 500mm, 40cm.
func ParseLength(s string) (Length, error) {
	v, err := parseQuantity(s, "a length such as 30ft, 9m or 24in",
		unit{"ft", MetresPerFoot}, unit{"mm", 0.001}, unit{"cm", 0.01}, unit{"m", 1}, unit{"in", MetresPerInch})
	return Length(v), err
}

// ParseVolume reads a volume with its unit: 5gal, 19L.
func ParseVolume(s string) (Volume, error) {
	v, err := parseQuantity(s, "a volume such as 5gal or 19L",
		unit{"gal", LitresPerGallon}, unit{"l", 1})
	return Volume(v), err
}

// parseQuantity reads a finite, non-negative decimal number followed by one of
// the units, in any letter case, with or without a blank between them.
func parseQuantity(s, want string, units ...unit) (float64, error) {
	text := strings.ToLower(strings.TrimSpace(s))
	for _, u := range units {
		number, ok := strings.CutSuffix(text, u.name)
		if !ok {
			continue
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil {
			continue
		}
		if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
			return 0, fmt.Errorf("%q is not %s: the number must be finite and not negative", s, want)
		}
		return v * u.factor, nil
	}
	return 0, fmt.Errorf("%q is not %s", s, want)
}
