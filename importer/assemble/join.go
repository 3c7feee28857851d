package assemble

import (
	"cmp"
	"context"
	"slices"

	"lotwright/importer"
	"lotwright/importer/join"
	"lotwright/layout"
)

// isLoose reports whether the features of the file carry no lot id and must be
// given to parcels by place.
func (f file) isLoose() bool { return f.Layer() != "" && f.Layer() != layout.LayerParcel }

// subset is a choice of features of the batch.
type subset struct {
	batch *Batch
	refs  []ref
}

// Len returns the number of features.
func (s subset) Len() int { return len(s.refs) }

// Bounds returns the bounds of a feature in degrees.
func (s subset) Bounds(i int) (importer.Bounds, bool) {
	return s.batch.files[s.refs[i].file].Bounds(int(s.refs[i].feature))
}

// Feature decodes a feature.
func (s subset) Feature(i int) importer.Feature {
	return s.batch.files[s.refs[i].file].Feature(int(s.refs[i].feature))
}

// joined gives the features of unlabelled layers to parcels.
func (b *Batch) joined(ctx context.Context) ([]given, error) {
	parcels, loose := subset{batch: b}, subset{batch: b}
	for k, f := range b.files {
		for i := range f.Len() {
			r := ref{int32(k), int32(i)}
			_, hasBox := f.Box(i)
			switch {
			case f.isLoose():
				loose.refs = append(loose.refs, r)
			case hasBox:
				parcels.refs = append(parcels.refs, r)
			}
		}
	}
	if len(loose.refs) == 0 {
		return nil, nil
	}
	// By id, so that ties do not hang on the order of the file.
	slices.SortStableFunc(parcels.refs, func(r, s ref) int { return cmp.Compare(b.lotOf(r), b.lotOf(s)) })
	matches, findings, err := join.Features(ctx, parcels, loose)
	if err != nil {
		return nil, err
	}
	b.findings = append(b.findings, findings...)
	var out []given
	for _, m := range matches {
		out = append(out, given{b.lotOf(parcels.refs[m.Parcel]), loose.refs[m.Feature]})
	}
	return out, nil
}

// lotOf returns the lot id that a feature carries.
func (b *Batch) lotOf(r ref) string {
	id, _ := b.files[r.file].Lot(int(r.feature))
	return id
}
