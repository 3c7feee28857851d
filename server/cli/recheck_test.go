package cli_test

import (
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
)

// TestRecheckOverBothDoors designs lots, moves a head of one, and has that looked
// at over REST and over gRPC: both answer the same, and only that lot is worse.
func TestRecheckOverBothDoors(t *testing.T) {
	survey := yards(2)
	designs := texts(t, run(t, collection(survey), "design", "-", "--head-pressure", "380kPa", "-q", "-o", "-").out)
	grpcAddress, httpAddress := serve(t)
	recheck := func(features []string) []string {
		answer, err := http.Post("http://"+httpAddress+"/v1/lots:recheck?head_pressure=380kPa", "application/geo+json", strings.NewReader(collection(features)))
		require.NoError(t, err)
		defer answer.Body.Close()
		body, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		require.Equal(t, http.StatusOK, answer.StatusCode, string(body))
		return texts(t, string(body))
	}
	same := recheck(append(append([]string{}, survey...), designs...))
	assert.Equal(t, 2, strings.Count(strings.Join(same, "\n"), `"status":"designed"`), "%s", same)

	moved := append([]string{}, designs...)
	coordinates := regexp.MustCompile(`"coordinates":\[([-0-9.]+),([-0-9.]+)\]`)
	for i, f := range moved {
		if strings.Contains(f, `"lot":"Y-01","layer":"head","head":"H1"`) {
			var lon, lat float64
			_, err := fmt.Sscan(strings.Join(coordinates.FindStringSubmatch(f)[1:], " "), &lon, &lat)
			require.NoError(t, err)
			moved[i] = coordinates.ReplaceAllString(f, fmt.Sprintf(`"coordinates":[%.8f,%.8f]`, lon+0.00003, lat))
		}
	}
	require.NotEqual(t, designs, moved)
	now := recheck(append(append([]string{}, survey...), moved...))
	assert.Equal(t, 1, strings.Count(strings.Join(now, "\n"), `"status":"designed"`))

	connection, err := grpc.NewClient(grpcAddress, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	defer connection.Close()
	settings := &pb.Settings{Supply: &pb.Supply{HeadPressureKpa: proto.Float64(380)}}
	var got []string
	for _, id := range []string{"Y-01", "Y-02"} {
		answer, err := pb.NewDesignerClient(connection).RecheckLot(t.Context(), &pb.RecheckLotRequest{
			Lot: message(t, id, survey), Settings: settings, Geojson: collection(moved)})
		require.NoError(t, err)
		got = append(got, texts(t, answer.Design.Geojson)...)
	}
	assert.Equal(t, now, got)

	bare := recheck(survey)
	assert.Equal(t, 2, strings.Count(strings.Join(bare, "\n"), "asbuilt.no_heads: "), "%s", bare)
	twice := recheck(append(append([]string{}, survey...), append(moved, designs...)...))
	assert.Contains(t, strings.Join(twice, "\n"), "stands twice")
}

// TestCompletedAroundWhatStands: of what was built, once GeoJSON and once our own
// GeoPackage, one head is missing; completed, the others stay, and the target
// is met with as many as designed. And heads marked as fixed in a map
// that is given beside the lots stay.
func TestCompletedAroundWhatStands(t *testing.T) {
	folder := t.TempDir()
	flags := []string{"--lot", "LK-05", "--effort", "quick", "-q"}
	made, pack := filepath.Join(folder, "map.geojson"), filepath.Join(folder, "map.gpkg")
	for _, out := range []string{made, pack} {
		require.Equal(t, 0, run(t, "", append([]string{"design", demo, "-o", out}, flags...)...).code)
	}
	var without, fixed []string
	places := 0
	for _, f := range texts(t, read(t, made)) {
		if strings.Contains(f, `"layer":"head"`) {
			places++
		}
		if !strings.Contains(f, `"layer":"head","head":"H1"`) {
			without = append(without, f)
		}
		fixed = append(fixed, strings.Replace(f, `"fixed":false`, `"fixed":true`, 1))
	}
	built := write(t, filepath.Join(folder, "built.geojson"), collection(without))
	out := filepath.Join(folder, "completed.geojson")
	r := run(t, "", append([]string{"audit", demo, "--built", built, "--complete", "-o", out}, flags[:4]...)...)
	require.Equal(t, 0, r.code, r.stderr)
	assert.Contains(t, r.out, fmt.Sprintf("%d heads stand, 1 more", places-1))
	kept, heads := standing(t, read(t, out))
	assert.Equal(t, [2]int{places - 1, places}, [2]int{kept, heads})

	r = run(t, "", append([]string{"audit", demo, "--built", pack, "-o", filepath.Join(folder, "audited.geojson")}, flags[:4]...)...)
	require.Equal(t, 0, r.code, "%s\n%s", r.out, r.stderr)

	r = run(t, "", append([]string{"design", demo, write(t, filepath.Join(folder, "fixed.geojson"), collection(fixed)), "-o", out}, flags...)...)
	require.Equal(t, 0, r.code, r.stderr)
	kept, heads = standing(t, read(t, out))
	assert.Equal(t, [2]int{places, places}, [2]int{kept, heads})
	assert.Contains(t, read(t, out), `"rule":"layer.design"`)
}

// standing counts the heads of a map that are fixed, and all heads.
func standing(t *testing.T, text string) (kept, heads int) {
	t.Helper()
	for _, f := range texts(t, text) {
		if !strings.Contains(f, `"layer":"head"`) {
			continue
		}
		heads++
		if strings.Contains(f, `"fixed":true`) {
			kept++
		}
	}
	return kept, heads
}
