package ogc

import (
	_ "embed"
	"encoding/json"

	"lotwright/layout/feature"
)

// skeleton is what the description of the API has for every batch. GDAL from 3.8
// on looks for the literal path of a collection's items and, among its
// parameters, for a reference whose name holds "limit".
//
//go:embed openapi.json
var skeleton []byte

// object is a JSON object; its members are written in alphabetical order.
type object = map[string]any

// openAPI answers with the description of the API.
func (c call) openAPI() (answer, error) {
	var d object
	if err := json.Unmarshal(skeleton, &d); err != nil {
		return answer{}, err
	}
	d["info"].(object)["title"] = c.title()
	d["servers"] = []any{object{"url": c.root}}
	paths, schemas := d["paths"].(object), d["components"].(object)["schemas"].(object)
	for _, l := range layers {
		for path, operation := range operations(l) {
			paths["/collections/"+l.Name+path] = object{"get": operation}
		}
		schemas[l.Name+"Feature"] = featureSchema(l)
		schemas[l.Name+"Features"] = pageSchema(l)
	}
	return document(openAPIType, d), nil
}

func ref(kind, name string) object { return object{"$ref": "#/components/" + kind + "/" + name} }

// operations are those of a collection, by the rest of their path.
func operations(l feature.Layer) object {
	known := []any{ref("parameters", "f")}
	return object{
		"":        operation("describe", "What the collection is", l, known, ref("responses", "Collection")),
		"/schema": operation("schemaOf", "What its features are", l, known, ref("responses", "Schema")),
		"/items":  operation("list", "Its features", l, append(itemsParameters(l), known...), geoJSONResponse("a page of features", l.Name+"Features")),
		"/items/{featureId}": operation("get", "One of its features", l,
			append([]any{ref("parameters", "featureId"), ref("parameters", "crs")}, known...), geoJSONResponse("a feature", l.Name+"Feature")),
	}
}

func operation(verb, summary string, l feature.Layer, parameters []any, response object) object {
	return object{
		"tags": []string{"Features"}, "operationId": verb + "." + l.Name, "summary": title(l) + ": " + summary, "parameters": parameters,
		"responses": object{"200": response, "400": ref("responses", "Problem"), "404": ref("responses", "Problem")},
	}
}

func itemsParameters(l feature.Layer) (list []any) {
	for _, name := range itemParameters {
		list = append(list, ref("parameters", name))
	}
	for _, f := range l.Fields {
		if f.Name == "layer" {
			continue
		}
		list = append(list, object{
			"name": f.Name, "in": "query", "required": false, "description": "Only features of this value: " + f.Meaning + ".",
			"schema": object{"type": describe(f).Type}, "style": "form", "explode": false,
		})
	}
	return list
}

func geoJSONResponse(what, schema string) object {
	return object{
		"description": what, "headers": object{"Content-Crs": ref("headers", "Content-Crs")},
		"content": object{geoJSONType: object{"schema": ref("schemas", schema)}},
	}
}

func featureSchema(l feature.Layer) object {
	properties := object{}
	var names []string
	for _, f := range l.Fields {
		properties[f.Name] = object{"type": describe(f).Type, "nullable": true, "description": f.Meaning}
		names = append(names, f.Name)
	}
	return object{
		"type": "object", "required": []string{"type", "id", "properties", "geometry"},
		"properties": object{
			"type": object{"type": "string", "enum": []string{"Feature"}},
			"id":   object{"type": "integer", "format": "int64"},
			"properties": object{
				"type": "object", "required": names, "properties": properties, "additionalProperties": false,
			},
			"geometry": ref("schemas", string(l.Geometry)),
			"links":    ref("schemas", "Links"),
		},
	}
}

func pageSchema(l feature.Layer) object {
	return object{
		"type": "object", "required": []string{"type", "features", "links", "timeStamp", "numberReturned"},
		"properties": object{
			"type":           object{"type": "string", "enum": []string{"FeatureCollection"}},
			"timeStamp":      object{"type": "string", "format": "date-time"},
			"numberMatched":  object{"type": "integer", "minimum": 0},
			"numberReturned": object{"type": "integer", "minimum": 0},
			"links":          ref("schemas", "Links"),
			"features":       object{"type": "array", "items": ref("schemas", l.Name+"Feature")},
		},
	}
}
