package rpc_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "lotwright/proto/lotwright/v1"
)

// events are those of a stream, as their fields.
func events(t *testing.T, body string) (list []map[string]string) {
	t.Helper()
	require.True(t, strings.HasSuffix(body, "\n\n"))
	for _, text := range strings.Split(strings.TrimSuffix(body, "\n\n"), "\n\n") {
		event := map[string]string{}
		for _, line := range strings.Split(text, "\n") {
			field, value, ok := strings.Cut(line, ": ")
			require.True(t, ok, line)
			event[field] = value
		}
		list = append(list, event)
	}
	return list
}

func TestWatchAsEvents(t *testing.T) {
	o := keep(t, nil)
	o.fill("elm", numbered(5)...)
	o.start("elm")
	const path = "/v1/batches/elm:watch"
	r := o.do(t, http.MethodGet, path, nil, "Accept", "text/event-stream")
	require.Equal(t, http.StatusOK, r.status)
	assert.Equal(t, "text/event-stream", r.header.Get("Content-Type"))
	list := events(t, r.body)
	require.Len(t, list, 6)
	for i, e := range list {
		assert.True(t, json.Valid([]byte(e["data"])))
		assert.Equal(t, map[bool]string{true: "end", false: "lot"}[i == 5], e["event"])
	}
	rest := o.do(t, http.MethodGet, path+"?revision=1", nil, "Accept", "text/event-stream", "Last-Event-ID", list[2]["id"])
	assert.Equal(t, list[3:], events(t, rest.body), "on from the last that came")
	rest = o.do(t, http.MethodGet, path+"?cursor="+list[4]["id"], nil, "Accept", "text/event-stream")
	assert.Equal(t, list[5:], events(t, rest.body))
	lines := o.do(t, http.MethodGet, path, nil)
	assert.Equal(t, 6, strings.Count(lines.body, "\n"), "without asking, a record a line")
	for query, want := range map[string]int{"?a=1": 400, "?revision=x": 400, "?revision=9": 404} {
		r := o.do(t, http.MethodGet, path+query, nil, "Accept", "text/event-stream")
		assert.Equal(t, want, r.status, query)
		assert.Equal(t, want, r.problem(t).Status)
	}
	r = o.do(t, http.MethodGet, path, nil, "Accept", "text/event-stream", "Last-Event-ID", "junk")
	assert.Equal(t, http.StatusBadRequest, r.status)
	r = o.do(t, http.MethodGet, "/v1/batches/none:watch", nil, "Accept", "text/event-stream")
	assert.Equal(t, http.StatusNotFound, r.status)
}

// TestExportInParts: a part is a part of the same bytes, and what a client has is
// not sent again.
func TestExportInParts(t *testing.T) {
	o := keep(t, nil)
	o.fill("elm", numbered(5)...)
	o.start("elm")
	o.watch(&pb.WatchBatchRequest{Name: "batches/elm"})
	const path = "/v1/batches/elm:export"
	tags := map[string]bool{}
	for _, accept := range []string{geoJSON, ndjson, "application/geopackage+sqlite3"} {
		whole := o.do(t, http.MethodGet, path, nil, "Accept", accept)
		require.Equal(t, http.StatusOK, whole.status)
		tag := whole.header.Get("ETag")
		require.NotEmpty(t, tag)
		tags[tag] = true
		assert.Equal(t, "bytes", whole.header.Get("Accept-Ranges"))
		part := o.do(t, http.MethodGet, path, nil, "Accept", accept, "Range", "bytes=100-299")
		assert.Equal(t, http.StatusPartialContent, part.status)
		assert.Equal(t, whole.body[100:300], part.body)
		assert.Equal(t, tag, part.header.Get("ETag"))
		part = o.do(t, http.MethodGet, path, nil, "Accept", accept, "Range", "bytes=-50", "If-Range", tag)
		assert.Equal(t, whole.body[len(whole.body)-50:], part.body)
		part = o.do(t, http.MethodGet, path, nil, "Accept", accept, "Range", "bytes=0-9", "If-Range", `"another"`)
		assert.Equal(t, http.StatusOK, part.status)
		assert.Equal(t, whole.body, part.body)
		none := o.do(t, http.MethodGet, path, nil, "Accept", accept, "If-None-Match", tag)
		assert.Equal(t, http.StatusNotModified, none.status)
		assert.Empty(t, none.body)
		beyond := o.do(t, http.MethodGet, path, nil, "Accept", accept, "Range", "bytes=99999999-")
		assert.Equal(t, http.StatusRequestedRangeNotSatisfiable, beyond.status)
	}
	assert.Len(t, tags, 3)
}

func TestOpenAPI(t *testing.T) {
	s := serve(t, nil)
	r := s.do(t, http.MethodGet, "/openapi.json", nil)
	require.Equal(t, http.StatusOK, r.status)
	var description struct {
		Swagger string
		Paths   map[string]any
	}
	require.NoError(t, json.Unmarshal([]byte(r.body), &description))
	assert.Equal(t, "2.0", description.Swagger)
	for _, path := range []string{"/v1/lots:designLot", "/v1/batches", "/v1/headTables", "/v1/profiles"} {
		assert.Contains(t, description.Paths, path)
	}
}
