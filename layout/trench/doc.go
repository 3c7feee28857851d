// Package trench finds the trench network that joins the heads to the point of
// connection at the least cost, and the pipe in it.
//
// # Ground
//
// A trench may go anywhere on the parcel but through buildings and their
// clearance, walls, water and ground that must not be opened. The clearance is
// bounded by straight lines that keep at least the distance, to a millimetre,
// and at corners at most 3.5 % more. What comes within 5 cm of the lot line
// counts as going on past it, so that no trench slips by. A terminal inside the
// clearance, such as a tap on the wall, leaves it by the shortest straight stub.
//
// # Cost
//
// A metre of soil costs one; a metre under paving [Settings].PavingFactor; a
// metre through tree roots RootZoneFactor; the dearer where the two overlap.
// Beside its metres every crossing costs [Settings].PavingCrossing, where a
// crossing is one unbroken stretch of the way under paving. Half is charged for
// passing the edge of the paving, in or out, and a way that begins or ends under
// paving is charged as if it came in there. Along the very edge a trench lies in
// the soil. A sleeve costs what soil does, is entered at its ends only, and is
// no crossing. Costs and lengths are counted in whole micrometres, so sums and
// ties are exact.
//
// # Routes
//
// Least-cost routes run on a graph of places that see one another: terminals,
// corners that a taut line bends round, corners of paving and of root zones,
// and points on their edges. A place on an edge of paving is two nodes, in the
// soil and under the paving, and half a crossing apart. Whether two places see
// each other is decided in integers; how a line between them divides into soil,
// paving and roots follows from its exact crossings. Since the best place to
// pass an edge lies between the points drawn at first, routes then slide along
// the edges until nothing is gained, and the places they come to join the graph.
// The outline of a root zone is rounded outward by up to 10 cm to save corners.
//
// # Network
//
// The minimum spanning tree of the terminals, by the cost of the routes between
// them, gives SpanningTreeLength: the sum of the lengths of its routes in metres.
// The network is the union of those routes, metres they share dug once, with
// tees added where they make it cheaper and no longer: TrenchLength is never
// above SpanningTreeLength. Metres of sleeve count in both. A network that
// branches under paving counts as one crossing there.
//
// The result depends on the ground and the labels only: not on the order of
// heads, polygons or corners.
package trench
