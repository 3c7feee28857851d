package cli_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/cli"
)

// result is what a run of the command line left behind.
type result struct {
	code        int
	out, stderr string
}

// run runs the command line with an input on stdin.
func run(t *testing.T, stdin string, args ...string) result {
	t.Helper()
	var out, stderr bytes.Buffer
	code := cli.Run(t.Context(), args, strings.NewReader(stdin), &out, &stderr)
	return result{code, out.String(), stderr.String()}
}

// rectangle is a closed ring of metres east and north of a place in the open
// ocean near 30° west, 40° north, as GeoJSON coordinates.
func rectangle(x, y, width, height float64) string {
	const perLon, perLat = 85394.0, 111035.0 // metres a degree there
	var corners []string
	for _, c := range [][2]float64{{x, y}, {x + width, y}, {x + width, y + height}, {x, y + height}, {x, y}} {
		corners = append(corners, fmt.Sprintf("[%.8f,%.8f]", -30+c[0]/perLon, 40+c[1]/perLat))
	}
	return "[[" + strings.Join(corners, ",") + "]]"
}

func polygon(lot, layer, ring, more string) string {
	return fmt.Sprintf(`{"type":"Feature","properties":{"lot":%q,"layer":%q%s},"geometry":{"type":"Polygon","coordinates":%s}}`, lot, layer, more, ring)
}

// yard is a lot of 18 by 14 m with a house of 6 by 5 m, the i-th in a row; its
// width grows a little with i, so that no two are alike.
func yard(id string, i int) []string {
	x := float64(30 * i)
	return []string{
		polygon(id, "parcel", rectangle(x, 0, 18+0.1*float64(i), 14), ""),
		polygon(id, "building", rectangle(x+5, 5, 6, 5), ""),
	}
}

// yards is n of them.
func yards(n int) (features []string) {
	for i := range n {
		features = append(features, yard(fmt.Sprintf("Y-%02d", i+1), i)...)
	}
	return features
}

// crossed is a lot whose outline crosses itself with two unequal lobes.
func crossed(id string) string {
	return polygon(id, "parcel", "[[[-30.01,40.01],[-30.0097,40.0102],[-30.0097,40.01],[-30.01,40.0103],[-30.01,40.01]]]", "")
}

func collection(features []string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(features, ",\n") + `]}`
}

// feature is an output feature, its text and what tests look at.
type feature struct {
	text       string
	Properties struct {
		Lot, Layer, Status, Reason string
		Heads                      int
	}
	Geometry json.RawMessage
}

// parse reads a feature collection strictly enough to notice half a file.
func parse(t *testing.T, text string) (features []feature) {
	t.Helper()
	var c struct {
		Type     string
		Features []json.RawMessage
	}
	require.NoError(t, json.Unmarshal([]byte(text), &c))
	require.Equal(t, "FeatureCollection", c.Type)
	require.NotNil(t, c.Features)
	for _, raw := range c.Features {
		features = append(features, parseFeature(t, string(raw)))
	}
	return features
}

func parseFeature(t *testing.T, text string) feature {
	t.Helper()
	f := feature{text: text}
	require.NoError(t, json.Unmarshal([]byte(text), &f))
	return f
}

// lotRows are the features of layer lot.
func lotRows(features []feature) []feature {
	return slices.DeleteFunc(slices.Clone(features), func(f feature) bool { return f.Properties.Layer != "lot" })
}

func lotIDs(features []feature) (ids []string) {
	for _, f := range lotRows(features) {
		ids = append(ids, f.Properties.Lot)
	}
	return ids
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(text)
}

func write(t *testing.T, path, text string) string {
	t.Helper()
	require.NoError(t, os.WriteFile(path, []byte(text), 0o666))
	return path
}

// names lists every file below a folder, with slashes.
func names(t *testing.T, dir string) (list []string) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			name, _ := filepath.Rel(dir, path)
			list = append(list, filepath.ToSlash(name))
		}
		return err
	}))
	return list
}

func TestUsage(t *testing.T) {
	dir := t.TempDir()
	input := write(t, filepath.Join(dir, "in.geojson"), collection(yards(1)))
	for _, c := range []struct{ args, want string }{
		{"", "expected one of"},
		{"bake x", "unexpected argument bake"},
		{"design x", "--out or --packet must say"},
		{"design -o -", "no input"},
		{"design - - -o -", "stdin (-) is given 2 times"},
		{"design x -o out.shp", "no extension that names a form"},
		{"design x -o - --format shp", `"shp" is not a form`},
		{"design x -o - --head-pressure 55", `--head-pressure: "55" is not a pressure such as 55psi, 380kPa or 3.8bar`},
		{"design x -o - --head-pressure -5psi", "--head-pressure"},
		{"design x -o - --head-pressure 55psi --static-pressure 60psi --bucket 5gal/45s", "bypasses"},
		{"design x -o - --bucket 5gal/45s", "need --static-pressure"},
		{"design x -o - --static-pressure 60psi", "needs --flow-test or --bucket"},
		{"design x -o - --static-pressure 60psi --bucket 5gal/45s --flow-test 6gpm@45psi", "can't be used together"},
		{"design x -o - --static-pressure 60psi --flow-test 6gpm@60psi", "must be below --static-pressure"},
		{"design x -o - --static-pressure 60psi --flow-test 6gpm", "not a flow at a pressure"},
		{"design x -o - --static-pressure 60psi --bucket 5gal/0s", "not a time"},
		{"design x -o - --coverage 1.2", "not a share"},
		{"design x -o - --paving-factor 0.5", "not a factor"},
		{"design x -o - --workers -1", "--workers"},
		{"design x -o - --layer roof=x", `"roof" is not a layer`},
		{"design x -o - --layer building", "not a layer and a file"},
		{"design x -o - --layer wall=a --layer wall=b", "given twice"},
		{"design x -o - --head-table nowhere.csv", "--head-table"},
		{"design x -o - --least-strip 2", "--least-strip"},
		{"design " + input + " -o " + input, "is an input and an output"},
		{"design " + input + " -o - --head-pressure 55psi --lot nobody", `no lot "nobody"`},
		{"compare x", "missing flags: --pressure=40psi,50psi,60psi,... or --targets="},
		{"compare x --pressure 50psi --targets 90%", "--pressure and --targets can't be used together"},
		{"compare x --targets 90%,120%", `"120%" is not a share`},
		{"compare x --pressure 50psi --head-pressure 50psi", "--head-pressure goes with --targets"},
		{"compare x --pressure 50psi,60", `--pressure: "60" is not a pressure`},
		{"check", "no input"},
		{"serve --grpc-listen 0.0.0.0:0", "--tls-certificate"},
		{"serve --http-listen 192.0.2.1:0", "--tls-certificate"},
		{"serve --http-listen example:0", "want an address"},
		{"serve --metrics-listen :0", "other machines"},
		{"serve --base-url maps.example", "http:// or https://"},
		{"serve --tls-certificate " + input, "--tls-key"},
		{"serve --tls-key " + input, "--tls-certificate"},
		{"serve --client-ca " + input, "--tls-certificate"},
		{"serve --http-listen :0 --keys none", "--tls-certificate"},
		{"serve --http-listen :0 --tls-certificate " + input + " --tls-key " + input, "--keys or --oidc-issuer"},
		{"serve --oidc-issuer https://issuer.example", "--oidc-audience"},
		{"serve --oidc-audience lots", "--oidc-issuer"},
		{"serve --oidc-issuer http://issuer.example --oidc-audience lots", "https://"},
		{"keys add --keys none --tenant Elm", "lower-case"},
		{"keys add --keys none --tenant elm --valid-for -1h", "--valid-for"},
	} {
		r := run(t, "", strings.Fields(c.args)...)
		assert.Equal(t, cli.ExitUsage, r.code, "%s: %s", c.args, r.stderr)
		assert.Contains(t, r.stderr, c.want, c.args)
		assert.Empty(t, r.out, c.args)
	}
	assert.Equal(t, []string{"in.geojson"}, names(t, dir))
}

func TestHelpHasExamples(t *testing.T) {
	for _, command := range []string{"", "design", "compare", "check", "serve", "keys"} {
		r := run(t, "", append(strings.Fields(command), "--help")...)
		assert.Equal(t, cli.ExitOK, r.code)
		assert.Contains(t, r.out, "Example", command)
		assert.Contains(t, r.out, "lotwright "+command)
		assert.Empty(t, r.stderr)
	}
}

func TestVersion(t *testing.T) {
	r := run(t, "", "version")
	assert.Equal(t, cli.ExitOK, r.code)
	assert.Regexp(t, `^lotwright .+ go1\.\d+.*\n$`, r.out)
}

func TestDesignFromStdinToStdout(t *testing.T) {
	r := run(t, collection(yards(2)), "design", "-", "--head-pressure", "55psi", "-o", "-")
	require.Equal(t, cli.ExitOK, r.code, r.stderr)
	features := parse(t, r.out)
	assert.Equal(t, []string{"Y-01", "Y-02"}, lotIDs(features))
	for _, f := range lotRows(features) {
		assert.Equal(t, "designed", f.Properties.Status)
		assert.Positive(t, f.Properties.Heads)
	}
	assert.Contains(t, r.stderr, "Lots", "the summary goes where people read")

	quiet := run(t, collection(yards(2)), "design", "-", "--head-pressure", "55psi", "-o", "-", "--quiet")
	assert.Equal(t, r.out, quiet.out)
	assert.Empty(t, quiet.stderr)
}

// TestForms: every form holds the same features, byte for byte, and its name
// or --format chooses it.
func TestForms(t *testing.T) {
	dir := t.TempDir()
	input := write(t, filepath.Join(dir, "in.geojson"), collection(yards(2)))
	var want []string
	for _, f := range parse(t, run(t, "", "design", input, "--head-pressure", "55psi", "-o", "-", "-q").out) {
		want = append(want, f.text)
	}
	for _, c := range []struct {
		name, format, separator string
	}{
		{"a.geojson", "", ""}, {"a.json", "", ""}, {"a.geojson.gz", "", ""}, {"odd", "geojson", ""},
		{"a.geojsonl", "", "\n"}, {"a.ndjson", "", "\n"}, {"a.geojsonl.gz", "", "\n"}, {"b.geojson", "geojsonl", "\n"},
		{"a.geojsonseq", "", "\n\x1e"}, {"a.geojsons.gz", "", "\n\x1e"},
	} {
		args := []string{"design", input, "--head-pressure", "55psi", "-q", "-o", filepath.Join(dir, c.name)}
		if c.format != "" {
			args = append(args, "--format", c.format)
		}
		r := run(t, "", args...)
		require.Equal(t, cli.ExitOK, r.code, r.stderr)
		text := read(t, filepath.Join(dir, c.name))
		if strings.HasSuffix(c.name, ".gz") {
			unzipped, err := gzip.NewReader(strings.NewReader(text))
			require.NoError(t, err)
			plain, err := io.ReadAll(unzipped)
			require.NoError(t, err)
			text = string(plain)
		}
		var got []string
		if c.separator == "" {
			for _, f := range parse(t, text) {
				got = append(got, f.text)
			}
		} else {
			got = strings.Split(strings.Trim(text, "\x1e\n"), c.separator)
		}
		assert.Equal(t, want, got, c.name)
	}
}

func TestDesignIntoFolder(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "new", "out")
	input := write(t, filepath.Join(dir, "in.geojson"), collection(append(yards(2), crossed("X-1"))))
	r := run(t, "", "design", input, "--head-pressure", "55psi", "-o", out+"/")
	require.Equal(t, cli.ExitNotDesigned, r.code, r.stderr)
	assert.Equal(t, []string{"map.geojson", "plans/X-1.svg", "plans/Y-01.svg", "plans/Y-02.svg", "sheet.svg", "table.csv"}, names(t, out))

	rows, err := csv.NewReader(strings.NewReader(read(t, filepath.Join(out, "table.csv")))).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 4)
	assert.Equal(t, []string{"lot", "status", "reason"}, rows[0][:3])
	for i, f := range lotRows(parse(t, read(t, filepath.Join(out, "map.geojson")))) {
		assert.Equal(t, []string{f.Properties.Lot, f.Properties.Status, f.Properties.Reason}, rows[i+1][:3])
	}

	assert.Contains(t, r.out, "invalid", "the summary counts")
	assert.Contains(t, r.stderr, "X-1", "the lot is named")
	assert.Contains(t, r.stderr, "in.geojson, feature 4", "with file and feature")
	assert.Contains(t, strings.Join(strings.Fields(r.stderr), " "), "(parcel) at -30.0", "and place")
	for line := range strings.Lines(r.out + r.stderr) {
		assert.LessOrEqual(t, len([]rune(line)), 101, line)
	}

	// An existing folder needs no slash, and files there are replaced.
	again := run(t, "", "design", input, "--head-pressure", "55psi", "--lot", "Y-02", "-o", out)
	require.Equal(t, cli.ExitOK, again.code, again.stderr)
	assert.Equal(t, []string{"Y-02"}, lotIDs(parse(t, read(t, filepath.Join(out, "map.geojson")))))
}

// TestSameBytes: neither the number of workers nor the order of the features
// shows in any output.
func TestSameBytes(t *testing.T) {
	dir := t.TempDir()
	features := append(yards(9), crossed("X-1"))
	design := func(name string, features []string, workers string) map[string]string {
		input := write(t, filepath.Join(dir, name+".geojson"), collection(features))
		out := filepath.Join(dir, name)
		r := run(t, "", "design", input, "--head-pressure", "55psi", "--workers", workers, "-q", "-o", out+"/")
		require.Equal(t, cli.ExitNotDesigned, r.code, r.stderr)
		files := map[string]string{}
		for _, file := range names(t, out) {
			files[file] = read(t, filepath.Join(out, file))
		}
		return files
	}
	want := design("one", features, "1")
	require.Equal(t, 3+10, len(want))
	sameFiles(t, want, design("two", features, "2"))
	sameFiles(t, want, design("eight", features, "8"))
	shuffled := slices.Clone(features)
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	require.NotEqual(t, features, shuffled)
	sameFiles(t, want, design("shuffled", shuffled, "3"))
}

// sameFiles compares files by name, without printing them.
func sameFiles(t *testing.T, want, got map[string]string) {
	t.Helper()
	assert.Equal(t, slices.Sorted(maps.Keys(want)), slices.Sorted(maps.Keys(got)))
	for name, text := range want {
		assert.True(t, text == got[name], "%s differs", name)
	}
}

// cancelAfter cancels a run once so many progress lines have gone by.
type cancelAfter struct {
	bytes.Buffer
	lines  int
	cancel context.CancelFunc
}

func (w *cancelAfter) Write(p []byte) (int, error) {
	if w.lines -= bytes.Count(p, []byte("\n")); w.lines <= 0 {
		w.cancel()
	}
	return w.Buffer.Write(p)
}

func TestInterruptedRunLeavesACompleteFile(t *testing.T) {
	dir := t.TempDir()
	const n = 60
	input := write(t, filepath.Join(dir, "in.geojson"), collection(yards(n)))
	ctx, cancel := context.WithCancel(t.Context())
	stderr := &cancelAfter{lines: 3, cancel: cancel}
	out := filepath.Join(dir, "out")
	args := []string{"design", input, "--head-pressure", "55psi", "--workers", "2", "--progress", "json", "-o", out + "/"}
	code := cli.Run(ctx, args, strings.NewReader(""), io.Discard, stderr)
	require.Equal(t, cli.ExitFault, code, stderr.String())

	ids := lotIDs(parse(t, read(t, filepath.Join(out, "map.geojson"))))
	require.GreaterOrEqual(t, len(ids), 3)
	require.Less(t, len(ids), n)
	assert.True(t, slices.IsSorted(ids))
	assert.Contains(t, stderr.String(), fmt.Sprintf("interrupted: %d of %d lots are done; missing: ", len(ids), n))
	_, missing, _ := strings.Cut(stderr.String(), "missing: ")
	for i := range 20 {
		id := fmt.Sprintf("Y-%02d", i+1)
		assert.NotEqual(t, slices.Contains(ids, id), strings.Contains(missing, id), "%s is done or named as missing", id)
	}
	assert.Len(t, names(t, out), len(ids)+3, "a plan of each lot written, map, table, sheet, and nothing half done")
}

func TestProgressLines(t *testing.T) {
	r := run(t, collection(yards(2)), "design", "-", "--head-pressure", "55psi", "--progress", "json", "-q", "-o", "-")
	assert.Equal(t, `{"event":"lot","done":1,"total":2,"lot":"Y-01","status":"designed"}
{"event":"lot","done":2,"total":2,"lot":"Y-02","status":"designed"}
{"event":"end","done":2,"total":2}
`, r.stderr)
}

func TestFailFast(t *testing.T) {
	features := append(yards(3), crossed("Y-015"))
	r := run(t, collection(features), "design", "-", "--head-pressure", "55psi", "--fail-fast", "-q", "-o", "-")
	assert.Equal(t, cli.ExitNotDesigned, r.code)
	assert.Equal(t, []string{"Y-01", "Y-015"}, lotIDs(parse(t, r.out)))
	assert.Contains(t, r.stderr, "Y-015")
}

func TestInfeasibleLotSaysWhy(t *testing.T) {
	r := run(t, collection(yards(1)), "design", "-", "--head-pressure", "30psi", "-o", "-")
	assert.Equal(t, cli.ExitNotDesigned, r.code)
	row := lotRows(parse(t, r.out))[0].Properties
	assert.Equal(t, "infeasible", row.Status)
	assert.Contains(t, row.Reason, "psi")
	assert.Contains(t, r.stderr, "Not designed: 1 of 1 lot")
}

func TestFaults(t *testing.T) {
	dir := t.TempDir()
	input := write(t, filepath.Join(dir, "in.geojson"), collection(yards(1)))
	broken := write(t, filepath.Join(dir, "broken.geojson"), collection(yards(1))[:200])
	for _, c := range []struct{ args, want string }{
		{"design nowhere.geojson --head-pressure 55psi -o -", "nowhere.geojson"},
		{"design " + broken + " --head-pressure 55psi -o -", "broken.geojson"},
		{"design " + input + " --head-pressure 55psi -o " + input + "/x/y.geojson", "not a directory"},
		{"check " + broken, "broken.geojson"},
	} {
		r := run(t, "", strings.Fields(c.args)...)
		assert.Equal(t, cli.ExitFault, r.code, r.stderr)
		assert.Contains(t, r.stderr, c.want)
	}
	assert.Equal(t, []string{"broken.geojson", "in.geojson"}, names(t, dir))
}

// TestHostileIDs: whatever an id holds, no file leaves the folder, no terminal
// is driven and no spreadsheet computes.
func TestHostileIDs(t *testing.T) {
	dir := t.TempDir()
	ids := []string{"../../escape", "/abs", `C:\x`, "con", "<b>&'\"", "=1+1", "@x", "y-01", "Y-01", "Ärger 7", "a\nb", "x\x1b[31m", strings.Repeat("long", 30)}
	var features []string
	for i, id := range ids {
		quoted, err := json.Marshal(id)
		require.NoError(t, err)
		for _, f := range yard("ID", i) {
			features = append(features, strings.Replace(f, `"ID"`, string(quoted), 1))
		}
	}
	out := filepath.Join(dir, "out")
	r := run(t, collection(features), "design", "-", "--head-pressure", "55psi", "-o", out+"/")
	require.Contains(t, []int{cli.ExitOK, cli.ExitNotDesigned}, r.code, r.stderr)

	require.Len(t, lotRows(parse(t, read(t, filepath.Join(out, "map.geojson")))), len(ids))
	assert.Len(t, names(t, dir), len(ids)+3, "a plan each, and all below the folder")
	for _, name := range names(t, dir) {
		assert.Regexp(t, `^out/(map\.geojson|table\.csv|sheet\.svg|plans/[A-Za-z0-9_-]+\.svg)$`, name)
	}
	assert.NotContains(t, r.out+r.stderr, "\x1b")
	rows, err := csv.NewReader(strings.NewReader(read(t, filepath.Join(out, "table.csv")))).ReadAll()
	require.NoError(t, err)
	for _, row := range rows {
		assert.NotRegexp(t, `^[=+@\t\r]`, row[0])
	}
}

func TestCheck(t *testing.T) {
	sound := run(t, collection(yards(2)), "check", "-")
	assert.Equal(t, cli.ExitOK, sound.code)
	assert.Contains(t, sound.out, "2 lots: 2 sound, 0 refused")

	text := collection(append(yards(2), crossed("X-1")))
	table := run(t, text, "check", "-")
	assert.Equal(t, cli.ExitNotDesigned, table.code)
	assert.Contains(t, table.out, "3 lots: 2 sound, 1 refused")
	assert.Regexp(t, `(?m)^X-1 +error +`, table.out)

	lines := run(t, text, "check", "--json", "-")
	assert.Equal(t, cli.ExitNotDesigned, lines.code)
	errors := 0
	for line := range strings.Lines(lines.out) {
		var f struct {
			File, Lot, Rule, Severity string
			Feature                   *int
			Longitude                 *float64
		}
		require.NoError(t, json.Unmarshal([]byte(line), &f), line)
		if f.Severity == "error" {
			errors++
			assert.Equal(t, "stdin", f.File)
			assert.Equal(t, "X-1", f.Lot)
			assert.NotEmpty(t, f.Rule)
			require.NotNil(t, f.Feature)
			assert.Equal(t, 4, *f.Feature)
			require.NotNil(t, f.Longitude)
			assert.InDelta(t, -30.01, *f.Longitude, 0.01)
		}
	}
	assert.Positive(t, errors)

	refused := run(t, "{", "check", "--json", "-")
	assert.Equal(t, cli.ExitFault, refused.code)
	assert.Contains(t, refused.out, `"scope":"request"`)
}

func TestCompare(t *testing.T) {
	dir := t.TempDir()
	totals, table, chart := filepath.Join(dir, "totals.csv"), filepath.Join(dir, "table.csv"), filepath.Join(dir, "chart.svg")
	text := collection(append(yards(4), crossed("X-1")))
	r := run(t, text, "compare", "-", "--pressure", "30psi,40psi,70psi", "--csv", totals, "--table", table, "--chart", chart, "--json", filepath.Join(dir, "totals.json"))
	require.Equal(t, cli.ExitNotDesigned, r.code, r.stderr)
	assert.Contains(t, r.stderr, "X-1")
	assert.NotContains(t, r.stderr, "Y-01", "infeasible at one pressure is an answer")

	rows, err := csv.NewReader(strings.NewReader(read(t, totals))).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 4)
	column := func(row int, name string) string { return rows[row][slices.Index(rows[0], name)] }
	assert.Equal(t, []string{"4", "0", "4", "1"}, []string{column(1, "infeasible"), column(1, "designed"), column(2, "designed"), column(3, "invalid")})
	var at40, at70 int
	_, err = fmt.Sscan(column(2, "heads")+" "+column(3, "heads"), &at40, &at70)
	require.NoError(t, err)
	assert.Greater(t, at40, at70, "water flies farther at 70 psi")

	var objects []map[string]any
	require.NoError(t, json.Unmarshal([]byte(read(t, filepath.Join(dir, "totals.json"))), &objects))
	require.Len(t, objects, 3)
	assert.EqualValues(t, at70, objects[2]["heads"])
	assert.Nil(t, objects[2]["coverage_target"])
	assert.Greater(t, objects[1]["cost"], objects[2]["cost"], "more heads cost more")

	perLot, err := csv.NewReader(strings.NewReader(read(t, table))).ReadAll()
	require.NoError(t, err)
	assert.Equal(t, []string{"lot", "heads_30psi", "heads_40psi", "heads_70psi"}, perLot[0])
	assert.Len(t, perLot, 6)
	assert.Equal(t, []string{"X-1", "", "", ""}, perLot[1])
	sum := 0
	for _, row := range perLot[2:] {
		var heads int
		_, err := fmt.Sscan(row[2], &heads)
		require.NoError(t, err)
		sum += heads
	}
	assert.Equal(t, at40, sum, "the totals are those of the lots")
	assert.Contains(t, read(t, chart), "<svg")
}

// TestCompareAgreesWithDesign: a column of compare is what design gives, also
// where the lots carry measurements of their own.
func TestCompareAgreesWithDesign(t *testing.T) {
	dir := t.TempDir()
	table := filepath.Join(dir, "t.csv")
	r := run(t, collection(yards(3)), "compare", "-", "--pressure", "45psi", "--table", table, "-q")
	require.Equal(t, cli.ExitOK, r.code, r.stderr)
	designs := lotRows(parse(t, run(t, collection(yards(3)), "design", "-", "--head-pressure", "45psi", "-q", "-o", "-").out))
	rows, err := csv.NewReader(strings.NewReader(read(t, table))).ReadAll()
	require.NoError(t, err)
	for i, f := range designs {
		assert.Equal(t, []string{f.Properties.Lot, fmt.Sprint(f.Properties.Heads)}, rows[i+1])
	}

	own := strings.ReplaceAll(collection(yards(3)), `"layer":"parcel"`, `"layer":"parcel","head_pressure_psi":70`)
	displaced := filepath.Join(dir, "own.csv")
	require.Equal(t, cli.ExitOK, run(t, own, "compare", "-", "--pressure", "45psi", "--table", displaced, "-q").code)
	assert.Equal(t, read(t, table), read(t, displaced))
}

// TestCompareTargets: more of the lawn never takes fewer heads, whatever the
// order the targets are given in; and a target by itself is what design gives.
func TestCompareTargets(t *testing.T) {
	dir := t.TempDir()
	table, totals, chart := filepath.Join(dir, "t.csv"), filepath.Join(dir, "totals.csv"), filepath.Join(dir, "chart.svg")
	r := run(t, collection(yards(4)), "compare", "-", "--targets", "97%,85%,1,0.999", "--head-pressure", "45psi",
		"--table", table, "--csv", totals, "--chart", chart)
	require.Equal(t, cli.ExitOK, r.code, r.stderr)
	assert.Contains(t, r.out, "99.9 %")
	rows, err := csv.NewReader(strings.NewReader(read(t, table))).ReadAll()
	require.NoError(t, err)
	assert.Equal(t, []string{"lot", "heads_97pct", "heads_85pct", "heads_100pct", "heads_99.9pct"}, rows[0])
	more := 0
	for _, row := range rows[1:] {
		var at97, at85, at100, at999 int
		_, err := fmt.Sscan(strings.Join(row[1:], " "), &at97, &at85, &at100, &at999)
		require.NoError(t, err)
		assert.LessOrEqual(t, at85, at97)
		assert.LessOrEqual(t, at97, at999)
		assert.LessOrEqual(t, at999, at100)
		more += at100 - at85
	}
	assert.Positive(t, more)
	lines, err := csv.NewReader(strings.NewReader(read(t, totals))).ReadAll()
	require.NoError(t, err)
	assert.Equal(t, "0.8500", lines[2][slices.Index(lines[0], "coverage_target")])
	assert.Contains(t, read(t, chart), "85 %")

	alone := filepath.Join(dir, "alone.csv")
	require.Equal(t, cli.ExitOK, run(t, collection(yards(4)), "compare", "-", "--targets", "85%", "--head-pressure", "45psi", "--table", alone, "-q").code)
	designs := lotRows(parse(t, run(t, collection(yards(4)), "design", "-", "--head-pressure", "45psi", "--coverage", "85%", "-q", "-o", "-").out))
	single, err := csv.NewReader(strings.NewReader(read(t, alone))).ReadAll()
	require.NoError(t, err)
	for i, f := range designs {
		assert.Equal(t, []string{f.Properties.Lot, fmt.Sprint(f.Properties.Heads)}, single[i+1])
	}
}

// badInput is an entry of the index of hostile and odd inputs.
type badInput struct {
	File, Wrong, Expect, Scope string
	GoodLots                   []string `json:"good_lots"`
}

func badInputs(t *testing.T) (list []badInput) {
	t.Helper()
	require.NoError(t, json.Unmarshal([]byte(read(t, "../../testdata/badinput/INDEX.json")), &list))
	require.NotEmpty(t, list)
	return list
}

// TestBadInputs: each hostile input gets the verdict it deserves, and a lot
// that is refused never costs a good one of the same file its design.
func TestBadInputs(t *testing.T) {
	for _, in := range badInputs(t) {
		t.Run(in.File, func(t *testing.T) {
			path := "../../testdata/badinput/" + in.File
			r := run(t, "", "check", path)
			switch {
			case in.Expect != "reject":
				assert.Equal(t, cli.ExitOK, r.code, in.Wrong)
				return
			case in.Scope == "request":
				assert.Equal(t, cli.ExitFault, r.code, in.Wrong)
				assert.Contains(t, r.stderr, in.File)
				return
			}
			assert.Equal(t, cli.ExitNotDesigned, r.code, in.Wrong)
			// Half the lawn is enough to ask for here, and soon found.
			design := []string{"design", path, "--head-pressure", "55psi", "--coverage", "50%", "-q", "-o", "-"}
			all := parse(t, run(t, "", design...).out)
			for _, id := range in.GoodLots {
				alone := parse(t, run(t, "", append(design, "--lot", id)...).out)
				together := slices.DeleteFunc(slices.Clone(all), func(f feature) bool { return f.Properties.Lot != id })
				require.NotEmpty(t, alone, id)
				assert.NotContains(t, []string{"invalid", "failed"}, alone[0].Properties.Status, id)
				assert.Equal(t, alone, together, id)
			}
		})
	}
}
