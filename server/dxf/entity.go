package dxf

import (
	"encoding/json"
	"fmt"
	"strings"
)

// application is the name under which an entity's lot is stored with it.
const application = "LOTWRIGHT"

// Sizes in the drawing, in metres of ground.
const (
	pointSize   = 0.3
	labelHeight = 0.5
	lotHeight   = 1.0
)

const (
	continuous = "CONTINUOUS"
	dashed     = "DASHED"
	dotted     = "DOTTED"
)

// lineTypes are dash patterns in metres: drawn, and, negative, not drawn.
var lineTypes = []struct {
	name, meaning string
	pattern       []float64
}{
	{continuous, "Solid line", nil},
	{dashed, "__ __ __ __", []float64{0.6, -0.3}},
	{dotted, ". . . . . .", []float64{0.05, -0.25}},
}

// style is how a layer is drawn: a colour of the format's fixed table of 255,
// and a dash pattern.
type style struct {
	color    int
	lineType string
	label    string // property that is written beside; empty: none
	height   float64
}

// The colours are the nearest in the table to those of the plans; black (7) is
// drawn white on black screens.
var styles = map[string]style{
	"lot":       {color: 94, lineType: continuous, label: "lot", height: lotHeight},
	"head":      {color: 7, lineType: continuous, label: "head", height: labelHeight},
	"wetted":    {color: 150, lineType: continuous},
	"dry":       {color: 20, lineType: continuous},
	"narrow":    {color: 221, lineType: dashed},
	"overspray": {color: 40, lineType: dotted},
	"trench":    {color: 7, lineType: continuous},
	"pipe":      {color: 160, lineType: continuous},
	"valve":     {color: 7, lineType: continuous, label: "valve", height: labelHeight},
	"note":      {color: 8, lineType: continuous, label: "rule", height: labelHeight},
}

// surfaces are the dash patterns of trench, by what lies on it.
var surfaces = map[string]string{"paving": dashed, "sleeve": dotted}

type position [2]float64

// decoded is a feature as it was encoded, taken apart.
type decoded struct {
	lot, layer, surface, label string
	lines                      [][]position // rings, lines or single points
	closed, point              bool
}

func decode(encoded []byte) (d decoded, err error) {
	var f struct {
		Properties map[string]any
		Geometry   *struct {
			Type        string
			Coordinates json.RawMessage
		}
	}
	if err := json.Unmarshal(encoded, &f); err != nil {
		return d, err
	}
	text := func(name string) string { s, _ := f.Properties[name].(string); return s }
	d.lot, d.layer, d.surface = text("lot"), text("layer"), text("surface")
	s, known := styles[d.layer]
	if !known {
		return d, fmt.Errorf("a feature of layer %q, which is not in the schema", d.layer)
	}
	d.label = text(s.label)
	if f.Geometry == nil {
		return d, nil
	}
	return d, d.geometry(f.Geometry.Type, f.Geometry.Coordinates)
}

func (d *decoded) geometry(kind string, coordinates json.RawMessage) error {
	switch kind {
	case "Point":
		var p position
		err := json.Unmarshal(coordinates, &p)
		d.lines, d.point = [][]position{{p}}, true
		return err
	case "LineString":
		var line []position
		err := json.Unmarshal(coordinates, &line)
		d.lines = [][]position{line}
		return err
	case "Polygon":
		d.closed = true
		return json.Unmarshal(coordinates, &d.lines)
	case "MultiPolygon":
		d.closed = true
		var polygons [][][]position
		err := json.Unmarshal(coordinates, &polygons)
		for _, rings := range polygons {
			d.lines = append(d.lines, rings...)
		}
		return err
	}
	return fmt.Errorf("a geometry of type %q, which no layer has", kind)
}

// draw writes the entities of a feature: a point, or a polyline a line or ring,
// and its label.
func (w *Writer) draw(d decoded) {
	for _, line := range d.lines {
		if d.point {
			w.entity("POINT", d)
			w.at(line[0])
			w.mark(d)
			continue
		}
		w.polyline(line, d)
	}
	if d.label != "" {
		w.text(d)
	}
}

// entity begins an entity on its layer.
func (w *Writer) entity(kind string, d decoded) {
	w.pair(0, kind)
	w.pair(8, d.layer)
	if lineType := surfaces[d.surface]; lineType != "" && d.layer == "trench" {
		w.pair(6, lineType)
	}
}

// mark writes the lot as extended data.
func (w *Writer) mark(d decoded) {
	w.pair(1001, application)
	w.pair(1000, ascii("lot="+d.lot))
}

func (w *Writer) polyline(line []position, d decoded) {
	if d.closed {
		line = line[:len(line)-1] // the format closes rings itself
	}
	w.entity("POLYLINE", d)
	w.pair(66, "1") // vertices follow
	for _, code := range []int{10, 20, 30} {
		w.number(code, 0)
	}
	w.pair(70, map[bool]string{true: "1", false: "0"}[d.closed])
	w.mark(d)
	for _, p := range line {
		w.pair(0, "VERTEX")
		w.pair(8, d.layer)
		w.at(p)
	}
	w.pair(0, "SEQEND")
	w.pair(8, d.layer)
}

// text writes the label beside a point, or in the middle of the bounds of an
// area.
func (w *Writer) text(d decoded) {
	low, high := d.lines[0][0], d.lines[0][0]
	for _, line := range d.lines {
		for _, p := range line {
			low = position{min(low[0], p[0]), min(low[1], p[1])}
			high = position{max(high[0], p[0]), max(high[1], p[1])}
		}
	}
	w.entity("TEXT", d)
	w.at(position{(low[0] + high[0]) / 2, (low[1] + high[1]) / 2})
	w.number(40, styles[d.layer].height)
	w.pair(1, ascii(d.label))
	w.mark(d)
}

// textBytes is how long a text may be in this release of the format.
const textBytes = 255

// ascii writes what is not ASCII as drawing programs read it, \U+00E9, and
// nothing that would end the value.
func ascii(s string) string {
	var b strings.Builder
	for _, r := range s {
		piece := string(r)
		switch {
		case r < ' ' || r == 0x7f:
			piece = " "
		case r > 0xffff:
			piece = "?"
		case r > 0x7e:
			piece = fmt.Sprintf(`\U+%04X`, r)
		}
		if b.Len()+len(piece) > textBytes {
			break
		}
		b.WriteString(piece)
	}
	return b.String()
}
