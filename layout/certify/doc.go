// Package certify proves how few heads are possible anywhere, not only among
// chosen spots.
//
// # The argument
//
// Put weight on the lawn, spread evenly over each cell of a grid. If no head,
// wherever it may stand, wets more than M of it, then N heads wet at most N·M.
// What they leave dry covers at most the share 1−τ of the lawn, so it holds at
// most K: the weight of the densest cells with that much area. Hence
//
//	N ≥ (Σ weight − K) / M.
//
// Where all of the lawn is to be reached, K is nothing and weight need not be
// spread: it stands on squares small enough to be points, in the corners and
// along the edges, where the lawn is hardest to reach, and then on smaller ones
// wherever too few heads were seen to leave slivers.
//
// # How M is bounded
//
// The ground where heads may stand is cut into boxes. For a box, every small
// square of lawn (an atom) counts as wetted unless it is out of range of the
// whole box, or one and the same blocker hides all of it from all of the box.
// Blockers are segments that no view over the lawn crosses: the lawn's edges
// and the chords between its corners that run outside it. A box whose count
// exceeds M is cut in four. Shadows of a segment are convex, so testing the
// corners of box and atom decides for all their points; all of it is done in
// integers.
//
// # How the weights are found
//
// They solve the dual of the covering problem, a packing program whose rows
// are boxes. It begins with a sample of spots; then those boxes found to hold
// too much come in as rows until none is found or the effort is spent. Boxes
// once cut, and what each could wet, are kept from round to round. Where a grid
// proves nearly enough, a finer one is tried. The floats of that program
// propose the weights; only the whole numbers they are rounded to are searched
// and published.
package certify
