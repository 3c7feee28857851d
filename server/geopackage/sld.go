package geopackage

import (
	"fmt"
	"strings"

	"lotwright/layout/feature"
)

// pixels a millimetre, as styled layer descriptors reckon: 0.28 mm a pixel
// (OGC 05-078r4, section 11.2).
const pixelMM = 0.28

// sld is the style as a styled layer descriptor (OGC 05-078r4 and 05-077r4), for
// other tools. Hatching has no name there: areas are filled lightly instead.
func (s style) sld(l feature.Layer) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor xmlns="http://www.opengis.net/sld" xmlns:se="http://www.opengis.net/se" xmlns:ogc="http://www.opengis.net/ogc" version="1.1.0">
 <NamedLayer>
  <se:Name>%s</se:Name>
  <UserStyle>
   <se:FeatureTypeStyle>
`, l.Name)
	for _, y := range s.symbols {
		fmt.Fprintf(&b, "    <se:Rule>\n     <se:Name>%s</se:Name>\n", y.title)
		if s.by != "" {
			fmt.Fprintf(&b, "     <ogc:Filter><ogc:PropertyIsEqualTo><ogc:PropertyName>%s</ogc:PropertyName><ogc:Literal>%s</ogc:Literal></ogc:PropertyIsEqualTo></ogc:Filter>\n", s.by, y.value)
		}
		y.appendSLD(&b, l)
		b.WriteString("    </se:Rule>\n")
	}
	if s.label != "" {
		fmt.Fprintf(&b, "    <se:Rule>\n     <se:TextSymbolizer><se:Label><ogc:PropertyName>%s</ogc:PropertyName></se:Label></se:TextSymbolizer>\n    </se:Rule>\n", s.label)
	}
	b.WriteString("   </se:FeatureTypeStyle>\n  </UserStyle>\n </NamedLayer>\n</StyledLayerDescriptor>\n")
	return b.String()
}

func (y symbol) appendSLD(b *strings.Builder, l feature.Layer) {
	switch {
	case isLine(l):
		fmt.Fprintf(b, "     <se:LineSymbolizer>%s</se:LineSymbolizer>\n", y.strokeSLD())
	case isPoint(l):
		fmt.Fprintf(b, "     <se:PointSymbolizer><se:Graphic><se:Mark><se:WellKnownName>%s</se:WellKnownName>%s%s</se:Mark><se:Size>%s</se:Size></se:Graphic></se:PointSymbolizer>\n",
			y.mark, y.fillSLD(y.opacity), y.strokeSLD(), pixels(y.size))
	default:
		opacity := y.opacity
		if y.hatch != "" {
			opacity = 0.35
		}
		fmt.Fprintf(b, "     <se:PolygonSymbolizer>%s%s</se:PolygonSymbolizer>\n", y.fillSLD(opacity), y.strokeSLD())
	}
}

func (y symbol) fillSLD(opacity float64) string {
	return fmt.Sprintf(`<se:Fill><se:SvgParameter name="fill">%s</se:SvgParameter><se:SvgParameter name="fill-opacity">%s</se:SvgParameter></se:Fill>`, strings.ToLower(y.fill), short(opacity))
}

func (y symbol) strokeSLD() string {
	dash := ""
	if len(y.dash) > 0 {
		var in []string
		for _, d := range y.dash {
			in = append(in, pixels(d))
		}
		dash = fmt.Sprintf(`<se:SvgParameter name="stroke-dasharray">%s</se:SvgParameter>`, strings.Join(in, " "))
	}
	return fmt.Sprintf(`<se:Stroke><se:SvgParameter name="stroke">%s</se:SvgParameter><se:SvgParameter name="stroke-width">%s</se:SvgParameter>%s</se:Stroke>`,
		strings.ToLower(y.stroke), pixels(y.width), dash)
}

func pixels(mm float64) string { return fmt.Sprintf("%.2f", mm/pixelMM) }
