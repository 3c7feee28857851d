package importer

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"lotwright/layout"
)

// Scope is how far a finding reaches.
type Scope string

// The scopes.
const (
	ScopeNone    Scope = "none"    // a remark; nothing is refused
	ScopeLot     Scope = "lot"     // about one lot; of severity error, that lot is refused
	ScopeRequest Scope = "request" // the whole request is refused
)

// Finding is one thing found in the input: which rule, how bad, and where.
type Finding struct {
	File    string // as the caller named it
	Lot     string // lot id; empty when it is about none
	Feature int    // index among the file's features; negative when about none
	Layer   layout.Layer

	Rule     string // dotted code, e.g. "ring.self_intersection"
	Severity layout.Severity
	Scope    Scope
	Text     string // in words, without file, lot and feature index

	Place  *Position // longitude and latitude, degrees
	Offset int64     // byte in the decompressed text; negative when unknown
}

// Found returns a finding of the given severity about no place in particular.
// Errors have the scope of a lot, all others none.
func Found(severity layout.Severity, rule, format string, args ...any) Finding {
	f := Finding{Feature: -1, Offset: -1, Rule: rule, Severity: severity, Scope: ScopeNone, Text: fmt.Sprintf(format, args...)}
	if severity == layout.SeverityError {
		f.Scope = ScopeLot
	}
	return f
}

// Fault returns a finding that refuses its lot.
func Fault(rule, format string, args ...any) Finding {
	return Found(layout.SeverityError, rule, format, args...)
}

// Warning returns a finding about something that was put right or left out.
func Warning(rule, format string, args ...any) Finding {
	f := Found(layout.SeverityWarning, rule, format, args...)
	f.Scope = ScopeLot
	return f
}

// At returns f with its place set.
func (f Finding) At(p Position) Finding {
	f.Place = &p
	return f
}

// Of returns f with the file, lot, index and layer of a feature.
func (f Finding) Of(x Feature) Finding {
	f.File, f.Lot, f.Feature, f.Layer = x.File, x.Lot, x.Index, x.Layer
	return f
}

// String writes f in one line, whatever its parts hold: everything that came
// from the input is quoted.
func (f Finding) String() string {
	var b strings.Builder
	if f.File != "" {
		fmt.Fprintf(&b, "%q: ", f.File)
	}
	if f.Lot != "" {
		fmt.Fprintf(&b, "lot %q: ", f.Lot)
	}
	if f.Feature >= 0 {
		fmt.Fprintf(&b, "features[%d]: ", f.Feature)
	}
	if f.Layer != "" {
		fmt.Fprintf(&b, "layer %q: ", string(f.Layer))
	}
	fmt.Fprintf(&b, "%s: %s", f.Rule, f.Text)
	if f.Place != nil {
		fmt.Fprintf(&b, " at %.7f, %.7f", f.Place[0], f.Place[1])
	}
	if f.Offset >= 0 {
		fmt.Fprintf(&b, " (byte %d)", f.Offset)
	}
	return b.String()
}

// Compare orders findings by lot, rule, text, place, file and feature: a full
// key.
func (f Finding) Compare(g Finding) int {
	return cmp.Or(
		cmp.Compare(f.Lot, g.Lot), cmp.Compare(f.Rule, g.Rule), cmp.Compare(f.Text, g.Text),
		comparePlaces(f.Place, g.Place), cmp.Compare(f.Layer, g.Layer), cmp.Compare(f.Severity, g.Severity),
		cmp.Compare(f.File, g.File), cmp.Compare(f.Feature, g.Feature), cmp.Compare(f.Offset, g.Offset))
}

func comparePlaces(p, q *Position) int {
	switch {
	case p == nil && q == nil:
		return 0
	case p == nil:
		return -1
	case q == nil:
		return 1
	}
	return slices.Compare(p[:], q[:])
}

// SortFindings puts findings into the order of [Finding.Compare].
func SortFindings(fs []Finding) { slices.SortFunc(fs, Finding.Compare) }

// FirstError returns the first finding of severity error.
func FirstError(fs []Finding) (Finding, bool) {
	i := slices.IndexFunc(fs, func(f Finding) bool { return f.Severity == layout.SeverityError })
	if i < 0 {
		return Finding{}, false
	}
	return fs[i], true
}

// Refusal is the error of a request that is refused as a whole.
type Refusal struct{ Finding Finding }

// Refuse returns the refusal of a request because of the byte at offset;
// negative when no byte is to blame.
func Refuse(offset int64, rule, format string, args ...any) *Refusal {
	f := Found(layout.SeverityError, rule, format, args...)
	f.Scope, f.Offset = ScopeRequest, offset
	return &Refusal{Finding: f}
}

// Error writes the finding.
func (r *Refusal) Error() string { return r.Finding.String() }
