package ogc

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"net/http"
	"strconv"
	"strings"
)

// answer is what is sent; status 0 is 200.
type answer struct {
	status    int
	mediaType string
	header    map[string]string
	body      []byte
}

// document is an answer of JSON.
func document(mediaType string, v any) answer {
	var buf bytes.Buffer
	e := json.NewEncoder(&buf)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		panic("bug in document: " + err.Error())
	}
	return answer{mediaType: mediaType, body: buf.Bytes()}
}

// leastCompressed is below what a compressed body saves nothing.
const leastCompressed = 1024

func (a answer) write(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	for name, value := range a.header {
		h.Set(name, value)
	}
	h.Set("Content-Type", a.mediaType)
	h.Add("Vary", "Accept-Encoding")
	body := a.body
	if len(body) >= leastCompressed && takesGzip(r.Header) {
		h.Set("Content-Encoding", "gzip")
		body = compressed(body)
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	if a.status == 0 {
		a.status = http.StatusOK
	}
	w.WriteHeader(a.status)
	if r.Method != http.MethodHead {
		_, _ = w.Write(body) // a client that is gone needs no answer
	}
}

// compressed is fast rather than small: most clients are near.
func compressed(body []byte) []byte {
	var buf bytes.Buffer
	z, err := gzip.NewWriterLevel(&buf, gzip.BestSpeed)
	if err != nil {
		panic("bug in compressed: " + err.Error())
	}
	_, _ = z.Write(body) // a buffer takes all
	_ = z.Close()
	return buf.Bytes()
}

// takesGzip reports whether a client names gzip and does not rule it out (RFC
// 9110 section 12.5.3).
func takesGzip(h http.Header) bool {
	for coding := range strings.SplitSeq(strings.Join(h.Values("Accept-Encoding"), ","), ",") {
		name, weight, _ := strings.Cut(coding, ";")
		if !strings.EqualFold(strings.TrimSpace(name), "gzip") {
			continue
		}
		q, found := strings.CutPrefix(strings.ReplaceAll(weight, " ", ""), "q=")
		v, err := strconv.ParseFloat(q, 64)
		return !found || err == nil && v > 0
	}
	return false
}
