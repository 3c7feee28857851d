package rules

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"sync"

	_ "embed"

	"lotwright/layout"
)

// Rule is one published rule.
type Rule struct {
	ID           string          `json:"id"`
	Jurisdiction string          `json:"jurisdiction"` // tag, e.g. "us-tx"; empty: general
	Kind         string          `json:"kind"`         // what is measured; see [Kinds]
	Device       string          `json:"device"`       // kind of backflow assembly it is about
	Limit        float64         `json:"limit"`        // in Unit
	Unit         string          `json:"unit"`
	Severity     layout.Severity `json:"severity"`
	Text         string          `json:"text"`
	Source       string          `json:"source"`
}

// units bring limits to SI: metres, square metres, metres per second, shares.
var units = map[string]float64{
	"": 1, "share": 1, "ratio": 1,
	"in": layout.MetresPerInch, "ft": layout.MetresPerFoot, "m": 1,
	"ft/s": layout.MetresPerFoot, "m/s": 1,
	"m2": 1, "ac": squareMetresPerAcre,
}

// squareMetresPerAcre is 43 560 square feet.
const squareMetresPerAcre = 43560 * layout.MetresPerFoot * layout.MetresPerFoot

// limit is the limit in SI.
func (r Rule) limit() float64 { return r.Limit * units[r.Unit] }

//go:embed rules.json
var published []byte

var parsed = sync.OnceValues(func() ([]Rule, error) { return Parse(bytes.NewReader(published)) })

// Published returns the rules that come with the program.
func Published() ([]Rule, error) {
	rules, err := parsed()
	return slices.Clone(rules), err
}

// maxRuleBytes bounds a file of rules.
const maxRuleBytes = 1 << 20

// Parse reads a file of rules: a JSON array of objects with the members of
// [Rule]. The error names the rule, by its place in the file, and what is wrong.
func Parse(r io.Reader) ([]Rule, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxRuleBytes+1))
	if err != nil {
		return nil, fmt.Errorf("rules: %w", err)
	}
	if len(text) > maxRuleBytes {
		return nil, fmt.Errorf("rules: the file is larger than %d MiB", maxRuleBytes>>20)
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	var out []Rule
	if err := d.Decode(&out); err != nil {
		return nil, fmt.Errorf("rules: %w", err)
	}
	if d.More() {
		return nil, errors.New("rules: something follows the list")
	}
	seen := map[string]bool{}
	for i, rule := range out {
		if err := rule.validate(); err != nil {
			return nil, fmt.Errorf("rules: rule %d, %q: %w", i+1, rule.ID, err)
		}
		if seen[rule.ID] {
			return nil, fmt.Errorf("rules: rule %d, %q: the id is there twice", i+1, rule.ID)
		}
		seen[rule.ID] = true
	}
	return out, nil
}

// validate says what is wrong with a rule, if anything.
func (r Rule) validate() error {
	_, known := checks[r.Kind]
	_, unit := units[r.Unit]
	severities := []layout.Severity{layout.SeverityInfo, layout.SeverityWarning, layout.SeverityError}
	switch {
	case r.ID == "":
		return errors.New("no id")
	case !known:
		return fmt.Errorf("%q is no kind of check; there are %s", r.Kind, strings.Join(Kinds(), ", "))
	case r.Text == "" || r.Source == "":
		return errors.New("text and source must be given")
	case !unit:
		return fmt.Errorf("%q is no unit", r.Unit)
	case !(r.Limit >= 0) || math.IsInf(r.Limit, 1):
		return fmt.Errorf("a limit of %v makes no sense", r.Limit)
	case !slices.Contains(severities, r.Severity):
		return fmt.Errorf("%q is no severity", r.Severity)
	case checks[r.Kind].unit != dimension[r.Unit]:
		return fmt.Errorf("a limit in %q does not go with %q", r.Unit, r.Kind)
	case strings.HasPrefix(r.Kind, "backflow") && r.Device == "":
		return errors.New("the kind of backflow assembly is not given")
	}
	return nil
}

// dimension tells which units measure the same.
var dimension = map[string]string{
	"": "", "share": "share", "ratio": "share", "in": "length", "ft": "length", "m": "length",
	"ft/s": "velocity", "m/s": "velocity", "m2": "area", "ac": "area",
}

// Kinds lists the kinds of check, in order of name.
func Kinds() (out []string) {
	for kind := range checks {
		out = append(out, kind)
	}
	slices.Sort(out)
	return out
}

// Jurisdictions lists the tags of the rules, in order.
func Jurisdictions(rules []Rule) (out []string) {
	for _, r := range rules {
		if r.Jurisdiction != "" {
			out = append(out, r.Jurisdiction)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Select returns the rules that are on: the general ones and those of the tags,
// less those switched off by id or tag. A name that is neither is an error.
func Select(rules []Rule, on, off []string) ([]Rule, error) {
	tags := Jurisdictions(rules)
	for _, tag := range on {
		if !slices.ContainsFunc(tags, func(j string) bool { return within(tag, j) || within(j, tag) }) {
			return nil, fmt.Errorf("rules: no jurisdiction %q; there are %s", tag, strings.Join(tags, ", "))
		}
	}
	for _, name := range off {
		if !slices.Contains(tags, name) && !slices.ContainsFunc(rules, func(r Rule) bool { return r.ID == name }) {
			return nil, fmt.Errorf("rules: %q is neither a rule nor a jurisdiction", name)
		}
	}
	var out []Rule
	for _, r := range rules {
		wanted := r.Jurisdiction == "" || slices.ContainsFunc(on, func(tag string) bool { return within(tag, r.Jurisdiction) })
		if wanted && !slices.Contains(off, r.ID) && (r.Jurisdiction == "" || !slices.Contains(off, r.Jurisdiction)) {
			out = append(out, r)
		}
	}
	return out, nil
}

// within reports whether a place lies in a jurisdiction: us-tx-fort-worth in us-tx.
func within(place, jurisdiction string) bool {
	return place == jurisdiction || strings.HasPrefix(place, jurisdiction+"-")
}
