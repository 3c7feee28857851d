package cli_test

import (
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/cli"
)

// TestEverySettingThroughThreeDoors: each setting gives the command line's bytes
// by gRPC and by REST, and changes them.
func TestEverySettingThroughThreeDoors(t *testing.T) {
	folder := t.TempDir()
	curve := write(t, filepath.Join(folder, "curve.csv"), "flow_lpm,loss_kpa\n0,20\n40,30\n")
	prices := write(t, filepath.Join(folder, "pipe.csv"), "size,price_per_m\n1in,2.5\n1-1/4in,3\n")
	table := write(t, filepath.Join(folder, "ours.csv"), "pressure_kpa,throw_m,flow_lpm\n150,7,12\n400,9.5,18\n")
	measured := []string{"--static-pressure", "500kPa", "--flow-test", "60lpm@400kPa"}
	water := url.Values{"static_pressure": {"500kPa"}, "flow_test": {"60lpm@400kPa"}}
	const supply = `"supply":{"static_pressure_kpa":500,"flow_test":{"flow_lpm":60,"pressure_kpa":400}}`
	features := yard("Y-01", 0)

	grpcAddress, httpAddress := serve(t)
	connection, err := grpc.NewClient(grpcAddress, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	defer connection.Close()
	designer := pb.NewDesignerClient(connection)
	byFlags := func(args ...string) []string {
		args = append([]string{"design", "-", "-q", "-o", "-"}, append(args, measured...)...)
		return texts(t, run(t, collection(features), args...).out)
	}
	plain := byFlags()
	require.Greater(t, len(plain), 3)

	for _, c := range []struct {
		flags  []string
		query  string // besides the supply
		fields string // of Settings, besides the supply
		same   bool   // as without: the setting does not matter on this lot
	}{
		{[]string{"--meter", "5/8in"}, "meter=5/8in", `"meter":"5/8in"`, false},
		{[]string{"--service-line", "30m", "--service-size", "3/4in", "--service-material", "PE, controlled bore"},
			"service_line=30m&service_size=3/4in&service_material=PE,+controlled+bore",
			`"service_line_m":30,"service_size":"3/4in","service_material":"PE, controlled bore"`, false},
		{[]string{"--backflow", "reduced-pressure"}, "backflow=reduced-pressure", `"backflow":{"kind":"REDUCED_PRESSURE"}`, false},
		{[]string{"--backflow", curve}, "backflow=0lpm@20kPa,40lpm@30kPa", `"backflow":{"curve":[{"loss_kpa":20},{"flow_lpm":40,"loss_kpa":30}]}`, false},
		{[]string{"--pipe-material", "PVC Class 200 (SDR-21)"}, "pipe_material=PVC+Class+200+(SDR-21)", `"pipe_material":"PVC Class 200 (SDR-21)"`, false},
		{[]string{"--pipe-size", "1-1/2in"}, "pipe_size=1-1/2in", `"pipe_size":"1-1/2in"`, false},
		{[]string{"--pipe-prices", prices}, "pipe_prices=1in@2.5,1-1/4in@3", `"pipe_prices":[{"size":"1in","price_per_m":2.5},{"size":"1-1/4in","price_per_m":3}]`, false},
		{[]string{"--pipe-loss", "20%"}, "pipe_loss=20%25", `"pipe_loss":0.2`, true},
		{[]string{"--velocity-limit", "2"}, "velocity_limit=2", `"velocity_limit_mps":0.6096`, false},
		{[]string{"--frost-depth", "0.6m"}, "frost_depth=0.6m", `"frost_depth_m":0.6`, false},
		{[]string{"--paving-depth", "0.5m"}, "paving_depth=0.5m", `"paving_depth_m":0.5`, true},
		{[]string{"--pressure-margin", "40kPa"}, "pressure_margin=40kPa", `"pressure_margin_kpa":40`, false},
		{[]string{"--effort", "quick"}, "effort=quick", `"effort":"QUICK"`, false},
		{[]string{"--effort", "thorough"}, "effort=thorough", `"effort":"THOROUGH"`, true},
		{[]string{"--head", "spray", "--spray-narrow-strips", "--effort", "quick"}, "head=spray&spray_narrow_strips=true&effort=quick", `"head":"SPRAY","spray_narrow_strips":true,"effort":"QUICK"`, false},
		{[]string{"--head-table", table}, "head_name=ours&head_table=150kPa/7m/12lpm,400kPa/9.5m/18lpm",
			`"head_model":{"name":"ours","rows":[{"pressure_kpa":150,"throw_m":7,"flow_lpm":12},{"pressure_kpa":400,"throw_m":9.5,"flow_lpm":18}]}`, false},
		{[]string{"--design-flow-share", "0.3"}, "design_flow_share=0.3", `"design_flow_share":0.3`, false},
	} {
		t.Run(strings.Join(c.flags[:2], " "), func(t *testing.T) {
			want := byFlags(c.flags...)
			assert.Equal(t, c.same, strings.Join(plain, "\n") == strings.Join(want, "\n"), "the setting changes the design")

			query, err := url.ParseQuery(c.query)
			require.NoError(t, err)
			for name, v := range water {
				query[name] = v
			}
			answer, err := http.Post("http://"+httpAddress+"/v1/lots:design?"+query.Encode(), "application/geo+json", strings.NewReader(collection(features)))
			require.NoError(t, err)
			defer answer.Body.Close()
			body, err := io.ReadAll(answer.Body)
			require.NoError(t, err)
			require.Equal(t, http.StatusOK, answer.StatusCode, string(body))
			assert.Equal(t, want, texts(t, string(body)))

			settings := &pb.Settings{}
			require.NoError(t, protojson.Unmarshal([]byte("{"+supply+","+c.fields+"}"), settings))
			one, err := designer.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: message(t, "Y-01", features), Settings: settings})
			require.NoError(t, err)
			assert.Equal(t, want, texts(t, one.Design.Geojson))
		})
	}
}

// TestHeadsAskedForThroughThreeDoors: heads that turf asks for come through each.
func TestHeadsAskedForThroughThreeDoors(t *testing.T) {
	features := []string{
		polygon("T", "parcel", rectangle(0, 0, 20, 12), ""),
		polygon("T", "turf", rectangle(0, 0, 4, 12), `,"head":"spray"`),
		polygon("T", "turf", rectangle(4, 0, 16, 12), ""),
	}
	want := texts(t, run(t, collection(features), "design", "-", "-q", "-o", "-", "--head", "rotor", "--head-pressure", "310kPa").out)
	assert.Contains(t, strings.Join(want, "\n"), `"family":"generic spray"`)
	assert.Contains(t, strings.Join(want, "\n"), `"family":"generic rotor"`)

	grpcAddress, httpAddress := serve(t)
	answer, err := http.Post("http://"+httpAddress+"/v1/lots:design?head=rotor&head_pressure=310kPa", "application/geo+json", strings.NewReader(collection(features)))
	require.NoError(t, err)
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	assert.Equal(t, want, texts(t, string(body)))

	connection, err := grpc.NewClient(grpcAddress, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	defer connection.Close()
	one, err := pb.NewDesignerClient(connection).DesignLot(t.Context(), &pb.DesignLotRequest{Lot: message(t, "T", features),
		Settings: &pb.Settings{Head: pb.Settings_ROTOR, Supply: &pb.Supply{HeadPressureKpa: proto.Float64(310)}}})
	require.NoError(t, err)
	assert.Equal(t, want, texts(t, one.Design.Geojson))
}

// TestSettingsThatMakeNoSense are refused when they come, by name, and not lot by
// lot.
func TestSettingsThatMakeNoSense(t *testing.T) {
	_, httpAddress := serve(t)
	for query, want := range map[string]string{
		"meter=9in":                         `"field":"meter"`,
		"pipe_material=lead":                `"field":"pipe_material"`,
		"pipe_size=7in":                     `"field":"pipe_size"`,
		"pipe_prices=7in@1":                 `"field":"pipe_prices"`,
		"backflow=5lpm@20kPa,4lpm@30kPa":    `"field":"backflow"`,
		"service_line=10m&service_size=9in": `"field":"service_line"`,
		"head=rotor&margin=0.1":             `"field":"query"`,
		"head=spray&head_table=150kPa/7m/12lpm,400kPa/9m/18lpm": `"field":"head_table"`,
	} {
		answer, err := http.Post("http://"+httpAddress+"/v1/lots:design?"+query, "application/geo+json", strings.NewReader(collection(yards(1))))
		require.NoError(t, err)
		defer answer.Body.Close()
		body, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		assert.Equal(t, http.StatusBadRequest, answer.StatusCode, query)
		assert.Contains(t, string(body), want, query)
	}
}

// TestCompareThroughTwoDoors: a batch that is compared comes to the sums of the
// command line, and never to more heads at more pressure.
func TestCompareThroughTwoDoors(t *testing.T) {
	ids := []string{"X-1", "Y-01", "Y-02", "Y-03"}
	features := append(yards(3), crossed("X-1"))
	totals := filepath.Join(t.TempDir(), "totals.json")
	r := run(t, collection(features), "compare", "-", "--pressure", "500kPa,300kPa,100kPa", "--json", totals, "-q")
	require.Equal(t, cli.ExitNotDesigned, r.code, r.stderr)
	text, err := os.ReadFile(totals)
	require.NoError(t, err)
	var want []struct {
		Lots, Designed, Infeasible, Invalid, Heads, Heads_bound int32
		Trench_m, Pipe_m, Parts_cost, Labour_cost               float64
	}
	require.NoError(t, json.Unmarshal(text, &want))

	k := &keeper{T: t, folder: filepath.Join(t.TempDir(), "data")}
	k.start()
	defer k.stop()
	k.fill("elm", ids, features)
	started, err := k.batches.CompareBatch(t.Context(), &pb.CompareBatchRequest{Name: "batches/elm", PressuresKpa: []float64{500, 300, 100}})
	require.NoError(t, err)
	var got *pb.Comparison
	for got == nil {
		got, err = k.batches.GetComparison(t.Context(), &pb.GetComparisonRequest{Name: "batches/elm/comparisons/" + strings.TrimPrefix(started.Name, "operations/")})
		if status.Code(err) != codes.FailedPrecondition {
			require.NoError(t, err)
		}
	}
	require.Len(t, got.Scenarios, len(want))
	for i, w := range want {
		s := got.Scenarios[i]
		assert.Equal(t, []int32{w.Lots, w.Designed, w.Infeasible, w.Invalid, w.Heads, w.Heads_bound}, []int32{s.Lots, s.Designed, s.Infeasible, s.Invalid, s.Heads, s.HeadsBound})
		assert.InDelta(t, w.Trench_m, s.TrenchM, 0.1)
		assert.InDelta(t, w.Pipe_m, s.PipeM, 0.1)
		assert.InDelta(t, w.Parts_cost, s.PartsCost, 1e-9)
		assert.InDelta(t, w.Labour_cost, s.LabourCost, 1e-9)
	}
	assert.Equal(t, int32(3), got.Scenarios[0].Designed)
	assert.Equal(t, int32(3), got.Scenarios[2].Infeasible)
	assert.LessOrEqual(t, got.Scenarios[0].Heads, got.Scenarios[1].Heads)
	assert.Equal(t, int32(3), got.LotsChanging)
}
