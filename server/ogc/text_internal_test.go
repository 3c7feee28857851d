package ogc

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"sync/atomic"
	"testing"

	"github.com/paulmach/orb/geojson"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lotwright/layout"
	"lotwright/layout/feature"
	"lotwright/layout/geom"
)

// plane puts a millimetre on 1e-8 degrees.
type plane struct{ lon, lat float64 }

func (p plane) LonLat(x, y float64) (float64, float64) { return p.lon + x*1e-8, p.lat + y*1e-8 }

// Whatever a lot is called and whatever a remark says, a feature falls into the
// parts that a parser of JSON finds.
func TestCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{`","layer":"`, `},"geometry":null}`, `\",\"layer\":\"x`, `{"type":"Feature","properties":`}))
		at := geom.Pt(rapid.Int64Range(-1e9, 1e9).Draw(t, "x"), rapid.Int64Range(-1e9, 1e9).Draw(t, "y"))
		d := layout.Refused(words.Draw(t, "lot"), words.Draw(t, "reason"), []layout.Note{{Rule: "r", Severity: layout.SeverityInfo, Text: words.Draw(t, "text"), At: &at}})
		d.Plane = plane{rapid.Float64Range(-170, 170).Draw(t, "lon"), rapid.Float64Range(-70, 70).Draw(t, "lat")}
		for _, text := range feature.Features(d) {
			e, err := cut(text)
			require.NoError(t, err)
			var want struct{ Properties, Geometry json.RawMessage }
			require.NoError(t, json.Unmarshal(text, &want))
			var layer struct{ Layer string }
			require.NoError(t, json.Unmarshal(want.Properties, &layer))
			assert.Equal(t, layer.Layer, e.layer)
			assert.Equal(t, string(want.Properties), string(e.properties))
			assert.Equal(t, string(want.Geometry), string(e.geometry))
			if e.null() {
				continue
			}
			g, err := geojson.UnmarshalGeometry(e.geometry)
			require.NoError(t, err)
			b, err := boundsOf(e)
			require.NoError(t, err)
			west, south, east, north := b.degrees()
			bound := g.Geometry().Bound()
			for i, pair := range [][2]float64{{bound.Min[0], west}, {bound.Min[1], south}, {east, bound.Max[0]}, {north, bound.Max[1]}} {
				assert.GreaterOrEqual(t, pair[0], pair[1]-1e-12, "%d: outwards", i)
				assert.Less(t, pair[0]-pair[1], 1.01e-7)
			}
		}
	})
}

// A box that is judged outside or inside is so.
func TestJudge(t *testing.T) {
	grid, ok := utm(10, 50)
	require.True(t, ok)
	rapid.Check(t, func(t *rapid.T) {
		lon, lat := rapid.Float64Range(6.1, 11.9).Draw(t, "lon"), rapid.Float64Range(-79, 83).Draw(t, "lat")
		w, h := rapid.Float64Range(0, 0.049).Draw(t, "w"), rapid.Float64Range(0, 0.049).Draw(t, "h")
		b := bounds{int32(lon * perDegree), int32(lat * perDegree), int32((lon + w) * perDegree), int32((lat + h) * perDegree), true}
		x, y := grid.forward(lon, lat)
		shift := rapid.Float64Range(-9000, 9000)
		corner := [2]float64{x + shift.Draw(t, "dx"), y + shift.Draw(t, "dy")}
		size := rapid.Float64Range(0, 20000)
		q := box{corner[0], corner[1], corner[0] + size.Draw(t, "qw"), corner[1] + size.Draw(t, "qh")}
		a := &area{grid, []box{q}}
		got := a.judge(b)
		west, south, east, north := b.degrees()
		for i := range 11 {
			for k := range 11 {
				held := q.holds(grid.forward(west+(east-west)*float64(i)/10, south+(north-south)*float64(k)/10))
				assert.False(t, got == outside && held, "outside, but not all of it")
				assert.False(t, got == inside && !held, "inside, but not all of it")
			}
		}
	})
}

type heavy int

func (h heavy) weight() int { return int(h) }

func TestKept(t *testing.T) {
	k := keep[string, heavy](100)
	made := 0
	get := func(key string, weight int) {
		v, err := k.get(t.Context(), key, func() (heavy, error) {
			made++
			return heavy(weight), nil
		})
		require.NoError(t, err)
		require.EqualValues(t, weight, v)
	}
	get("a", 40)
	get("b", 40)
	get("a", 40)
	assert.Equal(t, 2, made)
	get("c", 40) // b was used last before a
	get("a", 40)
	assert.Equal(t, 3, made)
	get("b", 40)
	assert.Equal(t, 4, made)
	get("huge", 1000) // kept until there is another
	get("huge", 1000)
	assert.Equal(t, 5, made)
	get("a", 40)
	get("huge", 1000)
	assert.Equal(t, 7, made)
	assert.LessOrEqual(t, k.recent.Len(), 2)
	assert.Len(t, k.byKey, k.recent.Len())
}

// One makes what many ask for; after a failure or a panic the next does.
func TestKeptTogether(t *testing.T) {
	k := keep[int, heavy](1000)
	var made atomic.Int32
	begun, go_on := make(chan struct{}), make(chan struct{})
	failed := make(chan error, 1)
	go func() {
		_, err := k.get(context.Background(), 1, func() (heavy, error) {
			close(begun)
			<-go_on
			return 0, errors.New("failed")
		})
		failed <- err
	}()
	<-begun
	waiting := make(chan error, 5)
	for range 5 {
		go func() {
			v, err := k.get(context.Background(), 1, func() (heavy, error) {
				made.Add(1)
				return 7, nil
			})
			if v != 7 {
				err = fmt.Errorf("got %d: %w", v, err)
			}
			waiting <- err
		}()
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := k.get(ctx, 1, func() (heavy, error) { panic("not asked") })
	assert.ErrorIs(t, err, context.Canceled)
	close(go_on)
	assert.EqualError(t, <-failed, "failed")
	for range 5 {
		assert.NoError(t, <-waiting)
	}
	assert.EqualValues(t, 1, made.Load())

	assert.Panics(t, func() { _, _ = k.get(t.Context(), 2, func() (heavy, error) { panic("oh") }) })
	v, err := k.get(t.Context(), 2, func() (heavy, error) { return 3, nil })
	assert.NoError(t, err)
	assert.EqualValues(t, 3, v)
}

// Corners stay apart in a grid: a unit of 1e-8 degrees is a millimetre, and the
// grid is written to a tenth.
func TestGridKeepsCornersApart(t *testing.T) {
	s, ok := utm(-30, 84)
	require.True(t, ok)
	a, err := s.appendGeometry(nil, []byte(`{"type":"Point","coordinates":[-30.00000000,84.00000000]}`))
	require.NoError(t, err)
	b, err := s.appendGeometry(nil, []byte(`{"type":"Point","coordinates":[-30.00000001,84.00000000]}`))
	require.NoError(t, err)
	assert.NotEqual(t, string(a), string(b))
	_, ok = utm(0, math.Nextafter(84, 85))
	assert.False(t, ok)
}

func FuzzBox(f *testing.F) {
	for _, text := range []string{"1,2,3,4", "1,2,3,4,5,6", "", "NaN,1,2,3", "1e999,0,0,0", " 1 ,2,3,4"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		b, err := parseBox(text)
		if err == nil {
			for _, v := range []float64{b.minX, b.minY, b.maxX, b.maxY} {
				require.False(t, math.IsNaN(v) || math.IsInf(v, 0))
			}
		}
	})
}

func FuzzCut(f *testing.F) {
	f.Add([]byte(`{"type":"Feature","properties":{"lot":"a","layer":"head"},"geometry":{"type":"Point","coordinates":[1.5,-2.5]}}`))
	f.Add([]byte(`{"type":"Feature","properties":{"lot":"a","layer":"head"},"geometry":}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		e, err := cut(text)
		if err != nil {
			return
		}
		if _, err := boundsOf(e); err == nil && !e.null() {
			grid, _ := utm(0, 0)
			_, _ = grid.appendGeometry(nil, e.geometry)
		}
		_, _ = e.values()
	})
}
