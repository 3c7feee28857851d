package assemble_test

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer/assemble"
	"lotwright/importer/project"
)

const lotsA = "../../testdata/reference/lots_A.geojson"

// All 69 surveyed lots must come out, with the area of each parcel on the
// ellipsoid.
func TestSurveyedLots(t *testing.T) {
	b, err := assemble.Open(context.Background(), []assemble.Input{{Path: lotsA}}, assemble.Options{})
	require.NoError(t, err)
	defer b.Close()
	require.Equal(t, 69, b.Len())
	areas := geodesicAreas(t)
	for i := range b.Len() {
		item := b.Lot(i)
		require.NotNil(t, item.Lot, "%v", item.Findings)
		for _, f := range item.Findings { // edges under 2 mm occur
			assert.Equal(t, "ring.duplicate_vertices", f.Rule, f.String())
		}
		want := areas[item.ID]
		assert.InEpsilon(t, want, item.Lot.Parcel.AreaM2(), 0.002, item.ID)
	}
	assert.Empty(t, b.Findings())
}

// geodesicAreas works out parcel areas independently of any plane: the area of
// a ring on the ellipsoid is the integral of the authalic latitude's sine over
// longitude, times the authalic radius squared (Snyder, USGS Professional Paper
// 1395, equations 3-11 to 3-13). Edges run straight in degrees, as RFC 7946 has
// them, and are summed by the trapezoid rule: over a lot the error is far below
// 1e-6.
func geodesicAreas(t *testing.T) map[string]float64 {
	text, err := os.ReadFile(lotsA)
	require.NoError(t, err)
	var c struct {
		Features []struct {
			Properties struct{ Lot, Layer string }
			Geometry   struct{ Coordinates json.RawMessage }
		}
	}
	require.NoError(t, json.Unmarshal(text, &c))
	areas := map[string]float64{}
	for _, f := range c.Features {
		if f.Properties.Layer != "parcel" {
			continue
		}
		var rings [][][2]float64
		require.NoError(t, json.Unmarshal(f.Geometry.Coordinates, &rings))
		for k, ring := range rings {
			a := math.Abs(ellipsoidalArea(ring))
			if k > 0 {
				a = -a
			}
			areas[f.Properties.Lot] += a
		}
	}
	return areas
}

func ellipsoidalArea(ring [][2]float64) float64 {
	f := 1 / project.WGS84.InvF
	e := math.Sqrt(f * (2 - f))
	q := func(latDeg float64) float64 {
		s := math.Sin(latDeg * math.Pi / 180)
		return (1 - e*e) * (s/(1-e*e*s*s) + math.Atanh(e*s)/e)
	}
	q0 := q(ring[0][1])
	sum := 0.0
	for i := 1; i < len(ring); i++ {
		dLon := (ring[i][0] - ring[i-1][0]) * math.Pi / 180
		sum += dLon * ((q(ring[i][1]) - q0) + (q(ring[i-1][1]) - q0)) / 2
	}
	return sum * project.WGS84.A * project.WGS84.A / 2
}
