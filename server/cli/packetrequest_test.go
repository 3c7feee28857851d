package cli_test

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func ask(t *testing.T, url, body string) (*http.Response, []byte) {
	t.Helper()
	answer, err := http.Post(url, "application/geo+json", strings.NewReader(body))
	require.NoError(t, err)
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return answer, text
}

// A packet over REST holds the files that the command line writes for the lot,
// byte for byte, and their tables in words.
func TestPacketOfRequest(t *testing.T) {
	const water, query = "--static-pressure=70psi --flow-test=12gpm@55psi", "static_pressure=70psi&flow_test=12gpm@55psi&date=2026-05-01"
	lots := collection(yards(1))
	folder := t.TempDir()
	run(t, lots, append(strings.Fields("design - -q --packet "+folder+" --date 2026-05-01 "+water), "-o", filepath.Join(folder, "map.geojson"))...)
	_, address := serve(t)
	url := "http://" + address + "/v1/lots:packet?" + query

	answer, body := ask(t, url, lots)
	require.Equal(t, http.StatusOK, answer.StatusCode, string(body))
	assert.Equal(t, "application/zip", answer.Header.Get("Content-Type"))
	z, err := zip.NewReader(bytes.NewReader(body), int64(len(body)))
	require.NoError(t, err)
	names := map[string]bool{}
	for _, f := range z.File {
		assert.False(t, names[f.Name], f.Name)
		names[f.Name] = true
		in, err := f.Open()
		require.NoError(t, err)
		got, err := io.ReadAll(in)
		require.NoError(t, err)
		assert.NotEmpty(t, got, f.Name)
		want, err := os.ReadFile(filepath.Join(folder, "lots", "Y-01", f.Name))
		if err != nil {
			want, err = os.ReadFile(filepath.Join(folder, f.Name))
		}
		if err == nil && f.Name != "takeoff.xlsx" { // which is a zip with times of its own
			assert.True(t, bytes.Equal(want, got), f.Name)
		}
	}
	for _, name := range []string{"sheet.pdf", "sheet-1.svg", "design.geojson", "network.inp", "takeoff.csv", "run_times.csv", "pressure.csv", "winter.txt", "rules.txt", "tables.json", "takeoff.xlsx", "program.ics"} {
		assert.True(t, names[name], name)
	}

	answer, body = ask(t, url+"&part=tables.json&units=metric", lots)
	require.Equal(t, http.StatusOK, answer.StatusCode, string(body))
	var tables []struct {
		Title string
		Head  []string
		Rows  [][]string
	}
	require.NoError(t, json.Unmarshal(body, &tables))
	titles := []string{}
	for _, table := range tables {
		titles = append(titles, table.Title)
		assert.NotEmpty(t, table.Rows, table.Title)
	}
	assert.Contains(t, titles, "Parts")
	assert.Contains(t, titles, "Run times")

	answer, body = ask(t, url+"&part=sheet.pdf", lots)
	assert.Equal(t, "application/pdf", answer.Header.Get("Content-Type"))
	assert.Equal(t, `attachment; filename=Y-01-sheet.pdf`, answer.Header.Get("Content-Disposition"))
	assert.True(t, bytes.HasPrefix(body, []byte("%PDF-")))

	for query, words := range map[string]string{
		"&part=other":        "want one of",
		"&paper=a5":          "paper: got",
		"&units=us&units=us": "given 2 times",
		"&no=1":              "no such parameter",
	} {
		answer, body = ask(t, url+query, lots)
		assert.Equal(t, http.StatusBadRequest, answer.StatusCode, query)
		assert.Contains(t, string(body), words)
	}
	answer, body = ask(t, strings.Replace(url, "2026-05-01", "monday", 1), lots)
	assert.Equal(t, http.StatusBadRequest, answer.StatusCode)
	assert.Contains(t, string(body), "not a date")
	answer, body = ask(t, url, collection(yards(2)))
	assert.Equal(t, http.StatusBadRequest, answer.StatusCode)
	assert.Contains(t, string(body), "holds 2 lots")
	answer, body = ask(t, url, collection([]string{crossed("X-1")}))
	assert.Equal(t, http.StatusBadRequest, answer.StatusCode)
	assert.Contains(t, string(body), "nothing to build")
}

// With costs=true the lot's feature carries what the take-off says, and all else
// is as without.
func TestCostsOfRequest(t *testing.T) {
	lots := collection(yards(2))
	bill := run(t, lots, "takeoff", "-", "--head-pressure", "55psi", "-q", "-o", "-").out
	_, address := serve(t)
	url := "http://" + address + "/v1/lots:design?head_pressure=55psi"
	_, bare := ask(t, url, lots)
	_, body := ask(t, url+"&costs=true", lots)
	type costs struct {
		Parts, Labour, Total float64
		LabourHours          float64 `json:"labour_hours"`
		Unpriced             int
	}
	var answer struct {
		Features []struct {
			Costs      *costs
			Properties struct{ Lot, Layer string }
		}
	}
	require.NoError(t, json.Unmarshal(body, &answer))
	want := billed(t, bill)
	seen := 0
	for _, f := range answer.Features {
		if f.Properties.Layer != "lot" {
			assert.Nil(t, f.Costs)
			continue
		}
		seen++
		require.NotNil(t, f.Costs)
		assert.InDelta(t, want[f.Properties.Lot], f.Costs.Total, 0.005)
		assert.InDelta(t, f.Costs.Total, f.Costs.Parts+f.Costs.Labour, 0.005)
	}
	assert.Equal(t, 2, seen)
	stripped := regexp.MustCompile(`,"costs":\{[^}]*\}`).ReplaceAll(body, nil)
	assert.Equal(t, string(bare), string(stripped))
	answered, _ := ask(t, url+"&costs=yes", lots)
	assert.Equal(t, http.StatusBadRequest, answered.StatusCode)
}

// billed sums up the lines of a take-off by lot.
func billed(t *testing.T, text string) map[string]float64 {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	require.NoError(t, err)
	sums := map[string]float64{}
	for _, row := range rows[1:] {
		for _, column := range []string{"cost", "labour_cost"} {
			if cell := row[slices.Index(rows[0], column)]; cell != "" {
				v, err := strconv.ParseFloat(cell, 64)
				require.NoError(t, err)
				sums[row[0]] += v
			}
		}
	}
	return sums
}
