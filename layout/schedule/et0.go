package schedule

import (
	"fmt"
	"math"
)

// Constants of FAO-56.
const (
	solarConstantMJ   = 0.0820            // MJ m⁻² min⁻¹, under equation 21
	stefanBoltzmannMJ = 4.903e-9          // MJ K⁻⁴ m⁻² day⁻¹, under equation 39
	kelvinOffset      = 273.16            // K, as equation 39 takes it
	albedo            = 0.23              // of the reference grass, equation 38
	evaporationPerMJ  = 0.408             // mm per MJ m⁻², equation 20
	angstromA         = 0.25              // share of Ra on an overcast day, equation 35
	angstromB         = 0.50              // what a cloudless day adds, equation 35
	psychrometerPerC  = 0.000662          // 1/°C, ventilated (Asmann) psychrometer, equation 16
	radiationInterior = 0.16              // 1/√°C, equation 50
	radiationCoast    = 0.19              // 1/√°C, equation 50
	missingWindMPS    = 2.0               // at 2 m, where none was measured, chapter 3 of FAO-56
	windHeightM       = 2.0               // standard height of wind measurements
	radPerDeg         = math.Pi / 180     // exact
	hargreavesSlope   = 0.0023            // equation 52
	hargreavesOffsetC = 17.8              // °C, equation 52
	cloudShareUnknown = 0.5               // Rs/Rso where the sun does not rise: a judgement, it multiplies almost nothing
	daylightPerRadian = 24 / math.Pi      // hours, equation 34
	dayAngle          = 2 * math.Pi / 365 // rad a day, equation 23
)

// PressureKPa is the atmospheric pressure at an elevation, equation 7.
func PressureKPa(elevationM float64) float64 {
	return 101.3 * math.Pow((293-0.0065*elevationM)/293, 5.26)
}

// PsychrometricKPaPerC is the psychrometric constant γ, equation 8.
func PsychrometricKPaPerC(pressureKPa float64) float64 { return 0.665e-3 * pressureKPa }

// SaturationKPa is the vapour pressure e° over water at a temperature, equation 11.
func SaturationKPa(tempC float64) float64 {
	return 0.6108 * math.Exp(17.27*tempC/(tempC+237.3))
}

// MeanSaturationKPa is es, the mean of e° at the extremes, equation 12.
func MeanSaturationKPa(maxC, minC float64) float64 {
	return (SaturationKPa(maxC) + SaturationKPa(minC)) / 2
}

// SlopeKPaPerC is Δ, the slope of e° at a temperature, equation 13.
func SlopeKPaPerC(tempC float64) float64 {
	return 4098 * SaturationKPa(tempC) / math.Pow(tempC+237.3, 2)
}

// VapourFromHumidityKPa is ea from the extremes of relative humidity in per
// cent, equation 17.
func VapourFromHumidityKPa(maxC, minC, humidityMaxPct, humidityMinPct float64) float64 {
	return (SaturationKPa(minC)*humidityMaxPct + SaturationKPa(maxC)*humidityMinPct) / 200
}

// VapourFromMeanHumidityKPa is ea from the mean relative humidity, equation 19.
func VapourFromMeanHumidityKPa(maxC, minC, humidityMeanPct float64) float64 {
	return humidityMeanPct / 100 * MeanSaturationKPa(maxC, minC)
}

// VapourFromPsychrometerKPa is ea from a ventilated psychrometer, equation 15.
func VapourFromPsychrometerKPa(dryC, wetC, pressureKPa float64) float64 {
	return SaturationKPa(wetC) - psychrometerPerC*pressureKPa*(dryC-wetC)
}

// WindAt2mMPS carries a wind speed measured at a height over grass to 2 m,
// equation 47.
func WindAt2mMPS(windMPS, heightM float64) float64 {
	return windMPS * 4.87 / math.Log(67.8*heightM-5.42)
}

// InverseDistance is dr, the inverse relative distance of earth and sun on a
// day of the year, equation 23.
func InverseDistance(dayOfYear int) float64 {
	return 1 + 0.033*math.Cos(dayAngle*float64(dayOfYear))
}

// DeclinationRad is δ, the sun's declination, equation 24.
func DeclinationRad(dayOfYear int) float64 {
	return 0.409 * math.Sin(dayAngle*float64(dayOfYear)-1.39)
}

// SunsetAngleRad is ωs, equation 25: 0 where the sun does not rise, π where it
// does not set.
func SunsetAngleRad(latitudeRad, declinationRad float64) float64 {
	return math.Acos(min(1, max(-1, -math.Tan(latitudeRad)*math.Tan(declinationRad))))
}

// ExtraterrestrialMJ is Ra of a day in MJ m⁻² day⁻¹, equation 21.
func ExtraterrestrialMJ(latitudeDeg float64, dayOfYear int) float64 {
	phi, delta := latitudeDeg*radPerDeg, DeclinationRad(dayOfYear)
	omega := SunsetAngleRad(phi, delta)
	path := omega*math.Sin(phi)*math.Sin(delta) + math.Cos(phi)*math.Cos(delta)*math.Sin(omega)
	return max(0, minutesPerDay/math.Pi*solarConstantMJ*InverseDistance(dayOfYear)*path)
}

// DaylightHours is N, equation 34.
func DaylightHours(latitudeDeg float64, dayOfYear int) float64 {
	return daylightPerRadian * SunsetAngleRad(latitudeDeg*radPerDeg, DeclinationRad(dayOfYear))
}

// SolarFromSunshineMJ is Rs from hours of bright sunshine, equation 35.
func SolarFromSunshineMJ(sunshineHours, daylightHours, extraterrestrialMJ float64) float64 {
	share := 0.0
	if daylightHours > 0 {
		share = min(1, sunshineHours/daylightHours)
	}
	return (angstromA + angstromB*share) * extraterrestrialMJ
}

// SolarFromTemperatureMJ is Rs from the day's range of temperature, equation
// 50, never above the clear sky's.
func SolarFromTemperatureMJ(maxC, minC, extraterrestrialMJ, clearSkyMJ float64, coastal bool) float64 {
	k := radiationInterior
	if coastal {
		k = radiationCoast
	}
	return min(clearSkyMJ, k*math.Sqrt(maxC-minC)*extraterrestrialMJ)
}

// ClearSkyMJ is Rso, equation 37.
func ClearSkyMJ(elevationM, extraterrestrialMJ float64) float64 {
	return (0.75 + 2e-5*elevationM) * extraterrestrialMJ
}

// NetShortwaveMJ is Rns, equation 38.
func NetShortwaveMJ(solarMJ float64) float64 { return (1 - albedo) * solarMJ }

// NetLongwaveMJ is Rnl of a day, equation 39.
func NetLongwaveMJ(maxC, minC, vapourKPa, solarMJ, clearSkyMJ float64) float64 {
	warmth := (math.Pow(maxC+kelvinOffset, 4) + math.Pow(minC+kelvinOffset, 4)) / 2
	return stefanBoltzmannMJ * warmth * humidityTerm(vapourKPa) * cloudTerm(solarMJ, clearSkyMJ)
}

// humidityTerm is the second factor of equation 39.
func humidityTerm(vapourKPa float64) float64 { return 0.34 - 0.14*math.Sqrt(vapourKPa) }

// cloudTerm is the third factor of equation 39; Rs/Rso is at most 1.
func cloudTerm(solarMJ, clearSkyMJ float64) float64 {
	ratio := cloudShareUnknown
	if clearSkyMJ > 0 {
		ratio = min(1, solarMJ/clearSkyMJ)
	}
	return 1.35*ratio - 0.35
}

// MonthSoilHeatMJ is G of a month in MJ m⁻² day⁻¹ from the mean temperatures of
// the months before and after, equation 43.
func MonthSoilHeatMJ(previousC, nextC float64) float64 { return 0.07 * (nextC - previousC) }

// MonthSoilHeatFromPreviousMJ is G of a month whose next is not known yet,
// equation 44.
func MonthSoilHeatFromPreviousMJ(previousC, thisC float64) float64 { return 0.14 * (thisC - previousC) }

// Hargreaves is ET0 of a day from temperatures alone, equation 52.
func Hargreaves(maxC, minC, extraterrestrialMJ float64) Depth {
	mean := (maxC + minC) / 2
	spread := math.Sqrt(max(0, maxC-minC))
	return Depth(hargreavesSlope * (mean + hargreavesOffsetC) * spread * extraterrestrialMJ * evaporationPerMJ)
}

// Reading is a measurement that may be missing. The zero value is missing.
type Reading struct {
	Value float64
	Known bool
}

// Measured returns a reading of v.
func Measured(v float64) Reading { return Reading{Value: v, Known: true} }

// Site is where weather was measured.
type Site struct {
	LatitudeDeg float64 // north positive
	ElevationM  float64
	WindHeightM float64 // of the anemometer over ground; 0 for 2 m
	Coastal     bool    // raises the estimate of radiation from temperatures
}

// Weather is that of one day, or of the mean day of a month.
type Weather struct {
	DayOfYear int // 1–366; [MidMonthDay] for a month
	MaxC      float64
	MinC      float64

	// Of the humidity readings the first known is used, in this order; without
	// any, air is taken as saturated at MinC (equation 48).
	VapourKPa       Reading
	DewPointC       Reading
	HumidityMaxPct  Reading // with HumidityMinPct
	HumidityMinPct  Reading
	HumidityMeanPct Reading

	WindMPS       Reading // at Site.WindHeightM; 2 m/s at 2 m where unknown
	SolarMJ       Reading // Rs in MJ m⁻² day⁻¹
	SunshineHours Reading

	SoilHeatMJ float64 // G in MJ m⁻² day⁻¹; 0 for a day (equation 42)
}

// ET0Method is how reference evapotranspiration was found.
type ET0Method string

// The methods.
const (
	MethodPenmanMonteith ET0Method = "penman_monteith"
	MethodHargreaves     ET0Method = "hargreaves"
	MethodGiven          ET0Method = "given" // stood in the weather file
)

// ET0 is a reference evapotranspiration with all that led to it.
type ET0 struct {
	PerDay    Depth
	Method    ET0Method
	Estimated []string // what was not measured: "humidity", "radiation", "wind"
	Terms     ET0Terms
}

// ET0Terms are the intermediate values of equation 6.
type ET0Terms struct {
	PressureKPa        float64 // P
	GammaKPaPerC       float64 // γ
	DeltaKPaPerC       float64 // Δ
	SaturationKPa      float64 // es
	VapourKPa          float64 // ea
	Wind2mMPS          float64 // u2
	ExtraterrestrialMJ float64 // Ra
	DaylightHours      float64 // N
	SolarMJ            float64 // Rs
	ClearSkyMJ         float64 // Rso
	NetShortwaveMJ     float64 // Rns
	NetLongwaveMJ      float64 // Rnl
	NetMJ              float64 // Rn
	SoilHeatMJ         float64 // G
}

// Reference chooses the method: Penman–Monteith where humidity or radiation was
// measured, estimating the rest as chapter 3 of FAO-56 says, and Hargreaves from
// temperatures alone. A negative result (dew) counts as none.
func Reference(site Site, w Weather) (ET0, error) {
	if err := w.validate(site); err != nil {
		return ET0{}, err
	}
	if !w.humidityKnown() && !w.radiationKnown() {
		ra := ExtraterrestrialMJ(site.LatitudeDeg, w.DayOfYear)
		return ET0{
			PerDay: max(0, Hargreaves(w.MaxC, w.MinC, ra)), Method: MethodHargreaves,
			Estimated: w.estimated(), Terms: ET0Terms{ExtraterrestrialMJ: ra},
		}, nil
	}
	return PenmanMonteith(site, w)
}

// PenmanMonteith is ET0 by equation 6 whatever is missing; Estimated names it.
func PenmanMonteith(site Site, w Weather) (ET0, error) {
	if err := w.validate(site); err != nil {
		return ET0{}, err
	}
	t := w.terms(site)
	return ET0{
		PerDay: max(0, t.penmanMonteith((w.MaxC+w.MinC)/2)), Method: MethodPenmanMonteith,
		Estimated: w.estimated(), Terms: t,
	}, nil
}

// penmanMonteith is equation 6.
func (t ET0Terms) penmanMonteith(meanC float64) Depth {
	return combination(900, meanC, t.NetMJ-t.SoilHeatMJ, t)
}

// combination is the common form of equations 6 and 53, with the aerodynamic
// coefficient of a day (900) or an hour (37).
func combination(aerodynamic, meanC, energyMJ float64, t ET0Terms) Depth {
	radiation := evaporationPerMJ * t.DeltaKPaPerC * energyMJ
	wind := t.GammaKPaPerC * aerodynamic / (meanC + 273) * t.Wind2mMPS * (t.SaturationKPa - t.VapourKPa)
	return Depth((radiation + wind) / (t.DeltaKPaPerC + t.GammaKPaPerC*(1+0.34*t.Wind2mMPS)))
}

// terms works out what equation 6 needs, in the order of its calculation sheet.
func (w Weather) terms(site Site) ET0Terms {
	var t ET0Terms
	t.PressureKPa = PressureKPa(site.ElevationM)
	t.GammaKPaPerC = PsychrometricKPaPerC(t.PressureKPa)
	t.DeltaKPaPerC = SlopeKPaPerC((w.MaxC + w.MinC) / 2)
	t.SaturationKPa = MeanSaturationKPa(w.MaxC, w.MinC)
	t.VapourKPa = min(t.SaturationKPa, w.vapourKPa())
	t.Wind2mMPS = w.wind2mMPS(site)
	t.ExtraterrestrialMJ = ExtraterrestrialMJ(site.LatitudeDeg, w.DayOfYear)
	t.DaylightHours = DaylightHours(site.LatitudeDeg, w.DayOfYear)
	t.ClearSkyMJ = ClearSkyMJ(site.ElevationM, t.ExtraterrestrialMJ)
	t.SolarMJ = w.solarMJ(site, t)
	t.NetShortwaveMJ = NetShortwaveMJ(t.SolarMJ)
	t.NetLongwaveMJ = NetLongwaveMJ(w.MaxC, w.MinC, t.VapourKPa, t.SolarMJ, t.ClearSkyMJ)
	t.NetMJ = t.NetShortwaveMJ - t.NetLongwaveMJ
	t.SoilHeatMJ = w.SoilHeatMJ
	return t
}

func (w Weather) vapourKPa() float64 {
	switch {
	case w.VapourKPa.Known:
		return w.VapourKPa.Value
	case w.DewPointC.Known:
		return SaturationKPa(w.DewPointC.Value) // equation 14
	case w.HumidityMaxPct.Known && w.HumidityMinPct.Known:
		return VapourFromHumidityKPa(w.MaxC, w.MinC, w.HumidityMaxPct.Value, w.HumidityMinPct.Value)
	case w.HumidityMeanPct.Known:
		return VapourFromMeanHumidityKPa(w.MaxC, w.MinC, w.HumidityMeanPct.Value)
	}
	return SaturationKPa(w.MinC) // equation 48
}

func (w Weather) wind2mMPS(site Site) float64 {
	if !w.WindMPS.Known {
		return missingWindMPS
	}
	if site.WindHeightM == 0 || site.WindHeightM == windHeightM {
		return w.WindMPS.Value
	}
	return WindAt2mMPS(w.WindMPS.Value, site.WindHeightM)
}

func (w Weather) solarMJ(site Site, t ET0Terms) float64 {
	switch {
	case w.SolarMJ.Known:
		return w.SolarMJ.Value
	case w.SunshineHours.Known:
		return SolarFromSunshineMJ(w.SunshineHours.Value, t.DaylightHours, t.ExtraterrestrialMJ)
	}
	return SolarFromTemperatureMJ(w.MaxC, w.MinC, t.ExtraterrestrialMJ, t.ClearSkyMJ, site.Coastal)
}

func (w Weather) humidityKnown() bool {
	return w.VapourKPa.Known || w.DewPointC.Known || w.HumidityMeanPct.Known ||
		w.HumidityMaxPct.Known && w.HumidityMinPct.Known
}

func (w Weather) radiationKnown() bool { return w.SolarMJ.Known || w.SunshineHours.Known }

func (w Weather) estimated() []string {
	var missing []string
	if !w.humidityKnown() {
		missing = append(missing, "humidity")
	}
	if !w.radiationKnown() {
		missing = append(missing, "radiation")
	}
	if !w.WindMPS.Known {
		missing = append(missing, "wind")
	}
	return missing
}

// validate names the first value beyond what weather on earth can be.
func (w Weather) validate(site Site) error {
	for _, check := range []struct {
		name      string
		value     float64
		low, high float64
	}{
		{"latitude (degrees)", site.LatitudeDeg, -90, 90},
		{"elevation (m)", site.ElevationM, -450, 6000},
		{"height of the wind measurement (m)", orDefault(site.WindHeightM, windHeightM), 0.5, 50},
		{"day of the year", float64(w.DayOfYear), 1, 366},
		{"highest temperature (°C)", w.MaxC, -60, 60},
		{"lowest temperature (°C)", w.MinC, -60, w.MaxC},
		{"vapour pressure (kPa)", w.VapourKPa.Value, 0, 10},
		{"dew point (°C)", w.DewPointC.Value, -60, 40},
		{"highest relative humidity (%)", w.HumidityMaxPct.Value, 0, 100},
		{"lowest relative humidity (%)", w.HumidityMinPct.Value, 0, 100},
		{"mean relative humidity (%)", w.HumidityMeanPct.Value, 0, 100},
		{"wind (m/s)", w.WindMPS.Value, 0, 60},
		{"solar radiation (MJ/m² a day)", w.SolarMJ.Value, 0, 50},
		{"sunshine (hours)", w.SunshineHours.Value, 0, 24},
		{"soil heat (MJ/m² a day)", w.SoilHeatMJ, -20, 20},
	} {
		if !(check.value >= check.low && check.value <= check.high) {
			return fmt.Errorf("%s is %v; it must lie between %v and %v", check.name, check.value, check.low, check.high)
		}
	}
	return nil
}

func orDefault(v, fallback float64) float64 {
	if v == 0 {
		return fallback
	}
	return v
}
