package rpc

import (
	"math"
	"net/http"
	"net/url"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"lotwright/layout"
	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// requireSane fails for settings that no request may lead to.
func requireSane(t *testing.T, s Settings) {
	t.Helper()
	finite := func(v, most float64) {
		require.False(t, math.IsNaN(v) || v < 0 || v > most, "%v", v)
	}
	for _, l := range []*layout.Length{s.LeastStrip, s.EdgeClearance, s.BuildingClearance, s.CrossPaving, s.PavingCrossing, s.TrenchClearance, s.TrenchDepth,
		s.FrostDepth, s.PavingDepth, s.ServiceLine} {
		if l != nil {
			finite(l.Metres(), 1000)
		}
	}
	for _, f := range []*float64{s.PavingFactor, s.RootZoneFactor} {
		if f != nil {
			require.GreaterOrEqual(t, *f, 1.0)
			finite(*f, 1000)
		}
	}
	for _, f := range []*float64{s.CoverageTarget, s.DesignFlowShare, s.PipeLoss} {
		if f != nil {
			require.NotZero(t, *f)
			finite(*f, 1)
		}
	}
	for _, p := range []*layout.Pressure{s.SupplyAllowance, s.PressureMargin, s.Supply.HeadPressure, s.Supply.StaticPressure} {
		if p != nil {
			finite(p.KPa(), 10_000)
		}
	}
	if s.VelocityLimit != nil {
		require.Positive(t, *s.VelocityLimit)
		finite(*s.VelocityLimit, mostSpeed)
	}
	if s.Backflow != nil {
		require.NotEqual(t, s.Backflow.Kind == "", len(s.Backflow.Curve) == 0)
	}
	requireSaneSupply(t, s.Supply)
	if s.Head != nil {
		require.NoError(t, s.Head.Validate())
	}
}

func requireSaneSupply(t *testing.T, s layout.Supply) {
	t.Helper()
	if s.HeadPressure != nil {
		require.Nil(t, s.StaticPressure)
		require.Nil(t, s.FlowTest)
		require.Nil(t, s.Bucket)
	}
	if s.Bucket != nil {
		require.Positive(t, s.Bucket.Time)
		require.Positive(t, s.Bucket.Flow())
		require.False(t, math.IsInf(float64(s.Bucket.Flow()), 0))
	}
	if s.FlowTest != nil && s.StaticPressure != nil {
		require.Less(t, s.FlowTest.Pressure, *s.StaticPressure)
	}
}

func FuzzQuery(f *testing.F) {
	for _, seed := range []string{"", "head_pressure=55psi", "static_pressure=60psi&flow_test=6gpm@45psi", "static_pressure=60psi&bucket=5gal/45s",
		"coverage=97%25&irrigate_beds=true", "least_strip=0m&cross_paving=2ft&trench_depth=10in", "paving_factor=8&root_zone_factor=1e300", "a=1;b", "%", "coverage=1&coverage=1",
		"bucket=1l/2562047h47m16s&static_pressure=1psi", "meter=3/4in&service_line=60ft&backflow=0gpm@3psi,25gpm@5psi&velocity_limit=5",
		"pipe_prices=3/4in@1.1,1in@x&pipe_loss=5%25", "head_table=40psi/25ft/4gpm,55psi/30ft/4.7gpm&head_name=ours", "head=auto&effort=quick&backflow=double-check"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, raw string) {
		s, err := querySettings(raw, func(Settings) error { return nil })
		if err != nil {
			return
		}
		requireSane(t, s)
		values, err := url.ParseQuery(raw)
		require.NoError(t, err)
		for name, v := range values {
			require.True(t, slices.Contains(Parameters(), name))
			require.Len(t, v, 1)
		}
	})
}

func FuzzDesignLotRequest(f *testing.F) {
	number := proto.Float64
	ring := &pb.Positions{Degrees: []float64{10, 50, 11, 50, 11, 51, 10, 50}}
	for _, m := range []*pb.DesignLotRequest{
		{},
		{Lot: &pb.Lot{Lot: "A", Features: []*pb.Feature{{Layer: pb.Feature_PARCEL, Geometry: &pb.Geometry{Shape: &pb.Geometry_Polygon{Polygon: &pb.Polygon{Rings: []*pb.Positions{ring}}}}}}}},
		{Lot: &pb.Lot{Lot: "A", Features: []*pb.Feature{{Layer: pb.Feature_WALL, Geometry: &pb.Geometry{Shape: &pb.Geometry_MultiLineString{MultiLineString: &pb.MultiLineString{Lines: []*pb.Positions{ring}}}}}}}},
		{Lot: &pb.Lot{Lot: "A", Features: []*pb.Feature{{Layer: pb.Feature_TREE, Geometry: &pb.Geometry{Shape: &pb.Geometry_Wkb{Wkb: make([]byte, 25)}}}}}},
		{Settings: &pb.Settings{Supply: &pb.Supply{StaticPressureKpa: number(400), Test: &pb.Supply_BucketTest{BucketTest: &pb.BucketTest{VolumeL: 10, TimeS: 1e9}}}}},
		{Settings: &pb.Settings{CoverageTarget: number(0.9), HeadModel: &pb.HeadModel{Name: "x", Rows: []*pb.PerformanceRow{{PressureKpa: 1, ThrowM: 1, FlowLpm: 1}}}}},
	} {
		raw, err := proto.Marshal(m)
		require.NoError(f, err)
		f.Add(raw)
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		var m pb.DesignLotRequest
		if proto.Unmarshal(raw, &m) != nil {
			return
		}
		var c checker
		l, s := c.lot("lot", m.Lot), c.settings("settings", m.Settings)
		if c.err() != nil {
			require.NotEmpty(t, c.violations)
			require.Equal(t, layout.StatusInvalid, refused(l.id, c.violations).Status)
			return
		}
		requireSane(t, s)
		requireSaneSupply(t, l.supply)
		require.NotEmpty(t, l.id)
		require.Len(t, l.features, len(m.Lot.Features))
		for _, x := range l.features {
			require.Contains(t, layout.InputLayers(), x.Layer)
			require.NotEmpty(t, x.Type)
			for _, part := range x.Parts {
				for _, line := range part {
					for _, p := range line {
						require.True(t, finite(p[0]) && finite(p[1]))
					}
				}
			}
		}
	})
}

func FuzzNegotiate(f *testing.F) {
	for _, seed := range []string{"", "*/*", "application/geo+json;q=0.5, */*;q=0.1", "application/x-ndjson;q=2", ";;,,", "a/b;q=nan"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, accept string) {
		a, err := negotiate(http.Header{"Accept": {accept}})
		if err == nil {
			assert.Contains(t, answers(), a)
		}
	})
}

func TestNamesLoopback(t *testing.T) {
	for host, want := range map[string]bool{
		"localhost": true, "localhost:80": true, "127.0.0.1": true, "[::1]:80": true, "::1": true, "[::1]": true,
		"": false, ":80": false, "lots.example": false, "localhost.": false, "0177.0.0.1": false, "2130706433": false, "[::ffff:127.0.0.1]": true,
	} {
		assert.Equal(t, want, namesLoopback(host), host)
	}
}

// A list of faults longer than what is told is not worked through.
func TestFullCheckerStops(t *testing.T) {
	features, lots := make([]*pb.Feature, mostPieces), make([]*pb.Lot, mostPieces)
	for i := range features {
		features[i], lots[i] = &pb.Feature{}, &pb.Lot{}
	}
	var c checker
	l := c.lot("lot", &pb.Lot{Lot: "A", Features: features})
	require.Error(t, c.err())
	assert.Less(t, len(l.features), 100)
	c = checker{}
	assert.Less(t, len(c.lots(lots)), 100)
	require.Error(t, c.err())
}

func TestParcelOfALotFromAFile(t *testing.T) {
	text := `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"layer":"bed"},"geometry":{"type":"Polygon","coordinates":[[[9,9,1]]]}},
		{"type":"Feature","properties":{"layer":"parcel"},"geometry":{"type":"Polygon","coordinates":[[[1,2],[3,4,5],[6,7],[1,2]]]}}]}`
	require.Equal(t, [][][][2]float64{{{{1, 2}, {3, 4}, {6, 7}, {1, 2}}}}, ParcelStored(append([]byte{fileMark}, text...)))
	require.Empty(t, ParcelStored([]byte{fileMark, '{'}))
}

// TestUploadOneAtATime: a second call for the same upload is told so, and the next
// is not.
func TestUploadOneAtATime(t *testing.T) {
	s := &Server{options: Options{Uploads: t.TempDir()}}
	first, second := &part{batches: batches{Server: s}}, &part{batches: batches{Server: s}}
	require.NoError(t, first.open("u"))
	require.ErrorIs(t, second.open("u"), store.ErrState)
	require.NoError(t, second.open("v"))
	first.close()
	second.close()
	require.NoError(t, first.open("u"))
	first.close()
	dropOldParts(s.options.Uploads, time.Now().Add(time.Hour))
	left, err := os.ReadDir(s.options.Uploads)
	require.NoError(t, err)
	require.Empty(t, left)
}
