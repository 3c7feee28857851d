package rpc

import (
	"context"
	"io"
	"net/http"

	"lotwright/layout"
	"lotwright/layout/feature"
)

// Paths where GeoJSON is taken and given as it is: lots to design, and lots with
// an edited design each.
const (
	filePath    = "/v1/lots:design"
	recheckPath = "/v1/lots:recheck"
)

// fileWork is what is done with the lots of a body.
type fileWork struct {
	path string
	open func(context.Context, io.Reader) (Source, error)
	do   func(context.Context, Item, Settings) *layout.Design
}

// serveFile answers POST /v1/lots:design.
func (s *Server) serveFile(w http.ResponseWriter, r *http.Request, _ map[string]string) {
	s.serveLots(w, r, fileWork{filePath, s.options.Open, s.design})
}

// serveRecheck answers POST /v1/lots:recheck.
func (s *Server) serveRecheck(w http.ResponseWriter, r *http.Request, _ map[string]string) {
	s.serveLots(w, r, fileWork{recheckPath, s.options.OpenEdited, s.recheck})
}

// serveLots answers with what becomes of the lots of a body. Once the answer has
// begun it can only be completed or broken off, so that no client takes a part
// for the whole.
func (s *Server) serveLots(w http.ResponseWriter, r *http.Request, work fileWork) {
	out := &begun{ResponseWriter: w}
	err := s.guard(work.path, func() error { return s.workFile(out, r, work) })
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

func (s *Server) workFile(w http.ResponseWriter, r *http.Request, work fileWork) error {
	costs, rest, err := s.queryCosts(r.URL.RawQuery)
	if err != nil {
		return err
	}
	settings, err := querySettings(rest, s.options.Check)
	if err != nil {
		return err
	}
	form, err := negotiate(r.Header)
	if err != nil {
		return err
	}
	source, err := s.openFile(w, r, work.open)
	if err != nil {
		return err
	}
	defer source.Close()
	if most := s.options.Limits.Lots; source.Len() > most {
		return overLimit("Lots", int64(most), "lots of a request")
	}
	w.Header().Set("Content-Type", form.mediaType)
	return s.workAll(r.Context(), source, work, settings, costs, &flushed{w, form.format})
}

// openFile reads the body up to the lots.
func (s *Server) openFile(w http.ResponseWriter, r *http.Request, open func(context.Context, io.Reader) (Source, error)) (Source, error) {
	if err := checkContentType(r.Header, bodyTypes()...); err != nil {
		return nil, err
	}
	l := s.options.Limits
	b, err := openBody(w, r, bodyLimits{l.Body, l.Inflated, "Body", "Inflated"}, l.ReadIdle)
	if err != nil {
		return nil, err
	}
	source, err := open(r.Context(), b)
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

func (s *Server) workAll(ctx context.Context, source Source, work fileWork, settings Settings, costs bool, to *flushed) error {
	writer := feature.NewWriter(to, to.format)
	numbers := make([]int, source.Len())
	for i := range numbers {
		numbers[i] = i
	}
	err := pipe[int, [][]byte]{
		next: each(numbers),
		do: func(ctx context.Context, i int) [][]byte {
			item := s.item(source, i)
			d := work.do(ctx, item, settings)
			features := encoded(s, d, feature.Features)
			if costs {
				features = s.withCosts(item.Lot, d, features)
			}
			return features
		},
		emit: writer.WriteFeatures,
	}.run(ctx, s)
	if err != nil {
		return err
	}
	return writer.Close()
}
