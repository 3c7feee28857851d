// Package dxf writes designs as a drawing in AutoCAD's interchange format of
// release 12 (AC1009), the oldest that all drawing programs read: a layer for
// each layer of the output schema, text in plain ASCII, and each entity with
// its lot in extended data. A drawing has no longitudes: everything lies in one
// plane in metres, transverse Mercator at scale 1 about an origin near the first
// lot, which the drawing states as a comment. The same features in the same
// order give the same bytes.
package dxf

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"

	"lotwright/importer/project"
	"lotwright/layout/feature"
)

// ErrClosed is returned when something is written to a closed Writer.
var ErrClosed = errors.New("DXF writer is closed")

// originStep is the grid of origins, in degrees: short numbers to type in when
// the drawing is to be put on a map.
const originStep = 0.001

// Writer writes the features of one design after another.
type Writer struct {
	w     io.Writer
	buf   bytes.Buffer
	plane *project.TransverseMercator // nil until the first position
	err   error
}

// NewWriter returns a writer to w. Nothing is written before the first call of
// Write or Close.
func NewWriter(w io.Writer) *Writer { return &Writer{w: w} }

// Write writes what [feature.Features] returned for a design. After an error
// every further call returns it again.
func (w *Writer) Write(features [][]byte) error {
	for _, encoded := range features {
		if w.err != nil {
			return w.err
		}
		w.err = w.feature(encoded)
	}
	return w.flush()
}

func (w *Writer) feature(encoded []byte) error {
	f, err := decode(encoded)
	if err != nil || len(f.lines) == 0 {
		return err
	}
	if w.plane == nil {
		w.begin(f.lines[0][0])
	}
	w.draw(f)
	return nil
}

// begin sets up the plane and writes what stands before the entities.
func (w *Writer) begin(near position) {
	lon, lat := math.Round(near[0]/originStep)*originStep, math.Round(near[1]/originStep)*originStep
	tm := project.NewTransverseMercator(project.WGS84, lon, 1)
	_, north := tm.Forward(lon, lat)
	tm.FalseNorthing = -north
	w.plane = &tm
	w.header(lon, lat)
}

// Close writes what ends the drawing; it does not close the underlying writer.
// Closing twice does nothing.
func (w *Writer) Close() error {
	switch {
	case errors.Is(w.err, ErrClosed):
		return nil
	case w.err != nil:
		return w.err
	}
	if w.plane == nil {
		w.begin(position{})
	}
	w.pair(0, "ENDSEC")
	w.pair(0, "EOF")
	if err := w.flush(); err != nil {
		return err
	}
	w.err = ErrClosed
	return nil
}

func (w *Writer) flush() error {
	if w.err == nil {
		_, w.err = w.w.Write(w.buf.Bytes())
	}
	w.buf.Reset()
	return w.err
}

// pair writes a group: its code, which says what follows, and a value.
func (w *Writer) pair(code int, value string) {
	fmt.Fprintf(&w.buf, "%3d\r\n%s\r\n", code, value)
}

// number writes a group with a length in metres to the tenth of a millimetre.
func (w *Writer) number(code int, v float64) {
	text := strconv.FormatFloat(v, 'f', 4, 64)
	if text == "-0.0000" {
		text = text[1:]
	}
	w.pair(code, text)
}

// at writes the group for x and, ten further, for y; a third for the height.
func (w *Writer) at(p position) {
	x, y := w.plane.Forward(p[0], p[1])
	w.number(10, x)
	w.number(20, y)
	w.number(30, 0)
}

func (w *Writer) header(lon, lat float64) {
	w.pair(999, "Sprinkler designs. Plane in metres: "+ProjString(lon, lat))
	w.pair(0, "SECTION")
	w.pair(2, "HEADER")
	w.pair(9, "$ACADVER")
	w.pair(1, "AC1009")
	w.pair(9, "$PDMODE") // points as a circle with a cross, so that they show
	w.pair(70, "35")
	w.pair(9, "$PDSIZE")
	w.number(40, pointSize)
	w.pair(9, "$LTSCALE")
	w.number(40, 1)
	w.pair(0, "ENDSEC")
	w.pair(0, "SECTION")
	w.pair(2, "TABLES")
	w.lineTypes()
	w.layers()
	w.textStyles()
	w.table("APPID", 1)
	w.pair(0, "APPID")
	w.pair(2, application)
	w.pair(70, "0")
	w.pair(0, "ENDTAB")
	w.pair(0, "ENDSEC")
	w.pair(0, "SECTION")
	w.pair(2, "ENTITIES")
}

// ProjString is the plane about an origin as PROJ and the tools on it write it.
func ProjString(lon, lat float64) string {
	return fmt.Sprintf("+proj=tmerc +lat_0=%.3f +lon_0=%.3f +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m", lat, lon)
}

// table begins a table of so many entries.
func (w *Writer) table(name string, entries int) {
	w.pair(0, "TABLE")
	w.pair(2, name)
	w.pair(70, strconv.Itoa(entries))
}

// lineTypes writes the table of dash patterns, in metres.
func (w *Writer) lineTypes() {
	w.table("LTYPE", len(lineTypes))
	for _, l := range lineTypes {
		w.pair(0, "LTYPE")
		w.pair(2, l.name)
		w.pair(70, "0")
		w.pair(3, l.meaning)
		w.pair(72, "65")
		w.pair(73, strconv.Itoa(len(l.pattern)))
		sum := 0.0
		for _, v := range l.pattern {
			sum += math.Abs(v)
		}
		w.number(40, sum)
		for _, v := range l.pattern {
			w.number(49, v)
		}
	}
	w.pair(0, "ENDTAB")
}

func (w *Writer) layers() {
	schema := feature.Schema()
	w.table("LAYER", len(schema)+1)
	w.layer("0", 7, continuous)
	for _, l := range schema {
		s := styles[l.Name]
		w.layer(l.Name, s.color, s.lineType)
	}
	w.pair(0, "ENDTAB")
}

func (w *Writer) layer(name string, color int, lineType string) {
	w.pair(0, "LAYER")
	w.pair(2, name)
	w.pair(70, "0")
	w.pair(62, strconv.Itoa(color))
	w.pair(6, lineType)
}

func (w *Writer) textStyles() {
	w.table("STYLE", 1)
	w.pair(0, "STYLE")
	w.pair(2, "STANDARD")
	w.pair(70, "0")
	w.number(40, 0)
	w.number(41, 1)
	w.number(50, 0)
	w.pair(71, "0")
	w.number(42, labelHeight)
	w.pair(3, "txt")
	w.pair(4, "")
	w.pair(0, "ENDTAB")
}
