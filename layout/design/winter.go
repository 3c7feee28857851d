package design

import (
	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/hydraulic"
	"lotwright/layout/winter"
)

// Winter draws up the winter and spring sheet of a design: with the bores of the
// built-in pipe tables, and those of the settings where they name other sizes,
// and with the lot's heights where it has any.
func Winter(lot *layout.Lot, d *layout.Design, s Settings) *winter.Sheet {
	w := winter.Settings{Inside: func(material, size string) (layout.Length, bool) {
		for _, p := range s.Pipe {
			if p.Material == material && p.Nominal == size {
				return p.Inside, true
			}
		}
		p, ok := hydraulic.SizeOf(material, size)
		return p.Inside, ok
	}}
	if len(lot.Heights) > 0 {
		w.Height = func(at geom.Point) layout.Length { return hydraulic.HeightAt(lot.Heights, at) }
	}
	return winter.Plan(d, w)
}
