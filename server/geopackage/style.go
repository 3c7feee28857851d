package geopackage

import (
	"fmt"
	"strconv"
	"strings"

	"lotwright/layout/feature"
)

// Colours that people with any usual colour vision tell apart, and greys: the
// hues are those of M. Okabe and K. Ito ("Color Universal Design", 2008), used
// on the plans too. Every layer differs from the others in more than its
// colour: hatching, dashes, shape.
const (
	black         = "#000000"
	white         = "#FFFFFF"
	darkGrey      = "#555555"
	orange        = "#E69F00"
	skyBlue       = "#56B4E9"
	bluishGreen   = "#009E73"
	blue          = "#0072B2"
	vermillion    = "#D55E00"
	reddishPurple = "#CC79A7"
	lawnTint      = "#E0F3EE"
)

// style is how a layer is drawn; widths and sizes in millimetres on paper.
type style struct {
	symbols []symbol
	by      string // property that chooses among the symbols; empty: the first
	label   string // property that is written beside; empty: none
}

// symbol is one way to draw.
type symbol struct {
	value string // of the property by
	title string

	fill    string // empty: none
	opacity float64
	hatch   string // of an area, as mapping tools call it; empty: solid
	stroke  string
	width   float64
	dash    []float64

	mark string // of a point: circle, square or triangle
	size float64
}

var styles = map[string]style{
	"lot":       {symbols: []symbol{{title: "Lawn to irrigate", fill: lawnTint, opacity: 1, stroke: bluishGreen, width: 0.3}}},
	"wetted":    {symbols: []symbol{{title: "Reached by a head", fill: skyBlue, opacity: 0.2, stroke: blue, width: 0.2}}},
	"dry":       {symbols: []symbol{{title: "Dry: not reached", fill: vermillion, opacity: 1, hatch: "diagonal_x", stroke: vermillion, width: 0.4}}},
	"narrow":    {symbols: []symbol{{title: "Strip too narrow", fill: reddishPurple, opacity: 1, hatch: "vertical", stroke: reddishPurple, width: 0.3, dash: []float64{1.5, 0.8}}}},
	"overspray": {symbols: []symbol{{title: "Wetted off the lawn", fill: orange, opacity: 1, hatch: "f_diagonal", stroke: orange, width: 0.2}}},
	"trench": {by: "surface", symbols: []symbol{
		{value: "soil", title: "Trench in soil", stroke: black, width: 0.8},
		{value: "paving", title: "Trench under paving", stroke: black, width: 0.8, dash: []float64{2, 1.2}},
		{value: "sleeve", title: "Pipe in a sleeve", stroke: black, width: 0.8, dash: []float64{0.3, 1.2}},
	}},
	"pipe":  {symbols: []symbol{{title: "Pipe", stroke: blue, width: 0.5}}},
	"head":  {label: "head", symbols: []symbol{{title: "Head", fill: black, opacity: 1, stroke: white, width: 0.2, mark: "circle", size: 2}}},
	"valve": {label: "valve", symbols: []symbol{{title: "Valve", fill: white, opacity: 1, stroke: black, width: 0.4, mark: "square", size: 3}}},
	"note": {by: "severity", symbols: []symbol{
		{value: "info", title: "Remark", fill: white, opacity: 1, stroke: darkGrey, width: 0.3, mark: "triangle", size: 2.4},
		{value: "warning", title: "Warning", fill: orange, opacity: 1, stroke: black, width: 0.3, mark: "triangle", size: 2.8},
		{value: "error", title: "Error", fill: vermillion, opacity: 1, stroke: black, width: 0.4, mark: "triangle", size: 3.2},
	}},
}

func isLine(l feature.Layer) bool  { return l.Geometry == feature.LineString }
func isPoint(l feature.Layer) bool { return l.Geometry == feature.Point }

// rgba writes a colour and its opacity as four numbers from 0 to 255.
func rgba(hex string, opacity float64) string {
	v, _ := strconv.ParseUint(hex[1:], 16, 32) // a constant above
	return fmt.Sprintf("%d,%d,%d,%.0f", v>>16, v>>8&255, v&255, 255*opacity)
}

// property is a setting of a symbol layer.
type property struct{ name, value string }

// qml is the style as QGIS reads it.
func (s style) qml(l feature.Layer) string {
	var b strings.Builder
	b.WriteString("<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n")
	fmt.Fprintf(&b, `<qgis version="3.22.0" styleCategories="Symbology|Labeling" labelsEnabled="%d">`+"\n", one(s.label != ""))
	if s.by == "" {
		b.WriteString(` <renderer-v2 type="singleSymbol" symbollevels="0" forceraster="0" enableorderby="0">` + "\n")
	} else {
		fmt.Fprintf(&b, ` <renderer-v2 type="categorizedSymbol" attr="%s" symbollevels="0" forceraster="0" enableorderby="0">`+"\n  <categories>\n", s.by)
		for i, y := range s.symbols {
			fmt.Fprintf(&b, `   <category value="%s" label="%s" symbol="%d" render="true"/>`+"\n", y.value, y.title, i)
		}
		b.WriteString("  </categories>\n")
	}
	b.WriteString("  <symbols>\n")
	for i, y := range s.symbols {
		y.appendQML(&b, l, i)
	}
	b.WriteString("  </symbols>\n </renderer-v2>\n")
	s.appendLabelQML(&b)
	b.WriteString("</qgis>\n")
	return b.String()
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (y symbol) appendQML(b *strings.Builder, l feature.Layer, number int) {
	var kind, class string
	var properties []property
	switch {
	case isLine(l):
		kind, class, properties = "line", "SimpleLine", y.line()
	case isPoint(l):
		kind, class, properties = "marker", "SimpleMarker", y.marker()
	default:
		kind, class, properties = "fill", "SimpleFill", y.area()
	}
	fmt.Fprintf(b, `   <symbol type="%s" name="%d" alpha="1" clip_to_extent="1" force_rhr="0">`+"\n", kind, number)
	fmt.Fprintf(b, `    <layer class="%s" enabled="1" locked="0" pass="0">`+"\n", class)
	for _, p := range properties {
		fmt.Fprintf(b, `     <prop k="%s" v="%s"/>`+"\n", p.name, p.value)
	}
	b.WriteString("    </layer>\n   </symbol>\n")
}

func (y symbol) area() []property {
	brush, pen := "solid", "solid"
	if y.hatch != "" {
		brush = y.hatch
	}
	if len(y.dash) > 0 {
		pen = "dash"
	}
	return []property{
		{"color", rgba(y.fill, y.opacity)}, {"style", brush},
		{"outline_color", rgba(y.stroke, 1)}, {"outline_style", pen}, {"outline_width", short(y.width)}, {"outline_width_unit", "MM"},
	}
}

func (y symbol) line() []property {
	out := []property{{"line_color", rgba(y.stroke, 1)}, {"line_style", "solid"}, {"line_width", short(y.width)}, {"line_width_unit", "MM"}}
	if len(y.dash) > 0 {
		out = append(out, property{"use_custom_dash", "1"}, property{"customdash", shorts(y.dash, ";")}, property{"customdash_unit", "MM"}, property{"capstyle", "flat"})
	}
	return out
}

func (y symbol) marker() []property {
	return []property{
		{"name", y.mark}, {"color", rgba(y.fill, y.opacity)}, {"size", short(y.size)}, {"size_unit", "MM"},
		{"outline_color", rgba(y.stroke, 1)}, {"outline_style", "solid"}, {"outline_width", short(y.width)}, {"outline_width_unit", "MM"},
	}
}

func short(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func shorts(vs []float64, between string) string {
	var out []string
	for _, v := range vs {
		out = append(out, short(v))
	}
	return strings.Join(out, between)
}

// appendLabelQML writes a property beside each point, on a white rim.
func (s style) appendLabelQML(b *strings.Builder) {
	if s.label == "" {
		return
	}
	fmt.Fprintf(b, ` <labeling type="simple">
  <settings calloutType="simple">
   <text-style fieldName="%s" isExpression="0" fontFamily="Sans Serif" fontSize="8" fontSizeUnit="Point" textColor="%s" textOpacity="1">
    <text-buffer bufferDraw="1" bufferSize="0.7" bufferSizeUnits="MM" bufferColor="%s" bufferOpacity="1"/>
   </text-style>
   <placement placement="6" dist="1" distUnits="MM"/>
   <rendering obstacle="1" scaleVisibility="0"/>
  </settings>
 </labeling>
`, s.label, rgba(black, 1), rgba(white, 1))
}
