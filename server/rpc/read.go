package rpc

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"mime"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"

	"lotwright/layout"
	"lotwright/layout/feature"
)

// Paths that take files of lots, as parts of a form, and give what is in them:
// the tables, and the lots as labelled GeoJSON.
const (
	tablesPath = "/v1/lots:tables"
	readPath   = "/v1/lots:read"
)

// untyped are the paths whose bodies are no messages of the protos.
func untyped() []string { return []string{filePath, recheckPath, packetPath, tablesPath, readPath} }

// File is a file that came over the wire, kept until the call ends.
type File struct {
	Name string // as the client calls it
	Path string
}

// Table is a table of a file, or a file of text as a whole, and what it may be.
type Table struct {
	File     string       `json:"file"`
	Table    string       `json:"table"` // empty: the file is text
	Columns  []string     `json:"columns"`
	System   string       `json:"system"`
	Features int          `json:"features"`
	Geometry string       `json:"geometry"`
	Layer    layout.Layer `json:"layer"`    // by its name; empty: it speaks of none
	Labelled bool         `json:"labelled"` // every row says its lot and layer
}

// Chosen is a file, or a table of one, that is to be read.
type Chosen struct {
	File  File
	Table string       // empty: all that show a layer
	Layer layout.Layer // that all of it shows; empty: features or names say so
}

// Finding is a remark about a body as a whole.
type Finding struct {
	Rule     string      `json:"rule"`
	Severity string      `json:"severity"`
	Text     string      `json:"text"`
	File     string      `json:"file,omitempty"`
	Lot      string      `json:"lot,omitempty"`
	Feature  *int        `json:"feature,omitempty"`
	Place    *[2]float64 `json:"place,omitempty"` // longitude and latitude
}

// Surveyed is the lots of files as GeoJSON, each feature with its lot and layer.
type Surveyed interface {
	Len() int
	ID(i int) string
	Features(i int) ([][]byte, error)
	Findings() []Finding
	Close() error
}

// serveTables answers POST on [tablesPath].
func (s *Server) serveTables(w http.ResponseWriter, r *http.Request, _ map[string]string) {
	s.serveWhole(w, tablesPath, func(w http.ResponseWriter) error {
		if r.URL.RawQuery != "" {
			return invalidFields([]violation{{"query", "this path takes no parameters"}})
		}
		return s.withFiles(w, r, func(files []File) error {
			tables, err := s.options.Tables(r.Context(), files)
			if err != nil {
				return err
			}
			w.Header().Set("Content-Type", jsonType)
			return json.NewEncoder(w).Encode(map[string][]Table{"tables": append([]Table{}, tables...)})
		})
	})
}

// serveRead answers POST on [readPath].
func (s *Server) serveRead(w http.ResponseWriter, r *http.Request, _ map[string]string) {
	s.serveWhole(w, readPath, func(w http.ResponseWriter) error {
		return s.withFiles(w, r, func(files []File) error { return s.read(w, r, files) })
	})
}

// serveWhole answers, and breaks an answer off that cannot be completed.
func (s *Server) serveWhole(w http.ResponseWriter, path string, answer func(http.ResponseWriter) error) {
	out := &begun{ResponseWriter: w}
	err := s.guard(path, func() error { return answer(out) })
	switch {
	case err == nil:
	case out.begun:
		panic(http.ErrAbortHandler)
	default:
		writeError(w, err)
	}
}

func (s *Server) read(w http.ResponseWriter, r *http.Request, files []File) error {
	chosen, property, err := queryChosen(r.URL.RawQuery, files)
	if err != nil {
		return err
	}
	lots, err := s.options.Read(r.Context(), chosen, property)
	if err != nil {
		return err
	}
	defer lots.Close()
	if most := s.options.Limits.Lots; lots.Len() > most {
		return overLimit("Lots", int64(most), "lots of a request")
	}
	w.Header().Set("Content-Type", feature.Collection.MediaType())
	return writeSurveyed(r.Context(), w, lots)
}

// writeSurveyed writes a collection, with what was found as a foreign member
// (RFC 7946 section 6.1).
func writeSurveyed(ctx context.Context, w io.Writer, lots Surveyed) error {
	findings, err := json.Marshal(append([]Finding{}, lots.Findings()...))
	if err != nil {
		return err
	}
	if _, err := fmt.Fprintf(w, `{"type":"FeatureCollection","findings":%s,"features":[`, findings); err != nil {
		return err
	}
	before := "\n"
	for i := range lots.Len() {
		features, err := lots.Features(i)
		if err := errors.Join(err, ctx.Err()); err != nil {
			return err
		}
		for _, f := range features {
			if _, err := io.WriteString(w, before+string(f)); err != nil {
				return err
			}
			before = ",\n"
		}
	}
	_, err = io.WriteString(w, "\n]}\n")
	return err
}

// withFiles keeps the files of a form while do runs.
func (s *Server) withFiles(w http.ResponseWriter, r *http.Request, do func([]File) error) error {
	declared, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || declared != formType || params["boundary"] == "" {
		return faultf(codes.InvalidArgument, reasonMediaType, "Content-Type: got %q, want %s", r.Header.Get("Content-Type"), formType)
	}
	l := s.options.Limits
	b, err := openBody(w, r, bodyLimits{l.Body, l.Inflated, "Body", "Inflated"}, l.ReadIdle)
	if err != nil {
		return err
	}
	folder, err := os.MkdirTemp("", "lotwright-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	files, err := keepFiles(multipart.NewReader(b, params["boundary"]), folder)
	if b.fault != nil {
		return b.fault
	}
	if err != nil {
		return err
	}
	return do(files)
}

const formType = "multipart/form-data"

// mostFiles is how many files a form may have.
const mostFiles = 64

// keepFiles writes the parts of a form into a folder.
func keepFiles(form *multipart.Reader, folder string) (files []File, err error) {
	for {
		part, err := form.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, faultf(codes.InvalidArgument, reasonBodyUnreadable, "the form cannot be read: %v", err)
		}
		name := part.FileName()
		switch {
		case name == "":
			return nil, invalidFields([]violation{{part.FormName(), "want a file with its name"}})
		case len(files) == mostFiles:
			return nil, invalidFields([]violation{{part.FormName(), fmt.Sprintf("more than %d files", mostFiles)}})
		case slices.ContainsFunc(files, func(f File) bool { return f.Name == name }):
			return nil, invalidFields([]violation{{part.FormName(), fmt.Sprintf("two files are called %.80q", name)}})
		}
		file := File{Name: name, Path: filepath.Join(folder, fmt.Sprint(len(files), ending.FindString(strings.ToLower(name))))}
		if err := keepFile(file.Path, part); err != nil {
			return nil, err
		}
		files = append(files, file)
	}
	if len(files) == 0 {
		return nil, invalidFields([]violation{{"file", "the form has no file"}})
	}
	return files, nil
}

// ending is what of a file's name may tell its form.
var ending = regexp.MustCompile(`(\.[a-z]{1,12}){1,2}$`)

func keepFile(path string, from io.Reader) error {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(file, from)
	return errors.Join(err, file.Close())
}

// queryChosen reads what is to be read of the files: in=FILE[:TABLE] whose
// features or names say what they show, layer=LAYER=FILE[:TABLE] that is one
// layer, and lot_property. Without either, all files are in.
func queryChosen(rawQuery string, files []File) (out []Chosen, property string, err error) {
	values, err := url.ParseQuery(rawQuery)
	var c checker
	if err != nil {
		c.add("query", "%v", err)
		return nil, "", c.err()
	}
	for _, name := range slices.Sorted(maps.Keys(values)) {
		switch n := len(values[name]); {
		case name != "in" && name != "layer" && name != "lot_property":
			c.add(name, "no such parameter; there are in, layer, lot_property")
		case name == "lot_property" && n > 1:
			c.add(name, "given %d times", n)
		}
	}
	choose := func(field, text string, layer layout.Layer) {
		if one, ok := chosenFile(text, files); ok {
			one.Layer = layer
			out = append(out, one)
			return
		}
		c.add(field, "%.80q is none of the files sent", text)
	}
	for _, text := range values["in"] {
		choose("in", text, "")
	}
	for _, text := range values["layer"] {
		layer, rest, ok := strings.Cut(text, "=")
		if !ok || !slices.Contains(layout.InputLayers(), layout.Layer(layer)) {
			c.add("layer", "%.80q is not a layer and a file such as building=roofs.geojson", text)
			continue
		}
		choose("layer", rest, layout.Layer(layer))
	}
	if len(values["in"])+len(values["layer"]) == 0 {
		for _, f := range files {
			out = append(out, Chosen{File: f})
		}
	}
	return out, values.Get("lot_property"), c.err()
}

// chosenFile finds FILE or FILE:TABLE among the files.
func chosenFile(text string, files []File) (Chosen, bool) {
	for _, f := range files {
		if text == f.Name {
			return Chosen{File: f}, true
		}
		if table, ok := strings.CutPrefix(text, f.Name+":"); ok && table != "" {
			return Chosen{File: f, Table: table}, true
		}
	}
	return Chosen{}, false
}
