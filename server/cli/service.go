package cli

import (
	"context"
	"errors"
	"io"
	"strings"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/takeoff"
	"lotwright/server/rpc"
)

// What the service does with a request, by the same means as the command line.

// designForRequest designs one lot. A panic is left to the service, which logs
// it and tells the client nothing of the inside.
func designForRequest(ctx context.Context, lot *layout.Lot, s rpc.Settings) (*layout.Design, error) {
	settings, err := requestSettings(s)
	if err != nil {
		return nil, err
	}
	return design.Run(design.Watched(ctx, rpc.Stage), lot, settings)
}

// assembleRequest makes a lot of features that came over the wire.
func assembleRequest(id string, features []rpc.Feature) rpc.Item {
	return requestItem(assemble.Lot(id, surveyedFeatures(id, features), assemble.Options{}))
}

func surveyedFeatures(id string, features []rpc.Feature) (out []importer.Feature) {
	for i, f := range features {
		out = append(out, importer.Feature{
			Index: i, Lot: id, Layer: f.Layer, Geometry: surveyedGeometry(f), Properties: surveyedProperties(f),
		})
	}
	return out
}

func surveyedGeometry(f rpc.Feature) importer.Geometry {
	g := importer.Geometry{Type: importer.GeometryType(f.Type)}
	for _, part := range f.Parts {
		var rings [][]importer.Position
		for _, ring := range part {
			var positions []importer.Position
			for _, p := range ring {
				positions = append(positions, importer.Position(p))
			}
			rings = append(rings, positions)
		}
		g.Parts = append(g.Parts, rings)
	}
	return g
}

func surveyedProperties(f rpc.Feature) importer.Properties {
	p := importer.Properties{Fixed: f.Fixed}
	if f.Height != nil {
		p.Quantities = append(p.Quantities, importer.Quantity{Name: "height_m", Value: f.Height.Metres()})
	}
	for _, q := range []struct {
		name  string
		value *float64
	}{{"throw_m", (*float64)(f.Throw)}, {"arc_start_deg", f.ArcStart}, {"arc_sweep_deg", f.ArcSweep}} {
		if q.value != nil {
			p.Quantities = append(p.Quantities, importer.Quantity{Name: q.name, Value: *q.value})
		}
	}
	if f.Model != "" {
		p.Texts = append(p.Texts, importer.Text{Name: "model", Value: f.Model})
	}
	if f.RootRadius != nil {
		p.Quantities = append(p.Quantities, importer.Quantity{Name: "root_radius_m", Value: f.RootRadius.Metres()})
	}
	if f.Head != "" {
		p.Texts = append(p.Texts, importer.Text{Name: "head", Value: f.Head})
	}
	return p
}

func requestItem(item assemble.Item) rpc.Item {
	if item.Lot != nil {
		return rpc.Item{Lot: item.Lot}
	}
	for i, f := range item.Findings {
		if f.Rule == assemble.RuleInternal {
			item.Findings[i].Text = "the lot could not be read: a fault of the program"
		}
	}
	return rpc.Item{Refused: refused(item)}
}

// openRequest reads a GeoJSON body of many lots.
func openRequest(ctx context.Context, body io.Reader) (rpc.Source, error) {
	batch, err := openBody(ctx, body, assemble.Options{})
	if err != nil {
		return nil, err
	}
	return requestSource{batch}, nil
}

func openBody(ctx context.Context, body io.Reader, o assemble.Options) (*assemble.Batch, error) {
	batch, err := assemble.Open(ctx, []assemble.Input{{Name: "body", Reader: body}}, o)
	var refusal *importer.Refusal
	if errors.As(err, &refusal) {
		return nil, requestRefusal(refusal.Finding)
	}
	return batch, err
}

func requestRefusal(f importer.Finding) *rpc.Refusal {
	return &rpc.Refusal{
		Rule: f.Rule, Text: f.Text, Lot: f.Lot,
		Feature: known(f.Feature, f.Feature >= 0),
		Place:   (*[2]float64)(f.Place),
	}
}

// requestSource is a batch as the service sees it.
type requestSource struct{ *assemble.Batch }

func (s requestSource) Lot(i int) rpc.Item { return requestItem(s.Batch.Lot(i)) }

// priceForRequest reads a price list, and says what designed lots cost by it.
func priceForRequest(list string) (func(*layout.Design) (rpc.Cost, error), error) {
	prices := takeoff.InventedPrices()
	if list != "" {
		var err error
		if prices, err = takeoff.ReadPrices(strings.NewReader(list)); err != nil {
			return nil, err
		}
	}
	return func(d *layout.Design) (rpc.Cost, error) {
		parts, err := takeoff.Of(d, takeoff.Settings{})
		if err != nil {
			return rpc.Cost{}, err
		}
		bill := takeoff.Priced(parts, prices)
		return rpc.Cost{Parts: int64(bill.Parts), Labour: int64(bill.Labour)}, nil
	}, nil
}
