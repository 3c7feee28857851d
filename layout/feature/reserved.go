package feature

import "lotwright/layout"

// The layer below is part of the schema but no design has rows for it yet: a
// variable-throw head is a zone of its own whose valve is not placed.

type valve struct {
	label string
	zone  int
}

func valveLayer() layer {
	return newLayer(Layer{Name: "valve", Geometry: Point, Meaning: "the valve of a zone"},
		noRows[valve](),
		text("valve", "label of the valve: V1, V2, …", func(v valve) string { return v.label }),
		count("zone", "number of its zone, from 1", func(v valve) int { return v.zone }),
	)
}

func noRows[R any]() source[R] {
	return source[R]{rows: func(*layout.Design) []R { return nil }}
}
