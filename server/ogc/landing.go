package ogc

import "lotwright/layout/feature"

// conformanceClasses are what this package holds to.
var conformanceClasses = []string{
	"http://www.opengis.net/spec/ogcapi-common-1/1.0/conf/core",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/core",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/geojson",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/oas30",
	"http://www.opengis.net/spec/ogcapi-features-2/1.0/conf/crs",
	"http://www.opengis.net/spec/ogcapi-tiles-1/1.0/conf/core",
	"http://www.opengis.net/spec/ogcapi-tiles-1/1.0/conf/tileset",
	"http://www.opengis.net/spec/ogcapi-tiles-1/1.0/conf/tilesets-list",
	"http://www.opengis.net/spec/ogcapi-tiles-1/1.0/conf/mvt",
}

// title is the owner's words or, without any, the id.
func (c call) title() string {
	if c.batch.Title != "" {
		return c.batch.Title
	}
	return "Batch " + c.batch.ID
}

// landing answers with where all else is.
func (c call) landing() (answer, error) {
	links := []link{
		{Href: c.self, Rel: "self", Type: jsonType, Title: "this document"},
		c.link("service-desc", openAPIType, "the API, as OpenAPI 3.0", "api"),
		c.link(relConformance, jsonType, "the conformance classes", "conformance"),
		c.link(relData, jsonType, "the collections", "collections"),
		c.link(relTilesets, jsonType, "the collections as vector tiles", "tiles"),
	}
	o, err := c.complete(0)
	if err != nil {
		return answer{}, err
	}
	if o.Revision > 0 && c.options.Export != nil {
		links = append(links, link{Href: c.base + c.options.Export(c.batch.ID), Rel: "enclosure", Type: fileType, Title: "all of it as a GeoPackage with styles"})
	}
	return document(jsonType, struct {
		Title       string `json:"title"`
		Description string `json:"description"`
		Links       []link `json:"links"`
	}{c.title(), "Sprinkler designs of a batch of lots: the latest revision that is complete.", links}), nil
}

func (c call) conformance() (answer, error) {
	return document(jsonType, map[string][]string{"conformsTo": conformanceClasses}), nil
}

// collectionDocument describes a collection.
type collectionDocument struct {
	ID          string   `json:"id"`
	Title       string   `json:"title"`
	Description string   `json:"description"`
	Extent      *extent  `json:"extent,omitempty"`
	ItemType    string   `json:"itemType"`
	CRS         []string `json:"crs"`
	StorageCRS  string   `json:"storageCrs"`
	Links       []link   `json:"links"`
}

type extent struct {
	Spatial spatial `json:"spatial"`
}

type spatial struct {
	BBox [][4]float64 `json:"bbox"`
	CRS  string       `json:"crs"`
}

func (b bounds) extent() *extent {
	if !b.some() {
		return nil
	}
	west, south, east, north := b.degrees()
	return &extent{spatial{[][4]float64{{west, south, east, north}}, crs84.uri}}
}

// describe describes a collection, in the list and by itself. The link to the
// schema stands there twice: the relation is registered as describedby, but GDAL
// up to 3.6 looks for describedBy.
func (c call) describe(l feature.Layer, x *index) collectionDocument {
	path := "collections/" + l.Name
	return collectionDocument{
		ID: l.Name, Title: title(l), Description: l.Meaning, Extent: x.tables[l.Name].bounds.extent(),
		ItemType: "feature", CRS: x.uris(), StorageCRS: crs84.uri,
		Links: []link{
			c.link("self", jsonType, title(l), path),
			c.link("items", geoJSONType, "the features", path+"/items"),
			c.link("describedby", schemaType, "the schema of the features", path+"/schema"),
			c.link("describedBy", schemaType, "the schema of the features", path+"/schema"),
		},
	}
}

func (c call) collections() (answer, error) {
	x, err := c.index(0)
	if err != nil {
		return answer{}, err
	}
	list := []collectionDocument{}
	for _, l := range layers {
		list = append(list, c.describe(l, x))
	}
	return document(jsonType, struct {
		Links       []link               `json:"links"`
		CRS         []string             `json:"crs"`
		Collections []collectionDocument `json:"collections"`
	}{[]link{c.selfLink(jsonType)}, x.uris(), list}), nil
}

func (c call) collection() (answer, error) {
	l, err := c.layer()
	if err != nil {
		return answer{}, err
	}
	x, err := c.index(0)
	if err != nil {
		return answer{}, err
	}
	return document(jsonType, c.describe(l, x)), nil
}
