package ogc_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What follows checks the abstract test suites of OGC API – Features, part 1
// (17-069r4, annex A) and part 2 (18-058r1, annex A), as a client that knows
// nothing of the service but the address of its landing page.

const openAPI30 = "application/vnd.oai.openapi+json;version=3.0"

// surveyor is such a client.
type surveyor struct {
	*site
	root string
	api  *openapi3.T
}

func survey(t *testing.T, lots int) surveyor {
	s := surveyor{site: street(t, lots, nil)}
	s.root = s.url + "/ogc/elm"
	d := s.ok(s.root + "/")
	at := links(d, "service-desc")
	require.Len(t, at, 1)
	require.Equal(t, openAPI30, at[0]["type"])
	r := s.get(at[0]["href"].(string))
	require.Equal(t, openAPI30, r.Header.Get("Content-Type"))
	var err error
	s.api, err = openapi3.NewLoader().LoadFromData(r.body)
	require.NoError(t, err)
	require.NoError(t, s.api.Validate(t.Context()))
	return s
}

// A.2.1, A.2.2: landing page.
func TestLandingPage(t *testing.T) {
	s := survey(t, 3)
	r := s.get(s.root + "/")
	assert.Equal(t, "HTTP/1.1", r.Proto)
	assert.Equal(t, http.StatusOK, r.StatusCode)
	d := r.json(t)
	for _, rel := range []string{"self", "service-desc", "conformance", "data"} {
		require.Len(t, links(d, rel), 1, rel)
		assert.Equal(t, http.StatusOK, s.get(links(d, rel)[0]["href"].(string)).StatusCode, rel)
	}
	assert.Equal(t, "Elm Street", d["title"])
}

// A.2.3: the API document is OpenAPI 3.0, and its paths are served.
func TestOpenAPIDocument(t *testing.T) {
	s := survey(t, 3)
	require.True(t, strings.HasPrefix(s.api.OpenAPI, "3.0."), s.api.OpenAPI)
	require.Len(t, s.api.Servers, 1)
	assert.Equal(t, s.root, s.api.Servers[0].URL)
	replaced := strings.NewReplacer("{featureId}", "1000001", "{tileMatrix}", "18", "{tileRow}", "1", "{tileCol}", "1")
	for path := range s.api.Paths.Map() {
		if strings.Contains(path, "/overspray/items/") || strings.Contains(path, "/narrow/items/") || strings.Contains(path, "/pipe/items/") || strings.Contains(path, "/valve/items/") || strings.Contains(path, "/note/items/") {
			continue // no features here
		}
		assert.Equal(t, http.StatusOK, s.get(s.root+replaced.Replace(path)).StatusCode, path)
	}
	for _, path := range []string{"/", "/conformance", "/api", "/collections", "/collections/head/items"} { // literal, for GDAL
		assert.NotNil(t, s.api.Paths.Value(path), path)
	}
}

// Every answer is what the API document says it is.
func TestAnswersFollowTheAPIDocument(t *testing.T) {
	s := survey(t, 8)
	validated := 0
	for _, path := range []string{"/", "/conformance", "/collections", "/collections/head", "/collections/lot/items", "/collections/head/items", "/collections/dry/items", "/collections/trench/items", "/collections/wetted/items", "/tiles", "/tiles/WebMercatorQuad"} {
		response := s.api.Paths.Value(path).Get.Responses.Status(http.StatusOK).Value
		for mediaType, content := range response.Content {
			r := s.get(s.root + path)
			assert.Equal(t, mediaType, r.Header.Get("Content-Type"))
			var v any
			require.NoError(t, json.Unmarshal(r.body, &v))
			assert.NoError(t, content.Schema.Value.VisitJSON(v), path)
			validated++
		}
	}
	assert.Equal(t, 11, validated)
}

// A.2.4: conformance classes.
func TestConformance(t *testing.T) {
	s := survey(t, 1)
	var classes []string
	for _, c := range s.ok(href(t, s.ok(s.root), "conformance"))["conformsTo"].([]any) {
		classes = append(classes, c.(string))
	}
	for _, want := range []string{
		"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/core", "http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/geojson",
		"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/oas30", "http://www.opengis.net/spec/ogcapi-features-2/1.0/conf/crs",
	} {
		assert.Contains(t, classes, want)
	}
	for _, class := range classes {
		assert.NotContains(t, class, "conf/html", "nothing has an alternate in HTML")
	}
}

// collectionsOf are the collections that the landing page leads to.
func (s surveyor) collectionsOf() (list []object) {
	d := s.ok(href(s, s.ok(s.root+"/"), "data"))
	for _, c := range d["collections"].([]any) {
		list = append(list, c.(object))
	}
	return list
}

// A.2.5: collections, and each by itself.
func TestCollections(t *testing.T) {
	s := survey(t, 8)
	list := s.collectionsOf()
	var ids []string
	for _, c := range list {
		id := c["id"].(string)
		ids = append(ids, id)
		self := links(c, "self")
		require.Len(t, self, 1)
		assert.Equal(t, c, s.ok(self[0]["href"].(string)), "the same by itself as in the list")
		for _, rel := range []string{"items", "describedby", "describedBy"} {
			for _, l := range links(c, rel) {
				assert.NotEmpty(t, l["type"])
				assert.Equal(t, l["type"], s.get(l["href"].(string)).Header.Get("Content-Type"), rel)
			}
			assert.Len(t, links(c, rel), 1, "%s %s", id, rel)
		}
		crs := c["crs"].([]any)
		require.Equal(t, "http://www.opengis.net/def/crs/OGC/1.3/CRS84", crs[0], "the default comes first")
		assert.Contains(t, crs, c["storageCrs"])
		assert.Equal(t, "feature", c["itemType"])
	}
	assert.Equal(t, []string{"lot", "head", "wetted", "dry", "narrow", "overspray", "trench", "pipe", "valve", "note"}, ids)
	d := s.ok(s.root + "/collections")
	require.Len(t, links(d, "self"), 1)
	assert.Equal(t, "application/json", links(d, "self")[0]["type"])
	assert.Contains(t, s.refused(http.StatusNotFound, s.root+"/collections/nothing"), `"nothing"`)
}

// A.2.6: extents hold the features, tightly.
func TestExtents(t *testing.T) {
	s := survey(t, 30)
	for _, c := range s.collectionsOf() {
		features, _ := s.all(href(t, c, "items"))
		want := [4]float64{1e9, 1e9, -1e9, -1e9}
		for _, f := range features {
			eachPlace(f["geometry"], func(x, y float64) {
				want = [4]float64{min(want[0], x), min(want[1], y), max(want[2], x), max(want[3], y)}
			})
		}
		e, ok := c["extent"].(object)
		if want[0] > 180 {
			assert.False(t, ok, "%s: nothing, so no extent", c["id"])
			continue
		}
		spatial := e["spatial"].(object)
		assert.Equal(t, "http://www.opengis.net/def/crs/OGC/1.3/CRS84", spatial["crs"])
		for i, v := range spatial["bbox"].([]any)[0].([]any) {
			assert.InDelta(t, want[i], v, 1.01e-7, c["id"])
			if i < 2 {
				assert.LessOrEqual(t, v, want[i])
			} else {
				assert.GreaterOrEqual(t, v, want[i])
			}
		}
	}
}

// eachPlace calls visit with every position of a geometry.
func eachPlace(geometry any, visit func(x, y float64)) {
	g, ok := geometry.(object)
	if !ok {
		return
	}
	var walk func(v []any)
	walk = func(v []any) {
		if x, ok := v[0].(float64); ok {
			visit(x, v[1].(float64))
			return
		}
		for _, part := range v {
			walk(part.([]any))
		}
	}
	walk(g["coordinates"].([]any))
}

// A.2.7: how the parameters are defined (the official suite asks for a least
// limit and a usual one; a most is what its pages are read with).
func TestParameterDefinitions(t *testing.T) {
	s := survey(t, 1)
	for _, c := range s.collectionsOf() {
		operation := s.api.Paths.Value("/collections/" + c["id"].(string) + "/items").Get
		limit := operation.Parameters.GetByInAndName("query", "limit")
		require.NotNil(t, limit)
		assert.False(t, limit.Required)
		assert.Equal(t, "form", limit.Style)
		assert.False(t, *limit.Explode)
		assert.True(t, limit.Schema.Value.Type.Is("integer"))
		assert.EqualValues(t, 1, *limit.Schema.Value.Min)
		assert.GreaterOrEqual(t, *limit.Schema.Value.Max, 2500.0)
		assert.NotNil(t, limit.Schema.Value.Default)
		bbox := operation.Parameters.GetByInAndName("query", "bbox")
		require.NotNil(t, bbox)
		assert.True(t, bbox.Schema.Value.Type.Is("array"))
		assert.EqualValues(t, 4, bbox.Schema.Value.MinItems)
		assert.EqualValues(t, 6, *bbox.Schema.Value.MaxItems)
		assert.True(t, bbox.Schema.Value.Items.Value.Type.Is("number"))
		assert.False(t, *bbox.Explode)
		datetime := operation.Parameters.GetByInAndName("query", "datetime")
		require.NotNil(t, datetime)
		assert.True(t, datetime.Schema.Value.Type.Is("string"))
		assert.Equal(t, "form", datetime.Style)
		assert.False(t, *datetime.Explode)
		for _, r := range operation.Parameters {
			if r.Value.Name == "limit" {
				assert.Contains(t, r.Ref, "limit", "GDAL takes the most from a reference of that name")
			}
		}
	}
}

// A.2.8: the features of a collection, and paging as the official suite does it:
// the parameters of each next link are sent again, with the most for limit.
func TestFeatures(t *testing.T) {
	s := survey(t, 60)
	most := int(*s.api.Components.Parameters["limit"].Value.Schema.Value.Max)
	for _, c := range s.collectionsOf() {
		first := s.get(href(t, c, "items") + "?limit=3")
		require.Equal(t, http.StatusOK, first.StatusCode)
		assert.Equal(t, "application/geo+json", first.Header.Get("Content-Type"))
		assert.Equal(t, "<http://www.opengis.net/def/crs/OGC/1.3/CRS84>", first.Header.Get("Content-Crs"))
		d := first.json(t)
		assert.Equal(t, "FeatureCollection", d["type"])
		list, ok := d["features"].([]any)
		require.True(t, ok, "an array, also when there is nothing: %s", c["id"])
		at, err := time.Parse(time.RFC3339, d["timeStamp"].(string))
		require.NoError(t, err)
		assert.Equal(t, now, at)
		self := links(d, "self")
		require.Len(t, self, 1)
		assert.Equal(t, "application/geo+json", self[0]["type"])
		assert.Equal(t, first.Request.URL.String(), self[0]["href"])
		assert.EqualValues(t, len(list), d["numberReturned"])
		seen := len(list)
		for next := links(d, "next"); len(next) > 0; next = links(d, "next") {
			u, err := url.Parse(next[0]["href"].(string))
			require.NoError(t, err)
			q := u.Query()
			q.Set("limit", fmt.Sprint(most))
			u.RawQuery = q.Encode()
			d = s.ok(u.String())
			seen += len(d["features"].([]any))
		}
		assert.EqualValues(t, seen, d["numberMatched"], c["id"])
		for _, f := range list {
			eachPlace(f.(object)["geometry"], func(x, y float64) {
				assert.True(t, x >= -180 && x <= 180 && y >= -90 && y <= 90)
			})
		}
	}
}

// A.2.8: limit.
func TestLimit(t *testing.T) {
	s := survey(t, 60)
	at := s.root + "/collections/trench/items"
	count := func(query string) (returned int, matched float64) {
		d := s.ok(at + query)
		return len(d["features"].([]any)), d["numberMatched"].(float64)
	}
	all, matched := count("")
	assert.EqualValues(t, all, matched)
	require.Greater(t, all, 100)
	for _, n := range []int{1, 50, 100} {
		got, of := count(fmt.Sprintf("?limit=%d", n))
		assert.Equal(t, n, got)
		assert.Equal(t, matched, of)
	}
	for _, n := range []string{"10000", "10001", "999999999"} {
		got, _ := count("?limit=" + n)
		assert.Equal(t, all, got, "more than there may be is as much as there may be")
	}
	for _, bad := range []string{"unlimited", "0", "-1", "1.5", "", "1e3", "99999999999999999999"} {
		s.refused(http.StatusBadRequest, at+"?limit="+bad)
	}
}

// A.2.8: unknown and malformed parameters, of every resource.
func TestUnknownParameters(t *testing.T) {
	s := survey(t, 3)
	for _, path := range []string{"/", "/conformance", "/api", "/collections", "/collections/head", "/collections/head/schema", "/collections/head/items", "/collections/head/items/1000001", "/tiles", "/tiles/WebMercatorQuad", "/tiles/WebMercatorQuad/18/1/1"} {
		assert.Contains(t, s.refused(http.StatusBadRequest, s.root+path+"?unknownQueryParameter1234=1"), "unknownQueryParameter1234")
		assert.Equal(t, http.StatusOK, s.get(s.root+path+"?f=json").StatusCode, path)
		s.refused(http.StatusBadRequest, s.root+path+"?f=html")
		s.refused(http.StatusBadRequest, s.root+path+"?f=json&f=json")
		s.refused(http.StatusBadRequest, s.root+path+"?f=%zz")
	}
}

// A.2.8: datetime. Features bear no time and match whatever is well formed.
func TestDatetime(t *testing.T) {
	s := survey(t, 3)
	at := s.root + "/collections/head/items?datetime="
	all := s.ok(s.root + "/collections/head/items")["numberMatched"]
	for _, good := range []string{
		"2026-05-01T12:00:00Z", "2026-05-01T12:00:00.5%2B02:00", "2026-05-01", "2026-05-01T00:00:00Z/2026-06-01T00:00:00Z", "2026-05-01/2026-06-01",
		"../2026-05-01T00:00:00Z", "/2026-05-01T00:00:00Z", "2026-05-01T00:00:00Z/..", "2026-05-01T00:00:00Z/", "2026-05-01t00:00:00z",
	} {
		assert.Equal(t, all, s.ok(at + good)["numberMatched"], good)
	}
	for _, bad := range []string{"", "yesterday", "2026-13-01", "2026-05-01T25:00:00Z", "../..", "/", "a/b", "2026-06-01/2026-05-01", "2026-05-01/2026-06-01/2026-07-01", ".."} {
		s.refused(http.StatusBadRequest, at+bad)
	}
}

// A.2.9: a feature by itself.
func TestFeature(t *testing.T) {
	s := survey(t, 8)
	for _, c := range s.collectionsOf() {
		features, _ := s.all(href(t, c, "items"))
		for _, f := range features {
			at := fmt.Sprintf("%s/%.0f", href(t, c, "items"), f["id"])
			r := s.get(at)
			require.Equal(t, http.StatusOK, r.StatusCode)
			assert.Equal(t, "application/geo+json", r.Header.Get("Content-Type"))
			assert.NotEmpty(t, r.Header.Get("Content-Crs"))
			d := r.json(t)
			assert.Equal(t, at, href(t, d, "self"))
			assert.Equal(t, "application/geo+json", links(d, "self")[0]["type"])
			assert.Equal(t, href(t, c, "self"), href(t, d, "collection"))
			delete(d, "links")
			assert.Equal(t, f, d)
		}
		for _, id := range []string{"0", "999", "-1", "1e3", "x", "9223372036854775807", "-9223372036854775808", "99999999999999999999"} {
			s.refused(http.StatusNotFound, href(t, c, "items")+"/"+id)
		}
	}
}

// The schema is what the features have, in their order.
func TestSchemas(t *testing.T) {
	s := survey(t, 8)
	for _, c := range s.collectionsOf() {
		r := s.get(href(t, c, "describedby"))
		assert.Equal(t, "application/schema+json", r.Header.Get("Content-Type"))
		var d struct {
			Type       string
			Properties struct {
				Properties struct {
					Type       string
					Properties json.RawMessage
				}
			}
		}
		require.NoError(t, json.Unmarshal(r.body, &d))
		assert.Equal(t, "object", d.Type)
		assert.Equal(t, "object", d.Properties.Properties.Type)
		var types map[string]struct{ Type string }
		require.NoError(t, json.Unmarshal(d.Properties.Properties.Properties, &types))
		assert.NotContains(t, types, "id", "GDAL would take it for the feature's own")
		features, _ := s.all(href(t, c, "items"))
		for _, f := range features {
			properties := f["properties"].(object)
			assert.Len(t, properties, len(types))
			for name, v := range properties {
				assert.Contains(t, types, name)
				assert.True(t, fitsType(v, types[name].Type), "%s.%s: %v is no %s", c["id"], name, v, types[name].Type)
			}
		}
		assert.Equal(t, keysInOrder(t, d.Properties.Properties.Properties), s.firstKeys(c), "in the order of writing")
	}
}

func fitsType(v any, name string) bool {
	switch v := v.(type) {
	case nil:
		return true
	case string:
		return name == "string"
	case bool:
		return name == "boolean"
	case float64:
		return name == "number" || name == "integer" && v == float64(int64(v))
	}
	return false
}

// firstKeys are the properties of a collection's first feature in order.
func (s surveyor) firstKeys(c object) []string {
	var d struct {
		Features []struct{ Properties json.RawMessage }
	}
	require.NoError(s, json.Unmarshal(s.get(href(s, c, "items")+"?limit=1").body, &d))
	if len(d.Features) == 0 {
		return keysInOrder(s, []byte(schemaOf(s, c)))
	}
	return keysInOrder(s, d.Features[0].Properties)
}

func schemaOf(s surveyor, c object) json.RawMessage {
	var d struct {
		Properties struct {
			Properties struct{ Properties json.RawMessage }
		}
	}
	require.NoError(s, json.Unmarshal(s.get(href(s, c, "describedby")).body, &d))
	return d.Properties.Properties.Properties
}

// keysInOrder lists the members of a JSON object as they stand.
func keysInOrder(t testing.TB, text []byte) (keys []string) {
	d := json.NewDecoder(strings.NewReader(string(text)))
	depth := 0
	for name := true; ; {
		token, err := d.Token()
		if err != nil {
			return keys
		}
		switch v := token.(type) {
		case json.Delim:
			if v == '{' || v == '[' {
				depth++
			} else {
				depth--
			}
			name = true
			continue
		case string:
			if depth == 1 && name {
				keys = append(keys, v)
				name = false
				continue
			}
		}
		name = depth == 1
	}
}

// Part 2, A.1 and A.2: reference systems.
func TestReferenceSystems(t *testing.T) {
	s := survey(t, 30)
	for _, c := range s.collectionsOf() {
		crs := c["crs"].([]any)
		require.Len(t, crs, 2)
		utm := crs[1].(string)
		assert.Equal(t, "http://www.opengis.net/def/crs/EPSG/0/32626", utm, "zone 26 begins at 30° west")
		at := href(t, c, "items")
		degrees, _ := s.all(at + "?limit=7")
		metres, _ := s.all(at + "?limit=7&crs=" + url.QueryEscape(utm))
		require.Len(t, metres, len(degrees))
		assert.Equal(t, "<"+utm+">", s.get(at+"?crs="+url.QueryEscape(utm)).Header.Get("Content-Crs"))
		for i, f := range metres {
			assert.Equal(t, degrees[i]["properties"], f["properties"])
			var lonLat [][2]float64
			eachPlace(degrees[i]["geometry"], func(x, y float64) { lonLat = append(lonLat, [2]float64{x, y}) })
			k := 0
			eachPlace(f["geometry"], func(x, y float64) {
				lon, lat := fromUTM26(x, y)
				assert.InDelta(t, lonLat[k][0], lon, 2e-9)
				assert.InDelta(t, lonLat[k][1], lat, 2e-9)
				k++
			})
			assert.Len(t, lonLat, k)
			if i == 0 {
				one := s.get(fmt.Sprintf("%s/%.0f?crs=%s", at, f["id"], url.QueryEscape(utm)))
				assert.Equal(t, "<"+utm+">", one.Header.Get("Content-Crs"))
				assert.Equal(t, f["geometry"], one.json(t)["geometry"])
				s.refused(http.StatusBadRequest, fmt.Sprintf("%s/%.0f?crs=x", at, f["id"]))
			}
		}
		for _, name := range []string{"crs", "bbox-crs"} {
			for _, bad := range []string{"http://www.opengis.net/def/crs/EPSG/0/3857", "EPSG:4326", ""} {
				detail := s.refused(http.StatusBadRequest, at+"?bbox=0,0,1,1&"+name+"="+bad)
				assert.True(t, strings.HasPrefix(detail, name+": "), detail)
			}
		}
	}
}

// What every answer has.
func TestHeaders(t *testing.T) {
	s := survey(t, 30)
	paths := []string{"/", "/conformance", "/api", "/collections", "/collections/head", "/collections/head/schema", "/collections/head/items", "/collections/head/items/1000001", "/tiles", "/tiles/WebMercatorQuad", "/nowhere"}
	for _, path := range paths {
		whole := s.get(s.root + path)
		assert.Equal(t, "no-store", whole.Header.Get("Cache-Control"), "mapping tools keep what they may: %s", path)
		assert.Contains(t, whole.Header.Values("Vary"), "Accept-Encoding")
		head := s.ask(http.MethodHead, s.root+path, "Accept-Encoding", "identity")
		plain := s.get(s.root+path, "Accept-Encoding", "identity")
		assert.Equal(t, plain.StatusCode, head.StatusCode)
		assert.Empty(t, head.body)
		assert.Equal(t, int64(len(plain.body)), head.ContentLength, path)
		assert.Equal(t, plain.Header.Get("Content-Type"), head.Header.Get("Content-Type"))
		slash := s.get(s.root + strings.TrimRight(path, "/") + "/")
		assert.Equal(t, whole.StatusCode, slash.StatusCode, "with a slash at its end: %s", path)
		for _, method := range []string{http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodOptions} {
			r := s.ask(method, s.root+path)
			assert.Equal(t, http.StatusMethodNotAllowed, r.StatusCode)
			assert.Equal(t, "GET, HEAD", r.Header.Get("Allow"))
		}
	}
	assert.True(t, slices.Contains(paths, "/api"))
}
