package assemble

import (
	"encoding/json"
	"fmt"

	"lotwright/importer"
	"lotwright/layout"
)

// Labelled returns the features of a lot as GeoJSON, in degrees, each with its
// lot and layer written on it and "joined" where it came to the lot by place.
// What was wrong with a feature is still wrong with it.
func (b *Batch) Labelled(i int) ([][]byte, error) {
	l := b.lots[i]
	var out [][]byte
	for _, r := range b.refs[l.from:l.to] {
		text, err := b.files[r.file].labelled(int(r.feature), l.id)
		if err != nil {
			return nil, fmt.Errorf("lot %q: %w", l.id, err)
		}
		out = append(out, text)
	}
	return out, nil
}

// labelled is one feature of a lot.
func (f file) labelled(i int, lot string) ([]byte, error) {
	text, err := f.Text(i)
	if err != nil {
		return nil, err
	}
	var whole struct {
		Type       string                     `json:"type"`
		ID         json.RawMessage            `json:"id,omitempty"`
		Properties map[string]json.RawMessage `json:"properties"`
		Geometry   json.RawMessage            `json:"geometry"`
	}
	if err := json.Unmarshal(text, &whole); err != nil {
		return nil, err
	}
	x := f.Feature(i)
	if _, faulty := importer.FirstError(x.Findings); !faulty && !f.system.Degrees() {
		if whole.Geometry, err = json.Marshal(geometryOf(x.Geometry)); err != nil {
			return nil, err
		}
	}
	if whole.Properties == nil {
		whole.Properties = map[string]json.RawMessage{}
	}
	if err := setLabels(whole.Properties, lot, f.Layer(), f.isLoose()); err != nil {
		return nil, err
	}
	return json.Marshal(whole)
}

// geometryOf writes a geometry as GeoJSON nests it.
func geometryOf(g importer.Geometry) any {
	if g.Type == importer.NoGeometry {
		return nil
	}
	return struct {
		Type        importer.GeometryType `json:"type"`
		Coordinates any                   `json:"coordinates"`
	}{g.Type, nested(g)}
}

func nested(g importer.Geometry) any {
	points, lines := []importer.Position{}, [][]importer.Position{}
	for _, part := range g.Parts {
		for _, line := range part {
			lines = append(lines, line)
			points = append(points, line...)
		}
	}
	switch {
	case g.Type == importer.Point && len(points) == 1:
		return points[0]
	case g.Type == importer.LineString && len(lines) == 1, g.Type == importer.MultiPoint, g.Type == importer.Point:
		return points
	case g.Type == importer.MultiLineString, g.Type == importer.LineString:
		return lines
	case g.Type == importer.Polygon && len(g.Parts) == 1:
		return g.Parts[0]
	}
	return append([][][]importer.Position{}, g.Parts...)
}

// setLabels writes lot and layer; a layer that the feature names itself stays as
// it is, right or wrong.
func setLabels(properties map[string]json.RawMessage, lot string, layer layout.Layer, joined bool) (err error) {
	if properties["lot"], err = json.Marshal(lot); err != nil || layer == "" {
		return err
	}
	if joined {
		properties["joined"] = json.RawMessage("true")
	}
	properties["layer"], err = json.Marshal(layer)
	return err
}
