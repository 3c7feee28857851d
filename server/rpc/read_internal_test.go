package rpc

import (
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
)

var sentFiles = []File{{Name: "city.gpkg", Path: "0"}, {Name: "a:b.geojson", Path: "1"}}

func TestChosen(t *testing.T) {
	all, property, err := queryChosen("", sentFiles)
	require.NoError(t, err)
	assert.Equal(t, []Chosen{{File: sentFiles[0]}, {File: sentFiles[1]}}, all)
	assert.Empty(t, property)

	some, property, err := queryChosen("in=city.gpkg:every:thing&layer=building%3Da:b.geojson&layer=parcel%3Dcity.gpkg:p&lot_property=PIN", sentFiles)
	require.NoError(t, err)
	assert.Equal(t, []Chosen{{sentFiles[0], "every:thing", ""}, {sentFiles[1], "", layout.LayerBuilding}, {sentFiles[0], "p", layout.LayerParcel}}, some)
	assert.Equal(t, "PIN", property)

	for query, words := range map[string]string{
		"in=other.gpkg":                 "none of the files",
		"in=city.gpkg:":                 "none of the files",
		"layer=roof%3Dcity.gpkg":        "not a layer",
		"layer=parcel":                  "not a layer",
		"lot_property=a&lot_property=b": "given 2 times",
		"b=1&a=2":                       "a: no such parameter",
		"in=%zz":                        "invalid URL escape",
	} {
		_, _, err := queryChosen(query, sentFiles)
		assert.ErrorContains(t, err, words, query)
	}
}

func FuzzChosen(f *testing.F) {
	f.Add("in=city.gpkg:every:thing&layer=building%3Da:b.geojson&lot_property=PIN")
	f.Add("layer==&in")
	f.Fuzz(func(t *testing.T, query string) {
		chosen, _, err := queryChosen(query, sentFiles)
		if err != nil {
			return
		}
		values, err := url.ParseQuery(query)
		require.NoError(t, err)
		if n := len(values["in"]) + len(values["layer"]); n > 0 {
			require.Len(t, chosen, n)
		}
		for _, c := range chosen {
			require.True(t, slices.Contains(sentFiles, c.File))
			require.True(t, c.Layer == "" || slices.Contains(layout.InputLayers(), c.Layer))
			require.True(t, c.Table == "" || strings.Contains(query, c.Table) || strings.Contains(query, "%") || strings.Contains(query, "+"))
		}
	})
}
