package ogc

import (
	"math"
	"net/http"
	"strconv"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/mvt"
	"github.com/paulmach/orb/geojson"
	"github.com/paulmach/orb/maptile"

	"lotwright/layout/feature"
)

// matrixSet is how tiles divide the world: OGC's name for the usual squares.
const (
	matrixSet    = "WebMercatorQuad"
	matrixSetURI = "http://www.opengis.net/def/tilematrixset/OGC/1.0/WebMercatorQuad"
)

// Zoom levels. From afar a lot is the rectangle around it, from outlineZoom on its
// irrigated region, and from detailZoom on there is all else.
const (
	leastZoom   = 10
	outlineZoom = 15
	detailZoom  = 17
	mostZoom    = 22
)

// mostTileFeatures is how many features a tile may hold.
const mostTileFeatures = 20000

// farGrid is how many cells a side of a tile has, of which each shows one lot of a
// status: what lies closer cannot be told apart on a screen.
const farGrid = 256

func leastZoomOf(layer string) int {
	if layer == "lot" {
		return leastZoom
	}
	return detailZoom
}

// tile answers with a tile of all layers: matrix is the zoom level, row counts
// from the north.
func (c call) tile() (answer, error) {
	t, err := c.tileAddress()
	if err != nil {
		return answer{}, err
	}
	x, err := c.index(0)
	if err != nil {
		return answer{}, err
	}
	shown := mvt.Layers{}
	n := 0
	for _, l := range layers {
		if int(t.Z) < leastZoomOf(l.Name) {
			continue
		}
		features, err := c.tileFeatures(x, l, t)
		if err != nil {
			return answer{}, err
		}
		if n += len(features); n > mostTileFeatures {
			return answer{}, &fault{http.StatusRequestEntityTooLarge, "RESOURCE_EXHAUSTED", "the tile holds more than " + strconv.Itoa(mostTileFeatures) + " features: zoom in"}
		}
		if len(features) > 0 {
			shown = append(shown, tileLayer(l.Name, features, t))
		}
	}
	body, err := mvt.Marshal(shown)
	return answer{mediaType: tileType, body: body}, err
}

// tileAddress reads where a tile lies.
func (c call) tileAddress() (t maptile.Tile, err error) {
	z, err := strconv.ParseUint(c.vars["matrix"], 10, 32)
	if err != nil || z < leastZoom || z > mostZoom {
		return t, notFound("there is no tile matrix %q: they are %d to %d", c.vars["matrix"], leastZoom, mostZoom)
	}
	row, errRow := strconv.ParseUint(c.vars["row"], 10, 32)
	col, errCol := strconv.ParseUint(c.vars["col"], 10, 32)
	if errRow != nil || errCol != nil || row >= 1<<z || col >= 1<<z {
		return t, notFound("there is no tile in row %q, column %q of tile matrix %d", c.vars["row"], c.vars["col"], z)
	}
	return maptile.New(uint32(col), uint32(row), maptile.Zoom(z)), nil
}

// tileMargin is what a tile holds beyond its edges, in its own units, so that what
// crosses them has no seam.
const tileMargin = 64

// tileFeatures are the features of a layer whose bounds touch a tile, in degrees.
func (c call) tileFeatures(x *index, l feature.Layer, t maptile.Tile) (out []*geojson.Feature, err error) {
	bound := t.Bound(tileMargin / float64(mvt.DefaultExtent))
	wanted := area{boxes: []box{{bound.Min[0], bound.Min[1], bound.Max[0], bound.Max[1]}}}
	far := newThinning(t)
	for _, e := range x.tables[l.Name].entries {
		if !e.bounds.some() || wanted.judge(e.bounds) == outside {
			continue
		}
		var f *geojson.Feature
		if t.Z < outlineZoom {
			f = far.lot(x, e)
		} else if f, err = c.tileFeature(x, l, e); err != nil {
			return nil, err
		}
		if f != nil {
			out = append(out, f)
		}
		if len(out) > mostTileFeatures {
			break // and be refused
		}
	}
	return out, nil
}

// tileFeature is a feature with its shape.
func (c call) tileFeature(x *index, l feature.Layer, e entry) (*geojson.Feature, error) {
	encoded, err := c.feature(x, l.Name, e, e.lot)
	if err != nil {
		return nil, err
	}
	shape, err := geojson.UnmarshalGeometry(encoded.geometry)
	if err != nil {
		return nil, err
	}
	values, err := encoded.values()
	if err != nil {
		return nil, err
	}
	f := geojson.NewFeature(shape.Geometry())
	f.ID = uint64(e.id())
	for _, field := range l.Fields {
		switch v := values[field.Name].(type) {
		case nil: // tiles have no null
		case float64:
			if field.Type == feature.Integer {
				f.Properties[field.Name] = int64(v)
				continue
			}
			f.Properties[field.Name] = v
		default:
			f.Properties[field.Name] = v
		}
	}
	return f, nil
}

// thinning leaves out lots that would be drawn over each other.
type thinning struct {
	tile maptile.Tile
	seen map[cell]bool
}

type cell struct {
	col, row int
	status   string
}

func newThinning(t maptile.Tile) thinning { return thinning{t, map[cell]bool{}} }

// lot is the rectangle around a lot, nil where there is one like it.
func (f thinning) lot(x *index, e entry) *geojson.Feature {
	row, ok := x.lot(int(e.lot))
	if !ok {
		return nil
	}
	west, south, east, north := e.bounds.degrees()
	middle := maptile.Fraction(orb.Point{(west + east) / 2, (south + north) / 2}, f.tile.Z)
	at := cell{int(math.Floor(middle[0] * farGrid)), int(math.Floor(middle[1] * farGrid)), string(row.status)}
	if f.seen[at] {
		return nil
	}
	f.seen[at] = true
	out := geojson.NewFeature(orb.Bound{Min: orb.Point{west, south}, Max: orb.Point{east, north}}.ToPolygon())
	out.ID = uint64(e.id())
	out.Properties = geojson.Properties{"lot": row.id, "layer": "lot", "status": string(row.status)}
	return out
}

// tileLayer brings features into the units of the tile and cuts off what lies
// beyond its margin.
func tileLayer(name string, features []*geojson.Feature, t maptile.Tile) *mvt.Layer {
	l := &mvt.Layer{Name: name, Version: 2, Extent: mvt.DefaultExtent, Features: features}
	l.ProjectToTile(t)
	l.RemoveEmpty(1, 1)
	l.Clip(orb.Bound{Min: orb.Point{-tileMargin, -tileMargin}, Max: orb.Point{mvt.DefaultExtent + tileMargin, mvt.DefaultExtent + tileMargin}})
	for _, f := range l.Features {
		f.Geometry = wound(f.Geometry)
	}
	return l
}

// wound turns rings as tiles want them (vector tile specification 2.1, section
// 4.3.4.4): in their axes, of which one points south, shells have positive areas
// and holes negative ones, which is not how GeoJSON has them. Rings that rounding
// has flattened are left out.
func wound(g orb.Geometry) orb.Geometry {
	switch g := g.(type) {
	case orb.Polygon:
		return woundPolygon(g)
	case orb.MultiPolygon:
		var out orb.MultiPolygon
		for _, p := range g {
			if p = woundPolygon(p); len(p) > 0 {
				out = append(out, p)
			}
		}
		return out
	}
	return g
}

func woundPolygon(p orb.Polygon) (out orb.Polygon) {
	for i, r := range p {
		want := orb.CW
		if i == 0 {
			want = orb.CCW
		}
		switch r.Orientation() {
		case want:
		case -want:
			r.Reverse()
		default:
			if i == 0 {
				return nil
			}
			continue
		}
		out = append(out, r)
	}
	return out
}

// tilesets answers with the one set there is.
func (c call) tilesets() (answer, error) {
	return document(jsonType, map[string]any{
		"links": []link{c.selfLink(jsonType)},
		"tilesets": []any{ordered{
			{"title", c.title()}, {"dataType", "vector"}, {"crs", "http://www.opengis.net/def/crs/EPSG/0/3857"},
			{"tileMatrixSetURI", matrixSetURI},
			{"links", []link{
				c.link("self", jsonType, "the set", "tiles/"+matrixSet),
				{Href: matrixSetURI, Rel: relTiling, Type: jsonType, Title: "how the tiles divide the world"},
			}},
		}},
	}), nil
}

// tileset describes the set: where its tiles are and what they hold.
func (c call) tileset() (answer, error) {
	x, err := c.index(0)
	if err != nil {
		return answer{}, err
	}
	var inside []any
	for _, l := range layers {
		inside = append(inside, ordered{
			{"id", l.Name}, {"title", title(l)}, {"description", l.Meaning}, {"dataType", "vector"},
			{"geometryDimension", map[feature.Geometry]int{feature.Point: 0, feature.LineString: 1, feature.Polygon: 2, feature.MultiPolygon: 2}[l.Geometry]},
			{"minTileMatrix", strconv.Itoa(leastZoomOf(l.Name))}, {"maxTileMatrix", strconv.Itoa(mostZoom)},
		})
	}
	d := ordered{
		{"title", c.title()}, {"dataType", "vector"}, {"crs", "http://www.opengis.net/def/crs/EPSG/0/3857"},
		{"tileMatrixSetURI", matrixSetURI}, {"tileMatrixSetLimits", tileLimits(x.bounds)}, {"layers", inside},
	}
	if x.bounds.some() {
		west, south, east, north := x.bounds.degrees()
		d = append(d, member{"boundingBox", map[string]any{"crs": crs84.uri, "lowerLeft": [2]float64{west, south}, "upperRight": [2]float64{east, north}}})
	}
	template := c.link("item", tileType, "a tile", "tiles/"+matrixSet+"/{tileMatrix}/{tileRow}/{tileCol}")
	template.Templated = true
	return document(jsonType, append(d, member{"links", []link{
		c.selfLink(jsonType), template, {Href: matrixSetURI, Rel: relTiling, Type: jsonType, Title: "how the tiles divide the world"},
	}})), nil
}

// tileLimits says which rows and columns hold anything.
func tileLimits(b bounds) []any {
	out := []any{}
	if !b.some() {
		return out
	}
	west, south, east, north := b.degrees()
	for z := maptile.Zoom(leastZoom); z <= mostZoom; z++ {
		first, last := maptile.At(orb.Point{west, north}, z), maptile.At(orb.Point{east, south}, z)
		out = append(out, ordered{
			{"tileMatrix", strconv.Itoa(int(z))},
			{"minTileRow", first.Y}, {"maxTileRow", last.Y}, {"minTileCol", first.X}, {"maxTileCol", last.X},
		})
	}
	return out
}
