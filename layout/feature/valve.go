package feature

import (
	"fmt"

	"lotwright/layout"
)

// valves lists the zones whose valve stands apart from their heads.
func valves(d *layout.Design) (out []layout.Zone) {
	if d.Water == nil || d.HeadKind != layout.FixedArc {
		return nil
	}
	return d.Water.Zones
}

func valveLayer() layer {
	type Z = layout.Zone
	return newLayer(Layer{Name: "valve", Geometry: Point, Meaning: "the valve of a zone; a variable-throw head carries its own"},
		source[Z]{rows: valves, shape: func(_ *layout.Design, z Z) shape { return point(z.ValveAt) }},
		text("valve", "label of the valve: V1, V2, …", func(z Z) string { return fmt.Sprintf("V%d", z.Number) }),
		count("zone", "number of its zone, from 1", func(z Z) int { return z.Number }),
		text("at", "where it stands: POC or a tee T1, …", func(z Z) string { return z.Valve }),
		count("heads", "heads that run on it", func(z Z) int { return len(z.Heads) }),
		flows("flow", "what they take together", func(z Z) layout.Flow { return z.Flow }),
		pressures("pressure", "pressure at the head that gets the least", func(z Z) layout.Pressure { return z.Pressure }),
	)
}
