package rpc_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/paulmach/orb/geojson"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"lotwright/layout"
	"lotwright/layout/feature"
	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/rpc"
)

const (
	file    = "/v1/lots:design"
	typed   = "/v1/lots:designLot"
	compare = "/v1/lots:comparePressures"
	geoJSON = "application/geo+json"
	seq     = "application/geo+json-seq"
	ndjson  = "application/x-ndjson"
	plain   = "application/json"
)

// collectionOf has a feature a lot; with no blanks in the ids, which the
// stand-in importer would split at, one a line will do, too.
func collectionOf(ids ...string) string {
	var features []string
	for _, id := range ids {
		features = append(features, fmt.Sprintf(`{"type":"Feature","properties":{"lot":%q,"layer":"parcel"},"geometry":null}`, id))
	}
	return `{"type":"FeatureCollection","features":[` + strings.Join(features, ",") + `]}`
}

// expected is what the command line writes for the lots.
func expected(format feature.Format, s rpc.Settings, ids ...string) string {
	var buf bytes.Buffer
	w := feature.NewWriter(&buf, format)
	for _, id := range ids {
		_ = w.Write(designOf(&layout.Lot{ID: id, Plane: flatPlane{10, 50}}, s))
	}
	_ = w.Close()
	return buf.String()
}

func TestFileInFileOut(t *testing.T) {
	s := serve(t, nil)
	r := s.post(t, file, geoJSON, collectionOf("A", "B"))
	assert.Equal(t, http.StatusOK, r.status)
	assert.Equal(t, geoJSON, r.header.Get("Content-Type"))
	assert.Equal(t, "nosniff", r.header.Get("X-Content-Type-Options"))
	assert.Equal(t, "no-store", r.header.Get("Cache-Control"))
	assert.Equal(t, expected(feature.Collection, rpc.Settings{}, "A", "B"), r.body)
	_, err := geojson.UnmarshalFeatureCollection([]byte(r.body))
	assert.NoError(t, err)
	<-s.closed
}

func TestFileKeepsOrder(t *testing.T) {
	s := serve(t, nil)
	var ids []string
	for i := range 200 {
		ids = append(ids, fmt.Sprint("lot", i))
	}
	r := s.post(t, file, geoJSON, collectionOf(ids...))
	assert.Equal(t, expected(feature.Collection, rpc.Settings{}, ids...), r.body)
}

func TestFileOfNoLots(t *testing.T) {
	s := serve(t, nil)
	r := s.post(t, file, geoJSON, collectionOf())
	assert.Equal(t, http.StatusOK, r.status)
	assert.Equal(t, expected(feature.Collection, rpc.Settings{}), r.body)
	var fc struct{ Features json.RawMessage }
	require.NoError(t, json.Unmarshal([]byte(r.body), &fc))
	assert.Equal(t, "[\n]", string(fc.Features))
}

// The three doors give the same bytes for every feature.
func TestThreeDoorsOneAnswer(t *testing.T) {
	s := serve(t, nil)
	want := expected(feature.Collection, rpc.Settings{}, "A")

	unary, err := s.client.DesignLot(t.Context(), &pb.DesignLotRequest{Lot: lotMessage("A")})
	require.NoError(t, err)
	assert.Equal(t, want, unary.Design.Geojson)

	streamed, err := designLots(t.Context(), s, &pb.DesignLotsRequest{Lot: lotMessage("A")})
	require.NoError(t, err)
	assert.Equal(t, want, streamed[0].Design.Geojson)

	assert.Equal(t, want, s.post(t, file, geoJSON, collectionOf("A")).body)

	r := s.post(t, typed, plain, lotJSON("A"))
	require.Equal(t, http.StatusOK, r.status, r.body)
	var answer struct{ Design struct{ Geojson string } }
	require.NoError(t, json.Unmarshal([]byte(r.body), &answer))
	assert.Equal(t, want, answer.Design.Geojson)
}

func TestAnswerInTheFormAskedFor(t *testing.T) {
	s := serve(t, nil)
	for accept, want := range map[string]struct {
		format    feature.Format
		mediaType string
	}{
		"*/*":                              {feature.Collection, geoJSON},
		"application/*":                    {feature.Collection, geoJSON},
		plain:                              {feature.Collection, plain},
		seq:                                {feature.TextSequence, seq},
		ndjson:                             {feature.NewlineDelimited, ndjson},
		"text/html, " + ndjson + ";q=0.5":  {feature.NewlineDelimited, ndjson},
		ndjson + ";q=0.5," + seq + ";q=.7": {feature.TextSequence, seq},
		geoJSON + ";q=0, */*;q=0.1":        {feature.Collection, plain},
		"rubbish;;, " + seq:                {feature.TextSequence, seq},
	} {
		s.closed = make(chan struct{})
		r := s.post(t, file, geoJSON, collectionOf("A", "B"), "Accept", accept)
		assert.Equal(t, want.mediaType, r.header.Get("Content-Type"), accept)
		assert.Equal(t, expected(want.format, rpc.Settings{}, "A", "B"), r.body, accept)
	}
	for _, accept := range []string{"text/html", geoJSON + ";q=0", "rubbish"} {
		r := s.post(t, file, geoJSON, collectionOf("A"), "Accept", accept)
		assert.Equal(t, http.StatusNotAcceptable, r.status)
		assert.Equal(t, "NOT_ACCEPTABLE", r.problem(t).Code)
	}
}

func TestBodyTypes(t *testing.T) {
	s := serve(t, nil)
	for _, contentType := range []string{geoJSON, plain, seq, ndjson, geoJSON + "; charset=UTF-8"} {
		s.closed = make(chan struct{})
		assert.Equal(t, http.StatusOK, s.post(t, file, contentType, collectionOf("A")).status, contentType)
	}
	for _, contentType := range []string{"", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", geoJSON + "; charset=latin1", "application/vnd.geo+json", ";"} {
		r := s.post(t, file, contentType, collectionOf("A"))
		assert.Equal(t, http.StatusUnsupportedMediaType, r.status, contentType)
		assert.Equal(t, "UNSUPPORTED_MEDIA_TYPE", r.problem(t).Code)
	}
}

func TestSettingsAsParameters(t *testing.T) {
	s := serve(t, nil)
	length := func(v layout.Length) *layout.Length { return &v }
	pressure := func(v layout.Pressure) *layout.Pressure { return &v }
	for query, want := range map[string]rpc.Settings{
		"":                                     {},
		"head_pressure=55psi":                  {Supply: layout.Supply{HeadPressure: pressure(layout.PSI(55))}},
		"head_pressure=3.8bar":                 {Supply: layout.Supply{HeadPressure: pressure(380)}},
		"coverage=0.9":                         {CoverageTarget: proto.Float64(0.9)},
		"coverage=90%25":                       {CoverageTarget: proto.Float64(0.9)},
		"irrigate_beds=true":                   {IrrigateBeds: true},
		"irrigate_beds=false":                  {},
		"supply_allowance=0psi":                {SupplyAllowance: pressure(0)},
		"least_strip=0m":                       {LeastStrip: length(0)},
		"paving_factor=8&root_zone_factor=3.5": {PavingFactor: proto.Float64(8), RootZoneFactor: proto.Float64(3.5)},
		"edge_clearance=10cm&building_clearance=500mm&cross_paving=2m&paving_crossing=3m&trench_clearance=1m&trench_depth=1m": {
			EdgeClearance: length(0.1), BuildingClearance: length(0.5), CrossPaving: length(2), PavingCrossing: length(3), TrenchClearance: length(1), TrenchDepth: length(1)},
		"static_pressure=400kPa&flow_test=25lpm@300kPa": {Supply: layout.Supply{StaticPressure: pressure(400), FlowTest: &layout.FlowTest{Flow: 25, Pressure: 300}}},
		"static_pressure=400kPa&bucket=20l/45s":         {Supply: layout.Supply{StaticPressure: pressure(400), Bucket: &layout.BucketTest{Volume: 20, Time: 45e9}}},
	} {
		s.closed, s.settings = make(chan struct{}), nil
		r := s.post(t, file+"?"+query, geoJSON, collectionOf("A"))
		require.Equal(t, http.StatusOK, r.status, "%s: %s", query, r.body)
		assert.Equal(t, want, s.settings[0], query)
	}
}

func TestBadParameters(t *testing.T) {
	s := serve(t, nil)
	for query, want := range map[string][]string{
		"pressure=55psi":                             {"pressure"},
		"head_pressure=55":                           {"head_pressure"},
		"head_pressure=0psi":                         {"head_pressure"},
		"head_pressure=1e30kPa":                      {"head_pressure"},
		"head_pressure=55psi&head_pressure=5psi":     {"head_pressure"},
		"head_pressure=":                             {"head_pressure"},
		"Coverage=1":                                 {"Coverage"},
		"coverage=0":                                 {"coverage"},
		"coverage=nan":                               {"coverage"},
		"coverage=x%25":                              {"coverage"},
		"irrigate_beds=yes":                          {"irrigate_beds"},
		"irrigate_beds":                              {"irrigate_beds"},
		"trench_depth=1e9m":                          {"trench_depth"},
		"paving_factor=0.5":                          {"paving_factor"},
		"paving_factor=many":                         {"paving_factor"},
		"static_pressure=400kPa":                     {"static_pressure"},
		"flow_test=6gpm@45psi":                       {"flow_test"},
		"flow_test=6gpm":                             {"flow_test"},
		"flow_test=6@45psi":                          {"flow_test"},
		"bucket=5gal/45s":                            {"bucket"},
		"static_pressure=60psi&bucket=5gal":          {"bucket"},
		"static_pressure=60psi&bucket=5gal/0s":       {"bucket"},
		"static_pressure=60psi&bucket=5gal/-9s":      {"bucket"},
		"static_pressure=60psi&bucket=5gal/45":       {"bucket"},
		"static_pressure=40psi&flow_test=6gpm@45psi": {"flow_test"},
		"static_pressure=60psi&flow_test=6gpm@45psi&bucket=5gal/45s":     {"bucket"},
		"head_pressure=50psi&static_pressure=60psi&flow_test=6gpm@45psi": {"head_pressure"},
		"design_flow_share=2":   {"design_flow_share"},
		"head=round":            {"head"},
		"head=":                 {"head"},
		"effort=most":           {"effort"},
		"backflow=":             {"backflow[0]"},
		"backflow=best":         {"backflow[0]"},
		"backflow=1gpm@2psi,x":  {"backflow[1]"},
		"backflow=1e9gpm@2psi":  {"backflow[0].flow_lpm"},
		"pipe_prices=1in":       {"pipe_prices[0]"},
		"pipe_prices=@1":        {"pipe_prices[0].size"},
		"pipe_prices=1in@-1":    {"pipe_prices[0].price_per_m"},
		"pipe_loss=0":           {"pipe_loss"},
		"velocity_limit=0":      {"velocity_limit"},
		"velocity_limit=fast":   {"velocity_limit"},
		"head_name=mine":        {"head_name"},
		"head_table=40psi/25ft": {"head_table[0]"},
		"head_table=40psi/25ft/4gpm,30psi/30ft/4gpm": {"head_table.rows"},
		"service_line=-1m":                           {"service_line"},
		"meter=" + strings.Repeat("x", 101):          {"meter"},
		"meter=wrong":                                {"meter"}, // says the stand-in for what knows meters
		"a=%zz":                                      {"query"},
		"a=1;b=2":                                    {"query"},
		"%ff=1":                                      {"\uFFFD"},
	} {
		r := s.post(t, file+"?"+query, geoJSON, collectionOf("A"))
		assert.Equal(t, http.StatusBadRequest, r.status, query)
		p := r.problem(t)
		assert.Equal(t, "INVALID_FIELD", p.Code)
		var fields []string
		for _, v := range p.Violations {
			fields = append(fields, v.Field)
			assert.NotEmpty(t, v.Detail)
		}
		assert.Equal(t, want, fields, query)
	}
	assert.Empty(t, s.lots)
}

func TestParametersAreDeclared(t *testing.T) {
	assert.Contains(t, rpc.Parameters(), "head_pressure")
	assert.Len(t, rpc.Parameters(), 36)
}

func TestRefusedFile(t *testing.T) {
	s := serve(t, nil)
	r := s.post(t, file, geoJSON, "refuse-all")
	assert.Equal(t, http.StatusBadRequest, r.status)
	p := r.problem(t)
	assert.Equal(t, "REFUSED_INPUT", p.Code)
	assert.Equal(t, "feature.no_lot: a building belongs to no lot", p.Detail)
	assert.Equal(t, "feature.no_lot", p.Rule)
	assert.Equal(t, "A", p.Lot)
	assert.Equal(t, 3, *p.Feature)
	assert.Equal(t, []float64{10.5, 50.25}, p.Place)
}

func TestFaultsOfALotStayInTheFile(t *testing.T) {
	s := serve(t, nil)
	r := s.post(t, file, geoJSON, collectionOf("A", "panic", "error", "refuse", "assemble-panic", "nil", "B"))
	require.Equal(t, http.StatusOK, r.status)
	require.NoError(t, r.err)
	fc, err := geojson.UnmarshalFeatureCollection([]byte(r.body))
	require.NoError(t, err)
	statuses := map[string]string{}
	for _, f := range fc.Features {
		if f.Properties["layer"] == "lot" {
			statuses[f.Properties["lot"].(string)] = f.Properties["status"].(string)
		}
	}
	assert.Equal(t, map[string]string{"A": "designed", "panic": "failed", "error": "failed", "refuse": "invalid", "assemble-panic": "failed", "nil": "failed", "B": "designed"}, statuses)
	assert.NotContains(t, r.body, "secret detail")
}

func zipped(text string) string {
	var buf bytes.Buffer
	w := gzip.NewWriter(&buf)
	_, _ = w.Write([]byte(text))
	_ = w.Close()
	return buf.String()
}

func TestZippedBody(t *testing.T) {
	s := serve(t, nil)
	r := s.post(t, file, geoJSON, zipped(collectionOf("A")), "Content-Encoding", "gzip")
	assert.Equal(t, expected(feature.Collection, rpc.Settings{}, "A"), r.body)
	assert.Equal(t, collectionOf("A"), string(s.body))
	for name, c := range map[string]struct {
		body, encoding string
		status         int
		code           string
	}{
		"not zipped": {collectionOf("A"), "gzip", 400, "BODY_UNREADABLE"},
		"cut off":    {zipped(collectionOf("A"))[:40], "gzip", 400, "BODY_UNREADABLE"},
		"junk after": {zipped(collectionOf("A")) + "junk", "gzip", 400, "BODY_UNREADABLE"},
		"empty":      {"", "gzip", 400, "BODY_UNREADABLE"},
		"other":      {collectionOf("A"), "br", 415, "UNSUPPORTED_MEDIA_TYPE"},
		"two":        {zipped(zipped(collectionOf("A"))), "gzip, gzip", 415, "UNSUPPORTED_MEDIA_TYPE"},
	} {
		t.Run(name, func(t *testing.T) {
			r := s.post(t, file, geoJSON, c.body, "Content-Encoding", c.encoding)
			assert.Equal(t, c.status, r.status)
			assert.Equal(t, c.code, r.problem(t).Code)
			if c.status == 415 {
				assert.Equal(t, "gzip", r.header.Get("Accept-Encoding"))
			}
		})
	}
}

// Two lines of a header are one list (RFC 9110 section 5.3).
func TestZippedTwiceInTwoLines(t *testing.T) {
	s := serve(t, nil)
	for _, path := range []string{file, typed} {
		r := s.rawHTTP(t, "POST "+path+" HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nContent-Type: application/json\r\nContent-Length: 2\r\n"+
			"Content-Encoding: gzip\r\nContent-Encoding: gzip\r\n\r\n{}")
		assert.Contains(t, r, "415 Unsupported Media Type", path)
	}
}
