package rpc

import (
	"context"
	"net/http"

	"lotwright/layout/feature"
)

// filePath is where GeoJSON is taken and given as it is.
const filePath = "/v1/lots:design"

// serveFile answers POST /v1/lots:design. Once the answer has begun it can only
// be completed or broken off, so that no client takes a part for the whole.
func (s *Server) serveFile(w http.ResponseWriter, r *http.Request, _ map[string]string) {
	out := &begun{ResponseWriter: w}
	err := s.guard(filePath, func() error { return s.designFile(out, r) })
	switch {
	case err == nil:
	case out.begun:
		panic(http.ErrAbortHandler)
	default:
		writeError(w, err)
	}
}

// begun remembers whether anything was written.
type begun struct {
	http.ResponseWriter
	begun bool
}

func (b *begun) Unwrap() http.ResponseWriter { return b.ResponseWriter }

func (b *begun) Write(p []byte) (int, error) {
	b.begun = true
	return b.ResponseWriter.Write(p)
}

func (s *Server) designFile(w http.ResponseWriter, r *http.Request) error {
	settings, err := querySettings(r.URL.RawQuery, s.options.Check)
	if err != nil {
		return err
	}
	form, err := negotiate(r.Header)
	if err != nil {
		return err
	}
	source, err := s.openFile(w, r)
	if err != nil {
		return err
	}
	defer source.Close()
	if most := s.options.Limits.Lots; source.Len() > most {
		return overLimit("Lots", int64(most), "lots of a request")
	}
	w.Header().Set("Content-Type", form.mediaType)
	return s.designAll(r.Context(), source, settings, &flushed{w, form.format})
}

// openFile reads the body up to the lots.
func (s *Server) openFile(w http.ResponseWriter, r *http.Request) (Source, error) {
	if err := checkContentType(r.Header, bodyTypes()...); err != nil {
		return nil, err
	}
	l := s.options.Limits
	b, err := openBody(w, r, bodyLimits{l.Body, l.Inflated, "Body", "Inflated"}, l.ReadIdle)
	if err != nil {
		return nil, err
	}
	source, err := s.options.Open(r.Context(), b)
	if err != nil && b.fault != nil {
		return nil, b.fault
	}
	return source, err
}

// flushed is where the features go; every lot is sent as soon as it is done.
type flushed struct {
	http.ResponseWriter
	format feature.Format
}

func (f *flushed) Write(p []byte) (int, error) {
	n, err := f.ResponseWriter.Write(p)
	if err == nil {
		err = http.NewResponseController(f.ResponseWriter).Flush()
	}
	return n, err
}

func (s *Server) designAll(ctx context.Context, source Source, settings Settings, to *flushed) error {
	writer := feature.NewWriter(to, to.format)
	numbers := make([]int, source.Len())
	for i := range numbers {
		numbers[i] = i
	}
	err := pipe[int, [][]byte]{
		next: each(numbers),
		do: func(ctx context.Context, i int) [][]byte {
			return encoded(s, s.design(ctx, s.item(source, i), settings), feature.Features)
		},
		emit: writer.WriteFeatures,
	}.run(ctx, s)
	if err != nil {
		return err
	}
	return writer.Close()
}
