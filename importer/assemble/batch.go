package assemble

import (
	"cmp"
	"context"
	"errors"
	"io"
	"slices"

	"lotwright/importer"
	"lotwright/importer/geojson"
	"lotwright/importer/project"
	"lotwright/layout"
)

// Input is one file of a batch.
type Input struct {
	Name   string // for messages; empty: the path
	Path   string // "-" or empty: Reader
	Reader io.Reader
	// Layer is what every feature of the file shows; empty when the features
	// carry properties.layer and properties.lot, or when the names of the
	// file's tables say what they show.
	Layer layout.Layer
	// Table is the one table to read of a GeoPackage or zipped shapefiles;
	// empty: all that show a layer.
	Table  string
	Format geojson.Format
}

// Batch is a set of opened files and the index of the lots in them. It is safe
// for concurrent use.
type Batch struct {
	files    []file
	lots     []lot // by id
	refs     []ref // by lot
	findings []importer.Finding
	options  Options
}

// file is an opened document and how its coordinates are turned into degrees.
type file struct {
	*geojson.Document
	system project.System
}

// lot is a run of refs.
type lot struct {
	id       string
	from, to int
}

// ref points at a feature.
type ref struct {
	file, feature int32
}

// Open reads and indexes the inputs. What concerns a whole request, such as
// broken syntax or a feature that belongs to no lot, is an *importer.Refusal and
// is known here, before any lot is assembled.
func Open(ctx context.Context, inputs []Input, o Options) (*Batch, error) {
	o.Limits = o.Limits.OrDefaults()
	b := &Batch{options: o}
	if err := b.open(ctx, inputs); err != nil {
		_ = b.Close()
		return nil, err
	}
	return b, nil
}

func (b *Batch) open(ctx context.Context, inputs []Input) error {
	for _, in := range inputs {
		if err := b.openFile(ctx, in); err != nil {
			return err
		}
	}
	pairs := b.labelled()
	joined, err := b.joined(ctx)
	if err != nil {
		return err
	}
	b.index(append(pairs, joined...))
	if len(b.lots) == 0 {
		r := importer.Refuse(-1, "batch.empty", "the input holds no lots")
		if len(b.files) > 0 {
			r.Finding.File = b.files[0].Name()
		}
		return r
	}
	if err := b.findOverlaps(ctx); err != nil {
		return err
	}
	importer.SortFindings(b.findings)
	return nil
}

// Feature decodes a feature, with its coordinates in degrees.
func (f file) Feature(i int) importer.Feature {
	x := f.Document.Feature(i)
	if f.system.Degrees() {
		return x
	}
	for _, part := range x.Geometry.Parts {
		for _, ring := range part {
			for k, p := range ring {
				ring[k] = f.system.LonLat(p)
			}
		}
	}
	return x
}

// Bounds returns the bounds of a feature in degrees; false when they are not
// known or hold nothing.
func (f file) Bounds(i int) (importer.Bounds, bool) {
	box, ok := f.Box(i)
	if !ok || box.Empty() || f.system.Degrees() {
		return box, ok && !box.Empty()
	}
	// The straight sides of a projected box bend in degrees, but over a lot by
	// far less than a share of 1 %.
	out := importer.EmptyBounds()
	for _, corner := range []importer.Position{box.Min, {box.Min[0], box.Max[1]}, box.Max, {box.Max[0], box.Min[1]}} {
		out = out.Grow(f.system.LonLat(corner))
	}
	const bend = 0.01
	return out.Pad(bend*(out.Max[0]-out.Min[0]), bend*(out.Max[1]-out.Min[1])), !out.Empty()
}

// given is a feature with the lot it was given to.
type given struct {
	lot string
	ref ref
}

// labelled lists the features that name their lot.
func (b *Batch) labelled() []given {
	var out []given
	for k, f := range b.files {
		for i := range f.Len() {
			if id, ok := f.Lot(i); ok {
				out = append(out, given{id, ref{int32(k), int32(i)}})
			}
		}
	}
	return out
}

// index sorts the features by lot. Within a lot they stay in the order of the
// files.
func (b *Batch) index(all []given) {
	slices.SortFunc(all, func(g, h given) int {
		return cmp.Or(cmp.Compare(g.lot, h.lot), cmp.Compare(g.ref.file, h.ref.file), cmp.Compare(g.ref.feature, h.ref.feature))
	})
	all = slices.Compact(all) // by place, a feature can come to a lot twice
	b.refs = make([]ref, len(all))
	for k, g := range all {
		b.refs[k] = g.ref
		if k == 0 || g.lot != all[k-1].lot {
			b.lots = append(b.lots, lot{id: g.lot, from: k})
		}
		b.lots[len(b.lots)-1].to = k + 1
	}
}

// Len returns the number of lots.
func (b *Batch) Len() int { return len(b.lots) }

// ID returns the id of a lot. Lots are in bytewise order of their ids, whatever
// the order of the input.
func (b *Batch) ID(i int) string { return b.lots[i].id }

// Lot assembles a lot. It never panics: what goes wrong inside is a finding of
// the lot.
func (b *Batch) Lot(i int) (item Item) {
	l := b.lots[i]
	defer contain(l.id, &item)
	if n, most := l.to-l.from, b.options.Limits.LotFeatures+mostDrawn; n > most {
		f := tooManyFeatures(n, most)
		f.Lot = l.id
		return Item{ID: l.id, Findings: []importer.Finding{f}}
	}
	var features []importer.Feature
	for _, r := range b.refs[l.from:l.to] {
		f := b.files[r.file]
		x := f.Feature(int(r.feature))
		x.Joined = x.Joined || f.isLoose()
		features = append(features, x)
	}
	return Lot(l.id, features, b.options)
}

// Drawn returns what the batch holds of designs of a lot, its heads among them.
func (b *Batch) Drawn(i int) (out []importer.Feature) {
	l := b.lots[i]
	for _, r := range b.refs[l.from:l.to] {
		if x := b.files[r.file].Feature(int(r.feature)); drawnLayers[x.Layer] || x.Layer == layout.LayerHead {
			out = append(out, x)
		}
	}
	return out
}

// Findings returns the remarks about the batch as a whole, in order.
func (b *Batch) Findings() []importer.Finding { return b.findings }

// Close closes all files.
func (b *Batch) Close() error {
	var errs []error
	for _, f := range b.files {
		errs = append(errs, f.Close())
	}
	return errors.Join(errs...)
}
