package feature

import (
	"bytes"
	"errors"
	"io"

	"lotwright/layout"
)

// Features returns the features of d as JSON, each on one line: first the lot
// itself, then what belongs to it, layer by layer in the order of [Schema].
func Features(d *layout.Design) [][]byte {
	var features [][]byte
	for _, l := range layers {
		features = append(features, l.features(d)...)
	}
	return features
}

// Format is a way of putting features one after another.
type Format int

// The formats. Each feature is the same bytes in all of them.
const (
	// Collection is one FeatureCollection, a feature a line (RFC 7946).
	Collection Format = iota
	// NewlineDelimited is a feature a line and nothing else.
	NewlineDelimited
	// TextSequence puts a record separator before each line (RFC 8142).
	TextSequence
)

// MediaType returns the media type of the format.
func (f Format) MediaType() string { return f.framing().mediaType }

// framing is what stands around the features.
type framing struct {
	mediaType                               string
	open, beforeFirst, before, after, close string
}

func (f Format) framing() framing {
	switch f {
	case NewlineDelimited:
		return framing{mediaType: "application/x-ndjson", after: "\n"}
	case TextSequence:
		return framing{mediaType: "application/geo+json-seq", beforeFirst: "\x1e", before: "\x1e", after: "\n"}
	default:
		return framing{
			mediaType: "application/geo+json",
			open:      `{"type":"FeatureCollection","features":[`, beforeFirst: "\n", before: ",\n", close: "\n]}\n",
		}
	}
}

// ErrClosed is returned when something is written to a closed Writer.
var ErrClosed = errors.New("feature writer is closed")

// Writer writes the features of one design after another. All features of a
// design go out in a single write, so that a file cut short after any of them
// and closed is complete and valid.
type Writer struct {
	w               io.Writer
	framing         framing
	opened, started bool // the opening, and a first feature, are written
	err             error
}

// NewWriter returns a writer of the given format to w. Nothing is written
// before the first call of Write or Close.
func NewWriter(w io.Writer, format Format) *Writer {
	return &Writer{w: w, framing: format.framing()}
}

// Write writes the features of d. After an error every further call returns it
// again.
func (w *Writer) Write(d *layout.Design) error { return w.WriteFeatures(Features(d)) }

// WriteFeatures writes what [Features] returned for a design, so that designs
// can be encoded side by side and written in order.
func (w *Writer) WriteFeatures(features [][]byte) error {
	var buf bytes.Buffer
	w.begin(&buf)
	for _, feature := range features {
		w.frame(&buf, feature)
	}
	return w.flush(&buf)
}

// Close writes what ends the format; it does not close the underlying writer.
// Closing twice does nothing.
func (w *Writer) Close() error {
	if errors.Is(w.err, ErrClosed) {
		return nil
	}
	var buf bytes.Buffer
	w.begin(&buf)
	buf.WriteString(w.framing.close)
	if err := w.flush(&buf); err != nil {
		return err
	}
	w.err = ErrClosed
	return nil
}

func (w *Writer) begin(buf *bytes.Buffer) {
	if !w.opened {
		buf.WriteString(w.framing.open)
		w.opened = true
	}
}

func (w *Writer) frame(buf *bytes.Buffer, feature []byte) {
	if w.started {
		buf.WriteString(w.framing.before)
	} else {
		buf.WriteString(w.framing.beforeFirst)
		w.started = true
	}
	buf.Write(feature)
	buf.WriteString(w.framing.after)
}

func (w *Writer) flush(buf *bytes.Buffer) error {
	if w.err == nil {
		_, w.err = w.w.Write(buf.Bytes())
	}
	return w.err
}

// Encode returns the features of one design in the given format.
func Encode(d *layout.Design, format Format) []byte {
	var buf bytes.Buffer
	w := NewWriter(&buf, format)
	// Writing to a buffer cannot fail.
	_ = w.Write(d)
	_ = w.Close()
	return buf.Bytes()
}

// Split takes a collection as [Encode] writes it apart into its features.
func Split(collection []byte) ([][]byte, error) {
	f := Collection.framing()
	inner, opened := bytes.CutPrefix(collection, []byte(f.open))
	inner, closed := bytes.CutSuffix(inner, []byte(f.close))
	if !opened || !closed {
		return nil, errors.New("not a collection as it is written")
	}
	inner, some := bytes.CutPrefix(inner, []byte(f.beforeFirst))
	if !some {
		return nil, nil
	}
	return bytes.Split(inner, []byte(f.before)), nil // no feature has a line break
}
