package design

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"lotwright/layout"
	"lotwright/layout/candidate"
	"lotwright/layout/geom"
	"lotwright/layout/sector"
	"lotwright/layout/uniformity"
)

// part is a part of the lawn that heads of one family water, and how.
type part struct {
	family layout.FixedArcFamily
	ground geom.Region // where they stand; nil: all of the lawn
	runs   float64     // how long they run, against those of the first part
	asked  bool        // the input asks for the family here
	why    string      // the family is used here
}

// mixed reports whether heads of more than one family water the lawn.
func (r *run) mixed() bool { return len(r.arcs.parts) > 1 }

// setParts lists the families that a run designs with: first those that the input
// asks for, each where it does.
func (r *run) setParts(families []layout.FixedArcFamily) {
	parts := &r.arcs.parts
	for _, w := range r.lot.HeadWishes {
		f, ok := r.familyNamed(w.Heads)
		if !ok {
			at := w.Ground[0][0][0]
			r.d.Notes = append(r.d.Notes, layout.Note{Rule: "head.wish_unknown", Severity: layout.SeverityWarning, At: &at,
				Text: fmt.Sprintf("heads called %q are asked for here and not known: it is watered like the rest of the lawn", w.Heads)})
			continue
		}
		i := slices.IndexFunc(*parts, func(p part) bool { return p.family.Name == f.Name })
		if i < 0 {
			i = len(*parts)
			*parts = append(*parts, part{family: f, runs: 1, why: "as asked for", asked: true})
		}
		(*parts)[i].ground = geom.Union((*parts)[i].ground, w.Ground)
	}
	for _, f := range families {
		*parts = append(*parts, part{family: f, runs: 1})
	}
}

// partOf is the part of the lawn that a head waters.
func (r *run) partOf(h layout.Head) *part {
	i := slices.IndexFunc(r.arcs.parts, func(p part) bool { return p.family.Name == h.Family })
	return &r.arcs.parts[max(i, 0)]
}

// known lists the families that a lot may ask for.
func (s Settings) known() []layout.FixedArcFamily {
	if s.Families == nil {
		return layout.GenericFixedArc()
	}
	return s.Families
}

// familyNamed returns the family of a name, which may be short of "generic" and
// may have blanks or underscores for dashes.
func (r *run) familyNamed(name string) (layout.FixedArcFamily, bool) {
	plain := func(s string) string {
		return strings.TrimPrefix(strings.Join(strings.FieldsFunc(strings.ToLower(s), func(c rune) bool {
			return c == ' ' || c == '-' || c == '_'
		}), "-"), "generic-")
	}
	known := r.s.known()
	i := slices.IndexFunc(known, func(f layout.FixedArcFamily) bool { return plain(f.Name) == plain(name) })
	if i < 0 {
		return layout.FixedArcFamily{}, false
	}
	return known[i], true
}

// assign gives the parts that the input asks for their ground; the others share
// the rest of the lawn. Parts without any are dropped, and a family that is asked
// for somewhere and waters the rest as well is one part.
func (r *run) assign(context.Context) error {
	r.arcs.rest = r.d.Irrigated
	var asked, others []part
	for _, p := range r.arcs.parts {
		if !p.asked {
			others = append(others, p)
			continue
		}
		p.ground = geom.Intersection(p.ground, r.arcs.rest)
		if p.ground.AreaM2() >= candidate.MinPieceM2 {
			asked = append(asked, p)
			r.arcs.rest = geom.Difference(r.arcs.rest, p.ground)
		}
	}
	if len(asked) > 0 {
		others = r.joinRest(asked, others)
	}
	r.arcs.parts = append(asked, others...)
	return nil
}

// joinRest gives the rest of the lawn to a part that is asked for where it is
// next to nothing or the same family waters it, and returns the parts left.
func (r *run) joinRest(asked, others []part) []part {
	to := slices.IndexFunc(asked, func(p part) bool { return len(others) == 1 && p.family.Name == others[0].family.Name })
	if r.arcs.rest.AreaM2() < candidate.MinPieceM2 {
		to = max(to, 0)
	}
	if to < 0 {
		return others
	}
	asked[to].ground = geom.Union(asked[to].ground, r.arcs.rest)
	r.arcs.rest = nil
	return nil
}

// divide gives the parts that share the rest of the lawn their ground. Family by
// family, from the one that throws farthest, all of it but the strips that are
// too narrow for its least radius and that it would leave dry, for no sector
// there keeps to the overspray limit. It reports whether every part has some.
func (r *run) divide() (bool, error) {
	parts, rest := r.arcs.parts, r.arcs.rest
	if !r.mixed() {
		return true, nil
	}
	for i := range parts {
		p := &parts[i]
		if p.asked {
			continue
		}
		if i == len(parts)-1 {
			p.ground = rest
			break
		}
		strips, err := r.stripsFor(i, rest)
		if err != nil {
			return false, err
		}
		p.ground, rest = geom.Difference(rest, strips), strips
		p.why = cmp.Or(p.why, "open lawn")
		parts[i+1].why = fmt.Sprintf("strips under %v that %s leaves dry", r.leastRadius(i), p.family.Name)
	}
	for i := range r.arcs.nozzles {
		r.arcs.nozzles[i].Ground = parts[r.arcs.nozzles[i].Family].ground
	}
	return !slices.ContainsFunc(parts, func(p part) bool { return len(p.ground) == 0 }), nil
}

// stripsFor returns the strips of some ground that heads of a part's family would
// leave dry.
func (r *run) stripsFor(i int, ground geom.Region) (geom.Region, error) {
	strips, err := sector.Strips(ground, r.leastRadius(i))
	if err != nil || len(strips) == 0 {
		return nil, err
	}
	site := sector.Site{Lawn: r.d.Irrigated, Blockers: r.arcs.hard, LeastSweep: r.arcs.parts[i].family.LeastSweepDeg,
		GreatestSweep: r.arcs.parts[i].family.GreatestSweepDeg, Nozzles: r.nozzlesOf(i)}
	for k := range site.Nozzles {
		site.Nozzles[k].Ground = nil
	}
	for _, at := range r.standing.Spots(sector.SpotSpacing(site.Nozzles, ground.AreaM2())) {
		if ground.Has(at) {
			site.Spots = append(site.Spots, at)
		}
	}
	return sector.Unwetted(site, sector.Settings{OversprayLimit: r.arcs.parts[i].family.OversprayLimit}, strips, 1-r.s.CoverageTarget)
}

// nozzlesOf lists the nozzles of a part's family.
func (r *run) nozzlesOf(i int) (out []sector.Nozzle) {
	for _, z := range r.arcs.nozzles {
		if z.Family == i {
			out = append(out, z)
		}
	}
	return out
}

// leastRadius is the least radius of a part's nozzles.
func (r *run) leastRadius(i int) layout.Length {
	least := layout.Length(math.Inf(1))
	for _, z := range r.nozzlesOf(i) {
		least = min(least, cmp.Or(z.TurnedDown, z.Throw))
	}
	return least
}

// evenOut sets how long the families run: so that a full circle of each lays
// down, on the square of its throw, what one of the first lays down.
func (r *run) evenOut() {
	rate := func(i int) float64 {
		sum, nozzles := 0.0, r.nozzlesOf(i)
		for _, z := range nozzles {
			sum += z.Flow.LPM() / float64(z.Throw.Metres()*z.Throw.Metres())
		}
		return sum / float64(len(nozzles))
	}
	first := rate(0)
	for i := range r.arcs.parts {
		r.arcs.parts[i].runs = first / rate(i)
	}
	for i := range r.arcs.nozzles {
		r.arcs.nozzles[i].Runs = r.arcs.parts[r.arcs.nozzles[i].Family].runs
	}
}

// spots lists where heads may be tried, those of each family as close as its
// throws ask for, and the widest spacing among them, in mm.
func (r *run) spots() (out []geom.Point, spacing int64) {
	for i, p := range r.arcs.parts {
		ground := p.ground
		if ground == nil {
			ground = r.d.Irrigated
		}
		mine := sector.SpotSpacing(r.nozzlesOf(i), ground.AreaM2())
		spacing = max(spacing, mine)
		for _, at := range r.standing.Spots(mine) {
			if p.ground == nil || p.ground.Has(at) {
				out = append(out, at)
			}
		}
	}
	slices.SortFunc(out, geom.Point.Compare)
	return slices.Compact(out), spacing
}

// arcLimits are what heads of any family must keep to: of several the strictest.
func (r *run) arcLimits() (overspray float64, leastSweep, greatestSweep int) {
	overspray, greatestSweep = math.Inf(1), fullCircleDeg
	for _, p := range r.arcs.parts {
		overspray = min(overspray, p.family.OversprayLimit)
		leastSweep, greatestSweep = max(leastSweep, p.family.LeastSweepDeg), min(greatestSweep, p.family.GreatestSweepDeg)
	}
	return overspray, leastSweep, greatestSweep
}

// uniformityTarget is DU_lq that the whole lawn must reach: the family's, of
// several families the mean by area. Each area must reach its own besides.
func (r *run) uniformityTarget() float64 {
	if !r.mixed() {
		return r.arcs.parts[0].family.UniformityTarget
	}
	sum, area := 0.0, 0.0
	for _, p := range r.arcs.parts {
		m2 := p.ground.AreaM2()
		sum, area = sum+float64(p.family.UniformityTarget*m2), area+m2
	}
	return sum / area
}

// areas lists the parts of a mix as placement sees them.
func (r *run) areas() (out []sector.Area) {
	if r.mixed() {
		for _, p := range r.arcs.parts {
			out = append(out, sector.Area{Ground: p.ground, UniformityTarget: p.family.UniformityTarget})
		}
	}
	return out
}

// areaDU returns DU_lq of the water on each part of a mix.
func (r *run) areaDU(rain *uniformity.Result) (out []float64, err error) {
	if r.arcs.parts[0].ground == nil {
		return nil, nil
	}
	rates := make([][]float64, len(r.arcs.parts))
	for c, at := range rain.At {
		if i := slices.IndexFunc(r.arcs.parts, func(p part) bool { return p.ground.Has(at) }); i >= 0 {
			rates[i] = append(rates[i], rain.Rates[c])
		}
	}
	for i := range rates {
		s := uniformity.Statistics{DULowQuarter: 1} // of an area without a cell
		if len(rates[i]) > 0 {
			if s, err = uniformity.Evaluate(rates[i], uniformity.RoundUp); err != nil {
				return nil, fmt.Errorf("area %d: %w", i+1, err)
			}
		}
		out = append(out, s.DULowQuarter)
	}
	return out, nil
}

// tellAreas describes the parts of a mixed design: the water on each is that of
// all heads, every family running its own time.
func (r *run) tellAreas(reached geom.Region, rain *uniformity.Result) error {
	if !r.mixed() && !r.arcs.parts[0].asked {
		return nil
	}
	du, err := r.areaDU(rain)
	if err != nil {
		return err
	}
	if r.arcs.parts[0].asked {
		r.d.HeadChoice = "heads as the input asks for parts of the lawn, and as the settings say on the rest"
	}
	for i, p := range r.arcs.parts {
		a := layout.WateredArea{Label: fmt.Sprintf("A%d", i+1), Family: p.family.Name, Why: cmp.Or(p.why, "the rest of the lawn"), Region: p.ground,
			Area: p.ground.AreaM2(), Target: p.family.UniformityTarget, Runs: p.runs}
		a.Coverage = geom.Intersection(reached, p.ground).AreaM2() / a.Area
		a.DULowQuarter = du[i]
		at := a.Region[0][0][0]
		for _, h := range r.d.Heads {
			if h.Family == a.Family {
				if a.Heads++; a.Heads == 1 {
					at = h.At
				}
			}
		}
		r.d.Areas = append(r.d.Areas, a)
		r.d.Notes = append(r.d.Notes, layout.Note{Rule: "head.area", Severity: layout.SeverityInfo, At: &at, Text: areaWords(a)})
	}
	return nil
}

func areaWords(a layout.WateredArea) string {
	text := fmt.Sprintf("%s, %s, %.1f m²: %d heads of %s; coverage %.1f %%, DU %.2f of %.2f",
		a.Label, a.Why, a.Area, a.Heads, a.Family, 100*a.Coverage, math.Floor(100*a.DULowQuarter)/100, a.Target)
	if a.Runs != 1 {
		text += fmt.Sprintf(", counted as running %.2f times as long as A1, as its precipitation rate asks", a.Runs)
	}
	return text
}
