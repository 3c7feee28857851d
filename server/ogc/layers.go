package ogc

import (
	"fmt"
	"strconv"

	"lotwright/layout/feature"
)

// layers are the collections: the layers that a design is written as.
var layers = feature.Schema()

// titles of the collections.
var titles = map[string]string{
	"lot": "Lots", "head": "Heads", "wetted": "Ground that heads reach", "dry": "Dry areas", "narrow": "Strips too narrow for heads",
	"overspray": "Overspray", "trench": "Trenches", "pipe": "Pipes", "valve": "Valves", "note": "Remarks",
}

func title(l feature.Layer) string {
	if t, ok := titles[l.Name]; ok {
		return t
	}
	return l.Name
}

func layerOf(name string) (feature.Layer, bool) {
	for _, l := range layers {
		if l.Name == name {
			return l, true
		}
	}
	return feature.Layer{}, false
}

// layer is that of the path.
func (c call) layer() (feature.Layer, error) {
	l, ok := layerOf(c.vars["collection"])
	if !ok {
		return l, notFound("there is no collection %q", c.vars["collection"])
	}
	return l, nil
}

// filters are the properties that a layer's features may be chosen by.
func filters(l feature.Layer) (names []string) {
	for _, f := range l.Fields {
		if f.Name != "layer" { // the same on all
			names = append(names, f.Name)
		}
	}
	return names
}

// condition wants a property to have a value.
type condition struct {
	name  string
	value any // string, float64 or bool
}

func (c condition) holds(values map[string]any) bool { return values[c.name] == c.value }

// conditions reads the parameters that are properties of the layer, but for lot.
func (c call) conditions(l feature.Layer) (list []condition, err error) {
	for _, f := range l.Fields[2:] {
		text, ok := c.query[f.Name]
		if !ok {
			continue
		}
		v, err := parseValue(f, text)
		if err != nil {
			return nil, badRequest("%s: got %q, want a value of type %s", f.Name, text, f.Type)
		}
		list = append(list, condition{f.Name, v})
	}
	return list, nil
}

func parseValue(f feature.Field, text string) (any, error) {
	switch f.Type {
	case feature.Boolean:
		if text != "true" && text != "false" {
			return nil, fmt.Errorf("neither true nor false")
		}
		return text == "true", nil
	case feature.Integer, feature.Real:
		return strconv.ParseFloat(text, 64)
	}
	return text, nil
}

// schemaField describes a property. A type is one word, although null is always
// allowed: GDAL takes a column whose type is a list for text.
type schemaField struct {
	Type        string `json:"type"`
	Description string `json:"description"`
	Unit        string `json:"x-ogc-unit,omitempty"`
}

func describe(f feature.Field) schemaField {
	kind := map[feature.Type]string{feature.Real: "number"}[f.Type]
	if kind == "" {
		kind = string(f.Type)
	}
	return schemaField{kind, f.Meaning + "; null where it is not known", f.Unit}
}

// ordered is a JSON object whose members come in order.
type ordered []member

type member struct {
	name  string
	value any
}

// MarshalJSON writes the members.
func (o ordered) MarshalJSON() ([]byte, error) {
	text := []byte("{")
	for i, m := range o {
		if i > 0 {
			text = append(text, ',')
		}
		text = append(strconv.AppendQuote(text, m.name), ':')
		text = append(text, document("", m.value).body...)
	}
	return append(text, '}'), nil
}

// schema answers with the JSON Schema of a collection's features.
func (c call) schema() (answer, error) {
	l, err := c.layer()
	if err != nil {
		return answer{}, err
	}
	var properties ordered
	for _, f := range l.Fields {
		properties = append(properties, member{f.Name, describe(f)})
	}
	return document(schemaType, ordered{
		{"$schema", "http://json-schema.org/draft-07/schema#"},
		{"$id", c.root + "/collections/" + l.Name + "/schema"},
		{"title", title(l)},
		{"description", l.Meaning},
		{"type", "object"},
		{"required", []string{"type", "id", "properties", "geometry"}},
		{"properties", ordered{
			{"type", map[string]any{"type": "string", "enum": []string{"Feature"}}},
			{"id", map[string]string{"type": "integer"}},
			{"properties", ordered{{"type", "object"}, {"properties", properties}}},
			{"geometry", map[string]string{"$ref": geometrySchema(l.Geometry)}},
		}},
	}), nil
}

func geometrySchema(g feature.Geometry) string {
	return "https://geojson.org/schema/" + string(g) + ".json"
}
