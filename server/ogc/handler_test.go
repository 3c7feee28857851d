package ogc_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/clip"
	"github.com/paulmach/orb/encoding/mvt"
	"github.com/paulmach/orb/geojson"
	"github.com/paulmach/orb/maptile"
	"github.com/paulmach/orb/maptile/tilecover"
	"github.com/paulmach/orb/planar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/feature"
	"lotwright/server/ogc"
	"lotwright/server/store"
)

// fromUTM26 is the inverse of the grid of zone 26.
func fromUTM26(x, y float64) (lon, lat float64) {
	t := project.NewTransverseMercator(project.WGS84, -27, 0.9996)
	t.FalseEasting = 500000
	return t.Inverse(x, y)
}

// Every feature comes once, in order, with the bytes that were stored, whatever
// the size of the pages.
func TestPages(t *testing.T) {
	const lots = 45
	s := street(t, lots, nil)
	want := map[string][]string{}
	for n := 1; n <= lots; n++ {
		for _, f := range feature.Features(lot(n)) {
			var one struct{ Properties struct{ Layer string } }
			require.NoError(t, json.Unmarshal(f, &one))
			want[one.Properties.Layer] = append(want[one.Properties.Layer], string(f))
		}
	}
	for _, l := range feature.Schema() {
		for _, limit := range []int{1, 2, 7, 1000} {
			if limit == 1 && len(want[l.Name]) > 60 {
				continue
			}
			var got []string
			last := int64(0)
			for at := fmt.Sprintf("/ogc/elm/collections/%s/items?limit=%d", l.Name, limit); at != ""; {
				r := s.get(at)
				var d struct {
					Features []json.RawMessage
					Links    []struct{ Rel, Href string }
				}
				require.NoError(t, json.Unmarshal(r.body, &d))
				at = ""
				for _, l := range d.Links {
					if l.Rel == "next" {
						at = l.Href
					}
				}
				for _, f := range d.Features {
					var id struct{ ID int64 }
					require.NoError(t, json.Unmarshal(f, &id))
					assert.Greater(t, id.ID, last)
					last = id.ID
					got = append(got, strings.Replace(string(f), fmt.Sprintf(`"id":%d,`, id.ID), "", 1))
				}
			}
			assert.Equal(t, want[l.Name], got, "%s by %d", l.Name, limit)
		}
	}
}

// A client that pages sees the revision it began with to the end, though another
// is made meanwhile; who begins later sees that.
func TestRevisionIsKeptWhilePaging(t *testing.T) {
	const lots = 20
	s := street(t, lots, nil)
	first := s.ok("/ogc/elm/collections/head/items?limit=10")
	whole := first["numberMatched"].(float64)
	s.run("elm", lots, func(n int) *layout.Design { return layout.Refused(lotID(n), "changed", nil) })
	assert.EqualValues(t, 0, s.ok("/ogc/elm/collections/head/items")["numberMatched"])
	rest, _ := s.all(href(t, first, "next"))
	assert.EqualValues(t, whole, len(rest)+10)
}

// While a run is at work, and after one that was cancelled.
func TestRevisionThatIsShown(t *testing.T) {
	s := open(t, nil)
	s.batch("elm", "", 3)
	count := func(layer string) any { return s.ok("/ogc/elm/collections/" + layer + "/items")["numberMatched"] }
	assert.EqualValues(t, 0, count("lot"), "before the first run")
	d := s.ok("/ogc/elm/collections/lot")
	assert.NotContains(t, d, "extent")
	assert.Equal(t, []any{"http://www.opengis.net/def/crs/OGC/1.3/CRS84"}, d["crs"])
	assert.Equal(t, "Batch elm", s.ok("/ogc/elm/")["title"])
	some := func(n int) *layout.Design {
		if n == 2 {
			return nil
		}
		return lot(n)
	}
	s.run("elm", 3, some)
	assert.EqualValues(t, 0, count("lot"), "the first is in the making")
	list, err := s.kept.Operations(t.Context(), store.Local, "", 1)
	require.NoError(t, err)
	s.refused(http.StatusBadRequest, "/ogc/elm/collections/lot/items?after=1.5")
	_, err = s.kept.CancelOperation(t.Context(), store.Local, list[0].ID)
	require.NoError(t, err)
	assert.EqualValues(t, 2, count("lot"), "what was finished by then")
	s.run("elm", 3, some)
	assert.EqualValues(t, 2, count("lot"), "the one before goes on being shown")
}

func TestMarks(t *testing.T) {
	s := street(t, 3, nil)
	for _, bad := range []string{"", "x", "1", "1.", ".1", "0.1", "1.-1", "1.1.1", "-1.1", "1.99999999999999999999"} {
		s.refused(http.StatusBadRequest, "/ogc/elm/collections/head/items?after="+bad)
	}
	s.refused(http.StatusNotFound, "/ogc/elm/collections/head/items?after=2.1")
	d := s.ok("/ogc/elm/collections/head/items?after=1.9223372036854775807")
	assert.Empty(t, d["features"])
}

func TestNothingThere(t *testing.T) {
	s := street(t, 1, nil)
	for _, path := range []string{"/ogc/", "/ogc/none", "/ogc/none/collections", "/ogc/elm/nothing", "/ogc/elm/collections/head/items/1000001/x", "/ogc/elm/collections/none/items", "/ogc/elm/collections/none/schema", "/ogc/elm/collections/none/items/1"} {
		s.refused(http.StatusNotFound, path)
	}
}

// judge is what the test holds against the service: whether a geometry has a
// place in a box, by a library that the service does not use for it.
func judge(t *testing.T, f object, box orb.Bound) bool {
	if f["geometry"] == nil {
		return true
	}
	text, err := json.Marshal(f["geometry"])
	require.NoError(t, err)
	g, err := geojson.UnmarshalGeometry(text)
	require.NoError(t, err)
	if p, ok := g.Geometry().(orb.Point); ok {
		return box.Contains(p)
	}
	cut := clip.Geometry(box, g.Geometry())
	return cut != nil && !cut.Bound().IsEmpty()
}

func idsOf(features []object) (out []float64) {
	for _, f := range features {
		out = append(out, f["id"].(float64))
	}
	return out
}

// Random boxes: what meets them, counted by hand; and the same boxes in metres.
func TestBoxes(t *testing.T) {
	const lots = 60
	s := street(t, lots, nil)
	utm := url.QueryEscape("http://www.opengis.net/def/crs/EPSG/0/32626")
	chance := rand.New(rand.NewPCG(3, 4))
	for _, layer := range []string{"lot", "head", "trench", "dry", "wetted"} {
		at := "/ogc/elm/collections/" + layer + "/items?limit=9"
		degrees, _ := s.all(at)
		metres, _ := s.all(at + "&crs=" + utm)
		found := 0
		for range 12 {
			x, y := home[0]+chance.Float64()*8e-3, home[1]+chance.Float64()*2e-3
			w, h := chance.Float64()*3e-3, chance.Float64()*1e-3
			box := orb.Bound{Min: orb.Point{x, y}, Max: orb.Point{x + w, y + h}}
			var want []float64
			for _, f := range degrees {
				if judge(t, f, box) {
					want = append(want, f["id"].(float64))
				}
			}
			got, _ := s.all(fmt.Sprintf("%s&bbox=%.18g,%.18g,%.18g,%.18g", at, x, y, x+w, y+h))
			assert.Equal(t, want, idsOf(got), "%s in %v", layer, box)
			found += len(want)
			high, _ := s.all(fmt.Sprintf("%s&bbox=%g,%g,-5,%g,%g,5", at, x, y, x+w, y+h))
			assert.Equal(t, len(want), len(high), "heights do not count")

			// 0.00136 rad of convergence over the street: a box of the grid is not one
			// in degrees.
			e, n := toUTM26(x, y)
			grid := orb.Bound{Min: orb.Point{e, n}, Max: orb.Point{e + w*8e4, n + h*1e5}}
			want = nil
			for _, f := range metres {
				if judge(t, f, grid) {
					want = append(want, f["id"].(float64))
				}
			}
			got, _ = s.all(fmt.Sprintf("%s&bbox=%f,%f,%f,%f&bbox-crs=%s", at, grid.Min[0], grid.Min[1], grid.Max[0], grid.Max[1], utm))
			assert.Equal(t, want, idsOf(got), "%s in %v", layer, grid)
		}
		assert.Greater(t, found, 20, layer)
	}
}

func toUTM26(lon, lat float64) (x, y float64) {
	t := project.NewTransverseMercator(project.WGS84, -27, 0.9996)
	t.FalseEasting = 500000
	return t.Forward(lon, lat)
}

// A box without a width, edges, holes, all of the world, and what is no box.
func TestOddBoxes(t *testing.T) {
	s := street(t, 6, nil)
	lots := func(box string) int {
		return int(s.ok("/ogc/elm/collections/lot/items?bbox=" + box)["numberMatched"].(float64))
	}
	assert.Equal(t, 6, lots("-180,-90,180,90"))
	assert.Equal(t, 6, lots("-180,-90,-1000,180,90,1000"))
	assert.Equal(t, 0, lots("10,10,11,11"))
	assert.Equal(t, 6, lots("170,-90,-10,90"), "across 180°")
	assert.Equal(t, 0, lots("10,-90,-170,90"), "across 180°, beside")
	assert.Equal(t, 6, lots("-3.1e1,3.9e1,-2.9e1,4.1e1"))
	plane := project.NewPlane(importer.Position{home[0] + 4e-4, home[1]}) // of the first lot
	box := func(x, y, w, h float64) string {
		west, south := plane.LonLat(x, y)
		east, north := plane.LonLat(x+w, y+h)
		return fmt.Sprintf("%.10f,%.10f,%.10f,%.10f", west, south, east, north)
	}
	assert.Equal(t, 1, lots(box(1000, 1000, 1, 1)), "inside, with no corner in the box")
	assert.Equal(t, 0, lots(box(11000, 10000, 100, 100)), "in the hole")
	assert.Equal(t, 1, lots(box(-1000, 5000, 27000, 1)), "across")
	assert.Equal(t, 1, lots(box(1000, 1000, 0, 0)), "a point")
	for _, bad := range []string{"", "1", "1,2,3", "1,2,3,4,5", "1,2,3,4,5,6,7", "a,b,c,d", "0,0,NaN,1", "0,0,Inf,1", "0,1,1,0", "0;0;1;1", ",,,"} {
		assert.Contains(t, s.refused(http.StatusBadRequest, "/ogc/elm/collections/lot/items?bbox="+url.QueryEscape(bad)), "bbox")
	}
	s.refused(http.StatusBadRequest, "/ogc/elm/collections/lot/items?bbox=2,0,1,1&bbox-crs="+url.QueryEscape("http://www.opengis.net/def/crs/EPSG/0/32626"))
	assert.EqualValues(t, 0, s.ok("/ogc/elm/collections/lot/items?bbox=1e300,1e300,1e301,1e301&bbox-crs=" + url.QueryEscape("http://www.opengis.net/def/crs/EPSG/0/32626"))["numberMatched"])
}

// Features without a place are in every box (17-069r4, requirement
// /req/core/fc-bbox-response).
func TestFeaturesWithoutAPlace(t *testing.T) {
	s := street(t, 14, nil)
	got, _ := s.all("/ogc/elm/collections/lot/items?bbox=10,10,11,11")
	require.Len(t, got, 2)
	for _, f := range got {
		assert.Nil(t, f["geometry"])
		assert.Equal(t, "invalid", f["properties"].(object)["status"])
		assert.Equal(t, `no "parcel", é`, f["properties"].(object)["reason"])
	}
}

// Every property chooses among the features.
func TestFilters(t *testing.T) {
	s := street(t, 30, nil)
	for layer, sample := range map[string][]string{
		"lot":    {"lot", "status", "heads", "coverage", "reason", "parcel_m2", "regulator"},
		"head":   {"lot", "head", "zone", "kind", "arc_sweep_deg", "fixed", "pressure_kpa"},
		"trench": {"lot", "from", "to", "surface", "depth_m"},
	} {
		all, _ := s.all("/ogc/elm/collections/" + layer + "/items")
		for _, name := range sample {
			value := all[6]["properties"].(object)[name]
			var want []float64
			for _, f := range all {
				if f["properties"].(object)[name] == value {
					want = append(want, f["id"].(float64))
				}
			}
			if value == nil {
				continue
			}
			path := fmt.Sprintf("/ogc/elm/collections/%s/items?limit=2&%s=%s", layer, name, url.QueryEscape(fmt.Sprint(value)))
			got, _ := s.all(path)
			assert.Equal(t, want, idsOf(got), path)
			if name == "lot" {
				assert.EqualValues(t, len(want), s.ok(path)["numberMatched"])
			}
		}
	}
	both, _ := s.all("/ogc/elm/collections/head/items?lot=L4&head=H2&bbox=-31,39,-29,41")
	assert.Len(t, both, 1)
	for _, none := range []string{"lot=nobody", "lot=", "head=H99", "zone=77"} {
		got, _ := s.all("/ogc/elm/collections/head/items?" + none)
		assert.Empty(t, got)
	}
	for _, bad := range []string{"zone=x", "fixed=1", "fixed=", "pressure_kpa=high", "status=designed", "layer=head"} {
		s.refused(http.StatusBadRequest, "/ogc/elm/collections/head/items?"+bad)
	}
	next := href(t, s.ok("/ogc/elm/collections/head/items?limit=1&kind=variable_throw&bbox=-31,39,-29,41&f=json"), "next")
	for _, part := range []string{"kind=variable_throw", "bbox=-31%2C39%2C-29%2C41", "limit=1", "f=json"} {
		assert.Contains(t, next, part, "what was asked for goes on")
	}
}

// No property has the name of a parameter.
func TestNamesDoNotClash(t *testing.T) {
	for _, l := range feature.Schema() {
		for _, f := range l.Fields {
			assert.NotContains(t, []string{"f", "limit", "bbox", "bbox-crs", "datetime", "crs", "after"}, f.Name, l.Name)
		}
	}
}

func TestCompressed(t *testing.T) {
	s := street(t, 20, nil)
	plain := s.get("/ogc/elm/collections/head/items", "Accept-Encoding", "identity")
	assert.Empty(t, plain.Header.Get("Content-Encoding"))
	for accept, want := range map[string]bool{"gzip": true, "br, GZIP;q=0.5": true, "gzip;q=0": false, "br": false, "gzip; q=0.0": false, "gzip;q=x": false} {
		r := s.get("/ogc/elm/collections/head/items", "Accept-Encoding", accept)
		require.Equal(t, want, r.Header.Get("Content-Encoding") == "gzip", accept)
		if !want {
			continue
		}
		z, err := gzip.NewReader(bytes.NewReader(r.body))
		require.NoError(t, err)
		text, err := io.ReadAll(z)
		require.NoError(t, err)
		assert.Equal(t, string(plain.body), string(text))
	}
}

// Links begin with the address that clients see.
func TestLinksBehindAProxy(t *testing.T) {
	forwarded := []string{"X-Forwarded-Proto", "https, http", "X-Forwarded-Host", "maps.example, inner", "X-Forwarded-Prefix", "/lots/"}
	first := func(s *site, header ...string) string {
		return href(t, s.get("/ogc/elm/collections/head/items?limit=1", header...).json(t), "next")
	}
	s := street(t, 3, nil)
	assert.True(t, strings.HasPrefix(first(s, forwarded...), s.url+"/ogc/elm/"), "not without being told to")
	assert.True(t, strings.HasPrefix(first(s, "Host", "localhost:99"), "http://localhost:99/ogc/elm/"))
	s = street(t, 3, func(o *ogc.Options) { o.Forwarded = true })
	assert.True(t, strings.HasPrefix(first(s, forwarded...), "https://maps.example/lots/ogc/elm/"))
	assert.True(t, strings.HasPrefix(first(s), s.url+"/ogc/elm/"))
	for _, odd := range [][]string{{"X-Forwarded-Proto", "javascript"}, {"X-Forwarded-Host", "a/b"}, {"X-Forwarded-Prefix", "//evil.example"}, {"X-Forwarded-Prefix", "/a?b"}} {
		assert.Equal(t, http.StatusBadRequest, s.get("/ogc/elm/", odd...).StatusCode, odd)
	}
	s = street(t, 3, func(o *ogc.Options) { o.BaseURL, o.Forwarded = "https://other.example/x/", true })
	assert.True(t, strings.HasPrefix(first(s, forwarded...), "https://other.example/x/ogc/elm/"))
}

// The file of a batch is linked once there is one.
func TestEnclosure(t *testing.T) {
	s := open(t, func(o *ogc.Options) { o.Export = func(batch string) string { return "/files/" + batch } })
	s.batch("elm", "", 1)
	assert.Empty(t, links(s.ok("/ogc/elm/"), "enclosure"))
	s.run("elm", 1, lot)
	got := links(s.ok("/ogc/elm/"), "enclosure")
	require.Len(t, got, 1)
	assert.Equal(t, s.url+"/files/elm", got[0]["href"])
	assert.Equal(t, "application/geopackage+sqlite3", got[0]["type"])
}

func TestOptions(t *testing.T) {
	_, err := ogc.New(ogc.Options{})
	assert.Error(t, err)
	s := open(t, nil)
	for _, bad := range []string{"maps.example", "ftp://maps.example", "http://", "http://maps.example/?a", "http://u:p@maps.example", "http://maps.example/#a", ":"} {
		_, err := ogc.New(ogc.Options{Store: s.kept, Features: split, BaseURL: bad})
		assert.ErrorContains(t, err, "base URL", bad)
	}
}

// Batches are their tenant's.
func TestTenants(t *testing.T) {
	who := store.Tenant("theirs")
	s := street(t, 3, func(o *ogc.Options) { o.Tenant = func(context.Context) store.Tenant { return who } })
	s.refused(http.StatusNotFound, "/ogc/elm/")
	s.refused(http.StatusNotFound, "/ogc/elm/collections/head/items?after=1.1")
	who = store.Local
	s.ok("/ogc/elm/")
}

// A fault is told to the log, not to the client.
func TestFaults(t *testing.T) {
	var fail error
	panics := false
	s := street(t, 3, func(o *ogc.Options) {
		o.Features = func(d store.Design) ([][]byte, error) {
			if panics {
				panic("the secret")
			}
			if fail != nil {
				return nil, fail
			}
			return split(d)
		}
	})
	fail = errors.New("the secret")
	assert.NotContains(t, s.refused(http.StatusInternalServerError, "/ogc/elm/collections"), "secret")
	assert.Contains(t, s.log.String(), "the secret")
	fail, panics = nil, true
	s.log.Reset()
	assert.NotContains(t, s.refused(http.StatusInternalServerError, "/ogc/elm/collections"), "secret")
	assert.Contains(t, s.log.String(), "handler_test.go", "with its stack")
	panics = false
	s.ok("/ogc/elm/collections")
	s.get("/ogc/elm/collections/head/items")
	require.NoError(t, s.kept.DeleteBatch(t.Context(), store.Local, "elm"))
	s.refused(http.StatusNotFound, "/ogc/elm/collections/head/items")
}

// What is stored in another form than it is written in is a fault, not a crash.
func TestForeignFeatures(t *testing.T) {
	for _, text := range []string{
		"", "{}", `{"type":"Feature","properties":{"lot":"a","layer":"head"}}`, `{"type":"Feature","properties":{"lot":"a","layer":"what"},"geometry":null}`,
		`{"type":"Feature","properties":{"lot":"a","layer":"head"},"geometry":{"type":"Point","coordinates":[1]}}`,
		`{"type":"Feature","properties":{"lot":"a","layer":"head"},"geometry":{"type":"Point","coordinates":[1-2,3]}}`,
	} {
		s := street(t, 1, func(o *ogc.Options) {
			o.Features = func(store.Design) ([][]byte, error) { return [][]byte{[]byte(text)}, nil }
		})
		s.refused(http.StatusInternalServerError, "/ogc/elm/collections/head/items")
	}
}

// Many at once get what one gets; run with -race.
func TestTogether(t *testing.T) {
	s := street(t, 30, nil)
	paths := []string{"/ogc/elm/collections", "/ogc/elm/collections/head/items?limit=20", "/ogc/elm/collections/lot/items?bbox=-30,40,-29.998,40.001", "/ogc/elm/tiles/WebMercatorQuad/18/1/1"}
	want := map[string][]byte{}
	other := street(t, 30, nil)
	for _, p := range paths {
		want[p] = bytes.ReplaceAll(other.get(p).body, []byte(other.url), []byte(s.url))
	}
	var wg sync.WaitGroup
	for range 4 {
		for _, p := range paths {
			wg.Go(func() { assert.Equal(t, string(want[p]), string(s.get(p).body)) })
		}
	}
	wg.Wait()
}

// A client that goes away while the bounds are worked out does not spoil them for
// the next.
func TestGivenUp(t *testing.T) {
	var once sync.Once
	ctx, cancel := context.WithCancel(t.Context())
	s := street(t, 3, func(o *ogc.Options) {
		o.Features = func(d store.Design) ([][]byte, error) {
			var err error
			once.Do(func() {
				cancel()
				err = context.Canceled
			})
			if err != nil {
				return nil, err
			}
			return split(d)
		}
	})
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, s.url+"/ogc/elm/collections", nil)
	require.NoError(t, err)
	_, err = http.DefaultClient.Do(request)
	require.Error(t, err)
	s.ok("/ogc/elm/collections")
}

// tileOf reads a tile.
func (s *site) tileOf(tile maptile.Tile) mvt.Layers {
	s.Helper()
	r := s.get(fmt.Sprintf("/ogc/elm/tiles/WebMercatorQuad/%d/%d/%d", tile.Z, tile.Y, tile.X), "Accept-Encoding", "identity")
	require.Equal(s, http.StatusOK, r.StatusCode, "%s", r.body)
	require.Equal(s, "application/vnd.mapbox-vector-tile", r.Header.Get("Content-Type"))
	layers, err := mvt.Unmarshal(r.body)
	require.NoError(s, err)
	return layers
}

// The heads are in the tiles where they stand, with their properties.
func TestTiles(t *testing.T) {
	s := street(t, 60, nil)
	heads, _ := s.all("/ogc/elm/collections/head/items")
	const zoom = 18
	tiles := map[maptile.Tile][]object{}
	for _, h := range heads {
		at := place(h)
		tile := maptile.At(at, zoom)
		tiles[tile] = append(tiles[tile], h)
	}
	require.Greater(t, len(tiles), 3)
	unit := 360.0 / math.Exp2(zoom) / 4096 // degrees of longitude
	for tile, want := range tiles {
		layers := s.tileOf(tile)
		layers.ProjectToWGS84(tile)
		byID := map[float64]*geojson.Feature{}
		names := []string{}
		for _, l := range layers {
			names = append(names, l.Name)
			if l.Name == "head" {
				for _, f := range l.Features {
					byID[f.ID.(float64)] = f
				}
			}
		}
		assert.Equal(t, []string{"lot", "head", "wetted", "dry", "trench"}, filtered(names), "in the order of the schema")
		for _, h := range want {
			f := byID[h["id"].(float64)]
			require.NotNil(t, f, "%v is missing", h["id"])
			got := f.Geometry.(orb.Point)
			assert.InDelta(t, place(h)[0], got[0], 1.01*unit)
			assert.InDelta(t, place(h)[1], got[1], 1.01*unit)
			for name, v := range h["properties"].(object) {
				if v != nil {
					assert.EqualValues(t, v, f.Properties[name], name)
				} else {
					assert.NotContains(t, f.Properties, name)
				}
			}
		}
		for id, f := range byID {
			margin := tile.Bound(65.0 / 4096)
			assert.True(t, margin.Contains(f.Geometry.(orb.Point)), "%v lies elsewhere", id)
		}
	}
}

// Areas are areas: shells are positive in the axes of a tile, holes negative, and
// over all tiles they cover what they do on the map.
func TestTilesWind(t *testing.T) {
	s := street(t, 14, nil)
	const zoom = 19
	lots, _ := s.all("/ogc/elm/collections/lot/items")
	bound := orb.Bound{Min: orb.Point{home[0], home[1]}, Max: orb.Point{home[0] + 7e-3, home[1] + 2e-4}}
	unit := 2 * math.Pi * 6378137 / math.Exp2(zoom) / 4096 * math.Cos(home[1]*math.Pi/180) // metres
	area, holes := map[any]float64{}, 0
	for tile := range tilecover.Bound(bound, zoom) {
		for _, l := range s.tileOf(tile) {
			if l.Name != "lot" {
				continue
			}
			l.Clip(orb.Bound{Max: orb.Point{4096, 4096}}) // without what lies in the next, too
			for _, f := range l.Features {
				polygons, many := f.Geometry.(orb.MultiPolygon)
				if !many && f.Geometry != nil {
					polygons = orb.MultiPolygon{f.Geometry.(orb.Polygon)}
				}
				for _, p := range polygons {
					for i, r := range p {
						signed := planar.Area(r)
						assert.Equal(t, i == 0, signed > 0)
						area[f.ID] += signed * unit * unit
						holes += min(i, 1)
					}
				}
			}
		}
	}
	assert.Positive(t, holes)
	for _, f := range lots {
		if f["geometry"] != nil {
			assert.InEpsilon(t, 25*20-6*5, area[f["id"]], 0.01, "%v", f["id"])
		}
	}
	assert.Len(t, area, 12)
}

// filtered leaves out the layers that not every tile has.
func filtered(names []string) (out []string) {
	for _, n := range names {
		if n != "note" {
			out = append(out, n)
		}
	}
	return out
}

func place(f object) orb.Point {
	c := f["geometry"].(object)["coordinates"].([]any)
	return orb.Point{c[0].(float64), c[1].(float64)}
}

// From afar there are lots only: rectangles, with what became of them, all of
// them unless they lie closer than a screen can show.
func TestTilesFromAfar(t *testing.T) {
	s := street(t, 60, nil)
	const placed = 52 // every seventh has no place
	bound := orb.Bound{Min: orb.Point{home[0], home[1]}, Max: orb.Point{home[0] + 9e-3, home[1] + 2e-3}}
	for _, zoom := range []maptile.Zoom{10, 12, 14, 15, 16} {
		ids := map[any]bool{}
		for tile := range tilecover.Bound(bound, zoom) {
			for _, l := range s.tileOf(tile) {
				require.Equal(t, "lot", l.Name)
				l.ProjectToWGS84(tile)
				for _, f := range l.Features {
					ids[f.ID] = true
					assert.Equal(t, "designed", f.Properties["status"])
					assert.NotEmpty(t, f.Properties["lot"])
					assert.True(t, bound.Pad(0.01).Contains(f.Geometry.Bound().Center()))
					_, figures := f.Properties["coverage"]
					assert.Equal(t, zoom >= 15, figures)
				}
			}
		}
		if zoom == 10 {
			assert.Less(t, len(ids), 30)
			assert.Greater(t, len(ids), 3)
		} else {
			assert.Len(t, ids, placed, "zoom %d", zoom)
		}
	}
}

func TestTileAddresses(t *testing.T) {
	s := street(t, 3, nil)
	for _, path := range []string{"9/1/1", "23/1/1", "x/1/1", "18/262144/1", "18/1/262144", "18/-1/1", "18/1/x", "018/1", "18/1/1/1"} {
		s.refused(http.StatusNotFound, "/ogc/elm/tiles/WebMercatorQuad/"+path)
	}
	s.refused(http.StatusNotFound, "/ogc/elm/tiles/Other/18/1/1")
	empty := s.get("/ogc/elm/tiles/WebMercatorQuad/18/1/1")
	assert.Equal(t, http.StatusOK, empty.StatusCode)
	assert.Empty(t, empty.body)

	set := s.ok(href(t, s.ok("/ogc/elm/tiles")["tilesets"].([]any)[0].(object), "self"))
	item := links(set, "item")[0]
	assert.Equal(t, true, item["templated"])
	assert.Equal(t, s.url+"/ogc/elm/tiles/WebMercatorQuad/{tileMatrix}/{tileRow}/{tileCol}", item["href"])
	at := maptile.At(place(s.ok("/ogc/elm/collections/head/items")["features"].([]any)[0].(object)), 18)
	for _, l := range set["tileMatrixSetLimits"].([]any) {
		if limits := l.(object); limits["tileMatrix"] == "18" {
			assert.LessOrEqual(t, limits["minTileRow"], float64(at.Y))
			assert.GreaterOrEqual(t, limits["maxTileRow"], float64(at.Y))
			assert.LessOrEqual(t, limits["minTileCol"], float64(at.X))
			assert.GreaterOrEqual(t, limits["maxTileCol"], float64(at.X))
		}
	}
	assert.Len(t, set["tileMatrixSetLimits"], 13)
	assert.Len(t, set["layers"], len(feature.Schema()))
}

// Zones and hemispheres: the grid is that of the batch's middle.
func TestGrids(t *testing.T) {
	for at, want := range map[importer.Position]string{{-30, 40}: "32626", {12, -33}: "32733", {179.99, 5}: "32660", {-180, 5}: "32601", {0.1, 0.1}: "32631"} {
		s := open(t, nil)
		s.batch("elm", "", 2)
		s.run("elm", 2, func(n int) *layout.Design { return lotAt(at, n) })
		crs := s.ok("/ogc/elm/collections/lot")["crs"].([]any)
		require.Len(t, crs, 2)
		assert.Equal(t, "http://www.opengis.net/def/crs/EPSG/0/"+want, crs[1])
	}
	s := open(t, nil)
	s.batch("elm", "", 1)
	s.run("elm", 1, func(n int) *layout.Design { return lotAt(importer.Position{10, 85}, n) })
	assert.Len(t, s.ok("/ogc/elm/collections/lot")["crs"], 1, "no such grid near the poles")
}

// Whatever stands in the query, the answer is a page or says what is wrong.
func FuzzItems(f *testing.F) {
	for _, q := range []string{"", "limit=3", "bbox=-30,40,-29.9,40.1", "after=1.3", "crs=http://www.opengis.net/def/crs/EPSG/0/32626", "lot=L1&head=H1", "datetime=../2026-05-01", "bbox=1,2,3", "a=%", "limit=1&limit=2"} {
		f.Add(q)
	}
	s := street(f, 5, nil)
	f.Fuzz(func(t *testing.T, query string) {
		request := httptest.NewRequest(http.MethodGet, "/ogc/elm/collections/head/items", nil)
		request.URL.RawQuery = query
		w := httptest.NewRecorder()
		s.local.Config.Handler.ServeHTTP(w, request)
		require.Contains(t, []int{http.StatusOK, http.StatusBadRequest, http.StatusNotFound}, w.Code, query)
		require.True(t, json.Valid(w.Body.Bytes()))
	})
}
