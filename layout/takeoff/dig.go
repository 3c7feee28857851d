package takeoff

import (
	"fmt"
	"strings"

	"lotwright/layout"
)

// runDash joins the ends of a trench run in its label.
const runDash = "–"

func runLabel(r layout.TrenchRun) string { return r.From + runDash + r.To }

// dig lists what is dug, cut and put back for each run of trench. Paving is cut
// on both sides of a strip, lifted, and patched; below it the trench is as deep
// as elsewhere. Along a sleeve that is there already nothing is dug.
func (j *job) dig() error {
	s := j.s
	for _, r := range j.d.Network.Runs {
		label, l := runLabel(r), r.Length.Metres()
		j.t.add(Trench, string(r.Surface), quantityOf(l), label)
		j.t.add(Labour, "trench in "+string(r.Surface), quantityOf(l*s.MinutesPerMetre[r.Surface]/60), label)
		dug := 0.0
		switch r.Surface {
		case layout.SurfaceSoil:
			dug = TrenchVolume(r.Length, s.TrenchWidth, r.Depth)
			j.t.add(Sod, "", quantityOf(l*s.SodWidth.Metres()), label)
		case layout.SurfacePaving:
			dug = TrenchVolume(r.Length, s.TrenchWidth, max(0, r.Depth-s.PavingThickness))
			j.t.add(SawCut, "", quantityOf(2*l), label)
			j.t.add(PavingRemoved, "", quantityOf(l*s.PavingCutWidth.Metres()), label)
			j.t.add(PavingPatch, "", quantityOf(TrenchVolume(r.Length, s.PavingCutWidth, s.PavingThickness)), label)
			if err := j.sleeve(r, label); err != nil {
				return err
			}
		}
		if dug > 0 {
			j.t.add(TrenchSpoil, "", quantityOf(dug), label)
			j.t.add(LooseSpoil, "", quantityOf(dug*s.Swell), label)
			j.t.add(Backfill, "", quantityOf(dug), label)
		}
	}
	return nil
}

// TrenchVolume returns the volume of a trench in m³: length by width by depth.
func TrenchVolume(length, width, depth layout.Length) float64 {
	return length.Metres() * width.Metres() * depth.Metres()
}

// sleeve lists a sleeve for each pipe of a run under paving, beyond both edges: a
// trench that several zones share has several.
func (j *job) sleeve(r layout.TrenchRun, label string) error {
	for _, p := range j.d.Network.Pipes {
		if p.From != r.From || p.To != r.To {
			continue
		}
		wide, err := sleeveFor(p.Size)
		if err != nil {
			return fmt.Errorf("trench %s: %w", label, err)
		}
		j.t.add(Sleeve, wide, quantityOf((r.Length + 2*j.s.SleeveBeyond).Metres()), label)
	}
	return nil
}

// fill lists the water the pipes hold, where their bores are known.
func (j *job) fill() {
	if j.s.Bore == nil {
		return
	}
	var unknown []string
	for _, p := range j.d.Network.Pipes {
		bore, ok := j.s.Bore(p.Material, p.Size)
		if !ok {
			unknown = append(unknown, p.Label)
			continue
		}
		j.t.add(PipeWater, "", quantityOf(PipeVolume(p.Length, bore).Litres()), p.Label)
	}
	if len(unknown) > 0 {
		j.t.add(PipeWater, "", 0).Note = "without " + strings.Join(unknown, ", ") + ", whose bore is not known"
	}
}

// PipeVolume returns what a pipe holds: 0.0408·d² gallons a foot, d in inches.
func PipeVolume(length, bore layout.Length) layout.Volume {
	const litresPerCubicMetre, quarterPi = 1000, 0.78539816339744831
	return layout.Volume(litresPerCubicMetre * quarterPi * bore.Metres() * bore.Metres() * length.Metres())
}
