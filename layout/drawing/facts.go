package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"lotwright/layout"
	"lotwright/layout/paper"
)

// squareFeetPerM2 is exact: the international foot is 0.3048 m.
const squareFeetPerM2 = 1 / (layout.MetresPerFoot * layout.MetresPerFoot)

const unknown = "–"

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Decimal writes a number with commas between thousands.
func Decimal(v float64, decimals int) string {
	if !finite(v) {
		return unknown
	}
	s := strconv.FormatFloat(math.Abs(v), 'f', decimals, 64)
	whole, rest, _ := strings.Cut(s, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if rest != "" {
		whole += "." + rest
	}
	if v < 0 && strings.Trim(whole, "0.,") != "" {
		return "-" + whole
	}
	return whole
}

func lengthWords(l layout.Length) string {
	return Decimal(l.Feet(), 1) + " ft (" + Decimal(l.Metres(), 1) + " m)"
}

func inchWords(l layout.Length) string {
	return Decimal(l.Metres()/layout.MetresPerInch, 1) + " in (" + Decimal(l.Metres()*1000, 0) + " mm)"
}

func areaWords(m2 float64) string {
	return Decimal(m2*squareFeetPerM2, 0) + " ft² (" + Decimal(m2, 1) + " m²)"
}

func pressureWords(p layout.Pressure) string {
	return Decimal(p.PSI(), 1) + " psi (" + Decimal(p.KPa(), 0) + " kPa)"
}

func flowWords(f layout.Flow) string {
	return Decimal(f.GPM(), 1) + " gpm (" + Decimal(f.LPM(), 1) + " L/min)"
}

// Percent rounds down, so that a target missed by a hair never reads as met.
func Percent(share float64) string {
	if !finite(share) {
		return unknown
	}
	const forgiven = 1e-9 // of a share, for sums of areas
	return Decimal(math.Floor((share+forgiven)*1000)/10, 1) + " %"
}

// Counted writes a number with its noun.
func Counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return Decimal(float64(n), 0) + " " + noun + "s"
}

// ProofWords says how many heads there are and whether fewer could do.
func ProofWords(d *layout.Design) string {
	heads := Counted(len(d.Heads), "head")
	switch {
	case d.Proof.Kind == layout.ProofContinuous:
		return fmt.Sprintf("%s; no fewer than %d possible (continuous proof)", heads, d.Proof.Bound)
	case d.Proof.Kind == layout.ProofDiscrete:
		return fmt.Sprintf("%s; no fewer than %d possible (discrete proof)", heads, d.Proof.Bound)
	}
	return heads + "; not proved to be the fewest"
}

// StatusWords names a status.
func StatusWords(s layout.Status) string {
	switch s {
	case layout.StatusDesigned:
		return "Designed"
	case layout.StatusInfeasible:
		return "Infeasible"
	case layout.StatusInvalid:
		return "Invalid input"
	case layout.StatusFailed:
		return "Failed"
	case "":
		return "No design"
	}
	return string(s)
}

// fact is one line of the title block.
type fact struct{ name, value string }

// facts lists the figures of a design, those that were never worked out left
// out.
func facts(d *layout.Design) []fact {
	var out []fact
	add := func(known bool, name, value string) {
		if known {
			out = append(out, fact{name, value})
		}
	}
	heads, n := len(d.Heads) > 0, d.Network
	for i, a := range d.Areas {
		name := ""
		if i == 0 {
			name = "Heads"
		}
		add(true, name, fmt.Sprintf("%d %s", a.Heads, a.Family))
	}
	add(heads || d.Coverage > 0, "Coverage", Percent(d.Coverage)+", target "+Percent(d.CoverageTarget))
	add(d.Uniformity != nil, "Uniformity", uniformityWords(d.Uniformity))
	add(d.Throw > 0, "Throw", lengthWords(d.Throw))
	add(d.Pressure > 0, "Pressure at heads", pressureWords(d.Pressure))
	add(d.Regulated, "", "pressure regulator needed")
	add(d.ParcelArea > 0, "Lot", areaWords(d.ParcelArea))
	add(d.IrrigatedArea > 0, "Lawn to water", areaWords(d.IrrigatedArea))
	add(heads && d.DryArea > 0, "Dry", areaWords(d.DryArea))
	add(d.NarrowArea > 0, "Strips too narrow", areaWords(d.NarrowArea))
	add(d.OversprayArea > 0, "Overspray", areaWords(d.OversprayArea))
	add(n.TrenchLength > 0, "Trench", lengthWords(n.TrenchLength))
	add(trenchDepth(n) > 0, "Trench depth", inchWords(trenchDepth(n)))
	add(n.TrenchLength > 0, "Paving crossings", crossingWords(n))
	add(n.PipeLength > 0, "Pipe", lengthWords(n.PipeLength))
	add(n.POCAssumed, "Connection", "place assumed")
	return out
}

// uniformityWords gives DU of the lower quarter, rounded down.
func uniformityWords(u *layout.Uniformity) string {
	if u == nil {
		return ""
	}
	return fmt.Sprintf("DU %.2f, target %.2f", math.Floor(100*u.DULowQuarter)/100, math.Floor(100*u.Target)/100)
}

func crossingWords(n layout.Network) string {
	if n.PavingCrossings == 0 {
		return "none"
	}
	return fmt.Sprintf("%d, %s", n.PavingCrossings, lengthWords(n.PavingCrossingLength))
}

// trenchDepth returns the greatest depth of any run.
func trenchDepth(n layout.Network) layout.Length {
	var depth layout.Length
	for _, r := range n.Runs {
		depth = max(depth, r.Depth)
	}
	return depth
}

// zone is what one valve waters.
type zone struct {
	number int
	heads  []string
	flow   layout.Flow
}

func zonesOf(d *layout.Design) []zone {
	var out []zone
	for _, h := range d.Heads {
		i := slices.IndexFunc(out, func(z zone) bool { return z.number == h.Zone })
		if i < 0 {
			i = len(out)
			out = append(out, zone{number: h.Zone})
		}
		out[i].heads = append(out[i].heads, h.Label)
		out[i].flow += h.Flow
	}
	slices.SortStableFunc(out, func(a, b zone) int { return cmp.Compare(a.number, b.number) })
	return out
}

// zoneWords says what flows at a time: in one sentence where every zone is one
// head, zone by zone otherwise. Heads not yet in zones say nothing.
func zoneWords(d *layout.Design) []string {
	zones := zonesOf(d)
	if len(zones) == 0 || zones[0].number == 0 {
		return nil
	}
	if len(zones) == len(d.Heads) {
		return []string{fmt.Sprintf("%s, one head each, %s at a time", Counted(len(zones), "zone"), flowRange(zones))}
	}
	var out []string
	for _, z := range zones {
		out = append(out, fmt.Sprintf("Zone %d: %s; %s", z.number, strings.Join(z.heads, " "), flowWords(z.flow)))
	}
	return out
}

func flowRange(zones []zone) string {
	low, high := zones[0].flow, zones[0].flow
	for _, z := range zones {
		low, high = min(low, z.flow), max(high, z.flow)
	}
	if flowWords(low) == flowWords(high) {
		return flowWords(low)
	}
	return fmt.Sprintf("%s to %s gpm (%s to %s L/min)", Decimal(low.GPM(), 1), Decimal(high.GPM(), 1),
		Decimal(low.LPM(), 1), Decimal(high.LPM(), 1))
}

// Remarks lists the notes of a lot and its design, the gravest first, each once
// and none that only repeats the reason given already.
func Remarks(lot *layout.Lot, d *layout.Design) []string {
	notes := slices.Concat(d.Network.Unreached, d.Notes)
	if lot != nil {
		notes = append(notes, lot.Notes...)
	}
	slices.SortStableFunc(notes, func(a, b layout.Note) int { return cmp.Compare(gravity(a.Severity), gravity(b.Severity)) })
	var out []string
	for _, n := range notes {
		if words := paper.Clean(n.Text); words != "" && words != paper.Clean(d.Reason) && !slices.Contains(out, words) {
			out = append(out, words)
		}
	}
	return out
}

func gravity(s layout.Severity) int {
	switch s {
	case layout.SeverityError:
		return 0
	case layout.SeverityWarning:
		return 1
	}
	return 2
}
