package rpc

import (
	"encoding/json"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/rpc/code"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

const problemType = "application/problem+json"

// problem is an RFC 9457 problem document. With the type about:blank the title
// is that of the HTTP status.
type problem struct {
	Type       string             `json:"type"`
	Title      string             `json:"title"`
	Status     int                `json:"status"`
	Detail     string             `json:"detail"`
	Code       string             `json:"code"`
	Lot        string             `json:"lot,omitempty"`
	Feature    *int               `json:"feature,omitempty"`
	Rule       string             `json:"rule,omitempty"`
	Place      []float64          `json:"place,omitempty"` // longitude, latitude
	Limit      string             `json:"limit,omitempty"`
	Most       *int               `json:"most,omitempty"`
	Violations []problemViolation `json:"violations,omitempty"`

	retry time.Duration // for the header
}

type problemViolation struct {
	Field  string `json:"field"`
	Detail string `json:"detail"`
}

// codeOf is the name of a code as the standard spells it: INVALID_ARGUMENT.
func codeOf(c codes.Code) string { return code.Code(c).String() }

func plainProblem(httpStatus int, code, detail string) problem {
	return problem{Type: "about:blank", Title: http.StatusText(httpStatus), Status: httpStatus, Code: code, Detail: detail}
}

// problemOf turns a status, with the details that [fault.status] puts in, into
// a document.
func problemOf(st *status.Status) problem {
	// protojson varies the blanks in its messages on purpose.
	detail := strings.ReplaceAll(st.Message(), "\u00a0", " ")
	p := plainProblem(0, codeOf(st.Code()), detail)
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			p.Code = d.Reason
			p.fill(d.Metadata)
		case *errdetails.RetryInfo:
			p.retry = d.RetryDelay.AsDuration()
		case *errdetails.BadRequest:
			for _, v := range d.FieldViolations {
				p.Violations = append(p.Violations, problemViolation{v.Field, v.Description})
			}
		}
	}
	p.Status = httpStatus(st.Code(), p.Code)
	p.Title = http.StatusText(p.Status)
	return p
}

func (p *problem) fill(about map[string]string) {
	p.Lot, p.Rule, p.Limit = about[aboutLot], about[aboutRule], about[aboutLimit]
	p.Feature, p.Most = number(about[aboutFeature]), number(about[aboutMost])
	if lon, lat, ok := strings.Cut(about[aboutPlace], ","); ok {
		x, _ := strconv.ParseFloat(lon, 64)
		y, _ := strconv.ParseFloat(lat, 64)
		p.Place = []float64{x, y}
	}
}

func number(s string) *int {
	if v, err := strconv.Atoi(s); err == nil {
		return &v
	}
	return nil
}

// httpStatus refines the usual mapping of gRPC codes where HTTP has a closer word.
func httpStatus(c codes.Code, reason string) int {
	switch reason {
	case reasonBodyTimeout:
		return http.StatusRequestTimeout
	case reasonMediaType:
		return http.StatusUnsupportedMediaType
	case reasonNotAcceptable:
		return http.StatusNotAcceptable
	case reasonBusy, reasonQuota:
		return http.StatusTooManyRequests
	case reasonWrongState, reasonImportGap:
		return http.StatusConflict
	case reasonStoreFull:
		return http.StatusInsufficientStorage
	}
	switch c {
	case codes.ResourceExhausted:
		return http.StatusRequestEntityTooLarge
	case codes.Canceled: // the client is gone, or the server is stopping
		return http.StatusServiceUnavailable
	}
	return runtime.HTTPStatusFromCode(c)
}

func (p problem) write(w http.ResponseWriter) {
	text, err := json.Marshal(p)
	if err != nil {
		panic("bug in problem.write: " + err.Error())
	}
	h := w.Header()
	h.Set("Content-Type", problemType)
	if p.retry > 0 {
		h.Set("Retry-After", strconv.Itoa(int(math.Ceil(p.retry.Seconds()))))
	}
	switch p.Code {
	case reasonUnauthenticated:
		h.Set("WWW-Authenticate", `Bearer realm="lotwright"`) // RFC 6750 section 3
	case reasonMediaType:
		h.Set("Accept-Encoding", "gzip") // RFC 9110 section 15.5.16
	}
	w.WriteHeader(p.Status)
	_, _ = w.Write(append(text, '\n')) // a client that is gone needs no answer
}
