package geojson

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"lotwright/importer"
	"lotwright/layout"
)

// Format is how the features are strung together.
type Format string

// The formats.
const (
	// Auto goes by the ending of the path, or else by the first byte.
	Auto Format = ""
	// Collection is one FeatureCollection (RFC 7946).
	Collection Format = "geojson"
	// Sequence is one feature after the other, each on a line of its own or
	// after a record separator (RFC 8142).
	Sequence Format = "geojsonseq"
)

// Source says what to read and what its features are.
type Source struct {
	Name   string    // for messages; empty: the path
	Path   string    // "-" or empty: Reader
	Reader io.Reader // read once, to its end
	Format Format

	// Layer is what every feature of the source shows; empty when features
	// carry properties.layer and a lot id.
	Layer layout.Layer
	// LotProperty names the property with the lot id. Empty means "lot" for
	// labelled features, and the best of a few usual names for a layer of
	// parcels.
	LotProperty string

	// Derived is set when the text was made from another format: then places in
	// it mean nothing to who sent that, and are left out of the findings.
	Derived bool
}

// Document is an opened source: checked, indexed, and ready to decode any of
// its features. It is safe for concurrent use.
type Document struct {
	name     string
	layer    layout.Layer
	limits   importer.Limits
	derived  bool
	lotName  string
	crs      string
	findings []importer.Finding

	text   io.ReaderAt
	closer io.Closer

	entries []entry
	lots    []string // lot ids in order of appearance
	boxes   []importer.Bounds
}

// entry is what is kept of a feature between the two passes.
type entry struct {
	offset int64
	length uint32
	lot    int32 // index into lots; −1: none
	box    int32 // index into boxes; −1: none
}

// Open reads the source once, to its end, checks it and indexes its features.
// What concerns the whole text is an *importer.Refusal; faults of single
// features wait until they are decoded.
func Open(ctx context.Context, src Source, limits importer.Limits) (*Document, error) {
	if src.Name == "" {
		src.Name = src.Path
	}
	d := &Document{name: src.Name, layer: src.Layer, derived: src.Derived, limits: limits.OrDefaults()}
	err := d.open(ctx, src)
	if err == nil {
		return d, nil
	}
	_ = d.Close()
	var refusal *importer.Refusal
	if errors.As(err, &refusal) {
		refusal.Finding.File = src.Name
		if src.Derived {
			refusal.Finding.Offset = -1
		}
		return nil, refusal
	}
	return nil, fmt.Errorf("reading %q: %w", src.Name, err)
}

func (d *Document) open(ctx context.Context, src Source) error {
	from := src.Reader
	var file *os.File
	if src.Path != "" && src.Path != "-" {
		var err error
		if file, err = os.Open(src.Path); err != nil {
			return err
		}
		from, d.closer = file, file
	}
	if from == nil {
		return errors.New("neither a path nor a reader is given")
	}
	body, err := plainText(cancelReader{ctx, from}, d.limits.Body)
	if err != nil {
		return err
	}
	text := body.text
	if file != nil && !body.zipped && isRegular(file) {
		d.text = io.NewSectionReader(file, body.skipped, 1<<62)
	} else {
		kept := &spool{}
		d.text, d.closer = kept, closers{kept, d.closer}
		text = io.TeeReader(text, kept)
	}
	return d.index(newScanner(text, d.limits), src)
}

func isRegular(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.Mode().IsRegular()
}

// cancelReader ends a read when its context ends.
type cancelReader struct {
	ctx context.Context
	src io.Reader
}

// Read reads while the context lasts.
func (c cancelReader) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.src.Read(p)
}

type closers [2]io.Closer

// Close closes both; the second may be nil.
func (c closers) Close() error {
	err := c[0].Close()
	if c[1] != nil {
		err = errors.Join(err, c[1].Close())
	}
	return err
}

// formatOf settles the format by the ending of the path, ".gz" apart; a text
// that begins with a record separator is a sequence whatever its name.
func formatOf(src Source, first byte) Format {
	if src.Format != Auto {
		return src.Format
	}
	if first == recordSeparator {
		return Sequence
	}
	path := src.Path
	if path == "" || path == "-" {
		path = src.Name
	}
	switch filepath.Ext(strings.TrimSuffix(strings.ToLower(path), ".gz")) {
	case ".geojsonl", ".ndjson", ".geojsons", ".geojsonseq", ".jsonl":
		return Sequence
	}
	return Collection
}

// Name returns the name of the source.
func (d *Document) Name() string { return d.name }

// Layer returns the layer of the source, empty when features are labelled.
func (d *Document) Layer() layout.Layer { return d.layer }

// CRS returns the name in the collection's crs member (GeoJSON of 2008); empty
// when there is none.
func (d *Document) CRS() string { return d.crs }

// Findings returns the remarks about the whole text.
func (d *Document) Findings() []importer.Finding { return d.findings }

// Len returns the number of features.
func (d *Document) Len() int { return len(d.entries) }

// Lot returns the lot id of a feature; ok is false in a layer without ids.
func (d *Document) Lot(i int) (id string, ok bool) {
	if k := d.entries[i].lot; k >= 0 {
		return d.lots[k], true
	}
	return "", false
}

// Box returns the bounds of a feature in the coordinates of the file. It is
// known for parcels and for the features of an unlabelled layer.
func (d *Document) Box(i int) (importer.Bounds, bool) {
	if k := d.entries[i].box; k >= 0 {
		return d.boxes[k], true
	}
	return importer.Bounds{}, false
}

// featureBytes bounds the text of one feature that is decoded, far above what
// the other limits let through.
const featureBytes = 32 << 20

// Feature decodes a feature. Whatever is wrong with it is among its findings.
func (d *Document) Feature(i int) importer.Feature {
	e := d.entries[i]
	if e.length > featureBytes {
		return d.label(i, importer.Feature{Findings: []importer.Finding{
			importer.Fault("geometry.too_complex", "the feature's text is %d bytes, the limit is %d", e.length, featureBytes)}})
	}
	text := make([]byte, e.length)
	if _, err := d.text.ReadAt(text, e.offset); err != nil {
		return d.label(i, importer.Feature{Findings: []importer.Finding{
			importer.Fault("file.changed", "the file cannot be read again: %v", err)}})
	}
	f, err := decodeFeature(text, e.offset, d.lotName, d.limits)
	if err != nil {
		f.Findings = append(f.Findings, importer.Fault("file.changed", "the file is not what it was: %v", err))
	}
	return d.label(i, f)
}

// Text returns the text of a feature as it stands in the source.
func (d *Document) Text(i int) ([]byte, error) {
	e := d.entries[i]
	if e.length > featureBytes {
		return nil, fmt.Errorf("the text of feature %d is %d bytes, the limit is %d", i, e.length, featureBytes)
	}
	text := make([]byte, e.length)
	_, err := d.text.ReadAt(text, e.offset)
	return text, err
}

// label gives a feature what the document knows of it.
func (d *Document) label(i int, f importer.Feature) importer.Feature {
	f.File, f.Index = d.name, i
	f.Lot, _ = d.Lot(i)
	if d.layer != "" {
		f.Layer = d.layer
	}
	for k, finding := range f.Findings {
		f.Findings[k] = finding.Of(f)
		if d.derived {
			f.Findings[k].Offset = -1
		}
	}
	return f
}

// Decode reads the text of one GeoJSON feature by itself, with its lot id in
// properties.lot. A fault of syntax is an *importer.Refusal; all else is among
// the feature's findings.
func Decode(text []byte, limits importer.Limits) (importer.Feature, error) {
	return decodeFeature(text, 0, defaultLotProperty, limits.OrDefaults())
}

func decodeFeature(text []byte, base int64, lotName string, limits importer.Limits) (importer.Feature, error) {
	r := featureReader{s: scanBytes(text, base, limits), lotName: lotName}
	raw, err := r.read()
	if err != nil {
		return importer.Feature{}, err
	}
	f := raw.decode(text, base, limits)
	for k, finding := range f.Findings {
		f.Findings[k] = finding.Of(f)
	}
	return f, nil
}

// Close frees the text. No feature can be decoded afterwards.
func (d *Document) Close() error {
	if d.closer == nil {
		return nil
	}
	return d.closer.Close()
}
