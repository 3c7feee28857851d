package cli_test

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const demo = "../../testdata/lots/larkenfold/subdivision.geojson"

// packetOf designs two lots of the demo and returns the folder of the whole job.
func packetOf(t *testing.T, more ...string) string {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "job")
	args := append([]string{"design", demo, "--packet", folder, "--lot", "LK-05", "--lot", "LK-09", "--effort", "quick", "--date", "2026-05-01", "-q"}, more...)
	r := run(t, "", args...)
	require.Equal(t, 0, r.code, r.stderr)
	return folder
}

func rowsOf(t *testing.T, path string) []map[string]string {
	t.Helper()
	records, err := csv.NewReader(strings.NewReader(read(t, path))).ReadAll()
	require.NoError(t, err)
	require.NotEmpty(t, records)
	var rows []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// mapFeatures returns the properties of every feature of a map.
func mapFeatures(t *testing.T, text string) (out []map[string]any) {
	t.Helper()
	var m struct {
		Features []struct{ Properties map[string]any }
	}
	require.NoError(t, json.Unmarshal([]byte(text), &m))
	for _, f := range m.Features {
		out = append(out, f.Properties)
	}
	return out
}

func amount(t *testing.T, s string) float64 {
	t.Helper()
	if s == "" {
		return 0
	}
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

// TestPacket: every file of the whole job is there, and totals are sums.
func TestPacket(t *testing.T) {
	folder := packetOf(t)
	for _, name := range []string{"map.geojson", "table.csv", "sheet.svg", "takeoff.csv", "totals.csv", "takeoff.xlsx", "pressure.csv",
		"run_times.csv", "program.csv", "water_use.csv", "book.pdf"} {
		assert.FileExists(t, filepath.Join(folder, name))
	}
	for _, lot := range []string{"LK-05", "LK-09"} {
		for _, name := range []string{"design.geojson", "takeoff.csv", "run_times.csv", "program.ics", "network.inp", "winter.txt", "rules.txt", "sheet.pdf", "sheet-1.svg"} {
			assert.FileExists(t, filepath.Join(folder, "lots", lot, name))
		}
		assert.True(t, strings.HasPrefix(read(t, filepath.Join(folder, "lots", lot, "sheet.pdf")), "%PDF-"))
	}
	sums, labour := map[string]float64{}, map[string]float64{}
	for _, row := range rowsOf(t, filepath.Join(folder, "takeoff.csv")) {
		key := row["item"] + "|" + row["size"]
		sums[key] += amount(t, row["quantity"])
		labour[key] += amount(t, row["labour_hours"])
		assert.NotEmpty(t, row["features"], "%s of lot %s comes from nothing", key, row["lot"])
	}
	totals := rowsOf(t, filepath.Join(folder, "totals.csv"))
	assert.Len(t, totals, len(sums))
	for _, row := range totals {
		key := row["item"] + "|" + row["size"]
		assert.InDelta(t, sums[key], amount(t, row["quantity"]), 1e-9, key)
		assert.InDelta(t, labour[key], amount(t, row["labour_hours"]), 1e-9, key)
	}
}

// TestPacketTraces: heads and pipe of the parts list are those of the map, and the
// pressure budget ends at what the map says.
func TestPacketTraces(t *testing.T) {
	folder := packetOf(t)
	heads, pressure, labels := map[string]int{}, map[string]string{}, map[string]bool{}
	for _, f := range mapFeatures(t, read(t, filepath.Join(folder, "map.geojson"))) {
		lot := f["lot"].(string)
		for _, name := range []string{"head", "pipe", "from", "to"} {
			if label, ok := f[name].(string); ok {
				labels[lot+" "+label] = true
			}
		}
		if f["layer"] == "head" {
			heads[lot]++
		}
		if f["layer"] == "lot" {
			pressure[lot] = strconv.FormatFloat(f["pressure_psi"].(float64), 'f', 2, 64)
		}
	}
	counted := map[string]int{}
	for _, row := range rowsOf(t, filepath.Join(folder, "takeoff.csv")) {
		if row["item"] == "head" {
			counted[row["lot"]] += int(amount(t, row["quantity"]))
		}
		for _, label := range strings.Fields(row["features"]) {
			for _, end := range strings.Split(label, "–") {
				assert.True(t, labels[row["lot"]+" "+end], "lot %s: %s of %s is not on the map", row["lot"], end, row["item"])
			}
		}
	}
	assert.Equal(t, heads, counted)
	last := map[string]string{}
	for _, row := range rowsOf(t, filepath.Join(folder, "pressure.csv")) {
		last[row["lot"]] = row["left_psi"]
	}
	assert.Equal(t, pressure, last)
}

// TestPacketBytes: the same input and date give the same bytes.
func TestPacketBytes(t *testing.T) {
	a, b := packetOf(t, "--workers", "1"), packetOf(t, "--workers", "4")
	compared := 0
	require.NoError(t, filepath.WalkDir(a, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name, err := filepath.Rel(a, path)
		require.NoError(t, err)
		compared++
		assert.True(t, read(t, path) == read(t, filepath.Join(b, name)), name)
		return nil
	}))
	assert.Greater(t, compared, 20)
}

func TestPacketFlags(t *testing.T) {
	for name, args := range map[string][]string{
		"soil": {"--soil", "cheese"}, "days": {"--water-days", "moonday"}, "window": {"--water-window", "late"}, "season": {"--season", "x"},
		"rain": {"--rain", "sometimes"}, "tiers": {"--tiers", "free"}, "date": {"--date", "tomorrow"}, "rules": {"--rules", "nowhere"},
		"prices": {"--prices", "missing.csv"}, "weather": {"--weather", "missing.csv"}, "slope": {"--slope", "-3"},
		"meter": {"--meter", "9in"}, "backflow": {"--backflow", "missing.csv"}, "pipe size": {"--pipe-size", "7in"}, "pipe material": {"--pipe-material", "lead"},
	} {
		r := run(t, "", append([]string{"design", demo, "--packet", t.TempDir()}, args...)...)
		assert.Equal(t, 2, r.code, "%s: %s", name, r.stderr)
		assert.Contains(t, r.stderr, strings.TrimPrefix(args[0], "--")[:4], name)
	}
}

// TestPipeTables: prices and a loss curve of one's own.
func TestPipeTables(t *testing.T) {
	curve := write(t, filepath.Join(t.TempDir(), "curve.csv"), "flow_gpm,loss_psi\n0,3\n10,4\n30,6\n")
	prices := write(t, filepath.Join(t.TempDir(), "pipe.csv"), "size,price_per_ft\n1in,0.8\n1-1/4in,1.1\n")
	out := filepath.Join(t.TempDir(), "x.geojson")
	r := run(t, "", "design", demo, "--lot", "LK-05", "-o", out, "--effort", "quick", "--backflow", curve, "--pipe-prices", prices, "-q")
	require.Equal(t, 0, r.code, r.stderr)
	for _, f := range mapFeatures(t, read(t, out)) {
		if f["layer"] == "pipe" {
			assert.Contains(t, []any{"1 in", "1-1/4 in"}, f["size"])
		}
	}
	for _, bad := range []string{"flow_gpm\n1\n", "flow_gpm,loss_psi\n5,9\n6,2\n", "flow_gpm,loss_psi\nx,2\n", "a,b\n1,2\n"} {
		path := write(t, filepath.Join(t.TempDir(), "bad.csv"), bad)
		assert.Equal(t, 2, run(t, "", "design", demo, "-o", out, "--backflow", path).code, bad)
	}
}

// TestAuditMovedHead: a head moved by 2 m leaves ground dry that was not.
func TestAuditMovedHead(t *testing.T) {
	folder := packetOf(t)
	var features []string
	for _, f := range strings.Split(read(t, filepath.Join(folder, "lots", "LK-05", "design.geojson")), "\n") {
		f = strings.TrimSuffix(f, ",")
		if strings.Contains(f, `"layer":"head","head":"H2"`) {
			at := strings.Index(f, `"coordinates":[`) + len(`"coordinates":[`)
			end := at + strings.Index(f[at:], ",")
			lon, err := strconv.ParseFloat(f[at:end], 64)
			require.NoError(t, err)
			f = f[:at] + strconv.FormatFloat(lon+2/85_000.0, 'f', 8, 64) + f[end:]
		}
		if strings.HasPrefix(f, `{"type":"Feature","`) {
			features = append(features, f)
		}
	}
	require.Greater(t, len(features), 10)
	built := write(t, filepath.Join(t.TempDir(), "built.geojson"), collection(features))
	out := filepath.Join(t.TempDir(), "audited.geojson")
	r := run(t, "", "audit", demo, "--effort", "quick", "--built", built, "-o", out, "--drawings", filepath.Join(folder, "record.pdf"))
	assert.Equal(t, 3, r.code, "the target is missed: %s", r.stderr)
	assert.Contains(t, r.out, "H2 stands")
	assert.Contains(t, r.out, "newly dry")
	layers := map[any]bool{}
	for _, f := range mapFeatures(t, read(t, out)) {
		layers[f["layer"]] = true
	}
	assert.True(t, layers["dry"] && layers["head"])
	assert.True(t, strings.HasPrefix(read(t, filepath.Join(folder, "record.pdf")), "%PDF-"))
}

// TestAuditCans: readings on the command line give the published statistics of
// their kind: mean 40, lowest quarter 30, so DU_lq is 75 %.
func TestAuditCans(t *testing.T) {
	text := "label,volume_ml\n"
	for i := range 24 {
		text += "c" + strconv.Itoa(i) + "," + strconv.Itoa([]int{30, 40, 40, 50}[i%4]) + "\n"
	}
	cans := write(t, filepath.Join(t.TempDir(), "cans.csv"), text)
	r := run(t, "", "audit", demo, "--lot", "LK-05", "--effort", "quick", "--cans", cans, "--run-time", "15m", "--mouth", "4in", "--wind-mph", "2")
	require.Equal(t, 0, r.code, r.stderr)
	assert.Contains(t, r.out, "75.0")
	assert.Equal(t, 2, run(t, "", "audit", demo, "--cans", cans).code, "which lot is not said")
}

// TestPartsRunTimesAndSheets: the single commands give what the packet holds.
func TestPartsRunTimesAndSheets(t *testing.T) {
	folder, dir := packetOf(t), t.TempDir()
	few := []string{demo, "--lot", "LK-05", "--lot", "LK-09", "--effort", "quick", "-q"}
	with := func(command string, more ...string) result {
		return run(t, "", append(append([]string{command}, few...), more...)...)
	}
	r := with("takeoff", "-o", filepath.Join(dir, "parts.csv"), "--totals", filepath.Join(dir, "totals.csv"))
	require.Equal(t, 0, r.code, r.stderr)
	assert.Equal(t, read(t, filepath.Join(folder, "takeoff.csv")), read(t, filepath.Join(dir, "parts.csv")))
	assert.Equal(t, read(t, filepath.Join(folder, "totals.csv")), read(t, filepath.Join(dir, "totals.csv")))
	require.Equal(t, 0, with("takeoff", "-o", filepath.Join(dir, "parts.xlsx")).code)
	assert.Equal(t, read(t, filepath.Join(folder, "takeoff.xlsx")), read(t, filepath.Join(dir, "parts.xlsx")))

	r = with("schedule", "-o", "-", "--program", filepath.Join(dir, "program.csv"))
	require.Equal(t, 0, r.code, r.stderr)
	assert.Equal(t, read(t, filepath.Join(folder, "run_times.csv")), r.out)
	assert.Equal(t, read(t, filepath.Join(folder, "program.csv")), read(t, filepath.Join(dir, "program.csv")))
	assert.Equal(t, 2, with("schedule", "-o", "-", "--soil", "cheese").code)

	book := filepath.Join(dir, "book.pdf")
	r = with("sheet", "-o", book, "--date", "2026-05-01", "--paper", "a4", "--units", "metric")
	require.Equal(t, 0, r.code, r.stderr)
	assert.True(t, strings.HasPrefix(read(t, book), "%PDF-"))
}
