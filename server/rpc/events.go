package rpc

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"

	pb "lotwright/proto/lotwright/v1"
)

// eventsType is the media type of server-sent events (HTML, section 9.2).
const eventsType = "text/event-stream"

// watched is the name of the batch that a path watches.
func watched(path string) (name string, ok bool) {
	name, ok = strings.CutSuffix(strings.TrimPrefix(path, "/v1/"), ":watch")
	return name, ok && strings.HasPrefix(name, batchesName+"/")
}

// asksForEvents reports whether a client names the type of server-sent events.
func asksForEvents(h http.Header) bool {
	return slices.ContainsFunc(mediaRanges(strings.Join(h.Values("Accept"), ",")),
		func(r mediaRange) bool { return r.name == eventsType && r.quality > 0 })
}

// serveEvents is WatchBatch as server-sent events: the id of each is its cursor,
// and Last-Event-ID goes on from there. The last is the event "end", or "problem".
func (b batches) serveEvents(w http.ResponseWriter, r *http.Request, name string) {
	events := &eventWriter{to: w, flush: http.NewResponseController(w).Flush}
	err := b.guard(pb.BatchService_WatchBatch_FullMethodName, func() error {
		req, err := eventsRequest(r, name)
		if err != nil {
			return err
		}
		return b.watchUntilEnd(r.Context(), req, events.send)
	})
	switch {
	case err == nil:
	case events.begun:
		st, _ := toStatus(err)
		text, _ := json.Marshal(problemOf(st)) // it can always be written
		_ = events.write("event: problem\ndata: " + string(text) + "\n\n")
	default:
		writeError(w, err)
	}
}

// eventsRequest reads the parameters of WatchBatch.
func eventsRequest(r *http.Request, name string) (*pb.WatchBatchRequest, error) {
	req := &pb.WatchBatchRequest{Name: name, Cursor: r.Header.Get("Last-Event-ID")}
	values, err := url.ParseQuery(r.URL.RawQuery)
	var c checker
	if err != nil {
		c.add("query", "%v", err)
	}
	for field, texts := range values {
		if (field != "revision" && field != "cursor") || len(texts) != 1 {
			c.add("query", "want revision and cursor, each once or not at all")
			break
		}
	}
	if req.Cursor == "" {
		req.Cursor = values.Get("cursor")
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	values.Del("cursor")
	revision, err := queryRevision(values.Encode())
	req.Revision = int32(revision)
	return req, err
}

// eventWriter writes events and sends each at once.
type eventWriter struct {
	to    http.ResponseWriter
	flush func() error
	begun bool
}

func (e *eventWriter) send(m *pb.WatchBatchResponse) error {
	text, err := protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}.Marshal(m)
	if err != nil {
		return err
	}
	kind := "lot"
	if m.GetEnd() != nil {
		kind = "end"
	}
	return e.write(fmt.Sprintf("id: %s\nevent: %s\ndata: %s\n\n", m.Cursor, kind, text))
}

func (e *eventWriter) write(text string) error {
	if !e.begun {
		e.begun = true
		e.to.Header().Set("Content-Type", eventsType)
	}
	if _, err := e.to.Write([]byte(text)); err != nil {
		return err
	}
	return e.flush()
}
