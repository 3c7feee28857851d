package ogc

import (
	"errors"
	"fmt"
	"net/http"

	"lotwright/server/store"
)

// fault is an answer other than what was asked for.
type fault struct {
	status       int
	code, detail string
}

// Error says what is wrong.
func (f *fault) Error() string { return f.detail }

func badRequest(format string, args ...any) error {
	return &fault{http.StatusBadRequest, "INVALID_ARGUMENT", fmt.Sprintf(format, args...)}
}

func notFound(format string, args ...any) error {
	return &fault{http.StatusNotFound, "NOT_FOUND", fmt.Sprintf(format, args...)}
}

// problem is the document of an error (RFC 9457), in the shape that the rest of
// the service gives it.
func (h *Handler) problem(r *http.Request, err error) answer {
	var f *fault
	switch {
	case errors.As(err, &f):
	case errors.Is(err, store.ErrNotFound):
		f = &fault{http.StatusNotFound, "NOT_FOUND", err.Error()}
	default:
		h.options.Log.Error("call failed", "path", r.URL.Path, "error", err.Error())
		f = &fault{http.StatusInternalServerError, "INTERNAL", "a fault of the program; the server's log has the details"}
	}
	a := document(problemType, struct {
		Type   string `json:"type"`
		Title  string `json:"title"`
		Status int    `json:"status"`
		Detail string `json:"detail"`
		Code   string `json:"code"`
	}{"about:blank", http.StatusText(f.status), f.status, f.detail, f.code})
	a.status = f.status
	if f.status == http.StatusMethodNotAllowed {
		a.header = map[string]string{"Allow": "GET, HEAD"}
	}
	return a
}
