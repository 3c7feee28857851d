package cli

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"

	"lotwright/layout"
	"lotwright/layout/feature"
	"lotwright/server/dxf"
	"lotwright/server/geopackage"
)

// sink takes the designs of a run one after another, in the order of lot ids.
type sink interface {
	put(o *outcome) error
	// keep completes what was put so far.
	keep() error
	// drop throws it away, after a fault.
	drop()
}

// mapSink writes the features.
type mapSink struct {
	target
	writer *feature.Writer
}

func newMapSink(t target, format feature.Format) *mapSink {
	return &mapSink{target: t, writer: feature.NewWriter(t, format)}
}

func (s *mapSink) put(o *outcome) error { return s.writer.WriteFeatures(o.features) }

func (s *mapSink) keep() error {
	if err := s.writer.Close(); err != nil {
		s.drop()
		return err
	}
	return s.target.keep()
}

// openMap starts the map in its form.
func (c *console) openMap(d destination) (sink, error) {
	t, err := c.open(d.mapFile)
	if err != nil {
		return nil, err
	}
	if d.form.open == nil {
		return newMapSink(t, d.form.format), nil
	}
	s, err := d.form.open(t)
	if err != nil {
		t.drop()
		return nil, err
	}
	return s, nil
}

// databaseSink writes a GeoPackage. A database is not written from one end to
// the other, so it is made in a folder of its own and copied when complete.
type databaseSink struct {
	target
	writer *geopackage.Writer
	folder string
}

func newDatabaseSink(t target) (sink, error) {
	folder, err := os.MkdirTemp("", "lotwright-*")
	if err != nil {
		return nil, err
	}
	s := &databaseSink{target: t, folder: folder}
	if s.writer, err = geopackage.Create(s.path(), geopackage.Options{}); err != nil {
		return nil, errors.Join(err, os.RemoveAll(folder))
	}
	return s, nil
}

func (s *databaseSink) path() string { return filepath.Join(s.folder, "map.gpkg") }

func (s *databaseSink) put(o *outcome) error { return s.writer.Write(o.features) }

func (s *databaseSink) keep() error {
	err := s.writer.Close()
	if err == nil {
		err = s.copy()
	}
	err = errors.Join(err, os.RemoveAll(s.folder))
	if err != nil {
		s.target.drop()
		return err
	}
	return s.target.keep()
}

func (s *databaseSink) copy() error {
	made, err := os.Open(s.path())
	if err != nil {
		return err
	}
	defer made.Close()
	_, err = io.Copy(s.target, made)
	return err
}

func (s *databaseSink) drop() {
	_ = s.writer.Abort() // the fault that led here is reported
	_ = os.RemoveAll(s.folder)
	s.target.drop()
}

// drawingSink writes a drawing for CAD.
type drawingSink struct {
	target
	writer *dxf.Writer
}

func newDrawingSink(t target) (sink, error) { return &drawingSink{t, dxf.NewWriter(t)}, nil }

func (s *drawingSink) put(o *outcome) error { return s.writer.Write(o.features) }

func (s *drawingSink) keep() error {
	if err := s.writer.Close(); err != nil {
		s.drop()
		return err
	}
	return s.target.keep()
}

// tableSink writes the properties of the lot features as CSV (RFC 4180).
type tableSink struct {
	target
	writer *csv.Writer
}

// newTableSink writes the header: the properties of the lot layer, but for the
// layer's name.
func newTableSink(t target) *tableSink {
	s := &tableSink{target: t, writer: csv.NewWriter(t)}
	var names []string
	for _, field := range lotFields() {
		names = append(names, field.Name)
	}
	_ = s.writer.Write(names) // a fault stays with the writer and shows in keep
	return s
}

func lotFields() []feature.Field {
	fields := feature.Schema()[0].Fields
	return append(fields[:1:1], fields[2:]...) // without "layer"
}

func (s *tableSink) put(o *outcome) error {
	values, err := propertyTexts(o.features[0])
	if err != nil {
		return err
	}
	var row []string
	for _, field := range lotFields() {
		row = append(row, values[field.Name])
	}
	return s.writer.Write(row)
}

func (s *tableSink) keep() error {
	s.writer.Flush()
	if err := s.writer.Error(); err != nil {
		s.drop()
		return err
	}
	return s.target.keep()
}

// propertyTexts returns the properties of a feature as they are written, with
// strings unquoted and null as the empty text. Strings that a spreadsheet
// would take for a formula are put behind an apostrophe.
func propertyTexts(encoded []byte) (map[string]string, error) {
	var f struct {
		Properties map[string]json.RawMessage `json:"properties"`
	}
	if err := json.Unmarshal(encoded, &f); err != nil {
		return nil, err
	}
	texts := map[string]string{}
	for name, raw := range f.Properties {
		var text string
		switch {
		case bytes.Equal(raw, []byte("null")):
		case raw[0] != '"':
			text = string(raw)
		default:
			if err := json.Unmarshal(raw, &text); err != nil {
				return nil, err
			}
			text = inert(text)
		}
		texts[name] = text
	}
	return texts, nil
}

// inert keeps a cell of text from being run as a formula.
func inert(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}

// countSink keeps the figures for the summary, and who was not designed.
type countSink struct {
	*tally
	missing []outcomeNote
}

func (s *countSink) put(o *outcome) error {
	s.add(o.design)
	if o.design.Status != layout.StatusDesigned {
		s.missing = append(s.missing, o.note())
	}
	return nil
}

func (s *countSink) keep() error { return nil }
func (s *countSink) drop()       {}

// progressSink moves the display on.
type progressSink struct{ progress }

func (s progressSink) put(o *outcome) error {
	s.step(o.design.LotID, string(o.design.Status))
	return nil
}

func (s progressSink) keep() error { s.end(); return nil }
func (s progressSink) drop()       { s.end() }

// sinks is several in one.
type sinks []sink

func (s sinks) put(o *outcome) error {
	for _, one := range s {
		if err := one.put(o); err != nil {
			return err
		}
	}
	return nil
}

// keep completes all of them, whatever becomes of one.
func (s sinks) keep() error {
	var faults []error
	for _, one := range s {
		faults = append(faults, one.keep())
	}
	return errors.Join(faults...)
}

func (s sinks) drop() {
	for _, one := range s {
		one.drop()
	}
}
