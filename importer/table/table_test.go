package table_test

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"iter"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/table"
	"lotwright/layout"
)

func TestGuess(t *testing.T) {
	for name, want := range map[string]layout.Layer{
		"parcels": "parcel", "TaxParcels_2026": "parcel", "taxparcels": "parcel", "lots": "parcel", "LOT": "parcel",
		"building": "building", "BuildingFootprints": "building", "roofs": "building", "house_outlines": "building",
		"driveways": "hardscape", "Parking": "hardscape", "pools": "water", "no_dig": "no_dig", "NoDigAreas": "no_dig",
		"spot_heights": "spot_height", "trees": "tree", "street_trees_2024": "tree", "lawns": "turf", "fences": "wall", "taps": "source",
		"parking_lots": "", "pilots": "", "headquarters": "", "roads": "", "": "", "2026": "", "bedrock": "", "waterways": "", "building_on_parcels": "",
	} {
		got, ok := table.Guess(name)
		assert.Equal(t, want, got, name)
		assert.Equal(t, want != "", ok, name)
	}
}

func made(columns []string, rows ...table.Row) table.Table {
	return table.Table{Name: "t", Columns: columns, Rows: func(_ context.Context, asked []string) iter.Seq2[table.Row, error] {
		return func(yield func(table.Row, error) bool) {
			for _, r := range rows {
				out := r
				out.Values = nil
				for _, c := range asked {
					for i, name := range columns {
						if name == c {
							out.Values = append(out.Values, r.Values[i])
						}
					}
				}
				if !yield(out, nil) {
					return
				}
			}
		}
	}}
}

func textOf(t *testing.T, tb table.Table, lotProperty string) string {
	r := table.Text(t.Context(), tb, lotProperty, nil)
	defer r.Close()
	out, err := io.ReadAll(r)
	require.NoError(t, err)
	return string(out)
}

func TestText(t *testing.T) {
	tb := made([]string{"LOT", "Layer", "fixed", "height_m", "Pin", "owner", "flow_gpm"},
		table.Row{ID: "7", Geometry: importer.Geometry{Type: importer.Point, Parts: [][][]importer.Position{{{{1.5, math.NaN()}}}}},
			Values: []any{int64(12), "parcel", int64(1), 2.0, 3.0, "secret", nil}},
		table.Row{Unread: "CurvePolygon", Values: []any{"a\"\x00<é", nil, true, 2.25, "p", "secret", math.Inf(1)}})
	assert.True(t, tb.IsLabelled(""))
	assert.False(t, tb.IsLabelled("apn"))
	assert.Equal(t, `{"type":"Feature","id":7,"properties":{"layer":"parcel","fixed":true,"lot":"12","pin":3,"flow_gpm":null,"height_m":2,"PIN":"3"},"geometry":{"type":"Point","coordinates":[1.5,null]}}
{"type":"Feature","properties":{"layer":null,"fixed":true,"lot":"a\"\u0000\u003cé","pin":"p","flow_gpm":null,"height_m":2.25,"PIN":"p"},"geometry":{"type":"CurvePolygon"}}
`, textOf(t, tb, "PIN"))
}

func TestTextNests(t *testing.T) {
	a, b := []importer.Position{{0, 1}, {2, 3}}, []importer.Position{{4, 5}, {1e-9, 1e21}}
	for _, c := range []struct {
		kind  importer.GeometryType
		parts [][][]importer.Position
		want  string
	}{
		{importer.MultiPoint, [][][]importer.Position{{a[:1]}, {b[:1]}}, `[[0,1],[4,5]]`},
		{importer.LineString, [][][]importer.Position{{a}}, `[[0,1],[2,3]]`},
		{importer.MultiLineString, [][][]importer.Position{{a}, {b}}, `[[[0,1],[2,3]],[[4,5],[1e-09,1e+21]]]`},
		{importer.Polygon, [][][]importer.Position{{a, b}}, `[[[0,1],[2,3]],[[4,5],[1e-09,1e+21]]]`},
		{importer.MultiPolygon, [][][]importer.Position{{a}, {b}}, `[[[[0,1],[2,3]]],[[[4,5],[1e-09,1e+21]]]]`},
		{importer.MultiPolygon, nil, `[]`},
	} {
		text := textOf(t, made(nil, table.Row{Geometry: importer.Geometry{Type: c.kind, Parts: c.parts}}), "")
		var f struct {
			Geometry struct {
				Type        string
				Coordinates json.RawMessage
			}
		}
		require.NoError(t, json.Unmarshal([]byte(text), &f))
		assert.Equal(t, string(c.kind), f.Geometry.Type)
		assert.Equal(t, c.want, string(f.Geometry.Coordinates))
	}
}

func TestTextRefuses(t *testing.T) {
	for value, rule := range map[any]string{"a\xff": "encoding.not_utf8", complex(1, 2): "property.type"} {
		r := table.Text(t.Context(), made([]string{"lot"}, table.Row{Values: []any{"a"}}, table.Row{Values: []any{value}}), "", nil)
		_, err := io.ReadAll(r)
		var refusal *importer.Refusal
		require.ErrorAs(t, err, &refusal)
		assert.Equal(t, rule, refusal.Finding.Rule)
		assert.Equal(t, 1, refusal.Finding.Feature)
		require.NoError(t, r.Close())
	}
}

// A reading given up half way ends the reading of the table.
func TestTextClosed(t *testing.T) {
	ended := false
	tb := table.Table{Rows: func(context.Context, []string) iter.Seq2[table.Row, error] {
		return func(yield func(table.Row, error) bool) {
			defer func() { ended = true }()
			for yield(table.Row{}, nil) {
			}
		}
	}}
	r := table.Text(t.Context(), tb, "", nil)
	_, err := io.ReadFull(r, make([]byte, 10))
	require.NoError(t, err)
	require.NoError(t, r.Close())
	assert.True(t, ended)
	_, err = io.ReadAll(io.LimitReader(r, 1000))
	assert.True(t, err == nil || errors.Is(err, io.EOF))
}

func TestTextInDegrees(t *testing.T) {
	tb := made(nil, table.Row{Geometry: importer.Geometry{Type: importer.LineString, Parts: [][][]importer.Position{{{{1, 2}, {3, 4}}}}}})
	r := table.Text(t.Context(), tb, "", func(p importer.Position) importer.Position { return importer.Position{p[0] / 4, -p[1]} })
	defer r.Close()
	out, err := io.ReadAll(r)
	require.NoError(t, err)
	assert.Contains(t, string(out), "[[0.25,-2],[0.75,-4]]")
}
