package design

import (
	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/hydraulic"
	"lotwright/layout/rules"
	"lotwright/layout/sector"
)

// CheckRules holds a design against published rules. The assembly is what the
// user says is there or planned; nil where nothing was said.
func CheckRules(lot *layout.Lot, d *layout.Design, on []rules.Rule, assembly *rules.Backflow) *rules.Report {
	in := rules.Input{Lot: lot, Design: d, Backflow: assembly,
		Strips: func(width layout.Length) (geom.Region, error) {
			return sector.PavedStrips(geom.Union(d.Irrigated, d.Narrow), lot.Hardscape, width)
		}}
	if len(lot.Heights) > 0 {
		in.Height = func(at geom.Point) layout.Length { return hydraulic.HeightAt(lot.Heights, at) }
	}
	return rules.Check(in, on)
}
