// Package layout holds the nouns of sprinkler design: the lot as surveyed, the
// water that reaches it, the heads, the trench and pipe that feed them, and the
// design that ties them together. The verbs live in the sub-packages; the one
// that knows their order is layout/design.
//
// All geometry here is planar, in whole millimetres, in a plane of the lot's
// own (see [Plane]); quantities carry their unit in their type ([Pressure],
// [Flow], [Length], [Volume]) and are SI inside.
package layout
