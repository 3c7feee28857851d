package schedule

import "math"

// Constants of the hourly form of FAO-56.
const (
	stefanBoltzmannHourMJ = 2.043e-10 // MJ K⁻⁴ m⁻² h⁻¹, under equation 39
	soilHeatDay           = 0.1       // share of Rn, equation 45
	soilHeatNight         = 0.5       // share of Rn, equation 46
	radPerHour            = math.Pi / 12
)

// HourMeridians place an hour's sun: degrees west of Greenwich of the clock's
// time zone and of the place.
type HourMeridians struct {
	ZoneDegWest  float64
	PlaceDegWest float64
}

// ExtraterrestrialHourMJ is Ra of the hour around a clock time (14.5 for 14 to
// 15 h) in MJ m⁻² h⁻¹, equations 28 to 33.
func ExtraterrestrialHourMJ(latitudeDeg float64, m HourMeridians, dayOfYear int, midHour float64) float64 {
	phi, delta := latitudeDeg*radPerDeg, DeclinationRad(dayOfYear)
	middle := radPerHour * (midHour + (m.ZoneDegWest-m.PlaceDegWest)/15 + seasonalHours(dayOfYear) - 12)
	sunset := SunsetAngleRad(phi, delta)
	from := min(sunset, max(-sunset, middle-radPerHour/2))
	to := min(sunset, max(-sunset, middle+radPerHour/2))
	path := (to-from)*math.Sin(phi)*math.Sin(delta) + math.Cos(phi)*math.Cos(delta)*(math.Sin(to)-math.Sin(from))
	return 12 * minutesPerHour / math.Pi * solarConstantMJ * InverseDistance(dayOfYear) * path
}

// seasonalHours is Sc, the seasonal correction of solar time, equation 32.
func seasonalHours(dayOfYear int) float64 {
	b := 2 * math.Pi * float64(dayOfYear-81) / 364
	return 0.1645*math.Sin(2*b) - 0.1255*math.Cos(b) - 0.025*math.Sin(b)
}

// Hour is the weather of one hour.
type Hour struct {
	TempC       float64
	HumidityPct float64
	Wind2mMPS   float64
	SolarMJ     float64 // Rs, MJ m⁻² h⁻¹
	ClearShare  float64 // Rs/Rso; at night that of the hours before sunset (chapter 4)
	Night       bool
}

// PenmanMonteithHour is ET0 of an hour, equation 53, and its terms. It may be
// slightly negative at night.
func PenmanMonteithHour(elevationM float64, h Hour) (Depth, ET0Terms) {
	var t ET0Terms
	t.PressureKPa = PressureKPa(elevationM)
	t.GammaKPaPerC = PsychrometricKPaPerC(t.PressureKPa)
	t.DeltaKPaPerC = SlopeKPaPerC(h.TempC)
	t.SaturationKPa = SaturationKPa(h.TempC)
	t.VapourKPa = t.SaturationKPa * h.HumidityPct / 100 // equation 54
	t.Wind2mMPS = h.Wind2mMPS
	t.SolarMJ = h.SolarMJ
	t.NetShortwaveMJ = NetShortwaveMJ(h.SolarMJ)
	t.NetLongwaveMJ = stefanBoltzmannHourMJ * math.Pow(h.TempC+kelvinOffset, 4) *
		humidityTerm(t.VapourKPa) * cloudTerm(h.ClearShare, 1)
	t.NetMJ = t.NetShortwaveMJ - t.NetLongwaveMJ
	t.SoilHeatMJ = soilHeatDay * t.NetMJ
	if h.Night {
		t.SoilHeatMJ = soilHeatNight * t.NetMJ
	}
	return combination(37, h.TempC, t.NetMJ-t.SoilHeatMJ, t), t
}
