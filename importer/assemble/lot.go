package assemble

import (
	"fmt"
	"slices"

	"lotwright/importer"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// Options steer the assembly. The zero value works.
type Options struct {
	Limits importer.Limits
	// LotProperty names the property with the lot id: of labelled features, in
	// place of "lot", and of a layer of parcels, in place of the guess.
	LotProperty string
	// Designs sets the layers of a design aside, head among them, rather than
	// leaving them out; see [Item].
	Designs bool
}

// Item is one lot of a batch: assembled, or refused with the reason among its
// findings.
type Item struct {
	ID       string
	Lot      *layout.Lot // nil: refused
	Findings []importer.Finding
	Place    *[2]float64 // longitude and latitude; nil when none is known

	// Drawn is what came of a design of the lot, where [Options.Designs] asked
	// for it.
	Drawn []importer.Feature
}

// Lot assembles one lot from its features, in any order.
//
//  1. What does not need a plane is checked: the id, the counts, the layers and
//     their geometry types, the range of the coordinates.
//  2. The parcel gives the plane; its outline is mended or refused.
//  3. The other layers are put into the plane, mended or refused, cut to the
//     parcel and united layer by layer.
//  4. Points, heights and measurements are added.
//
// Each step that finds an error ends the assembly; the findings of one step are
// reported together.
func Lot(id string, features []importer.Feature, o Options) (item Item) {
	defer contain(id, &item)
	b := &builder{id: id, file: commonFile(features), limits: o.Limits.OrDefaults(), lot: &layout.Lot{ID: id}}
	drawn := b.setAside(features, o.Designs)
	item = b.build()
	item.Drawn = drawn
	return item
}

// RuleInternal is the rule of a finding about the program, not the lot.
const RuleInternal = "internal"

// contain, deferred, turns a panic over one lot into its refusal.
func contain(id string, item *Item) {
	if r := recover(); r != nil {
		f := importer.Fault(RuleInternal, "the lot could not be assembled: %v", r)
		f.Lot = id
		*item = Item{ID: id, Findings: []importer.Finding{f}}
	}
}

// builder is the assembly of one lot.
type builder struct {
	id       string
	file     string // of all features, if it is one
	limits   importer.Limits
	features []importer.Feature
	findings []importer.Finding

	plane   project.Plane
	parcel  shape
	bounds  importer.Bounds // of the parcel, degrees
	shapes  []shape         // polygons of the other layers
	regions map[layout.Layer][]geom.Region
	wishes  map[string][]geom.Region // of the turf, by the heads asked for
	lot     *layout.Lot
}

func (b *builder) build() Item {
	for _, step := range []func(){
		b.checkID, b.checkFeatures, b.checkCoordinates,
		b.placeParcel, b.simplifyParcel, b.mendParcel,
		b.placeShapes, b.simplifyShapes, b.mendShapes,
		b.addLines, b.addTrees, b.unite, b.addWishes, b.addPoints, b.addSupply,
	} {
		step()
		if _, bad := importer.FirstError(b.findings); bad {
			return b.refused()
		}
	}
	return b.done()
}

// find files a finding about the lot as a whole.
func (b *builder) find(f importer.Finding) {
	f.Lot, f.File = b.id, b.file
	b.findings = append(b.findings, f)
}

// commonFile returns the file that all features come from; empty when they
// come from several.
func commonFile(features []importer.Feature) string {
	if len(features) == 0 || slices.ContainsFunc(features, func(x importer.Feature) bool { return x.File != features[0].File }) {
		return ""
	}
	return features[0].File
}

// findOf files a finding about a feature.
func (b *builder) findOf(x importer.Feature, f importer.Finding) {
	x.Lot = b.id
	b.findings = append(b.findings, f.Of(x))
}

// at returns f with the place of a grid point.
func (b *builder) at(f importer.Finding, p geom.Point) importer.Finding {
	return f.At(b.plane.Place(p))
}

func (b *builder) refused() Item {
	importer.SortFindings(b.findings)
	item := Item{ID: b.id, Findings: b.findings}
	if f, _ := importer.FirstError(b.findings); f.Place != nil {
		item.Place = (*[2]float64)(f.Place)
	} else if !b.bounds.Empty() && b.bounds != (importer.Bounds{}) {
		c := [2]float64(b.bounds.Center())
		item.Place = &c
	}
	return item
}

func (b *builder) done() Item {
	importer.SortFindings(b.findings)
	origin := [2]float64(b.plane.Origin())
	b.lot.Notes = b.notes()
	return Item{ID: b.id, Lot: b.lot, Findings: b.findings, Place: &origin}
}

// notes turns findings into the remarks that travel with the design. They name
// no file and no index, so they are the same for any order of the features.
func (b *builder) notes() []layout.Note {
	var notes []layout.Note
	for _, f := range b.findings {
		n := layout.Note{Rule: f.Rule, Severity: f.Severity, Text: f.Text}
		if f.Layer != "" {
			n.Text = fmt.Sprintf("%s: %s", f.Layer, f.Text)
		}
		if f.Place != nil {
			at := b.plane.Point(*f.Place)
			n.At = &at
		}
		notes = append(notes, n)
	}
	slices.SortFunc(notes, compareNotes)
	notes = slices.CompactFunc(notes, func(m, n layout.Note) bool { return compareNotes(m, n) == 0 })
	if rest := len(notes) - mostNotes; rest > 0 {
		notes = append(notes[:mostNotes], layout.Note{Rule: "import.more", Severity: layout.SeverityInfo,
			Text: fmt.Sprintf("and %d more remarks on the drawing", rest)})
	}
	return notes
}

// mostNotes bounds the remarks that travel with one design.
const mostNotes = 100
