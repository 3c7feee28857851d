package rpc

import (
	"compress/gzip"
	"errors"
	"io"
	"net/http"
	"os"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
)

// bodyLimits bound a body as sent and after decompression.
type bodyLimits struct {
	sent, inflated         int64
	sentName, inflatedName string // fields of [Limits]
}

// body is the body of a request, decompressed and within limits. Whatever ended
// it but its proper end stays with it as fault, since readers of bodies tend to
// put errors into words of their own.
type body struct {
	io.Reader
	io.Closer
	fault *fault
}

// openBody replaces the body of r. Closing it is the HTTP server's affair.
func openBody(w http.ResponseWriter, r *http.Request, l bodyLimits, idle time.Duration) (*body, error) {
	b := &body{Closer: r.Body}
	sent := &limited{from: &impatient{r.Body, http.NewResponseController(w), idle}, left: l.sent,
		over: overLimit(l.sentName, l.sent, "bytes of a body as sent")}
	switch encoding := strings.ToLower(strings.Join(r.Header.Values("Content-Encoding"), ", ")); encoding {
	case "", "identity":
		b.Reader = sent
	case "gzip", "x-gzip":
		inflater, err := gzip.NewReader(sent)
		if err != nil {
			return nil, bodyFault(err)
		}
		b.Reader = &limited{from: inflater, left: l.inflated,
			over: overLimit(l.inflatedName, l.inflated, "bytes of a body after decompression")}
	default:
		return nil, faultf(codes.InvalidArgument, reasonMediaType, "Content-Encoding: got %q, want gzip or none", encoding)
	}
	r.Body = b
	return b, nil
}

// Read reads on, and keeps what went wrong.
func (b *body) Read(p []byte) (int, error) {
	if b.fault != nil {
		return 0, b.fault
	}
	n, err := b.Reader.Read(p)
	if err != nil && err != io.EOF {
		b.fault = bodyFault(err)
		err = b.fault
	}
	return n, err
}

func bodyFault(err error) *fault {
	var f *fault
	switch {
	case errors.As(err, &f):
		return f
	case errors.Is(err, os.ErrDeadlineExceeded):
		return faultf(codes.DeadlineExceeded, reasonBodyTimeout, "the body did not go on in time (limit ReadIdle)")
	}
	return faultf(codes.InvalidArgument, reasonBodyUnreadable, "the body cannot be read: %v", err)
}

// limited reads up to left bytes; more than that is the error over.
type limited struct {
	from io.Reader
	left int64
	over *fault
}

func (l *limited) Read(p []byte) (int, error) {
	if l.left < 0 {
		return 0, l.over
	}
	if int64(len(p)) > l.left+1 {
		p = p[:l.left+1]
	}
	n, err := l.from.Read(p)
	if l.left -= int64(n); l.left < 0 {
		return n - 1, l.over
	}
	return n, err
}

// impatient gives the client a fixed time for every piece.
type impatient struct {
	from       io.Reader
	controller *http.ResponseController
	idle       time.Duration
}

func (i *impatient) Read(p []byte) (int, error) {
	_ = i.controller.SetReadDeadline(time.Now().Add(i.idle)) // not every transport has deadlines
	n, err := i.from.Read(p)
	if err == io.EOF {
		// The server goes on watching the connection: it must not take a
		// deadline that passes later for the client's going away.
		_ = i.controller.SetReadDeadline(time.Time{})
	}
	return n, err
}

// impatientWriter gives the client a fixed time to take every piece.
type impatientWriter struct {
	http.ResponseWriter
	controller *http.ResponseController
	idle       time.Duration
}

// Unwrap lets a http.ResponseController reach the connection.
func (w *impatientWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (w *impatientWriter) Write(p []byte) (int, error) {
	_ = w.controller.SetWriteDeadline(time.Now().Add(w.idle)) // not every transport has deadlines
	return w.ResponseWriter.Write(p)
}
