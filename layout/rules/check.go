package rules

import (
	"fmt"
	"math"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Input is what is checked.
type Input struct {
	Lot    *layout.Lot
	Design *layout.Design

	// Spray tells the heads that rules on spray are about; nil: fixed-arc heads
	// whose model says so.
	Spray func(layout.Head) bool
	// Strips returns the lawn in strips narrower than a width with paving on two
	// sides or more; nil: it is not known.
	Strips func(width layout.Length) (geom.Region, error)
	// Height is the height of the ground; nil where it was not surveyed.
	Height func(geom.Point) layout.Length
	// Backflow is the assembly that is there or planned, as the user says.
	Backflow *Backflow
}

// Backflow is a backflow assembly as the user describes it.
type Backflow struct {
	Device string        // as the rules name it, e.g. "pressure_vacuum_breaker"
	Height layout.Length // of its lowest part above the ground at the point of connection
}

// Finding is a rule that a design does not keep.
type Finding struct {
	Rule     Rule
	Where    string      // label of the head, pipe, trench run or zone; empty: the lot
	At       *geom.Point // nil: the whole lot
	Measured float64     // in SI: m, m², m/s, share
	Limit    float64     // the same
	Text     string      // with both values
}

// Item is a rule to be looked at on site, with the reason it was not checked.
type Item struct {
	Rule   Rule
	Reason string
}

// Report is what became of every rule that was on.
type Report struct {
	Findings []Finding // in the order of the rules, then of the design
	OnSite   []Item
	Kept     []Rule // checked, with nothing found
}

// Notes returns the findings as remarks on the lot.
func (r *Report) Notes() (out []layout.Note) {
	for _, f := range r.Findings {
		out = append(out, layout.Note{Rule: "rule." + f.Rule.ID, Severity: f.Rule.Severity, At: f.At,
			Text: fmt.Sprintf("%s (%s)", f.Text, f.Rule.Source)})
	}
	return out
}

// check is a kind of check: what its limit measures, and the checker. It returns
// what it found, or why it could not look.
type check struct {
	unit string
	run  func(in *Input, r Rule) ([]Finding, string)
}

// checks are the kinds, by name.
var checks map[string]check

func init() { // refers to checkers that refer to rules
	checks = map[string]check{
		"spray_strip":           {"length", sprayInStrips},
		"head_from_paving":      {"length", headsFromPaving},
		"head_from_building":    {"length", headsFromBuildings},
		"spacing_off_radius":    {"share", spacingOffRadius},
		"spacing_of_radius":     {"share", spacingOfRadius},
		"overspray":             {"area", overspray},
		"wet_near_paving":       {"length", wetNearPaving},
		"strip_overspray":       {"length", oversprayInStrips},
		"slope":                 {"share", slopes},
		"matched_rate":          {"share", matchedRates},
		"irrigated_area":        {"area", irrigatedArea},
		"velocity":              {"velocity", velocities},
		"cover":                 {"length", cover},
		"cover_under_paving":    {"length", coverUnderPaving},
		"trench_depth":          {"length", trenchDepth},
		"unsleeved":             {"", unsleeved},
		"sleeve_beyond":         {"length", sleevesBeyond},
		"backflow_above_heads":  {"length", backflowAboveHeads},
		"backflow_above_ground": {"length", backflowAboveGround},
		"plan_source":           {"", planSource},
		"plan_controller":       {"", planController},
		"plan_sizes":            {"", planSizes},
		"plan_flows":            {"", planFlows},
		"plan_coverage":         {"share", planCoverage},
		"plan_demand":           {"", planDemand},
		"on_site":               {"", onSite},
	}
}

// Check holds a design against rules. Every rule ends up in the report once or,
// with several findings, more often.
func Check(in Input, rules []Rule) *Report {
	if in.Spray == nil {
		in.Spray = namedSpray
	}
	out := &Report{}
	for _, r := range rules {
		found, unseen := checks[r.Kind].run(&in, r)
		switch {
		case unseen != "":
			out.OnSite = append(out.OnSite, Item{Rule: r, Reason: unseen})
		case len(found) == 0:
			out.Kept = append(out.Kept, r)
		}
		out.Findings = append(out.Findings, found...)
	}
	return out
}

// found is a finding at a place.
func found(r Rule, where string, at *geom.Point, measured float64, text string) Finding {
	return Finding{Rule: r, Where: where, At: at, Measured: measured, Limit: r.limit(), Text: text}
}

func onSite(*Input, Rule) ([]Finding, string) { return nil, "not in the data of a design" }

// lengthText writes a length small or large, in both systems.
func lengthText(metres float64) string {
	if math.Abs(metres) < 1 {
		return fmt.Sprintf("%.1f in (%.0f mm)", metres/layout.MetresPerInch, metres*geom.MillimetresPerMetre)
	}
	return layout.Length(metres).String()
}

// areaText writes an area in both systems.
func areaText(m2 float64) string {
	return fmt.Sprintf("%.2f m² (%.1f sq ft)", m2, m2/(layout.MetresPerFoot*layout.MetresPerFoot))
}
