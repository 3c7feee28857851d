package rules

import (
	"fmt"

	"lotwright/layout"
	"lotwright/layout/geom"
)

func velocities(in *Input, r Rule) (out []Finding, unseen string) {
	if in.Design.Water == nil {
		return nil, "what runs in the pipe was not reckoned"
	}
	for _, p := range in.Design.Network.Pipes {
		if p.Velocity > r.limit() {
			out = append(out, found(r, p.Label, middle(p.Path), p.Velocity, fmt.Sprintf("in %s, %s, water runs at %s; %s is permitted",
				p.Label, p.Size, velocityText(p.Velocity), velocityText(r.limit()))))
		}
	}
	return out, ""
}

func velocityText(v float64) string {
	return fmt.Sprintf("%.2f ft/s (%.2f m/s)", v/layout.MetresPerFoot, v)
}

// middle is a corner half way along a path.
func middle(path geom.Line) *geom.Point {
	if len(path) == 0 {
		return nil
	}
	return &path[len(path)/2]
}

// outsideInches are outside diameters by nominal size (dimensions of ASTM D1785,
// as the published pipe tables print them).
var outsideInches = map[string]float64{
	"1/2 in": 0.840, "3/4 in": 1.050, "1 in": 1.315, "1-1/4 in": 1.660, "1-1/2 in": 1.900, "2 in": 2.375,
}

// widest is the outside of the widest pipe of the design: which of them lies in
// which trench run is not told.
func widest(d *layout.Design) float64 {
	most := 0.0
	for _, p := range d.Network.Pipes {
		most = max(most, outsideInches[p.Size]*layout.MetresPerInch)
	}
	return most
}

func cover(in *Input, r Rule) ([]Finding, string) {
	return covers(in, r, func(s layout.Surface) bool { return s != layout.SurfaceSleeve })
}

func coverUnderPaving(in *Input, r Rule) ([]Finding, string) {
	return covers(in, r, func(s layout.Surface) bool { return s == layout.SurfacePaving })
}

// covers lists the trench runs through some surfaces where less than the limit
// lies over the pipe.
func covers(in *Input, r Rule, of func(layout.Surface) bool) (out []Finding, unseen string) {
	pipe := widest(in.Design)
	for _, run := range in.Design.Network.Runs {
		c := run.Depth.Metres() - pipe
		if of(run.Surface) && c < r.limit()-measureSlack {
			out = append(out, found(r, runName(run), middle(run.Path), c, fmt.Sprintf("%s lies under %s of %s; at least %s is asked for",
				runName(run), lengthText(c), run.Surface, lengthText(r.limit()))))
		}
	}
	return out, ""
}

func runName(run layout.TrenchRun) string { return run.From + " to " + run.To }

func trenchDepth(in *Input, r Rule) (out []Finding, unseen string) {
	for _, run := range in.Design.Network.Runs {
		if run.Depth.Metres() >= r.limit() {
			out = append(out, found(r, runName(run), middle(run.Path), run.Depth.Metres(), fmt.Sprintf("%s is %s deep; the rule begins at %s",
				runName(run), lengthText(run.Depth.Metres()), lengthText(r.limit()))))
		}
	}
	return out, ""
}

func unsleeved(in *Input, r Rule) (out []Finding, unseen string) {
	for _, run := range in.Design.Network.Runs {
		if run.Surface == layout.SurfacePaving {
			out = append(out, found(r, runName(run), middle(run.Path), run.Length.Metres(), fmt.Sprintf("%s passes under %s of paving and needs a sleeve there",
				runName(run), lengthText(run.Length.Metres()))))
		}
	}
	return out, ""
}

func sleevesBeyond(in *Input, r Rule) (out []Finding, unseen string) {
	if len(in.Lot.Sleeves) == 0 {
		return nil, "the survey shows no sleeve; heed it with the ones to be laid"
	}
	for i, s := range in.Lot.Sleeves {
		if len(s) == 0 || len(in.Lot.Hardscape) == 0 {
			continue
		}
		for _, at := range []geom.Point{s[0], s[len(s)-1]} {
			d := in.Lot.Hardscape.DistanceMM(at) / geom.MillimetresPerMetre
			if in.Lot.Hardscape.Has(at) {
				d = -d
			}
			if d < r.limit()-measureSlack {
				out = append(out, found(r, fmt.Sprintf("sleeve %d", i+1), &at, d, fmt.Sprintf("the sleeve ends %s beyond the edge of the paving; at least %s is asked for",
					lengthText(d), lengthText(r.limit()))))
			}
		}
	}
	return out, ""
}

// highestHead is the ground at the highest head, above that at the point of
// connection.
func highestHead(in *Input) (label string, height float64) {
	poc := in.Height(in.Design.Network.POC)
	for i, h := range in.Design.Heads {
		if up := (in.Height(h.At) - poc).Metres(); i == 0 || up > height {
			label, height = h.Label, up
		}
	}
	return label, height
}

func backflowAboveHeads(in *Input, r Rule) ([]Finding, string) {
	if len(in.Design.Heads) == 0 {
		return nil, ""
	}
	if in.Height == nil {
		return nil, "heights were not surveyed; the highest head decides"
	}
	label, height := highestHead(in)
	least := max(height, 0) + r.limit()
	if in.Backflow == nil || in.Backflow.Device != r.Device {
		return nil, fmt.Sprintf("no such assembly was named; one would have to stand at least %s above the ground at the point of connection, on account of %s",
			lengthText(least), label)
	}
	return raised(in, r, least)
}

func backflowAboveGround(in *Input, r Rule) ([]Finding, string) {
	if in.Backflow == nil || in.Backflow.Device != r.Device {
		return nil, fmt.Sprintf("no such assembly was named; one would have to stand at least %s above the ground", lengthText(r.limit()))
	}
	return raised(in, r, r.limit())
}

// raised finds an assembly that stands lower than it must.
func raised(in *Input, r Rule, least float64) ([]Finding, string) {
	poc, height := in.Design.Network.POC, in.Backflow.Height.Metres()
	if height >= least-measureSlack {
		return nil, ""
	}
	f := found(r, "POC", &poc, height, fmt.Sprintf("the assembly stands %s above the ground; at least %s is asked for", lengthText(height), lengthText(least)))
	f.Limit = least
	return []Finding{f}, ""
}

// missing is a finding about something the plan does not hold.
func missing(r Rule, when bool, text string) ([]Finding, string) {
	if !when {
		return nil, ""
	}
	return []Finding{found(r, "", nil, 0, text)}, ""
}

func planSource(in *Input, r Rule) ([]Finding, string) {
	return missing(r, in.Design.Network.POCAssumed, "the point of connection is assumed; the survey gives no source")
}

func planController(in *Input, r Rule) ([]Finding, string) {
	return missing(r, in.Lot.Controller == nil, "the survey gives no place of the controller")
}

func planSizes(in *Input, r Rule) (out []Finding, unseen string) {
	for _, p := range in.Design.Network.Pipes {
		if p.Size == "" {
			out = append(out, found(r, p.Label, middle(p.Path), 0, p.Label+" has no size"))
		}
	}
	return out, ""
}

func planFlows(in *Input, r Rule) (out []Finding, unseen string) {
	for _, h := range in.Design.Heads {
		if h.Flow <= 0 || h.Pressure <= 0 || h.Zone <= 0 {
			out = append(out, found(r, h.Label, &h.At, 0, h.Label+" has no zone, flow or pressure"))
		}
	}
	return out, ""
}

func planCoverage(in *Input, r Rule) ([]Finding, string) {
	d := in.Design
	if d.Coverage >= r.limit() || len(d.Heads) == 0 {
		return nil, ""
	}
	return []Finding{found(r, "", nil, d.Coverage, fmt.Sprintf("%s of the lawn stay dry (coverage %.1f %%): the plan must note where",
		areaText(d.DryArea), 100*d.Coverage))}, ""
}

func planDemand(in *Input, r Rule) ([]Finding, string) {
	known := in.Design.Water != nil && in.Design.Water.Known
	return missing(r, !known, "the supply was not measured: the pressure at the point of connection and the largest demand are not known")
}
