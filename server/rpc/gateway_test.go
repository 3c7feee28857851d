package rpc_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// lotJSON is the JSON of a request to design one lot.
func lotJSON(id string) string { return `{"lot":` + lotText(id) + `}` }

func lotText(id string) string {
	return fmt.Sprintf(`{"lot":%q,"features":[{"layer":"PARCEL","geometry":{"polygon":{"rings":[{"degrees":[10,50,10.0001,50,10.0001,50.0001,10,50]}]}}}]}`, id)
}

func TestDesignLotAsJSON(t *testing.T) {
	s := serve(t, nil)
	r := s.post(t, typed, plain, `{"lot":`+lotText("A")+`,"settings":{"coverage_target":0.9,"supply":{"head_pressure_kpa":350}}}`)
	require.Equal(t, http.StatusOK, r.status, r.body)
	assert.Equal(t, plain, r.header.Get("Content-Type"))
	assert.Equal(t, "nosniff", r.header.Get("X-Content-Type-Options"))
	var answer struct{ Design map[string]any }
	require.NoError(t, json.Unmarshal([]byte(r.body), &answer))
	d := answer.Design
	assert.Equal(t, "DESIGNED", d["status"])
	assert.Equal(t, 1.0, d["heads"], "a number, not a string")
	assert.Equal(t, 0.9, d["coverage_target"])
	assert.Equal(t, 350.0, d["pressure_kpa"])
	assert.Equal(t, "", d["reason"])
	assert.Len(t, d["notes"], 2)
}

func TestComparePressuresAsJSON(t *testing.T) {
	s := serve(t, nil)
	r := s.post(t, compare, plain, `{"lots":[`+lotText("A")+`],"pressures_kpa":[300,400]}`)
	require.Equal(t, http.StatusOK, r.status, r.body)
	var answer struct {
		Lots []struct {
			Lot      string
			Outcomes []map[string]any
		}
	}
	require.NoError(t, json.Unmarshal([]byte(r.body), &answer))
	assert.Equal(t, 400.0, answer.Lots[0].Outcomes[1]["pressure_kpa"])
}

func TestFaultyLotAsJSON(t *testing.T) {
	s := serve(t, nil)
	r := s.post(t, typed, plain, lotJSON("panic"))
	assert.Equal(t, http.StatusOK, r.status)
	assert.Contains(t, r.body, "FAILED")
	assert.NotContains(t, r.body, "secret detail")
}

func TestStrictJSON(t *testing.T) {
	s := serve(t, nil)
	for name, body := range map[string]string{
		"GeoJSON as it is":  collectionOf("A"),
		"misspelt field":    strings.Replace(lotJSON("A"), `"features"`, `"feature"`, 1),
		"other case":        strings.Replace(lotJSON("A"), `"lot":{`, `"LOT":{`, 1),
		"field twice":       `{"lot":` + lotText("A") + `,"lot":` + lotText("B") + `}`,
		"something after":   lotJSON("A") + `{}`,
		"junk after":        lotJSON("A") + `x`,
		"two lines":         lotJSON("A") + "\n" + lotJSON("B"),
		"unknown layer":     strings.Replace(lotJSON("A"), "PARCEL", "parcel", 1),
		"two geometries":    strings.Replace(lotJSON("A"), `"polygon":`, `"point":{"degrees":[1,2]},"polygon":`, 1),
		"text for a number": strings.Replace(lotJSON("A"), "[10,50,", `["ten",50,`, 1),
		"not UTF-8":         lotJSON("A\xff"),
		"lone surrogate":    strings.Replace(lotJSON("A"), `"A"`, `"\ud800"`, 1),
		"array":             "[]",
		"null":              "null",
		"cut off":           lotJSON("A")[:50],
		"empty":             "",
		"blank":             " \n",
		"beyond doubles":    strings.Replace(lotJSON("A"), "10.0001", "1e999", 1),
		"NaN":               strings.Replace(lotJSON("A"), "10.0001", `"NaN"`, 1),
		"comment":           "/* */" + lotJSON("A"),
		"byte order mark":   "\ufeff" + lotJSON("A"),
		"deep":              strings.Repeat(`{"lot":`, 20_000),
	} {
		t.Run(name, func(t *testing.T) {
			r := s.post(t, typed, plain, body)
			assert.Equal(t, http.StatusBadRequest, r.status, r.body)
			p := r.problem(t)
			assert.NotContains(t, p.Detail, "\u00a0")
		})
	}
	assert.Empty(t, s.lots)
}

func TestTypedFaultsAsProblems(t *testing.T) {
	s := serve(t, nil)
	p := s.post(t, typed, plain, `{"lot":{"lot":"A","features":[{}]},"settings":{"coverage_target":2}}`).problem(t)
	assert.Equal(t, "INVALID_FIELD", p.Code)
	var fields []string
	for _, v := range p.Violations {
		fields = append(fields, v.Field)
	}
	assert.Equal(t, []string{"lot.features[0].layer", "lot.features[0].geometry", "settings.coverage_target"}, fields)
	for _, v := range fields {
		assert.Contains(t, p.Detail, v)
	}
}

func TestTypedTakesNoQuery(t *testing.T) {
	s := serve(t, nil)
	for _, path := range []string{typed, compare} {
		r := s.post(t, path+"?head_pressure=55psi", plain, lotJSON("A"))
		assert.Equal(t, http.StatusBadRequest, r.status)
		assert.Equal(t, "query", r.problem(t).Violations[0].Field)
	}
}

func TestTypedTakesJSONOnly(t *testing.T) {
	s := serve(t, nil)
	for _, contentType := range []string{"", "text/plain", geoJSON, "application/x-www-form-urlencoded"} {
		r := s.post(t, typed, contentType, lotJSON("A"))
		assert.Equal(t, http.StatusUnsupportedMediaType, r.status, contentType)
		r.problem(t)
	}
	assert.Equal(t, http.StatusOK, s.post(t, typed, "application/json; charset=utf-8", lotJSON("A")).status)
	assert.Equal(t, http.StatusOK, s.post(t, typed, plain, zipped(lotJSON("A")), "Content-Encoding", "gzip").status)
}

func TestPathsThatLeadNowhere(t *testing.T) {
	s := serve(t, nil)
	for _, path := range []string{"/", "/v1", "/v1/lots", "/v1/lots:nothing", "/v2/lots:design", "/v1/lots:design/", "/v1//lots:design", "/../etc"} {
		for _, method := range []string{http.MethodGet, http.MethodPost} {
			r := s.do(t, method, path, strings.NewReader("{}"), "Content-Type", plain)
			assert.Equal(t, http.StatusNotFound, r.status, "%s %s", method, path)
			assert.Equal(t, "NOT_FOUND", r.problem(t).Code)
		}
	}
}

func TestWrongMethods(t *testing.T) {
	s := serve(t, nil)
	for path, right := range map[string]string{file: "POST", typed: "POST", compare: "POST", "/healthz": "GET"} {
		for _, method := range []string{"GET", "PUT", "DELETE", "PATCH", "OPTIONS", "POST"} {
			if method == right {
				continue
			}
			r := s.do(t, method, path, nil)
			assert.Equal(t, http.StatusMethodNotAllowed, r.status, "%s %s", method, path)
			assert.Equal(t, "METHOD_NOT_ALLOWED", r.problem(t).Code)
			assert.Equal(t, right, r.header.Get("Allow"))
		}
	}
}

func TestNoMethodOverride(t *testing.T) {
	s := serve(t, nil)
	r := s.do(t, http.MethodPost, "/healthz", strings.NewReader("x=1"), "Content-Type", "application/x-www-form-urlencoded", "X-HTTP-Method-Override", "GET")
	assert.Equal(t, http.StatusMethodNotAllowed, r.status)
}

func TestHostIsChecked(t *testing.T) {
	s := serve(t, nil)
	port := s.url[strings.LastIndex(s.url, ":"):]
	for _, host := range []string{"localhost", "LOCALHOST" + port, "127.0.0.1", "127.0.0.1" + port, "[::1]", "[::1]" + port, "127.9.9.9"} {
		r := s.post(t, typed, plain, lotJSON("A"), "Host", host)
		assert.Equal(t, http.StatusOK, r.status, host)
	}
	for _, host := range []string{"rebound.example", "rebound.example" + port, "localhost.rebound.example", "127.0.0.1.rebound.example", "10.0.0.1", "0.0.0.0"} {
		for _, path := range []string{typed, file, "/healthz", "/nowhere"} {
			r := s.post(t, path, plain, lotJSON("A"), "Host", host)
			assert.Equal(t, http.StatusForbidden, r.status, host)
			assert.Equal(t, "FORBIDDEN_HOST", r.problem(t).Code)
			assert.Equal(t, "nosniff", r.header.Get("X-Content-Type-Options"))
		}
	}
}

func TestOtherSitesAreTurnedAway(t *testing.T) {
	s := serve(t, nil)
	for _, headers := range [][]string{{"Origin", "https://other.example"}, {"Sec-Fetch-Site", "cross-site"}, {"Origin", "null"}} {
		r := s.post(t, typed, plain, lotJSON("A"), headers...)
		assert.Equal(t, http.StatusForbidden, r.status)
		assert.Equal(t, "FORBIDDEN_ORIGIN", r.problem(t).Code)
		assert.Empty(t, r.header.Get("Access-Control-Allow-Origin"))
	}
	assert.Equal(t, http.StatusOK, s.post(t, typed, plain, lotJSON("A"), "Origin", s.url).status)
}

func TestHealthOverHTTP(t *testing.T) {
	s := serve(t, nil)
	r := s.do(t, http.MethodGet, "/healthz", nil)
	assert.Equal(t, http.StatusOK, r.status)
	assert.JSONEq(t, `{"status":"SERVING"}`, r.body)
}
