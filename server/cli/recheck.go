package cli

import (
	"cmp"
	"context"
	"errors"
	"io"
	"strings"

	"lotwright/importer"
	"lotwright/importer/asbuilt"
	"lotwright/importer/assemble"
	"lotwright/importer/geojson"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/server/rpc"
)

// recheckForRequest works an edited design out anew. One that nothing can be
// worked out for is refused.
func recheckForRequest(ctx context.Context, lot *layout.Lot, edited layout.Edited, s rpc.Settings) (*layout.Design, error) {
	settings, err := requestSettings(s)
	if err != nil {
		return nil, err
	}
	d, err := design.Recheck(ctx, lot, edited, recheckSettings(edited, settings))
	var unusable design.Unusable
	if errors.As(err, &unusable) {
		return layout.Refused(lot.ID, unusable.Error(), []layout.Note{{Rule: "asbuilt.unusable", Severity: layout.SeverityError, Text: unusable.Error()}}), nil
	}
	return d, err
}

// recheckSettings lets fixed-arc heads be of any family that is built in where
// the settings name none.
func recheckSettings(edited layout.Edited, s design.Settings) design.Settings {
	if edited.Design.HeadKind == layout.FixedArc && s.Family == nil && len(s.Choice) == 0 {
		s.Choice = layout.GenericFixedArc()
	}
	return s
}

// assembleEdited makes a lot of features that came over the wire, and reads the
// edited design beside it.
func assembleEdited(id string, features []rpc.Feature, edited string) rpc.Item {
	item := assemble.Lot(id, surveyedFeatures(id, features), assemble.Options{Designs: true})
	if item.Lot == nil {
		return requestItem(item)
	}
	lots, err := asbuilt.Read(context.Background(), geojson.Source{Name: "geojson", Reader: strings.NewReader(edited), Format: geojson.Collection}, importer.Limits{})
	var refusal *importer.Refusal
	switch {
	case errors.As(err, &refusal):
		return refusedEdit(item, refusal.Finding)
	case err != nil:
		return refusedEdit(item, importer.Fault("asbuilt.unusable", "%v", err))
	}
	for _, l := range lots {
		if l.ID == id {
			return editedItem(item, l)
		}
	}
	return editedItem(item, asbuilt.Of(id, nil))
}

// openEdited reads a GeoJSON body of many lots with an edited design each.
func openEdited(ctx context.Context, body io.Reader) (rpc.Source, error) {
	batch, err := openBody(ctx, body, assemble.Options{Designs: true})
	if err != nil {
		return nil, err
	}
	return editedSource{batch}, nil
}

// editedSource is a batch with edited designs.
type editedSource struct{ *assemble.Batch }

func (s editedSource) Lot(i int) rpc.Item {
	item := s.Batch.Lot(i)
	if item.Lot == nil {
		return requestItem(item)
	}
	return editedItem(item, asbuilt.Of(item.ID, item.Drawn))
}

// editedItem adds an edited design to a lot.
func editedItem(item assemble.Item, l asbuilt.Lot) rpc.Item {
	plane, ok := item.Lot.Plane.(project.Plane)
	if !ok {
		panic("bug in editedItem: a lot that was read has a plane of another kind")
	}
	edited, findings := l.Edited(plane)
	if _, bad := importer.FirstError(findings); bad {
		return refusedEdit(item, findings...)
	}
	out := requestItem(item)
	out.Edited = edited
	return out
}

// refusedEdit is a lot whose edited design cannot be taken as it is.
func refusedEdit(item assemble.Item, findings ...importer.Finding) rpc.Item {
	for _, f := range findings {
		f.Lot = cmp.Or(f.Lot, item.ID)
		item.Findings = append(item.Findings, f)
	}
	item.Lot = nil
	return requestItem(item)
}
