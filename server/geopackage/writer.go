package geopackage

import (
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"

	_ "modernc.org/sqlite" // the driver "sqlite"

	"lotwright/layout/feature"
)

// DefaultTime is the time of the last change that is written where none is
// given: the standard asks for one, and the clock would make every file differ.
const DefaultTime = "1970-01-01T00:00:00.000Z"

// Options steer the writing. The zero value works.
type Options struct {
	LastChange string // RFC 3339 in UTC with milliseconds; default: [DefaultTime]
}

// ErrClosed is returned when something is written to a closed Writer.
var ErrClosed = errors.New("geopackage writer is closed")

// Writer writes the features of one design after another. The file is a
// GeoPackage only once Close has returned. Nothing here waits for anybody, so
// nothing takes a context: what is done is completed also when a run is
// interrupted.
type Writer struct {
	db     *sql.DB
	tx     *sql.Tx
	layers []*layerTable
	byName map[string]*layerTable
	time   string
	err    error
}

// Create starts a file, which must not exist. Whoever gives up calls Abort and
// removes it.
func Create(path string, o Options) (*Writer, error) {
	if _, err := os.Lstat(path); err == nil {
		return nil, fmt.Errorf("%s: %w", path, os.ErrExist)
	}
	whole, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	// The file is thrown away when anything fails: no journal, no waiting for
	// the disk.
	query := "_pragma=page_size(4096)&_pragma=journal_mode(off)&_pragma=synchronous(off)&_pragma=locking_mode(exclusive)"
	db, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Path: whole, RawQuery: query}).String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	w := &Writer{db: db, byName: map[string]*layerTable{}, time: o.LastChange}
	if w.time == "" {
		w.time = DefaultTime
	}
	if err := w.create(); err != nil {
		return nil, errors.Join(err, w.Abort())
	}
	return w, nil
}

// create writes all tables, empty.
func (w *Writer) create() error {
	if _, err := w.db.Exec(headerSQL); err != nil {
		return err
	}
	var err error
	if w.tx, err = w.db.Begin(); err != nil {
		return err
	}
	if err := w.exec(describingSQL); err != nil {
		return err
	}
	for _, l := range feature.Schema() {
		t := &layerTable{Layer: l}
		if err := t.create(w); err != nil {
			return fmt.Errorf("table %s: %w", l.Name, err)
		}
		w.layers = append(w.layers, t)
		w.byName[l.Name] = t
	}
	return w.exec("INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id) VALUES ('layer_styles', 'attributes', 'layer_styles', 'how the layers are drawn', ?, 0)", w.time)
}

func (w *Writer) exec(query string, args ...any) error {
	_, err := w.tx.Exec(query, args...)
	return err
}

// Write writes what [feature.Features] returned for a design. After an error
// every further call returns it again.
func (w *Writer) Write(features [][]byte) error {
	for _, f := range features {
		if w.err != nil {
			return w.err
		}
		w.err = w.write(f)
	}
	return w.err
}

func (w *Writer) write(encoded []byte) error {
	f, err := decode(encoded)
	if err != nil {
		return err
	}
	t, ok := w.byName[f.layer]
	if !ok {
		return fmt.Errorf("a feature of layer %q, which is not in the schema", f.layer)
	}
	return t.insert(f)
}

// Close completes the file. Closing twice does nothing.
func (w *Writer) Close() error {
	switch {
	case errors.Is(w.err, ErrClosed):
		return nil
	case w.err != nil:
		return errors.Join(w.err, w.Abort())
	}
	w.err = w.finish()
	if w.err != nil {
		return errors.Join(w.err, w.Abort())
	}
	w.err = ErrClosed
	return w.db.Close()
}

func (w *Writer) finish() error {
	for _, t := range w.layers {
		if err := t.finish(w); err != nil {
			return fmt.Errorf("table %s: %w", t.Name, err)
		}
	}
	return w.tx.Commit()
}

// Abort ends the writing and leaves a file that is of no use.
func (w *Writer) Abort() error {
	if w.tx != nil {
		_ = w.tx.Rollback() // without a journal there is nothing to go back to
	}
	return w.db.Close()
}
