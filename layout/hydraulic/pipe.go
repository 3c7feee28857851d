package hydraulic

import "lotwright/layout"

// PipeSize is one size of one kind of pipe.
type PipeSize struct {
	Material  string          // e.g. "PVC Sch 40"
	Nominal   string          // e.g. "1 in"
	Inside    layout.Length   // inside diameter
	C         float64         // Hazen–Williams; 0 means [DefaultC]
	Roughness layout.Length   // for Darcy–Weisbach; 0 means [DefaultRoughness]
	Rating    layout.Pressure // pressure rating at 73 °F; 0 not known
}

// The materials of the built-in tables.
const (
	PVCSch40        = "PVC Sch 40"               // by the nominal inside diameter, as published loss tables are
	PVCSch40Average = "PVC Sch 40, average bore" // by the average inside diameter, with the wall's tolerance
	PVCClass200     = "PVC Class 200 (SDR-21)"
	PEControlled    = "PE, controlled bore"
)

// nominal sizes of the tables, in order.
var nominal = [...]string{"1/2 in", "3/4 in", "1 in", "1-1/4 in", "1-1/2 in", "2 in"}

// Inside diameters in inches; 0 where a size is not made.
//
// Sch 40 nominal: International Residential Code, table A.2.2, Schedule 40 pipe
// (outside diameter less two walls as in ASTM D1785). Sch 40 average: the
// published PVC tables, wall tolerance included; the loss at 1 in is 7.8 %
// higher, so the choice is the user's. SDR-21: ASTM D2241, outside diameter less
// two walls of OD/21, at least 0.060 in. Polyethylene: ASTM D2239.
var insideInches = map[string][len(nominal)]float64{
	PVCSch40:        {0.622, 0.824, 1.049, 1.380, 1.610, 2.067},
	PVCSch40Average: {0.608, 0.810, 1.033, 1.364, 1.592, 2.049},
	PVCClass200:     {0, 0.930, 1.189, 1.502, 1.720, 2.149},
	PEControlled:    {0.622, 0.824, 1.049, 1.380, 1.610, 2.067},
}

// Pressure ratings in psi at 73 °F. Sch 40: the published PVC tables (ASTM
// D1785, appendix). SDR-21: its class. Polyethylene is sold in several ratings:
// none is assumed.
var ratingPSI = map[string][len(nominal)]float64{
	PVCSch40:        {600, 480, 450, 370, 330, 280},
	PVCSch40Average: {600, 480, 450, 370, 330, 280},
	PVCClass200:     {0, 200, 200, 200, 200, 200},
}

// SizesOf returns the sizes of one of the built-in materials, narrow to wide;
// none for an unknown material.
func SizesOf(material string) []PipeSize {
	inside, ok := insideInches[material]
	if !ok {
		return nil
	}
	var out []PipeSize
	for i, inches := range inside {
		if inches > 0 {
			out = append(out, PipeSize{Material: material, Nominal: nominal[i], C: DefaultC, Roughness: DefaultRoughness,
				Inside: layout.Length(inches * layout.MetresPerInch), Rating: layout.PSI(ratingPSI[material][i])})
		}
	}
	return out
}

// SizeOf returns a built-in size by its material and nominal size.
func SizeOf(material, nominalSize string) (PipeSize, bool) {
	for _, s := range SizesOf(material) {
		if s.Nominal == nominalSize {
			return s, true
		}
	}
	return PipeSize{}, false
}

// RatingShare is the share of its rating that a pipe may be used to when surges
// are not reckoned (ASAE S376.1, as quoted in the NRCS Missouri Livestock
// Watering Systems Handbook, chapter 5).
const RatingShare = 0.72

// UsablePressure is the highest pressure the pipe should stand under when surges
// (water hammer) are not reckoned; 0 where its rating is not known.
func (s PipeSize) UsablePressure() layout.Pressure { return RatingShare * s.Rating }
