package assemble_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/layout"
)

// written is a feature as GeoJSON, with any properties.
func written(properties string, x importer.Feature) json.RawMessage {
	var coords any = x.Geometry.Parts[0]
	switch x.Geometry.Type {
	case importer.Point:
		coords = x.Geometry.Parts[0][0][0]
	case importer.LineString:
		coords = x.Geometry.Parts[0][0]
	}
	c, _ := json.Marshal(coords)
	return json.RawMessage(fmt.Sprintf(`{"type":"Feature","properties":%s,"geometry":{"type":%q,"coordinates":%s}}`, properties, x.Geometry.Type, c))
}

func layerFile(layer layout.Layer, features ...json.RawMessage) assemble.Input {
	in := file(string(layer)+".geojson", features)
	in.Layer = layer
	return in
}

// Two neighbours with a house across their common line, a wall on it, a tree
// and two taps: given by place and given by label they are the same lots.
func TestJoinEqualsLabels(t *testing.T) {
	west := area(layout.LayerParcel, box(0, 0, 20, 20))
	east := area(layout.LayerParcel, box(20, 0, 40, 20))
	house := area(layout.LayerBuilding, box(15, 5, 25, 10))
	shed := area(layout.LayerBuilding, box(30, 15, 33, 18))
	wall := line(layout.LayerWall, 20, 12, 20, 18)
	tapWest := point(layout.LayerSource, 14.9, 7)
	tapEast := point(layout.LayerSource, 40.3, 7)

	label := func(lot string, x importer.Feature) json.RawMessage {
		return written(fmt.Sprintf(`{"lot":%q,"layer":%q}`, lot, x.Layer), x)
	}
	labelled := file("labelled.geojson", []json.RawMessage{
		label("w", west), label("w", house), label("w", wall), label("w", tapWest),
		label("e", east), label("e", house), label("e", shed), label("e", wall), label("e", tapEast),
	})
	want := lotsOf(t, labelled)

	got := lotsOf(t,
		layerFile(layout.LayerBuilding, written(`null`, shed), written(`{}`, house)),
		layerFile(layout.LayerParcel, written(`{"PARCEL_ID":"e"}`, east), written(`{"PARCEL_ID":"w"}`, west)),
		layerFile(layout.LayerWall, written(`{}`, wall)),
		layerFile(layout.LayerSource, written(`{}`, tapEast), written(`{}`, tapWest)))
	require.Len(t, got, 2)
	for i := range want {
		// Being cut at the lot line is worth a word only when labels said otherwise.
		assert.Contains(t, fmt.Sprint(want[i].Notes), "feature.clipped")
		assert.NotContains(t, fmt.Sprint(got[i].Notes), "feature.clipped")
		want[i].Notes, got[i].Notes = nil, nil
		assert.Equal(t, want[i], got[i])
	}
}

// The surveyed lots, torn into one file a layer without labels, come together
// again as they were.
func TestJoinSurveyedLots(t *testing.T) {
	var c struct {
		Features []struct {
			Properties struct{ Lot, Layer string }
			Geometry   json.RawMessage
		}
	}
	text := readFile(t, lotsA)
	require.NoError(t, json.Unmarshal(text, &c))
	layers := map[layout.Layer][]json.RawMessage{}
	for _, f := range c.Features {
		props := `null`
		if f.Properties.Layer == "parcel" {
			props = fmt.Sprintf(`{"parcel_id":%q,"owner":null}`, f.Properties.Lot)
		}
		layers[layout.Layer(f.Properties.Layer)] = append(layers[layout.Layer(f.Properties.Layer)],
			json.RawMessage(fmt.Sprintf(`{"type":"Feature","properties":%s,"geometry":%s}`, props, f.Geometry)))
	}
	var inputs []assemble.Input
	for _, layer := range layout.InputLayers() {
		if len(layers[layer]) > 0 {
			inputs = append(inputs, layerFile(layer, layers[layer]...))
		}
	}
	want := lotsOf(t, assemble.Input{Name: "a", Reader: bytes.NewReader(text)})
	got := lotsOf(t, inputs...)
	require.Len(t, got, len(want))
	for i := range want {
		assert.Equal(t, want[i].ID, got[i].ID)
		assert.Equal(t, want[i].Parcel, got[i].Parcel)
		for _, pair := range [][2]float64{
			{want[i].Building.AreaM2(), got[i].Building.AreaM2()},
			{want[i].Hardscape.AreaM2(), got[i].Hardscape.AreaM2()},
			{want[i].Water.AreaM2(), got[i].Water.AreaM2()},
		} {
			// Slivers of a neighbour's building may differ.
			assert.InDelta(t, pair[0], pair[1], 0.6, want[i].ID)
		}
	}
}

func TestJoinFindings(t *testing.T) {
	b, err := assemble.Open(context.Background(), []assemble.Input{
		layerFile(layout.LayerParcel, written(`{"id":1}`, area("", box(0, 0, 20, 20))), written(`{"id":2}`, area("", box(20, 0, 40, 20)))),
		layerFile(layout.LayerBuilding,
			written(`{}`, area("", box(100, 0, 110, 10))), // nowhere
			written(`{}`, area("", box(15, 5, 25, 10))),   // half and half
			written(`{}`, area("", box(5, 5, 20.1, 10)))), // 10 cm over the line
		layerFile(layout.LayerTree, written(`{}`, point("", 20.4, -0.3)), written(`{}`, point("", 20.4, -0.6))),
	}, assemble.Options{})
	require.NoError(t, err)
	defer b.Close()
	var got []string
	for _, f := range b.Findings() {
		got = append(got, fmt.Sprint(f.File, " ", f.Feature, " ", f.Rule))
		assert.True(t, f.Place != nil || f.Rule == "join.lot_property")
	}
	assert.ElementsMatch(t, []string{
		"building.geojson 0 join.orphan", "building.geojson 1 join.doubtful", "tree.geojson 1 join.orphan",
		"parcel.geojson -1 join.lot_property",
	}, got)
	require.Equal(t, 2, b.Len())
	assert.InDelta(t, 75+25, b.Lot(0).Lot.Building.AreaM2()+25, 1) // the two in the west overlap
	assert.InDelta(t, 25, b.Lot(1).Lot.Building.AreaM2(), 0.1)
	assert.Empty(t, b.Lot(0).Lot.RootZone)
	assert.NotEmpty(t, b.Lot(1).Lot.RootZone)
}

// An old file in UTM metres becomes the same lots as in degrees, but for the
// grid; without its crs member it is refused lot by lot.
func TestProjectedFile(t *testing.T) {
	path := "../../testdata/import/"
	want := lotsOf(t, assemble.Input{Path: path + "two_lots.geojson"})
	b, err := assemble.Open(context.Background(), []assemble.Input{{Path: path + "two_lots_utm.geojson"}}, assemble.Options{})
	require.NoError(t, err)
	defer b.Close()
	require.Equal(t, len(want), b.Len())
	require.Len(t, b.Findings(), 1)
	assert.Equal(t, "crs.transformed", b.Findings()[0].Rule)
	for i, w := range want {
		got := b.Lot(i).Lot
		require.NotNil(t, got)
		assert.InEpsilon(t, w.Parcel.AreaM2(), got.Parcel.AreaM2(), 1e-5)
		assert.InEpsilon(t, w.Building.AreaM2(), got.Building.AreaM2(), 1e-4)
	}
	text := bytes.Replace(readFile(t, path+"two_lots_utm.geojson"), []byte(`"crs"`), []byte(`"was"`), 1)
	b, err = assemble.Open(context.Background(), []assemble.Input{{Name: "x", Reader: bytes.NewReader(text)}}, assemble.Options{})
	require.NoError(t, err)
	defer b.Close()
	for i := range b.Len() {
		assert.Equal(t, []string{"coords.looks_projected"}, rules(b.Lot(i)))
	}
}

func TestUnknownCRS(t *testing.T) {
	text := []byte(`{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::2263"}},"features":[]}`)
	_, err := assemble.Open(context.Background(), []assemble.Input{{Name: "x", Reader: bytes.NewReader(text)}}, assemble.Options{})
	var refusal *importer.Refusal
	require.ErrorAs(t, err, &refusal)
	assert.Equal(t, "crs.unsupported", refusal.Finding.Rule)
}
