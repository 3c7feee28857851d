package schedule

import (
	"fmt"
	"math"
	"strings"

	"lotwright/layout"
)

// mmPerMetre turns inches of water per foot of soil into millimetres per metre.
const mmPerMetre = millimetresPerInch / layout.MetresPerFoot

// slopeLimitsPct are the upper ends of the slope classes of the intake table;
// the last class holds beyond its end too, and [Soil.Steep] says so.
var slopeLimitsPct = [4]float64{4, 8, 12, 16}

// slopeShares are the shares of the level intake that are left in each class:
// those of the table's sandy loam, silt loam and clay loam, exactly, and of the
// other two rows to a hundredth of an inch.
var slopeShares = [4]float64{1, 0.8, 0.6, 0.4}

// Soil is what run times need to know of the ground. Published figures for one
// kind of soil differ up to tenfold (for clay): a measured intake is better
// than any table, and every figure may be set.
type Soil struct {
	Name string

	// AvailableMMPerM is the water between field capacity and wilting point in
	// a metre of soil.
	AvailableMMPerM float64

	// IntakeMMPerH is the rate that soaks in steadily under sprinklers, by slope
	// class: up to 4 %, 8 %, 12 % and beyond.
	IntakeMMPerH [4]float64

	// Storage is what level ground holds on its surface before water runs off.
	// Slopes hold less, in the same proportion as their intake: a judgement.
	Storage Depth

	Source string // of the figures, for the reader
}

// Sources of the built-in rows.
const (
	sourceAvailable = "available water: middle of the range of UC Davis, Soil Characteristics"
	sourceIntakeMem = "intake by slope: widely reprinted table of US Department of Agriculture type, from memory"
	sourceIntakeLow = "intake: low end of the range on page 22 of Colorado Water Conservation Board document 52826, on slopes in the proportion of the other rows"
	sourceStorage   = "surface storage: schedule method of the trade, from memory"
)

// Soils are the built-in soils, coarse to fine.
func Soils() []Soil {
	return []Soil{
		lowEndSoil("sand", 0.75, 1.25, 4, 0.40),
		lowEndSoil("loamy sand", 0.75, 1.25, 1.2, 0.36),
		tableSoil("sandy loam", 1.25, 1.75, [4]float64{0.75, 0.60, 0.45, 0.30}, 0.33),
		tableSoil("loam", 1.5, 2.3, [4]float64{0.54, 0.43, 0.33, 0.22}, 0.30),
		tableSoil("silt loam", 1.5, 2.3, [4]float64{0.50, 0.40, 0.30, 0.20}, 0.28),
		tableSoil("clay loam", 1.75, 2.5, [4]float64{0.25, 0.20, 0.15, 0.10}, 0.26),
		tableSoil("clay", 1.6, 2.5, [4]float64{0.13, 0.10, 0.08, 0.05}, 0.20),
	}
}

// tableSoil takes available water in inches per foot, intake in inches an hour
// and storage in inches.
func tableSoil(name string, availableLow, availableHigh float64, intake [4]float64, storage float64) Soil {
	s := Soil{
		Name:            name,
		AvailableMMPerM: (availableLow + availableHigh) / 2 * mmPerMetre,
		Storage:         Inches(storage),
		Source:          strings.Join([]string{sourceAvailable, sourceIntakeMem, sourceStorage}, "; "),
	}
	for i, v := range intake {
		s.IntakeMMPerH[i] = v * millimetresPerInch
	}
	return s
}

// lowEndSoil is a soil that the intake table lacks.
func lowEndSoil(name string, availableLow, availableHigh, intake, storage float64) Soil {
	var bySlope [4]float64
	for i, share := range slopeShares {
		bySlope[i] = intake * share
	}
	s := tableSoil(name, availableLow, availableHigh, bySlope, storage)
	s.Source = strings.Join([]string{sourceAvailable, sourceIntakeLow, sourceStorage}, "; ")
	return s
}

// DefaultSoil is taken where none is named: loam, the middle of the list.
const DefaultSoil = "loam"

// SoilNamed returns a built-in soil; the empty name is [DefaultSoil].
func SoilNamed(name string) (Soil, error) {
	if name == "" {
		name = DefaultSoil
	}
	var known []string
	for _, s := range Soils() {
		if strings.EqualFold(s.Name, strings.ReplaceAll(strings.TrimSpace(name), "_", " ")) {
			return s, nil
		}
		known = append(known, s.Name)
	}
	return Soil{}, fmt.Errorf("soil %q is not known; known are %s", name, strings.Join(known, ", "))
}

// slopeClass is the index of a slope's column.
func slopeClass(slopePct float64) int {
	for i, limit := range slopeLimitsPct {
		if slopePct <= limit {
			return i
		}
	}
	return len(slopeLimitsPct) - 1
}

// Steep says whether a slope is beyond what the intake table covers.
func (s Soil) Steep(slopePct float64) bool { return slopePct > slopeLimitsPct[len(slopeLimitsPct)-1] }

// IntakeOn is the steady intake in mm/h on a slope in per cent.
func (s Soil) IntakeOn(slopePct float64) float64 { return s.IntakeMMPerH[slopeClass(slopePct)] }

// StorageOn is the surface storage on a slope in per cent.
func (s Soil) StorageOn(slopePct float64) Depth {
	return s.Storage * Depth(slopeShares[slopeClass(slopePct)])
}

// ReadilyAvailable is the depth that roots may draw before the plant suffers:
// available water × root depth × allowable depletion.
func (s Soil) ReadilyAvailable(root layout.Length, depletion float64) Depth {
	return Depth(s.AvailableMMPerM * root.Metres() * depletion)
}

// LongestCycleMinutes is how long water may be applied at a rate before it
// runs off: storage over what the rate leaves on top of the intake, +Inf where
// the soil takes all.
func LongestCycleMinutes(rateMMPerH, intakeMMPerH float64, storage Depth) float64 {
	if rateMMPerH <= intakeMMPerH {
		return math.Inf(1)
	}
	return minutesPerHour * storage.MM() / (rateMMPerH - intakeMMPerH)
}

// SoakMinutes is how long the soil takes to swallow what stands on it.
func SoakMinutes(intakeMMPerH float64, storage Depth) float64 {
	return minutesPerHour * storage.MM() / intakeMMPerH
}

// Cycles is a run cut into equal parts.
type Cycles struct {
	Count       int
	Minutes     int // of each
	SoakMinutes int // between the end of one and the start of the next; 0 for a single cycle
}

// Total is the time the water runs.
func (c Cycles) Total() int { return c.Count * c.Minutes }

// minCycleMinutes is the shortest run that a valve and a clock do well: a
// judgement. Where even this runs off, the plan says so.
const minCycleMinutes = 1

// CycleAndSoak cuts a run so that no cycle is longer than the soil takes: the
// fewest equal cycles, of whole minutes as controllers take them, rounded to
// the nearest but never above the limit. Nothing is run for 0 minutes.
func (s Soil) CycleAndSoak(runMinutes, rateMMPerH, slopePct float64) Cycles {
	if !(runMinutes > 0) {
		return Cycles{}
	}
	intake, storage := s.IntakeOn(slopePct), s.StorageOn(slopePct)
	longest := LongestCycleMinutes(rateMMPerH, intake, storage)
	whole := max(minCycleMinutes, int(math.Round(runMinutes)))
	if longest >= float64(whole) {
		return Cycles{Count: 1, Minutes: whole}
	}
	limit := max(minCycleMinutes, int(longest))
	c := Cycles{Count: (whole + limit - 1) / limit}
	c.Minutes = min(limit, max(minCycleMinutes, int(math.Round(runMinutes/float64(c.Count)))))
	if c.Count > 1 {
		c.SoakMinutes = int(math.Ceil(SoakMinutes(intake, storage)))
	}
	return c
}

// RunsOff says whether a cycle of one minute already runs off.
func (s Soil) RunsOff(rateMMPerH, slopePct float64) bool {
	return LongestCycleMinutes(rateMMPerH, s.IntakeOn(slopePct), s.StorageOn(slopePct)) < minCycleMinutes
}

// validate names the first figure that no soil has.
func (s Soil) validate() error {
	if !(s.AvailableMMPerM > 0 && s.AvailableMMPerM < 1000) {
		return fmt.Errorf("soil %q: available water is %v mm/m; it must lie between 0 and 1000", s.Name, s.AvailableMMPerM)
	}
	for _, intake := range s.IntakeMMPerH {
		if !(intake > 0 && intake < 1000) {
			return fmt.Errorf("soil %q: intake is %v mm/h; it must lie between 0 and 1000", s.Name, intake)
		}
	}
	if !(s.Storage > 0 && s.Storage < 100) {
		return fmt.Errorf("soil %q: surface storage is %v mm; it must lie between 0 and 100", s.Name, s.Storage.MM())
	}
	return nil
}
